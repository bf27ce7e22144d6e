// The words around the map: headline figures, cautions, assumptions, and the rows that are not on the map.

function fillHead(run, sites) {
  byId("programme").append(foreign(run.programme));
  byId("foot").append(`Run ${run.run_id} · ${run.date} · version ${run.version}`);
  const funded = rowsWhere(sites, (index) => sites.funding[index] === "funded");
  const equip = rowsWhere(sites, (index) => sites.decision[index] === "equip");
  const chosen = funded.length ? funded : equip;
  byId("scope").append(scopeWords(run, sites.count, funded.length));
  byId("facts").append(
    fact(wholeText(chosen.length), funded.length ? "sites funded" : "sites to equip"),
    fact(largeText(sum(sites.volume_used_m3_day, chosen)), "m³/day used"),
    fact(largeText(sum(sites.people_served, chosen)), "people served"),
    fact(largeText(sum(sites.capital_cost, chosen)), `${run.currency} capital`),
  );
}

function scopeWords(run, rows, funded) {
  const equip = `${wholeText(run.counts.equip)} of ${wholeText(rows)} inventory rows can be equipped now`;
  const money = funded ? `, ${wholeText(funded)} within the budget` : "";
  return `${equip}${money}; ${wholeText(run.counts.test_first)} more need a test first.`;
}

function fact(value, words) {
  return element("div", "", element("dd", "", value), element("dt", "", words));
}

function rowsWhere(sites, holds) {
  return Array.from({ length: sites.count }, (_, index) => index).filter(holds);
}

function sum(column, indexes) {
  return indexes.reduce((total, index) => total + (column[index] || 0), 0);
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

function fillReadFirst(run, sites, offMap) {
  byId("read").append(
    ...textList("Cautions", run.cautions),
    element("h2", "", "What the map shows"),
    ...howToRead(run).map((text) => element("p", "", text)),
    element("h2", "", "Every row of the inventory"),
    countTable(run, sites.count, offMap),
    ...pairTable("Assumptions in use (defaults of the plan)", run.defaults_used),
    ...pairTable("Written in the plan, without effect", run.without_effect),
    ...textList("Notes", run.notes),
    element("h2", "", "This run"),
    keyTable([["Run", run.run_id], ["Date", run.date], ["Version", run.version], ["Prices", `${run.currency} of ${run.price_year}`]]),
    element("p", "quiet", "Map drawing: Leaflet 1.9.4, BSD 2-clause licence. The page asks for nothing from the network."),
  );
}

function howToRead(run) {
  return [
    `The cost of water is the life-cycle cost of the whole scheme, in ${run.currency} of ${run.price_year}, for each cubic metre that is used at the tap. Only sites to equip are ranked: 1 is the cheapest water.`,
    "A disc is a site to equip and a ring a site to test first; their area shows the water used, their colour the class of cost. A dark ring round a disc marks a funded site. Grey marks have no rank: square for hold, cross for unsuitable, diamond for not assessed.",
    "Bars by month show what the set can pump if the tank never fills; a meter at the tank will read less.",
  ];
}

function countTable(run, rows, offMap) {
  const body = DECISIONS.map((decision) => [
    element("span", "", element("strong", "", DECISION_WORDS[decision]), ` ${DECISION_MEANING[decision]}`),
    wholeText(run.counts[decision]),
  ]);
  const table = keyTable(body);
  table.classList.add("counts");
  table.append(tableRow(["Rows of the inventory", wholeText(rows)], "total"));
  table.append(tableRow(["of these not on the map", wholeText(offMap)], ""));
  return table;
}

function textList(title, texts) {
  if (!texts.length) return [];
  return [element("h2", "", title), element("ul", "", ...texts.map((text) => element("li", "", foreign(text))))];
}

function pairTable(title, pairs) {
  return pairs.length ? [element("h2", "", title), keyTable(pairs)] : [];
}

function keyTable(pairs) {
  return element("table", "keys", ...pairs.map((pair) => tableRow(pair, "")));
}

function tableRow([key, value], className) {
  const head = element("th", "", typeof key === "string" ? foreign(key) : key);
  head.scope = "row";
  return element("tr", className, head, element("td", "", foreign(value)));
}

// The rows without a position, each with its reason; a press opens the same pop-up.
function fillOffMap(sites, indexes, onOpen) {
  byId("tab-off").append(` (${wholeText(indexes.length)})`);
  if (!indexes.length) {
    byId("off").append(element("p", "", "Every row of the inventory has a position."));
    return;
  }
  byId("off").append(
    element("p", "", `${wholeText(indexes.length)} rows have no usable position. They stand in all tables and are counted.`),
    element("ul", "off-list", ...indexes.map((index) => offMapItem(sites, index, onOpen))),
  );
}

function offMapItem(sites, index, onOpen) {
  const button = element("button", "link", foreign(siteTitle(sites, index)));
  button.type = "button";
  button.addEventListener("click", () => onOpen(index, button));
  const where = [sites.site_id[index], `row ${sites.inventory_row[index]}`].filter(Boolean).join(" · ");
  const reason = sites.reason_text[index] || wordFor(DECISION_WORDS, sites.decision[index]);
  return element("li", "", button, element("small", "", foreign(where)), element("p", "", foreign(reason)));
}
