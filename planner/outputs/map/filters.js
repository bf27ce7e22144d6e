// What is shown: the choices as one test of a site, and the same choices in words.

function startFilters(sites, run, legend, onChange) {
  const form = byId("filters");
  const field = (name) => byId(`filter-${name}`);
  fillChoices(field("area"), sites.coded("sub_district").levels.filter(Boolean).sort((left, right) => left.localeCompare(right)));
  fillChoices(field("family"), sites.coded("pump_family").levels.filter(Boolean), familyWord);
  whenSpoken(() => byId("filter-cost-words").replaceChildren(say("page_filter_cost", { unit: `${run.currency}/m³` })));
  byId("apart").hidden = !sites.rank_rests_on_prior.includes(1);
  byId("steps").hidden = !run.steps.length;
  field("step").max = String(run.steps.length);
  field("worth-test").parentElement.hidden = !sites.test_rank.some(Number.isFinite);
  form.addEventListener("input", onChange);
  form.addEventListener("submit", (event) => event.preventDefault());
  byId("search").addEventListener("input", onChange);
  startFolding(form);

  whenSpoken(() => showStep(run, Number(field("step").value)));

  const read = () => ({
    step: showStep(run, Number(field("step").value)),
    area: field("area").value,
    family: field("family").value,
    cost: field("cost").value === "" ? NaN : Number(field("cost").value),
    volume: field("volume").value === "" ? NaN : Number(field("volume").value),
    equip: field("equip").checked,
    apart: field("apart").checked,
    offMap: field("off-map").checked,
    worthTest: field("worth-test").checked,
    decisions: legend.decisions(),
    funded: legend.onlyFunded(),
    search: byId("search").value.trim(),
  });

  return {
    read,
    reset() {
      form.reset();
      byId("search").value = "";
      legend.reset();
    },
    showOffMap() {
      field("off-map").checked = true;
    },
  };
}

// The step of the slider, 0 for none; every step was chosen by the tool, under the rules of the plan.
function showStep(run, step) {
  byId("step-words").textContent = step ? stepWords(run, step) : say("page_step_off");
  return step;
}

function stepWords(run, step) {
  const { own, rules_kept: kept, sites, people, gap } = run.steps[step - 1];
  const budget = own ? say("page_step_own", { budget: budgetText(run, step) }) : budgetText(run, step);
  if (!kept) return say("page_step_no_rules", { budget });
  const funded = sayCount("page_step", sites, { budget, people: wholeText(people) });
  return gap > 1e-6 ? say("page_step_gap", { funded, percent: withDecimals(100 * gap, 2) }) : funded;
}

function budgetText(run, step) {
  return `${wholeText(run.steps[step - 1].budget)}\u00a0${run.currency}`;
}

// wordOf(code): what is said of a code; without it the codes are names and shown as they are.
function fillChoices(select, codes, wordOf = (code) => code) {
  const options = codes.map((code) => {
    const option = element("option", "");
    option.value = code;
    return option;
  });
  select.append(...options);
  whenSpoken(() => options.forEach((option, place) => option.replaceChildren(wordOf(codes[place]))));
}

function startFolding(form) {
  const button = byId("filter-toggle");
  button.addEventListener("click", () => {
    form.hidden = !form.hidden;
    button.setAttribute("aria-expanded", String(!form.hidden));
  });
}

// shown: 1 for sites that pass the filters; matched: 1 for those that the search finds, too. Each active filter goes
// over the sites once and takes out what it does not want.
function applyFilters(sites, wanted) {
  const shown = new Uint8Array(sites.count).fill(1);
  const keep = (column, test) => {
    for (let index = 0; index < shown.length; index += 1) if (shown[index] && !test(column[index])) shown[index] = 0;
  };
  const keepWords = (name, test) => {
    const { levels, codes } = sites.coded(name);
    const allowed = Uint8Array.from(levels, (level) => Number(test(level)));
    for (let index = 0; index < shown.length; index += 1) shown[index] &= allowed[codes[index]];
  };
  if (wanted.decisions.length < DECISIONS.length || wanted.equip) {
    keepWords("decision", (decision) => wanted.decisions.includes(decision) && (!wanted.equip || decision === "equip"));
  }
  if (wanted.funded) keepWords("funding", (funding) => funding === "funded");
  if (wanted.area) keepWords("sub_district", (area) => area === wanted.area);
  if (wanted.family) keepWords("pump_family", (family) => family === wanted.family);
  if (wanted.apart) keep(sites.rank_rests_on_prior, (flag) => flag === 1);
  if (wanted.step) keep(sites.budget_steps_mask, (mask) => (mask >> (wanted.step - 1)) & 1);
  if (!Number.isNaN(wanted.cost)) keep(sites.cost_per_m3, (cost) => cost <= wanted.cost);
  if (!Number.isNaN(wanted.volume)) keep(sites.volume_used_m3_day, (volume) => Math.round(10 * volume) / 10 >= wanted.volume);
  if (wanted.worthTest) keep(sites.test_rank, Number.isFinite);
  if (wanted.offMap) keep(sites.order, (index) => !isOnMap(sites, index));
  return { shown, matched: found(sites, plainLetters(wanted.search)) };
}

// 1 for sites whose id or name has the letters; kept, so that other filters do not search again.
function found(sites, letters) {
  if (!sites.found || sites.found.letters !== letters) {
    const matched = new Uint8Array(sites.count).fill(1);
    if (letters) sites.order.forEach((index) => { matched[index] = Number(searchText(sites, index).includes(letters)); });
    sites.found = { letters, matched };
  }
  return sites.found.matched;
}

// The sites that are shown and matched, in the order given.
function chosenOf(order, shown, matched = shown) {
  const chosen = new Int32Array(order.length);
  let count = 0;
  for (const index of order) if (shown[index] && matched[index]) chosen[count++] = index;
  return chosen.subarray(0, count);
}

// The active filters in words, none if everything is shown.
function filterWords(wanted, run) {
  const hidden = DECISIONS.filter((decision) => !wanted.decisions.includes(decision));
  const names = (decisions) => decisions.map((decision) => lower(decisionWord(decision))).join(", ");
  return [
    wanted.search && say("page_search_for", { text: wanted.search }),
    wanted.equip && lower(say("page_filter_equip")),
    wanted.apart && say("page_apart_only"),
    wanted.funded && say("page_funded_only"),
    wanted.step && say("page_step_only", { budget: budgetText(run, wanted.step) }),
    wanted.area && say("page_area_only", { area: wanted.area }),
    wanted.family && say("page_family_only", { family: lower(familyWord(wanted.family)) }),
    Number.isFinite(wanted.cost) && say("page_cost_at_most", { cost: plainNumber(wanted.cost), unit: `${run.currency}/m³` }),
    Number.isFinite(wanted.volume) && say("page_volume_at_least", { volume: plainNumber(wanted.volume) }),
    wanted.offMap && say("page_not_on_map"),
    wanted.worthTest && say("page_worth_test"),
    hidden.length && (hidden.length < 3 ? say("page_without", { names: names(hidden) }) : say("page_only", { names: names(wanted.decisions) || say("page_none") })),
  ].filter(Boolean);
}
