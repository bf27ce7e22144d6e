// Twelve bars: what the set can pump on the mean day of each month, against the demand of that day.

const CHART = { width: 308, height: 118, left: 30, right: 4, top: 8, bottom: 18 };

// demand: twelve values, or one number that is drawn as a line across; least: what the scale reaches at least
function monthChart(volumes, demand, designMonth, least = 0) {
  const demands = Array.isArray(demand) ? demand : volumes.map(() => demand);
  const top = chartTop(Math.max(...volumes, ...demands.filter(Number.isFinite), least, 0.1));
  const y = (value) => CHART.top + (1 - value / top) * (CHART.height - CHART.top - CHART.bottom);
  const chart = svgElement("svg", {
    class: "chart", viewBox: `0 0 ${CHART.width} ${CHART.height}`, role: "img", "aria-label": chartWords(volumes, demands),
  });
  chart.append(...chartGrid(top, y), ...chartBars(volumes, demands, y), ...chartMonths(designMonth));
  if (demands.every(Number.isFinite)) chart.append(demandLine(demands, y));
  return chart;
}

function chartTop(value) {
  const step = niceAbove(value) / 5;
  return Math.ceil(value / step) * step;
}

function monthLeft(month) {
  return CHART.left + (month * (CHART.width - CHART.left - CHART.right)) / 12;
}

function chartGrid(top, y) {
  return [0, 0.5, 1].flatMap((share) => [
    svgElement("line", { class: "chart-grid", x1: CHART.left, x2: CHART.width - CHART.right, y1: y(top * share), y2: y(top * share) }),
    svgElement("text", { class: "chart-number", x: CHART.left - 5, y: y(top * share) + 3.5 }, plainNumber(Number((top * share).toPrecision(3)))),
  ]);
}

// The part of a bar above the demand is lighter: nobody asked for that water.
function chartBars(volumes, demands, y) {
  const width = monthLeft(1) - monthLeft(0) - 5;
  return volumes.flatMap((volume, month) => {
    const needed = Number.isFinite(demands[month]) ? Math.min(volume, demands[month]) : volume;
    const bar = (name, low, high) =>
      svgElement("rect", { class: name, x: monthLeft(month) + 2.5, width, y: y(high), height: Math.max(0, y(low) - y(high)) });
    return [bar("chart-bar", 0, needed), bar("chart-spare", needed, volume)];
  });
}

function chartMonths(designMonth) {
  return monthNames("narrow").map((letter, month) =>
    svgElement("text", {
      class: month + 1 === designMonth ? "chart-month chart-design" : "chart-month",
      x: (monthLeft(month) + monthLeft(month + 1)) / 2,
      y: CHART.height - 4,
    }, letter),
  );
}

function demandLine(demands, y) {
  const steps = demands.map((demand, month) => `${month ? "L" : "M"}${monthLeft(month)} ${y(demand)}H${monthLeft(month + 1)}`);
  return svgElement("path", { class: "chart-demand", d: steps.join("") });
}

function chartWords(volumes, demands) {
  const names = monthNames("long");
  return volumes
    .map((volume, month) => say("page_chart_month", { month: names[month], volume: volumeText(volume), demand: volumeText(demands[month]) }))
    .join(", ");
}
