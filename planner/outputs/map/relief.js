// The ground: the areas as paper, on it, if the page has one, the shaded relief, and their outlines. All lie on one
// canvas, because browsers leave pictures out of a printed map.

const OUTLINE = "#76868c";

const GroundLayer = CanvasLayer.extend({
  options: { pane: "ground" },

  initialize(areas, relief, rest) {
    this._rest = rest;
    this._rings = areas.flatMap(areaRings).map(projectRing);
    this._relief = relief;
    this._overTiles = false;
    this._withRelief = Boolean(relief);
    if (relief) readPicture(relief.picture, !areas.length).then((picture) => this._take(picture));
  },

  showRelief(wanted) {
    this._withRelief = wanted;
    this.redraw();
  },

  // Over tiles only the outlines remain; a printed map has no tiles and keeps its ground.
  showTiles(wanted) {
    if (this._overTiles === wanted) return;
    this._overTiles = wanted;
    this.redraw();
  },

  _take(picture) {
    this._picture = picture;
    this.redraw();
  },

  _paint(context, frame) {
    this.paint(context, frame);
  },

  paint(context, frame) {
    const outlines = new Path2D();
    for (const ring of this._rings) traceRing(outlines, ring, frame);
    const bare = this._overTiles && !document.body.classList.contains("printing");
    context.save();
    if (this._rings.length && !bare) {
      context.fillStyle = PAPER;
      context.fill(outlines);
      context.clip(outlines);
    }
    if (this._withRelief && this._picture && !bare) this._paintRelief(context, frame);
    context.restore();
    context.lineWidth = 1.2;
    context.strokeStyle = OUTLINE;
    context.stroke(outlines);
    if (this._rest) paintRest(context, this._rest, frame);
  },

  _paintRelief(context, { scale, left, top }) {
    const { south, west, north, east } = this._relief;
    const upper = L.CRS.EPSG3857.latLngToPoint(L.latLng(north, west), 0).multiplyBy(scale);
    const lower = L.CRS.EPSG3857.latLngToPoint(L.latLng(south, east), 0).multiplyBy(scale);
    context.drawImage(this._picture, upper.x - left, upper.y - top, lower.x - upper.x, lower.y - upper.y);
  },
});

function projectRing(ring) {
  return ring.map(([longitude, latitude]) => L.CRS.EPSG3857.latLngToPoint(L.latLng(latitude, longitude), 0));
}

function traceRing(path, ring, { scale, left, top }) {
  ring.forEach(({ x, y }, place) => {
    if (place) path.lineTo(x * scale - left, y * scale - top);
    else path.moveTo(x * scale - left, y * scale - top);
  });
  path.closePath();
}

// The picture as a canvas in the tone of the paper; without areas that cut it out, its edge fades into the ground.
async function readPicture(text, faded) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const picture = await createImageBitmap(new Blob([bytes], { type: "image/jpeg" }));
  const canvas = element("canvas");
  canvas.width = picture.width;
  canvas.height = picture.height;
  const context = canvas.getContext("2d");
  context.drawImage(picture, 0, 0);
  context.globalCompositeOperation = "multiply";
  context.fillStyle = PAPER;
  context.fillRect(0, 0, canvas.width, canvas.height);
  if (faded) fadeEdges(context, canvas.width, canvas.height);
  return canvas;
}

function fadeEdges(context, width, height) {
  context.globalCompositeOperation = "destination-in";
  for (const end of [[width, 0], [0, height]]) {
    const fade = context.createLinearGradient(0, 0, ...end);
    for (const [place, opacity] of [[0, 0], [0.08, 1], [0.92, 1], [1, 0]]) fade.addColorStop(place, `rgb(0 0 0 / ${100 * opacity}%)`);
    context.fillStyle = fade;
    context.fillRect(0, 0, width, height);
  }
}
