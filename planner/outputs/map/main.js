// Start: read the data, draw the map, and tie legend, filters, table and pop-up together.

async function start() {
  const block = await readBlock();
  if (!block) return;
  const { run } = block;
  readTexts(block.texts, run.language);
  startLanguages(block.texts);
  whenSpoken(fillTemplate);
  const sites = readSites(block.sites);
  const sizes = makeSizes(sites, byId("map").offsetWidth);
  const colouring = makeColouring(block, sites, sizes);
  const context = {
    run,
    sites,
    reasons: readReasons(block.reasons, sites.count),
    switches: readSwitches(block.switches, sites.count),
    findings: readFindings(block.findings, sites),
    shown: block.shown.map(({ name, column }) => ({ name, texts: unpackTexts(column, sites.count) })),
    markOf: colouring.mark,
  };

  // Words and legend come first: they settle the size of the map.
  byId("tab-what-if").hidden = !run.scenarios.length;
  sayTiles(run.tiles);
  const openTab = startTabs();
  fillHead(run);
  fillCaution(run, () => openTab("tab-read"));
  const legend = fillLegend(run, sites, sizes, colouring, refresh);
  const filters = startFilters(sites, run, legend, refresh);
  showTotals(run, sites, sites.order, true);
  const { map, layer, ground, bounds } = drawMap(block, sites, colouring, () => positionWords(run));
  const reframe = makeReframe(map, bounds);
  const halo = makeHalo(map, sites);
  const table = makeTable(sites, context.reasons, context.markOf, run, (index, from) => popup.open(index, from), halo);
  const links = makeLinks(context, (index, from) => popup.open(index, from), () => popup.close());
  const compare = startCompare(context, () => popup.refill());
  const popup = startPopup(map, layer, table, context, {
    actions: (index) => [...compare.buttons(index), ...copyButton(() => links.addressOf(index))],
    onShow: links.tell,
  });
  startTip(map, layer, sites, table.point);
  startLooks(Boolean(block.relief), (wanted) => ground.showRelief(wanted), (grey) => {
    colouring.use(grey);
    recolour();
  });
  startLayerChoice(colouring, () => {
    layer.reshape();
    recolour();
  });
  startTiles(map, ground, run.tiles);
  const charts = startCharts(run, sites);
  startDownload(block.table, context, table.list);
  startColumnSwitch(reframe);
  startReadFirst(run, sites, block.rest);
  fillFindings(context.findings, sites, popup.open);
  startAssumptions(run);
  startWhatIf(run);
  startPaper();
  startPrint(reframe, compare, () => {
    const words = filterWords(filters.read(), run);
    fillPrint(context, table.list(), words, table.orderWords());
    fillPrintCharts(context, table.list(), words, charts.figures());
  });

  function refresh() {
    const wanted = filters.read();
    const words = filterWords(wanted, run);
    const { shown, matched } = applyFilters(sites, wanted);
    const list = chosenOf(sites.order, shown, matched);
    layer.show(shown, matched);
    table.show(list);
    legend.show(list);
    charts.show(list);
    showTotals(run, sites, list, list.length === sites.count, wanted.step);
    showFilters(words, list.length, sites.count);
    if (block.rest) byId("status").append(` ${restWords("page_rest_status", block.rest)}`);
  }

  function recolour() {
    legend.paint();
    layer.recolour();
    table.repaint();
  }

  byId("reset").addEventListener("click", () => {
    filters.reset();
    refresh();
    byId("search").focus();
  });
  byId("search").addEventListener("keydown", (event) => {
    const [first] = table.list();
    if (event.key === "Enter" && first !== undefined) popup.open(first, byId("search"));
  });
  startOffMap(sites, filters, refresh);
  whenSpoken(() => {
    table.repaint();
    refresh();
  });
  links.follow();
}

// The active filters, always in words.
function showFilters(words, count, all) {
  byId("status").textContent = words.length ? sayCount("page_status", all, { shown: wholeText(count), filters: words.join("; ") }) : sayCount("page_status_all", all);
  byId("reset").hidden = !words.length;
  byId("filter-toggle").classList.toggle("narrowed", words.length > 0);
}

function startOffMap(sites, filters, refresh) {
  const count = indexes(sites).filter((index) => !isOnMap(sites, index)).length;
  const button = byId("off-map");
  button.hidden = !count;
  whenSpoken(() => button.replaceChildren(say("page_count_off_map", { count: wholeText(count) })));
  button.addEventListener("click", () => {
    filters.showOffMap();
    refresh();
  });
}

start();
