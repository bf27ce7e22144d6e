// The charts of the sites shown: supply curve and months. Drawn only while their tab is open.

const TABLE_ROWS = 12;

function startCharts(run, sites) {
  const sheet = byId("charts");
  let list = [];
  let curve = null;
  let year = null;
  let drawn = false;

  function draw() {
    drawn = !sheet.hidden;
    if (!drawn) return;
    const open = [...sheet.querySelectorAll("details")].map((one) => one.open);
    sheet.replaceChildren(
      element("p", "quiet", sayCount("page_charts_rows", list.length, { all: wholeText(sites.count) })),
      ...figures(),
    );
    sheet.querySelectorAll("details").forEach((one, place) => {
      one.open = Boolean(open[place]);
    });
  }

  // The same for paper, with the numbers in sight.
  function figures() {
    curve = curve || costOrder(sites);
    year = year || monthTable(sites);
    const wanted = new Uint8Array(sites.count);
    for (const index of list) wanted[index] = 1;
    return [curveFigure(run, supplySteps(curve, wanted)), yearFigure(monthSums(year, list))];
  }

  sheet.addEventListener("shown", () => {
    if (!drawn) draw();
  });
  whenSpoken(draw);
  return {
    figures,
    show(shown) {
      list = shown;
      drawn = false;
      draw();
    },
  };
}

function curveFigure(run, steps) {
  const unit = `${run.currency}/m³`;
  const head = element("h2", "", say("page_curve_head"));
  if (!steps.length) return element("section", "", head, element("p", "", say("page_curve_none")));
  const last = steps[steps.length - 1];
  const total = { n: wholeText(last.sites), volume: volumeText(last.to), low: costText(steps[0].cost), high: costText(last.cost), unit };
  const curve = supplyChart(steps, say("page_curve_words", total));
  const keys = [["funded", "page_curve_funded"], ["equip", "page_curve_equip"], ["test", "page_curve_test"]].filter(([part]) => hasPart(steps, part));
  return element(
    "section",
    "",
    head,
    element("p", "quiet", say("page_curve_axis", { currency: run.currency, year: run.price_year })),
    chartKeys(keys.map(([part, words]) => [`curve-${part}`, words])),
    curve.chart,
    element("p", "axis", say("page_curve_volume")),
    ...beyondWords(steps, unit),
    ...curveReadout(steps, curve, unit),
    numbersTable(
      [say("page_curve_sites"), say("page_curve_volume"), unit],
      tableSteps(steps).map((step) => [wholeText(step.sites), volumeText(step.to), costText(step.cost)]),
    ),
  );
}

function beyondWords(steps, unit) {
  const top = roundTop(curveTop(steps));
  const beyond = steps[steps.length - 1].sites - Math.max(0, ...steps.filter(({ cost }) => cost <= top).map(({ sites }) => sites));
  return beyond ? [element("p", "quiet", sayCount("page_curve_beyond", beyond, { cost: costText(steps[steps.length - 1].cost), unit }))] : [];
}

function hasPart(steps, part) {
  return steps.some(({ from, to, funded, equip }) => ({ funded, equip, test: to - from - funded - equip })[part] > 1e-9);
}

// A slider over the steps: the pointer on the chart moves it, the arrow keys too; its words are the reading.
function curveReadout(steps, curve, unit) {
  const reading = element("output", "reading");
  const slider = element("input");
  Object.assign(slider, { type: "range", min: "0", max: String(steps.length - 1), value: String(steps.length - 1), autocomplete: "off" });
  const read = () => {
    const step = steps[Number(slider.value)];
    const words = sayCount("page_curve_reading", step.sites, { volume: volumeText(step.to), cost: costText(step.cost), unit, funded: wholeText(step.fundedSites) });
    curve.point(Number(slider.value));
    reading.textContent = words;
    slider.setAttribute("aria-valuetext", words);
  };
  slider.addEventListener("input", read);
  curve.chart.addEventListener("pointermove", (event) => {
    slider.value = String(curve.stepUnder(event));
    read();
  });
  read();
  return [element("label", "curve-slider", element("span", "", say("page_curve_slider")), slider), reading];
}

// All steps if they are few, else the first, the last, and those between at equal parts of the volume.
function tableSteps(steps) {
  if (steps.length <= TABLE_ROWS) return steps;
  const total = steps[steps.length - 1].to;
  const places = Array.from({ length: TABLE_ROWS - 1 }, (_, part) => stepAt(steps, (part * total) / (TABLE_ROWS - 1)));
  return [...new Set([...places, steps.length - 1])].map((place) => steps[place]);
}

function yearFigure(sums) {
  const head = element("h2", "", say("page_year_head"));
  if (!sums.sites) return element("section", "", head, element("p", "", say("page_year_none")));
  const mean = (values) => volumeText(values.reduce((total, value) => total + value, 0) / 12);
  const words = say("page_year_words", { pumpable: mean(sums.pumpable), wanted: mean(sums.wanted), used: mean(sums.used) });
  const names = monthNames("long");
  return element(
    "section",
    "",
    head,
    element("p", "quiet", sayCount("page_year_axis", sums.sites)),
    chartKeys([["chart-spare", "page_year_pumpable"], ["chart-bar", "page_year_used"], ["chart-demand", "page_year_wanted"]]),
    yearChart(sums, words),
    numbersTable(
      [say("page_year_month"), say("page_year_pumpable"), say("page_year_wanted"), say("page_year_used")],
      names.map((name, month) => [name, volumeText(sums.pumpable[month]), volumeText(sums.wanted[month]), volumeText(sums.used[month])]),
    ),
  );
}

function chartKeys(keys) {
  const sample = (name) =>
    name === "chart-demand"
      ? svgElement("path", { class: name, d: "M1 6H15" })
      : svgElement("rect", { class: name, x: 1, y: 1, width: 14, height: 10 });
  const line = ([name, words]) => element("li", "", svgElement("svg", { width: 16, height: 12, "aria-hidden": "true" }, sample(name)), say(words));
  return element("ul", "chart-keys", ...keys.map(line));
}

// The numbers of a chart as a table, folded away.
function numbersTable(heads, rows) {
  const head = element("tr", "", ...heads.map((words) => {
    const made = element("th", "", words);
    made.scope = "col";
    return made;
  }));
  const body = rows.map((texts) => element("tr", "", ...texts.map((text) => element("td", "", text))));
  const table = element("table", "chart-table", element("thead", "", head), element("tbody", "", ...body));
  return element("details", "", element("summary", "", say("page_chart_table")), table);
}
