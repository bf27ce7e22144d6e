// Canvases on the map. A canvas is larger than the view, so that a drag shows no bare edge; it is drawn anew when
// the map comes to rest and only scaled by the style while the map zooms.

const MARGIN = 0.2;
const FAINT = 0.16;
const TOUCH = 8;
const LARGEST = 40; // no mark has a larger radius
const MOST_NORTH = 85.0511287798; // where the square map of the world ends

const CanvasLayer = L.Layer.extend({
  onAdd() {
    this._canvas = element("canvas", "leaflet-layer leaflet-zoom-animated");
    this.getPane().append(this._canvas);
    this._place();
    this.redraw();
  },

  onRemove() {
    this._canvas.remove();
  },

  getEvents() {
    return { viewreset: this._reset, moveend: this._reset, resize: this._reset, zoomanim: this._follow };
  },

  // Changes of one frame are painted once; a move of the map at once, so that canvas and map never part.
  redraw() {
    if (!this._map || this._waiting) return;
    this._waiting = requestAnimationFrame(() => this._repaint());
  },

  _repaint() {
    cancelAnimationFrame(this._waiting);
    this._waiting = 0;
    this._context.clearRect(0, 0, this._size.x, this._size.y);
    this._paint(this._context, this._frame(this._corner));
  },

  _reset() {
    this._place();
    this._repaint();
  },

  // Scale of zoom-0 coordinates and the pixel corner that belongs to a layer point.
  _frame(layerPoint) {
    const origin = this._map.getPixelOrigin();
    return { scale: 2 ** this._map.getZoom(), left: origin.x + layerPoint.x, top: origin.y + layerPoint.y };
  },

  _place() {
    const size = this._map.getSize();
    const margin = size.multiplyBy(MARGIN).round();
    const whole = size.add(margin.multiplyBy(2));
    this._corner = this._map.containerPointToLayerPoint([0, 0]).subtract(margin).round();
    this._zoom = this._map.getZoom();
    L.DomUtil.setTransform(this._canvas, this._corner, 1);
    if (!this._size || !this._size.equals(whole)) {
      this._size = whole;
      this._context = sizeCanvas(this._canvas, whole.x, whole.y);
    }
  },

  _follow({ center, zoom }) {
    const scale = this._map.getZoomScale(zoom, this._zoom);
    const cornerAt = this._map.layerPointToLatLng(this._corner);
    const offset = this._map.project(cornerAt, zoom).subtract(this._map._getNewPixelOrigin(center, zoom));
    L.DomUtil.setTransform(this._canvas, offset, scale);
  },
});

