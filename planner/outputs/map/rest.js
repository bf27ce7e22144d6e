// Sites beyond the number that a page lists: counted by cell of a grid, and drawn as squares below the marks.

const REST_TONE = "#5d6b73";
const REST_ROOM = 26; // pixels of a cell that its number needs

function paintRest(context, { cells, size }, { scale, left, top }) {
  const most = Math.max(1, ...cells.map(([, , count]) => count));
  const place = (latitude, longitude) => L.CRS.EPSG3857.latLngToPoint(L.latLng(latitude, longitude), 0).multiplyBy(scale);
  context.save();
  context.font = "12px Arial, sans-serif";
  context.textAlign = "center";
  context.textBaseline = "middle";
  for (const [south, west, count] of cells) {
    const lower = place(south, west);
    const upper = place(south + size, west + size);
    const [x, y, width, height] = [lower.x - left, upper.y - top, upper.x - lower.x, lower.y - upper.y];
    context.globalAlpha = 0.12 + 0.3 * Math.sqrt(count / most);
    context.fillStyle = REST_TONE;
    context.fillRect(x + 0.5, y + 0.5, width - 1, height - 1);
    context.globalAlpha = 1;
    if (width < REST_ROOM) continue;
    context.fillStyle = INK;
    context.fillText(wholeText(count), x + width / 2, y + height / 2);
  }
  context.restore();
}

function restWords(key, { kept, count }) {
  return say(key, { kept: wholeText(kept), rest: wholeText(count) });
}
