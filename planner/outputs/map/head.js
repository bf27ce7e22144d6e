// The headline: programme, how many sites can be equipped, and the sums of those that are shown.

function fillHead(run) {
  byId("programme").append(foreign(run.programme));
  byId("foot").append(runWords(run));
}

function runWords(run) {
  return `Run ${run.run_id} · ${run.date} · version ${run.version}`;
}

// What a reader must know of positions that are not those of the wells; nothing where they are.
function positionWords(run) {
  return run.coarsen_m ? [`Positions are rounded to a grid of ${wholeText(run.coarsen_m)}\u00a0m: a mark is not the well`] : [];
}

// list: the sites that the filters and the search leave; all: whether that is every row.
function showTotals(run, sites, list, all, step = 0) {
  const funded = withWord(sites, list, "funding", "funded");
  const equip = withWord(sites, list, "decision", "equip");
  const test = withWord(sites, list, "decision", "test_first");
  // The slider asks what another budget would fund: the sums are those of that programme.
  const chosen = funded.length && !step ? funded : equip;
  byId("scope").textContent = step
    ? `A budget of ${budgetText(run, step)} would fund the ${wholeText(list.length)} ${list.length === 1 ? "site" : "sites"} shown; the plan as it is funds ${wholeText(funded.length)} of them.`
    : scopeWords(list.length, equip.length, funded.length, test.length, all);
  byId("facts").replaceChildren(
    fact(wholeText(chosen.length), step ? "sites it would fund" : funded.length ? "sites funded" : "sites to equip"),
    fact(largeText(sum(sites.volume_used_m3_day, chosen)), "m³/day used"),
    fact(largeText(sum(sites.people_served, chosen)), "people served"),
    fact(largeText(sum(sites.capital_cost, chosen)), `${run.currency} capital, whole scheme`),
  );
}

function scopeWords(rows, equip, funded, test, all) {
  const which = all ? `${wholeText(rows)} inventory rows` : `the ${wholeText(rows)} ${rows === 1 ? "row" : "rows"} shown`;
  const money = funded ? `, ${wholeText(funded)} within the budget` : "";
  return `${wholeText(equip)} of ${which} can be equipped now${money}; ${wholeText(test)} more need a test first.`;
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
  const rest = others.length ? `Read first: ${others.length} more` : "Read first";
  button.append(element("span", "", foreign(first)), element("b", "", rest));
  button.hidden = false;
  button.addEventListener("click", open);
}
