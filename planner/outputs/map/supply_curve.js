// The supply curve as a picture: volume used, added up in order of cost, against the cost of water of each step.

const CURVE = { width: 360, height: 176, left: 40, right: 10, top: 10, bottom: 22 };

function supplyChart(steps, words) {
  const right = roundTop(steps[steps.length - 1].to);
  const top = roundTop(curveTop(steps));
  const x = (volume) => CURVE.left + (volume / right) * (CURVE.width - CURVE.left - CURVE.right);
  const y = (cost) => CURVE.top + Math.max(-0.03, 1 - cost / top) * (CURVE.height - CURVE.top - CURVE.bottom);
  const pointer = svgElement("g", { class: "curve-pointer", visibility: "hidden" },
    svgElement("line", { y1: CURVE.top, y2: y(0) }), svgElement("circle", { r: 4 }));
  const chart = svgElement("svg", { class: "chart curve", viewBox: `0 0 ${CURVE.width} ${CURVE.height}`, role: "img", "aria-label": words },
    ...axisGrid(top, y, CURVE), ...volumeTicks(right, x, y(0)), ...curveParts(steps, x, y), curveLine(steps, x, y), pointer);

  return {
    chart,
    // The step below a place on the screen.
    stepUnder({ clientX }) {
      const box = chart.getBoundingClientRect();
      const place = ((clientX - box.left) / box.width) * CURVE.width;
      return stepAt(steps, ((place - CURVE.left) / (CURVE.width - CURVE.left - CURVE.right)) * right);
    },
    point(place) {
      const step = steps[place];
      pointer.setAttribute("visibility", step ? "visible" : "hidden");
      if (step) pointer.setAttribute("transform", `translate(${x(step.to)} 0)`);
      if (step) pointer.lastChild.setAttribute("cy", y(step.cost));
    },
  };
}

// Highest cost on the axis. A few very dear sites would press the rest flat: they reach above it, and words say so.
function curveTop(steps) {
  const last = steps[steps.length - 1];
  const most = steps[stepAt(steps, 0.98 * last.to)].cost;
  return last.cost > 2 * most ? 1.4 * most : last.cost;
}

function roundTop(value) {
  const step = niceAbove(value) / 10;
  return Math.ceil((value / step) * (1 - 1e-9)) * step;
}

function axisGrid(top, y, { width, left, right }) {
  return [0, 0.5, 1].flatMap((share) => [
    svgElement("line", { class: "chart-grid", x1: left, x2: width - right, y1: y(top * share), y2: y(top * share) }),
    svgElement("text", { class: "chart-number", x: left - 5, y: y(top * share) + 3.5 }, axisText(top * share)),
  ]);
}

function volumeTicks(right, x, foot) {
  return [0, 0.25, 0.5, 0.75, 1].flatMap((share) => [
    svgElement("line", { class: "chart-tick", x1: x(right * share), x2: x(right * share), y1: foot, y2: foot + 4 }),
    svgElement("text", { class: share === 1 ? "chart-number" : "chart-month", x: x(right * share) + (share === 1 ? 8 : 0), y: foot + 16 }, axisText(right * share)),
  ]);
}

function axisText(value) {
  const exact = Number(value.toPrecision(3));
  return Math.abs(exact) >= 1000 ? wholeText(exact) : plainNumber(exact);
}

// Below the curve: funded dark, other sites to equip lighter, sites to test first hollow; within a step side by side.
function curveParts(steps, x, y) {
  const paths = { funded: [], equip: [], test: [] };
  const block = (from, to, cost) => `M${fine(x(from))} ${fine(y(0))}V${fine(y(cost))}H${fine(x(to))}V${fine(y(0))}Z`;
  for (const { from, to, funded, equip, cost } of steps) {
    if (funded) paths.funded.push(block(from, from + funded, cost));
    if (equip) paths.equip.push(block(from + funded, from + funded + equip, cost));
    if (to - from - funded - equip > 1e-9) paths.test.push(block(from + funded + equip, to, cost));
  }
  return Object.entries(paths).map(([name, parts]) => svgElement("path", { class: `curve-${name}`, d: parts.join("") }));
}

function curveLine(steps, x, y) {
  const parts = steps.map(({ to, cost }, place) => `${place ? "V" : `M${fine(x(0))} `}${fine(y(cost))}H${fine(x(to))}`);
  return svgElement("path", { class: "curve-line", d: parts.join("") });
}

function fine(pixels) {
  return Math.round(pixels * 10) / 10;
}
