// What is shown: the choices as one test of a site, and the same choices in words.

function startFilters(sites, run, legend, onChange) {
  const form = byId("filters");
  const field = (name) => byId(`filter-${name}`);
  fillChoices(field("area"), [...new Set(sites.sub_district)].filter(Boolean).sort((left, right) => left.localeCompare(right)));
  fillChoices(field("family"), [...new Set(sites.pump_family)].filter(Boolean), familyWord);
  whenSpoken(() => byId("filter-cost-words").replaceChildren(say("page_filter_cost", { unit: `${run.currency}/m³` })));
  byId("apart").hidden = !indexes(sites).some((index) => sites.rank_rests_on_prior[index] === 1);
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

// shown: 1 for sites that pass the filters; matched: 1 for those that the search finds, too.
function applyFilters(sites, wanted) {
  const decisions = new Set(wanted.decisions);
  const letters = plainLetters(wanted.search);
  const shown = new Uint8Array(sites.count);
  const matched = new Uint8Array(sites.count);
  for (let index = 0; index < sites.count; index += 1) {
    const passes =
      decisions.has(sites.decision[index]) &&
      (!wanted.apart || sites.rank_rests_on_prior[index] === 1) &&
      (!wanted.equip || sites.decision[index] === "equip") &&
      (!wanted.step || (sites.budget_steps_mask[index] >> (wanted.step - 1)) & 1) &&
      (!wanted.funded || sites.funding[index] === "funded") &&
      (!wanted.area || sites.sub_district[index] === wanted.area) &&
      (!wanted.family || sites.pump_family[index] === wanted.family) &&
      (Number.isNaN(wanted.cost) || sites.cost_per_m3[index] <= wanted.cost) &&
      (Number.isNaN(wanted.volume) || Math.round(10 * sites.volume_used_m3_day[index]) / 10 >= wanted.volume) &&
      (!wanted.worthTest || Number.isFinite(sites.test_rank[index])) &&
      (!wanted.offMap || !isOnMap(sites, index));
    shown[index] = Number(passes);
    matched[index] = Number(!letters || searchText(sites, index).includes(letters));
  }
  return { shown, matched };
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