const SiteLayer = CanvasLayer.extend({
  options: { pane: "sites" },

  initialize(sites, colouring, ground) {
    this._ground = ground;
    this._sites = sites;
    this._colouring = colouring;
    this._picture = makePicture();
    this._faint = makePicture();
    this._shown = new Uint8Array(sites.count).fill(1);
    this._matched = this._shown;
    this._selected = -1;
    this.reshape();
    this._project();
    this.recolour();
  },

  // shown: 1 for sites that are drawn; matched: 0 for sites that the search leaves faint.
  show(shown, matched) {
    this._shown = shown;
    this._matched = matched;
    this._unmatched = matched.includes(0);
    this._drawnAs = "";
    this.redraw();
  },

  select(index) {
    this._selected = index;
    this.redraw();
  },

  // Another layer of colour has marks of other sizes, so that others lie on top.
  reshape() {
    this._radius = new Float32Array(this._sites.count);
    for (let index = 0; index < this._sites.count; index += 1) this._radius[index] = this._colouring.radius(index);
    this._drawn = drawingOrder(this._sites, this._radius);
  },

  recolour() {
    this._looks = makeSprites(this._sites, this._colouring, this._radius);
    this._drawnAs = "";
    this.redraw();
  },

  // The site at a place of the map's container, or -1: the topmost mark hit, else the nearest within a finger's reach.
  siteAt(point) {
    const { scale, left, top } = this._frame(this._map.containerPointToLayerPoint([0, 0]));
    const [x, y] = [(point.x + left) / scale, (point.y + top) / scale];
    const reach = (LARGEST + TOUCH) / scale;
    let nearest = -1;
    let least = TOUCH;
    for (let place = this._drawn.length - 1; place >= 0; place -= 1) {
      const index = this._drawn[place];
      const across = this._x[index] - x;
      if (across > reach || across < -reach || !this._shown[index] || !this._matched[index]) continue;
      const away = Math.hypot(across, this._y[index] - y) * scale;
      if (away <= this._radius[index]) return index;
      if (away - this._radius[index] < least) {
        least = away - this._radius[index];
        nearest = index;
      }
    }
    return nearest;
  },

  // Where the marks are at zoom 0, and their size when the map was opened.
  marks() {
    return { x: this._x, y: this._y, radius: this._radius, drawn: this._drawn };
  },

  // World coordinates at zoom 0, once for all views; spherical Mercator as the map's own.
  _project() {
    const { latitude, longitude, count } = this._sites;
    this._x = new Float64Array(count);
    this._y = new Float64Array(count);
    for (const index of this._drawn) {
      const sine = Math.sin((Math.max(-MOST_NORTH, Math.min(MOST_NORTH, latitude[index])) * Math.PI) / 180);
      this._x[index] = 256 * (0.5 + longitude[index] / 360);
      this._y[index] = 256 * (0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI));
    }
  },

  // A printed canvas has a white ground of its own and hides what lies below it: there the ground is painted here.
  _paint(context, frame) {
    if (!context.canvas.width || !context.canvas.height) return; // the map is hidden
    if (document.body.classList.contains("printing")) this._ground.paint(context, frame);
    this._draw(context.canvas, frame);
    context.save();
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalAlpha = FAINT;
    if (this._unmatched) context.drawImage(this._faint.canvas, 0, 0);
    context.globalAlpha = 1;
    context.drawImage(this._picture.canvas, 0, 0);
    context.restore();
    const chosen = this._selected;
    if (chosen < 0 || !isOnMap(this._sites, chosen)) return;
    this._paintSelected(context, this._x[chosen] * frame.scale - frame.left, this._y[chosen] * frame.scale - frame.top);
  },

  // The pictures of the sites, drawn anew if anything but the selection has changed: matched ones, and below them the
  // others, to be shown faint.
  _draw({ width, height }, { scale, left, top }) {
    const density = window.devicePixelRatio || 1;
    const now = [width, height, scale, left, top, density].join(" ");
    if (this._drawnAs === now) return;
    this._drawnAs = now;
    const { slot, sprites } = this._looks;
    const pad = Math.ceil(PAD * density);
    for (const picture of this._unmatched ? [this._picture, this._faint] : [this._picture]) picture.begin(width, height, pad, sprites);
    for (const index of this._drawn) {
      if (!this._shown[index]) continue;
      const x = Math.round((this._x[index] * scale - left) * density);
      const y = Math.round((this._y[index] * scale - top) * density);
      if (x < 0 || y < 0 || x >= width || y >= height) continue;
      (this._matched[index] ? this._picture : this._faint).put(x, y, pad, sprites[slot[index]]);
    }
    this._picture.finish(pad);
    if (this._unmatched) this._faint.finish(pad);
  },

  _paintSelected(context, x, y) {
    const mark = this._colouring.mark(this._selected);
    paintMark(context, x, y, mark);
    for (const [gap, width, colour] of [[4, 5, PAPER], [4, 2.4, INK]]) {
      circle(context, x, y, mark.radius + gap);
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.stroke();
    }
  },
});

// Grey marks lie lowest, sites to equip highest, small marks above large ones; sites without a place are left out.
function drawingOrder(sites, radius) {
  const { levels, codes } = sites.coded("decision");
  const height = levels.map((decision) => DECISIONS.length - 1 - DECISIONS.indexOf(decision));
  const layer = (index) => height[codes[index]] * 4 * LARGEST + 4 * LARGEST - 1 - 2 * radius[index];
  const begin = new Int32Array(DECISIONS.length * 4 * LARGEST + 1);
  const onMap = Int32Array.from(sites.order).filter((index) => isOnMap(sites, index)).sort();
  for (const index of onMap) begin[layer(index) + 1] += 1;
  for (let place = 1; place < begin.length; place += 1) begin[place] += begin[place - 1];
  const drawn = new Int32Array(onMap.length);
  for (const index of onMap) drawn[begin[layer(index)]++] = index;
  return drawn;
}
