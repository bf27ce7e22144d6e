// Twelve months of the sites shown: what their sets can pump, what is wanted, what is used, all summed.

const YEAR = { width: 360, height: 146, left: 40, right: 10, top: 10, bottom: 20 };

// The columns of a quantity by month.
function monthColumns(sites, stem) {
  return MONTHS.map((_, month) => sites[`${stem}_${String(month + 1).padStart(2, "0")}`]);
}

// { pumpable, used, wanted: twelve sums, sites }: of the sites that have a set.
function monthSums(sites, list) {
  const found = { pumpable: new Array(12).fill(0), used: new Array(12).fill(0), wanted: new Array(12).fill(0), sites: 0 };
  const volumes = monthColumns(sites, "volume");
  const used = monthColumns(sites, "used");
  const { season, design_month: months, design_demand_m3_day: demands } = sites;
  for (const index of list) {
    if (Number.isNaN(volumes[0][index])) continue;
    const pattern = season[index];
    const design = demands[index] / pattern[months[index] - 1];
    found.sites += 1;
    for (let month = 0; month < 12; month += 1) {
      found.pumpable[month] += volumes[month][index];
      found.used[month] += used[month][index] || 0;
      found.wanted[month] += design * pattern[month] || 0;
    }
  }
  return found;
}

function yearChart({ pumpable, used, wanted }, words) {
  const top = roundTop(Math.max(...pumpable, ...wanted));
  const y = (value) => YEAR.top + (1 - value / top) * (YEAR.height - YEAR.top - YEAR.bottom);
  const left = (month) => YEAR.left + (month * (YEAR.width - YEAR.left - YEAR.right)) / 12;
  const bar = (name, values, gap) => values.map((value, month) =>
    svgElement("rect", { class: name, x: left(month) + gap, width: left(1) - left(0) - 2 * gap, y: y(value), height: y(0) - y(value) }));
  const letters = monthNames("narrow").map((letter, month) =>
    svgElement("text", { class: "chart-month", x: (left(month) + left(month + 1)) / 2, y: YEAR.height - 5 }, letter));
  const line = wanted.map((value, month) => `${month ? "L" : "M"}${fine(left(month))} ${fine(y(value))}H${fine(left(month + 1))}`);
  return svgElement("svg", { class: "chart year", viewBox: `0 0 ${YEAR.width} ${YEAR.height}`, role: "img", "aria-label": words },
    ...axisGrid(top, y, YEAR), ...bar("chart-spare", pumpable, 2), ...bar("chart-bar", used, 6), ...letters,
    svgElement("path", { class: "chart-demand", d: line.join("") }));
}
