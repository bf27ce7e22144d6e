// The marks of the sites: shape says the decision, colour the cost of water, area the water used.

const INK = "#1d2b33";
const PAPER = "#fdfcf8";
const GREY = "#7c878b";
const PLAIN_RADIUS = 3.6;
const MARK_PAINTERS = {
  equip: paintDisc,
  test_first: paintRing,
  hold: paintSquare,
  unsuitable: paintCross,
  not_assessed: paintDiamond,
};

// mark: { decision, colour (null = grey), edge, radius, funded }; with a `shape` it is one of value_marks.js
function paintMark(context, x, y, mark) {
  context.lineJoin = "round";
  if (mark.shape) paintValueMark(context, x, y, mark);
  else MARK_PAINTERS[mark.decision](context, x, y, mark);
}

function circle(context, x, y, radius) {
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
}

function paintDisc(context, x, y, { colour, edge, radius, funded }) {
  circle(context, x, y, radius);
  context.fillStyle = colour || GREY;
  context.fill();
  context.lineWidth = funded ? 1.6 : 0.9;
  context.strokeStyle = edge;
  context.stroke();
  if (!funded) return;
  circle(context, x, y, radius + 1.5);
  context.lineWidth = 1.5;
  context.strokeStyle = INK;
  context.stroke();
}

function paintRing(context, x, y, { colour, edge, radius }) {
  const width = Math.min(2.1, radius * 0.6);
  circle(context, x, y, radius - width / 2);
  context.fillStyle = PAPER;
  context.fill();
  if (edge === INK) {
    context.lineWidth = width + 1.2;
    context.strokeStyle = INK;
    context.stroke();
  }
  context.lineWidth = width;
  context.strokeStyle = colour || GREY;
  context.stroke();
}

function paintSquare(context, x, y) {
  const side = 2 * PLAIN_RADIUS - 0.6;
  context.fillStyle = GREY;
  context.strokeStyle = PAPER;
  context.lineWidth = 0.9;
  context.fillRect(x - side / 2, y - side / 2, side, side);
  context.strokeRect(x - side / 2, y - side / 2, side, side);
}

function paintCross(context, x, y) {
  const arm = PLAIN_RADIUS - 0.6;
  context.beginPath();
  context.moveTo(x - arm, y - arm);
  context.lineTo(x + arm, y + arm);
  context.moveTo(x + arm, y - arm);
  context.lineTo(x - arm, y + arm);
  context.lineWidth = 1.6;
  context.strokeStyle = GREY;
  context.stroke();
}

function paintDiamond(context, x, y) {
  const arm = PLAIN_RADIUS;
  context.beginPath();
  context.moveTo(x, y - arm);
  context.lineTo(x + arm, y);
  context.lineTo(x, y + arm);
  context.lineTo(x - arm, y);
  context.closePath();
  context.fillStyle = PAPER;
  context.fill();
  context.lineWidth = 1.3;
  context.strokeStyle = GREY;
  context.stroke();
}

function isColoured(decision) {
  return decision === "equip" || decision === "test_first";
}

// The scale of areas: radius in pixels = factor × √(m3/d), so that the 98 % volume has the largest radius. With
// many sites or on a small map the marks are smaller. The least radius keeps small sites findable.
function makeSizes(sites, mapWidth) {
  const { levels, codes } = sites.coded("decision");
  const coloured = levels.map(isColoured);
  const volumes = sites.volume_used_m3_day.filter((volume, index) => volume > 0 && coloured[codes[index]]).sort();
  const typical = volumes.length ? volumes[Math.floor((volumes.length - 1) * 0.98)] : 1;
  const crowd = (700 / Math.max(sites.count, 1)) ** 0.25;
  const largest = Math.min(13, Math.max(5, 13 * crowd * Math.min(1, Math.sqrt(mapWidth / 800))));
  const factor = largest / Math.sqrt(typical);
  const radius = (volume) => (volume > 0 ? Math.max(2.6, factor * Math.sqrt(volume)) : PLAIN_RADIUS);
  // The radius of marks that say nothing by their size.
  const even = Math.round(2 * Math.min(6, Math.max(3.5, largest * 0.6))) / 2;
  return { typical, radius, even };
}

// A mark on a canvas of its own, for lists and legends.
function markCanvas(mark, size) {
  const canvas = element("canvas", "mark");
  canvas.setAttribute("aria-hidden", "true");
  paintMark(sizeCanvas(canvas, size, size), size / 2, size / 2, mark);
  return canvas;
}
