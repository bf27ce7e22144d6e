// Marks of the layers that colour by a value: the shape is that of the decision or of the class; a site without the
// value is hollow. An ink line around each keeps light classes visible on paper.

const DECISION_SHAPES = { equip: "disc", test_first: "holed", hold: "square", unsuitable: "cross", not_assessed: "diamond" };

const SHAPE_PATHS = {
  disc: circle,
  share: circle,
  holed: circle,
  square: (context, x, y, radius) => tracePolygon(context, x, y, radius * 1.2, [45, 135, 225, 315]),
  diamond: (context, x, y, radius) => tracePolygon(context, x, y, radius * 1.2, [0, 90, 180, 270]),
  triangle: (context, x, y, radius) => tracePolygon(context, x, y + radius * 0.15, radius * 1.3, [30, 150, 270]),
};

function tracePolygon(context, x, y, reach, corners) {
  context.beginPath();
  for (const corner of corners) {
    const turn = (corner * Math.PI) / 180;
    context.lineTo(x + reach * Math.cos(turn), y + reach * Math.sin(turn));
  }
  context.closePath();
}

function paintValueMark(context, x, y, mark) {
  if (mark.shape === "cross") paintValueCross(context, x, y, mark);
  else paintValueShape(context, x, y, mark);
  if (!mark.funded) return;
  circle(context, x, y, mark.radius + 2);
  context.lineWidth = 1.5;
  context.strokeStyle = INK;
  context.stroke();
}

function paintValueShape(context, x, y, { shape, colour, tint, edge, radius, share }) {
  const trace = SHAPE_PATHS[shape];
  trace(context, x, y, radius);
  context.fillStyle = shape === "share" ? tint : colour || PAPER;
  context.fill();
  if (shape === "share") paintShare(context, x, y, radius, colour === tint ? edge : colour, share);
  if (colour && shape === "holed") paintHole(context, x, y, radius, edge);
  trace(context, x, y, radius);
  context.lineWidth = colour ? 0.9 : 1.2;
  context.strokeStyle = colour ? edge : GREY;
  context.stroke();
}

// A part of the disc, from the top clockwise.
function paintShare(context, x, y, radius, colour, share) {
  context.beginPath();
  context.moveTo(x, y);
  context.arc(x, y, radius, -Math.PI / 2, (2 * share - 0.5) * Math.PI);
  context.closePath();
  context.fillStyle = colour;
  context.fill();
}

function paintHole(context, x, y, radius, edge) {
  circle(context, x, y, radius * 0.4);
  context.fillStyle = PAPER;
  context.fill();
  context.lineWidth = 0.7;
  context.strokeStyle = edge;
  context.stroke();
}

function paintValueCross(context, x, y, { colour, radius }) {
  const arm = Math.min(radius, PLAIN_RADIUS) - 0.6;
  context.beginPath();
  context.moveTo(x - arm, y - arm);
  context.lineTo(x + arm, y + arm);
  context.moveTo(x + arm, y - arm);
  context.lineTo(x - arm, y + arm);
  context.lineWidth = 1.6;
  context.strokeStyle = colour || GREY;
  context.stroke();
}
