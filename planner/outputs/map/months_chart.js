// Twelve months of the sites shown: what their sets can pump, what is wanted, what is used, all summed.

const YEAR = { width: 360, height: 146, left: 40, right: 10, top: 10, bottom: 20 };

const YEARLY = 36; // twelve months of pumpable, used and wanted

// All months of all sites in one row each, made once; NaN at the first place of sites without a set.
function monthTable(sites) {
  const table = new Float32Array(sites.count * YEARLY);
  const fill = (stem, from) => {
    for (let month = 0; month < 12; month += 1) {
      const values = wholeColumn(sites, `${stem}_${String(month + 1).padStart(2, "0")}`);
      for (let index = 0; index < sites.count; index += 1) table[index * YEARLY + from + month] = values[index];
    }
  };
  fill("volume", 0);
  fill("used", 12);
  const [season, months, demands] = ["season", "design_month", "design_demand_m3_day"].map((name) => wholeColumn(sites, name));
  for (let index = 0; index < sites.count; index += 1) {
    const pattern = season[index];
    const design = demands[index] / pattern[months[index] - 1];
    for (let month = 0; month < 12; month += 1) table[index * YEARLY + 24 + month] = design * pattern[month];
  }
  return table;
}

// { pumpable, used, wanted: twelve sums, sites }: of the sites of a list that have a set.
function monthSums(table, list) {
  const sums = new Float64Array(YEARLY);
  let count = 0;
  for (const index of list) {
    const row = index * YEARLY;
    if (Number.isNaN(table[row])) continue;
    count += 1;
    for (let place = 0; place < YEARLY; place += 1) sums[place] += table[row + place] || 0;
  }
  return { pumpable: [...sums.slice(0, 12)], used: [...sums.slice(12, 24)], wanted: [...sums.slice(24)], sites: count };
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
  return svgElement("svg", { class: "chart", viewBox: `0 0 ${YEAR.width} ${YEAR.height}`, role: "img", "aria-label": words },
    ...axisGrid(top, y, YEAR), ...bar("chart-spare", pumpable, 2), ...bar("chart-bar", used, 6), ...letters,
    svgElement("path", { class: "chart-demand", d: line.join("") }));
}
