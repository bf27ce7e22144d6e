// The sites as one canvas on the map. The canvas is larger than the view, so that a drag shows no bare edge; it is
// drawn anew when the map comes to rest and only scaled by the style while the map zooms.

const MARGIN = 0.2;
const FAINT = 0.16;
const TOUCH = 8;

const SiteLayer = L.Layer.extend({
  options: { pane: "sites" },

  initialize(sites, colours, sizes) {
    this._sites = sites;
    this._marks = Array.from({ length: sites.count }, (_, index) => siteMark(sites, index, colours, sizes));
    this._drawn = this._drawingOrder();
    this._project();
    this._shown = new Uint8Array(sites.count).fill(1);
    this._matched = new Uint8Array(sites.count).fill(1);
    this._selected = -1;
  },

  onAdd(map) {
    this._canvas = element("canvas", "leaflet-layer leaflet-zoom-animated");
    this.getPane().append(this._canvas);
    this._reset();
  },

  onRemove() {
    this._canvas.remove();
  },

  getEvents() {
    return { viewreset: this._reset, moveend: this._reset, resize: this._reset, zoomanim: this._follow };
  },

  // shown: 1 for sites that are drawn; matched: 0 for sites that the search leaves faint.
  show(shown, matched) {
    this._shown = shown;
    this._matched = matched;
    this._paint();
  },

  select(index) {
    this._selected = index;
    this._paint();
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
      if (away <= this._marks[index].radius) return index;
      if (away - this._marks[index].radius < least) {
        least = away - this._marks[index].radius;
        nearest = index;
      }
    }
    return nearest;
  },

  // Grey marks lie lowest, sites to equip highest, small marks above large ones.
  _drawingOrder() {
    const height = (index) => DECISIONS.length - DECISIONS.indexOf(this._sites.decision[index]);
    return Array.from({ length: this._sites.count }, (_, index) => index)
      .filter((index) => isOnMap(this._sites, index))
      .sort((left, right) => height(left) - height(right) || this._marks[right].radius - this._marks[left].radius);
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

  // Scale of zoom-0 coordinates and the pixel corner that belongs to a layer point.
  _frame(layerPoint) {
    const origin = this._map.getPixelOrigin();
    return { scale: 2 ** this._map.getZoom(), left: origin.x + layerPoint.x, top: origin.y + layerPoint.y };
  },

  _reset() {
    const size = this._map.getSize();
    const margin = size.multiplyBy(MARGIN).round();
    this._corner = this._map.containerPointToLayerPoint([0, 0]).subtract(margin).round();
    this._size = size.add(margin.multiplyBy(2));
    this._centre = this._map.getCenter();
    this._zoom = this._map.getZoom();
    L.DomUtil.setTransform(this._canvas, this._corner, 1);
    this._context = sizeCanvas(this._canvas, this._size.x, this._size.y);
    this._paint();
  },

  _follow({ center, zoom }) {
    const scale = this._map.getZoomScale(zoom, this._zoom);
    const cornerAt = this._map.layerPointToLatLng(this._corner);
    const offset = this._map.project(cornerAt, zoom).subtract(this._map._getNewPixelOrigin(center, zoom));
    L.DomUtil.setTransform(this._canvas, offset, scale);
  },

  _paint() {
    const { scale, left, top } = this._frame(this._corner);
    const context = this._context;
    const reach = 30;
    context.clearRect(0, 0, this._size.x, this._size.y);
    for (const index of this._drawn) {
      if (!this._shown[index]) continue;
      const x = this._x[index] * scale - left;
      const y = this._y[index] * scale - top;
      if (x < -reach || y < -reach || x > this._size.x + reach || y > this._size.y + reach) continue;
      context.globalAlpha = this._matched[index] ? 1 : FAINT;
      paintMark(context, x, y, this._marks[index]);
    }
    context.globalAlpha = 1;
    if (this._selected >= 0 && isOnMap(this._sites, this._selected)) this._paintSelected(scale, left, top);
  },

  _paintSelected(scale, left, top) {
    const context = this._context;
    const mark = this._marks[this._selected];
    const x = this._x[this._selected] * scale - left;
    const y = this._y[this._selected] * scale - top;
    paintMark(context, x, y, mark);
    for (const [gap, width, colour] of [[4, 5, PAPER], [4, 2.4, INK]]) {
      circle(context, x, y, mark.radius + gap);
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.stroke();
    }
  },
});
