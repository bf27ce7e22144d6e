// The printed sheet: map, legend, totals, active filters and cautions on the first page, then the first rows.

// Rows that the second sheet has room for.
const PRINT_ROWS = { a4: 26, a3: 41 };
const PAPERS = ["a4", "a3", "a4_grey", "a3_grey"];

// The size of the sheet, with or without colour; the print dialogue of the browser follows it.
function startPaper() {
  fillChoices(byId("paper"), PAPERS, (paper) => say(`page_paper_${paper}`));
  byId("paper").addEventListener("change", () => document.body.classList.toggle("paper-a3", paperSize() === "a3"));
}

function paperSize() {
  return byId("paper").value.slice(0, 2);
}

function startPrint(reframe, compare, fill) {
  const grey = byId("grey");
  const marked = (name) => document.body.classList.contains(name);
  const turn = () => reframe(() => document.body.classList.toggle("printing"));
  let greyed = false;

  function enter() {
    if (marked("printing") || marked("printing-findings") || marked("printing-compare")) return;
    if (compare.isOpen()) {
      compare.fillPrint();
      document.body.classList.add("printing-compare");
      return;
    }
    greyed = byId("paper").value.endsWith("grey") && !grey.checked;
    if (greyed) grey.click();
    fill();
    turn();
  }

  function leave() {
    document.body.classList.remove("printing-compare");
    if (!marked("printing")) return;
    turn();
    if (greyed) grey.click();
    greyed = false;
  }

  // Browsers differ in which of the two they tell.
  window.addEventListener("beforeprint", enter);
  window.addEventListener("afterprint", leave);
  window.matchMedia("print").addEventListener("change", ({ matches }) => (matches ? enter() : leave()));
  byId("print").addEventListener("click", () => window.print());
}

function filterLine(filters) {
  return filters.length ? say("page_print_filters", { filters: filters.join("; ") }) : say("page_print_no_filter");
}

function countLine(sites, list) {
  return sayCount("page_print_count", sites.count, { shown: wholeText(list.length) });
}

function fillPrint(context, list, filters, orderWords) {
  const { run, sites } = context;
  const words = filterLine(filters);
  const layer = byId("layer").selectedOptions[0].textContent;
  byId("print-filters").textContent = [words, countLine(sites, list), say("page_print_layer", { layer })].join(" ");
  byId("print-run").textContent = [runWords(run), ...positionWords(run)].join(". ");
  byId("print-cautions").replaceChildren(...run.cautions.map((text) => element("li", "", foreign(told(text)))));
  const rows = [...list.slice(0, PRINT_ROWS[paperSize()] - (run.scenarios.length && run.scenarios.length + 4))];
  const left = list.length - rows.length;
  const rest = left ? sayCount("page_print_left", left) : say("page_print_all");
  byId("print-rows").replaceChildren(
    element("h2", "", ...sayParts("page_print_head", { programme: foreign(run.programme), rows: sayCount("page_print_first", rows.length), order: orderWords })),
    printTable(context, rows),
    element("p", "", [rest, words, costsWords(run)].join(" ")),
    ...(run.scenarios.length ? [element("h2", "", say("page_what_if")), scenarioTable(run)] : []),
    element("p", "quiet", runWords(run)),
  );
}

// The third sheet: the charts side by side, each with its numbers below.
function fillPrintCharts({ run, sites }, list, filters, figures) {
  for (const figure of figures) for (const table of figure.querySelectorAll("details")) table.open = true;
  byId("print-charts").replaceChildren(
    element("h2", "", ...sayParts("page_print_charts_head", { programme: foreign(run.programme) })),
    element("p", "", [filterLine(filters), countLine(sites, list), costsWords(run)].join(" ")),
    element("div", "chart-pair", ...figures),
    element("p", "quiet", runWords(run)),
  );
}

function printTable({ sites, reasons, run }, rows) {
  const heads = [
    say("label_rank"), say("label_site_id"), say("page_id"), say("label_sub_district"), say("label_decision"), say("label_pump_family"),
    say("page_print_cost", { currency: run.currency }), say("page_column_volume"), say("page_print_capital", { currency: run.currency }),
    say("label_people"), say("page_main_reason"),
  ];
  const head = element("tr", "", ...heads.map((words) => {
    const made = element("th", "", words);
    made.scope = "col";
    return made;
  }));
  const body = rows.map((index) => {
    const at = (name) => sites[name][index];
    const texts = [
      Number.isFinite(at("rank")) ? wholeText(at("rank")) : MISSING, siteTitle(sites, index), at("site_id"), at("sub_district"), decisionWord(at("decision")),
      familyWord(at("pump_family")), costText(at("cost_per_m3")), volumeText(at("volume_used_m3_day")), estimateText(at("capital_cost")), estimateText(at("people_served")), reasons.first(index),
    ];
    return element("tr", "", ...texts.map((text) => element("td", "", element("div", "", foreign(text)))));
  });
  return element("table", "", element("thead", "", head), element("tbody", "", ...body));
}
