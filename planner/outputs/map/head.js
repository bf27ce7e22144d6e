// The headline: programme, how many sites can be equipped, and the sums of those that are shown.

function fillHead(run) {
  byId("programme").append(foreign(run.programme));
  whenSpoken(() => byId("foot").replaceChildren(runWords(run)));
}

function runWords(run) {
  return say("page_run", { run: run.run_id, date: dateText(run.date), version: run.version });
}

// Money of which year, and for what: said once for all costs beside it.
function costsWords(run) {
  return say("page_costs", { currency: run.currency, year: run.price_year });
}

// What a reader must know of positions that are not those of the wells; nothing where they are.
function positionWords(run) {
  return run.coarsen_m ? [say("page_coarse", { grid: `${wholeText(run.coarsen_m)}\u00a0m` })] : [];
}

// list: the sites that the filters and the search leave; all: whether that is every row.
function showTotals(run, sites, list, all, step = 0) {
  const funded = withWord(sites, list, "funding", "funded");
  const equip = withWord(sites, list, "decision", "equip");
  const test = withWord(sites, list, "decision", "test_first");
  // The slider asks what another budget would fund: the sums are those of that programme.
  const chosen = funded.length && !step ? funded : equip;
  byId("scope").textContent = step
    ? sayCount("page_step_scope", list.length, { budget: budgetText(run, step), funded: wholeText(funded.length) })
    : scopeWords(list.length, equip.length, funded.length, test.length, all);
  byId("facts").replaceChildren(
    fact(wholeText(chosen.length), say(step ? "page_sites_it_funds" : funded.length ? "page_sites_funded" : "page_sites_to_equip")),
    fact(largeText(sum(sites.volume_used_m3_day, chosen)), say("page_sum_volume")),
    fact(largeText(sum(sites.people_served, chosen)), say("page_sum_people")),
    fact(largeText(sum(sites.capital_cost, chosen)), say("page_sum_capital", { currency: run.currency, year: run.price_year })),
  );
}

function scopeWords(rows, equip, funded, test, all) {
  const values = { equip: wholeText(equip), funded: wholeText(funded), test: wholeText(test) };
  if (all) return sayCount(funded ? "page_scope_all_funded" : "page_scope_all", rows, values);
  return sayCount(funded ? "page_scope_shown_funded" : "page_scope_shown", rows, values);
}

function fact(value, words) {
  return element("div", "", element("dt", "", words), element("dd", "", value));
}

function withWord(sites, list, name, word) {
  const { levels, codes } = sites.coded(name);
  const wanted = levels.indexOf(word);
  return list.filter((index) => codes[index] === wanted);
}

function sum(column, list) {
  let total = 0;
  for (const index of list) total += column[index] || 0;
  return total;
}

function fillCaution(run, open) {
  const button = byId("caution");
  const [first, ...others] = run.cautions;
  if (!first) return;
  whenSpoken(() => {
    const rest = others.length ? say("page_read_more", { count: wholeText(others.length) }) : say("page_tab_read");
    button.replaceChildren(element("span", "", foreign(told(first))), element("b", "", rest));
  });
  button.hidden = false;
  button.addEventListener("click", open);
}
