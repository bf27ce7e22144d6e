// What a reader must know before using the map: cautions, how to read it, and that every row is accounted for.

function startReadFirst(run, sites, rest) {
  const offMap = indexes(sites).filter((index) => !isOnMap(sites, index)).length;
  whenSpoken(() => byId("read").replaceChildren(...readFirstParts(run, sites, offMap, rest)));
}

function readFirstParts(run, sites, offMap, rest) {
  return [
    ...textList(say("page_cautions"), run.cautions),
    ...run.told.flatMap(([heading, lines]) => textList(told(heading), lines)),
    element("h2", "", say("page_how_head")),
    ...howToRead(run, sites).map((text) => element("p", "", text)),
    ...positionWords(run).map((text) => element("p", "", say("page_coarse_words", { positions: text }))),
    element("h2", "", say("page_every_row")),
    countTable(run, sites.count + (rest ? rest.count : 0), offMap + (rest ? rest.off_map : 0), rest),
    ...textList(say("page_notes"), run.notes),
    element("h2", "", say("page_this_run")),
    keyTable([
      [say("page_run_id"), run.run_id], [say("page_date"), dateText(run.date)], [say("page_version"), run.version],
      [say("page_prices"), say("page_prices_of", { currency: run.currency, year: run.price_year })],
    ]),
    element("p", "quiet", say("page_credit")),
  ];
}

function howToRead(run, sites) {
  return [
    say("page_how_cost", { currency: run.currency, year: run.price_year }),
    say("page_how_marks"),
    say("page_how_layers"),
    say("page_how_filters"),
    say("page_how_months"),
    run.steps.length > 0 && say("page_how_steps"),
    run.tiles && say("page_how_tiles", { host: run.tiles.host }),
    sites.range_kind.some(Boolean) && say("page_how_ranges"),
  ].filter(Boolean);
}

function countTable(run, rows, offMap, rest) {
  const body = DECISIONS.map((decision) => [
    element("span", "", element("strong", "", decisionWord(decision)), ` ${decisionMeaning(decision)}`),
    wholeText(run.counts[decision]),
  ]);
  const table = keyTable(body);
  table.classList.add("counts");
  table.append(tableRow([say("page_rows"), wholeText(rows)], "total"));
  table.append(tableRow([say("page_rows_off_map"), wholeText(offMap)], ""));
  if (rest) table.append(tableRow([say("page_rest_row"), wholeText(rest.count)], ""));
  return table;
}

function textList(title, texts) {
  if (!texts.length) return [];
  return [element("h2", "", title), element("ul", "", ...texts.map((text) => element("li", "", foreign(told(text)))))];
}

function keyTable(pairs) {
  return element("table", "keys", ...pairs.map((pair) => tableRow(pair, "")));
}

function tableRow([key, value], className) {
  const head = element("th", "", typeof key === "string" ? foreign(key) : key);
  head.scope = "row";
  return element("tr", className, head, element("td", "", typeof value === "string" ? foreign(value) : value));
}
