// The printed sheet: map, legend, totals, active filters and cautions on the first page, then the first rows.

const PRINT_ROWS = 26;

function startPrint(reframe, fill) {
  const printing = () => document.body.classList.contains("printing");
  const onlyFindings = () => document.body.classList.contains("printing-findings");
  const turn = () => reframe(() => document.body.classList.toggle("printing"));

  function enter() {
    if (printing() || onlyFindings()) return;
    fill();
    turn();
  }

  function leave() {
    if (printing()) turn();
  }

  // Browsers differ in which of the two they tell.
  window.addEventListener("beforeprint", enter);
  window.addEventListener("afterprint", leave);
  window.matchMedia("print").addEventListener("change", ({ matches }) => (matches ? enter() : leave()));
  byId("print").addEventListener("click", () => window.print());
}

function fillPrint(context, list, filters, orderWords) {
  const { run, sites } = context;
  const words = filters.length ? `Filters: ${filters.join("; ")}.` : "No filter is active.";
  byId("print-filters").textContent = `${words} ${wholeText(list.length)} of ${wholeText(sites.count)} inventory rows are shown.`;
  byId("print-run").textContent = [runWords(run), ...positionWords(run)].join(". ");
  byId("print-cautions").replaceChildren(...run.cautions.map((text) => element("li", "", foreign(text))));
  const rows = [...list.slice(0, PRINT_ROWS - (run.scenarios.length && run.scenarios.length + 4))];
  const left = list.length - rows.length;
  const rest = left ? `${wholeText(left)} more rows are left out here; sites.csv has them all.` : "All rows shown are printed.";
  byId("print-rows").replaceChildren(
    element("h2", "", foreign(`${run.programme}: `), `the first ${wholeText(rows.length)} rows, ${orderWords}`),
    printTable(context, rows),
    element("p", "", `${rest} ${words}`),
    ...(run.scenarios.length ? [element("h2", "", "What if"), scenarioTable(run)] : []),
    element("p", "quiet", runWords(run)),
  );
}

function printTable({ sites, reasons, run }, rows) {
  const heads = ["Rank", "Site", "Id", "Sub-district", "Decision", "Pump family", `${run.currency}/m³, scheme`, "m³/d used", `Capital, ${run.currency}, scheme`, "People", "Main reason"];
  const head = element("tr", "", ...heads.map((words) => {
    const made = element("th", "", words);
    made.scope = "col";
    return made;
  }));
  const body = rows.map((index) => {
    const at = (name) => sites[name][index];
    const texts = [
      Number.isFinite(at("rank")) ? wholeText(at("rank")) : MISSING, siteTitle(sites, index), at("site_id"), at("sub_district"), wordFor(DECISION_WORDS, at("decision")),
      wordFor(FAMILY_WORDS, at("pump_family")), costText(at("cost_per_m3")), volumeText(at("volume_used_m3_day")), estimateText(at("capital_cost")), estimateText(at("people_served")), reasons.first(index),
    ];
    return element("tr", "", ...texts.map((text) => element("td", "", element("div", "", foreign(text)))));
  });
  return element("table", "", element("thead", "", head), element("tbody", "", ...body));
}
