// Canvases on the map. A canvas is larger than the view, so that a drag shows no bare edge; it is drawn anew when
// the map comes to rest and only scaled by the style while the map zooms.

const MARGIN = 0.2;
const FAINT = 0.16;
const TOUCH = 8;

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
    this.redraw();
  },

  select(index) {
    this._selected = index;
    this.redraw();
  },

  // Another layer of colour has marks of other sizes, so that others lie on top.
  reshape() {
    this._radius = Float32Array.from({ length: this._sites.count }, (_, index) => this._colouring.radius(index));
    this._drawn = this._drawingOrder();
  },

  recolour() {
    this._looks = makeSprites(this._sites, this._colouring, this._radius);
    this.redraw();
  },

  // The site at a place of the map's container, or -1: the topmost mark hit, else the nearest within a finger's reach.
  siteAt(point) {
    const { scale, left, top } = this._frame(this._map.containerPointToLayerPoint([0, 0]));
    let nearest = -1;
    let least = TOUCH;
    for (let place = this._drawn.length - 1; place >= 0; place -= 1) {
      const index = this._drawn[place];
      if (!this._shown[index] || !this._matched[index]) continue;
      const away = Math.hypot(this._x[index] * scale - left - point.x, this._y[index] * scale - top - point.y);
      if (away <= this._radius[index]) return index;
      if (away - this._radius[index] < least) {
        least = away - this._radius[index];
        nearest = index;
      }
    }
    return nearest;
  },

  // Grey marks lie lowest, sites to equip highest, small marks above large ones.
  _drawingOrder() {
    const height = Int8Array.from(this._sites.decision, (decision) => -DECISIONS.indexOf(decision));
    return indexes(this._sites)
      .filter((index) => isOnMap(this._sites, index))
      .sort((left, right) => height[left] - height[right] || this._radius[right] - this._radius[left]);
  },

  // World coordinates at zoom 0, once for all views.
  _project() {
    this._x = new Float64Array(this._sites.count);
    this._y = new Float64Array(this._sites.count);
    for (const index of this._drawn) {
      const point = L.CRS.EPSG3857.latLngToPoint(L.latLng(this._sites.latitude[index], this._sites.longitude[index]), 0);
      this._x[index] = point.x;
      this._y[index] = point.y;
    }
  },

  // A printed canvas has a white ground of its own and hides what lies below it: there the ground is painted here.
  _paint(context, frame) {
    if (document.body.classList.contains("printing")) this._ground.paint(context, frame);
    this._paintSites(context, frame);
  },

  _paintSites(context, { scale, left, top }) {
    const reach = 20;
    const { slot, sprites } = this._looks;
    const density = window.devicePixelRatio || 1;
    const whole = (place) => Math.round(place * density) / density;
    for (const index of this._drawn) {
      if (!this._shown[index]) continue;
      const x = this._x[index] * scale - left;
      const y = this._y[index] * scale - top;
      if (x < -reach || y < -reach || x > this._size.x + reach || y > this._size.y + reach) continue;
      const alpha = this._matched[index] ? 1 : FAINT;
      if (alpha !== context.globalAlpha) context.globalAlpha = alpha;
      const { canvas, half } = sprites[slot[index]];
      context.drawImage(canvas, whole(x - half), whole(y - half), 2 * half, 2 * half);
    }
    context.globalAlpha = 1;
    const chosen = this._selected;
    if (chosen >= 0 && isOnMap(this._sites, chosen)) this._paintSelected(context, this._x[chosen] * scale - left, this._y[chosen] * scale - top);
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

// Equal marks are drawn once and copied to whole pixels of the screen: three times faster than drawing each.
function makeSprites(sites, colouring, radius) {
  const slots = new Map();
  const sprites = [];
  const slot = Uint16Array.from({ length: sites.count }, (_, index) => {
    const key = `${sites.decision[index]} ${colouring.layer.classes[index]} ${radius[index]} ${sites.funding[index]}`;
    if (!slots.has(key)) {
      slots.set(key, sprites.length);
      sprites.push(makeSprite(colouring.mark(index)));
    }
    return slots.get(key);
  });
  return { slot, sprites };
}

function makeSprite(mark) {
  const half = Math.ceil(mark.radius + 3.5);
  const canvas = element("canvas");
  paintMark(sizeCanvas(canvas, 2 * half, 2 * half), half, half, mark);
  return { canvas, half };
}
