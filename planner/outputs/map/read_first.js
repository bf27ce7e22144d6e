// What a reader must know before using the map: cautions, how to read it, and that every row is accounted for.

function fillReadFirst(run, sites, rest) {
  const offMap = indexes(sites).filter((index) => !isOnMap(sites, index)).length;
  byId("read").append(
    ...textList("Cautions", run.cautions),
    ...run.told.flatMap(([heading, lines]) => textList(heading, lines)),
    element("h2", "", "What the map shows"),
    ...howToRead(run, sites).map((text) => element("p", "", text)),
    ...positionWords(run).map((text) => element("p", "", `${text}. Sites of one cell of the grid lie on one mark; the list has them all. Distances and results were computed from the exact positions.`)),
    element("h2", "", "Every row of the inventory"),
    countTable(run, sites.count + (rest ? rest.count : 0), offMap + (rest ? rest.off_map : 0), rest),
    ...textList("Notes", run.notes),
    element("h2", "", "This run"),
    keyTable([["Run", run.run_id], ["Date", run.date], ["Version", run.version], ["Prices", `${run.currency} of ${run.price_year}`]]),
    element("p", "quiet", "Map drawing: Leaflet 1.9.4, BSD 2-clause licence. The page asks for nothing from the network."),
  );
}

function howToRead(run, sites) {
  return [
    `The cost of water is the life-cycle cost of the whole scheme, in ${run.currency} of ${run.price_year}, for each cubic metre that is used at the tap. Only sites to equip are ranked: 1 is the cheapest water.`,
    "A disc is a site to equip and a ring a site to test first; their area shows the water used, their colour the class of cost. A dark ring round a disc marks a funded site. Grey marks have no rank: square for hold, cross for unsuitable, diamond for not assessed.",
    "Filters and search say what is shown, listed and summed; they change no rank and no funding. Sites that pass the filters but not the search stay faint on the map.",
    "Bars by month show what the set can pump if the tank never fills; a meter at the tank will read less.",
    run.steps.length > 0 && "The budget slider among the filters shows which sites another budget would fund, under the rules of the plan; the ring of a funded site stays the plan's own.",
    sites.range_kind.some(Boolean) && "A range holds 8 of 10 cases: each case is the site computed once more with other values of what is not known there. The notes below have their number.",
  ].filter(Boolean);
}

function countTable(run, rows, offMap, rest) {
  const body = DECISIONS.map((decision) => [
    element("span", "", element("strong", "", DECISION_WORDS[decision]), ` ${DECISION_MEANING[decision]}`),
    wholeText(run.counts[decision]),
  ]);
  const table = keyTable(body);
  table.classList.add("counts");
  table.append(tableRow(["Rows of the inventory", wholeText(rows)], "total"));
  table.append(tableRow(["of these not on the map", wholeText(offMap)], ""));
  if (rest) table.append(tableRow([rest.words.row, wholeText(rest.count)], ""));
  return table;
}

function textList(title, texts) {
  if (!texts.length) return [];
  return [element("h2", "", title), element("ul", "", ...texts.map((text) => element("li", "", foreign(text))))];
}

function keyTable(pairs) {
  return element("table", "keys", ...pairs.map((pair) => tableRow(pair, "")));
}

function tableRow([key, value], className) {
  const head = element("th", "", typeof key === "string" ? foreign(key) : key);
  head.scope = "row";
  return element("tr", className, head, element("td", "", typeof value === "string" ? foreign(value) : value));
}
