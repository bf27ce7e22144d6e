// The map itself: panes, controls, the ground, the sites, and a name beside the pointer.

const WIDE = window.matchMedia("(min-width: 900px)");

function drawMap(block, sites, colouring, notes) {
  const map = startMap();
  const bounds = block.areas.length ? block.areas.map(areaBounds).reduce((whole, part) => whole.extend(part)) : siteBounds(sites);
  showWhole(map, bounds);
  const ground = new GroundLayer(block.areas, block.relief, block.rest).addTo(map);
  addControls(map, bounds);
  addNotes(map, () => [...(block.rest ? [restWords("page_rest_note", block.rest)] : []), ...notes()]);
  const layer = new SiteLayer(sites, colouring, ground).addTo(map);
  addAreaNames(map, block.areas, layer.marks());
  new ResizeObserver(() => map.invalidateSize({ pan: false })).observe(byId("map"));
  return { map, layer, ground, bounds };
}

function startMap() {
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const map = L.map("map", {
    attributionControl: false, zoomSnap: 0.1, zoomDelta: 0.75, maxZoom: 17, zoomAnimation: !still, fadeAnimation: false,
  });
  for (const [name, level] of [["ground", 200], ["sites", 410], ["names", 420]]) {
    map.createPane(name).style.zIndex = level;
    map.getPane(name).style.pointerEvents = "none";
  }
  return map;
}

function siteBounds(sites) {
  let [south, west, north, east] = [Infinity, Infinity, -Infinity, -Infinity];
  for (let index = 0; index < sites.count; index += 1) {
    if (!isOnMap(sites, index)) continue;
    [south, north] = [Math.min(south, sites.latitude[index]), Math.max(north, sites.latitude[index])];
    [west, east] = [Math.min(west, sites.longitude[index]), Math.max(east, sites.longitude[index])];
  }
  return south <= north ? L.latLngBounds([south, west], [north, east]) : L.latLngBounds([]);
}

function showWhole(map, bounds) {
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [26, 26], animate: false });
  else map.setView([0, 0], 2);
}

function addControls(map, bounds) {
  const whole = L.control({ position: "topleft" });
  whole.onAdd = () => {
    const button = element("button", "whole");
    button.type = "button";
    whenSpoken(() => button.replaceChildren(say("page_whole_area")));
    button.addEventListener("click", () => showWhole(map, bounds));
    L.DomEvent.disableClickPropagation(button);
    return button;
  };
  whole.addTo(map);
  whenSpoken(() => sayZoom(map));
  L.control.scale({ imperial: false, maxWidth: 120 }).addTo(map);
  const north = L.control({ position: "bottomleft" });
  north.onAdd = () => element("div", "north", northMark());
  north.addTo(map);
}

function sayZoom(map) {
  for (const [name, key] of [["in", "page_zoom_in"], ["out", "page_zoom_out"]]) {
    const button = map.zoomControl.getContainer().querySelector(`.leaflet-control-zoom-${name}`);
    button.title = say(key);
    button.setAttribute("aria-label", say(key));
  }
}

// notes() gives the lines that stand on the map.
function addNotes(map, notes) {
  notes().forEach((_, place) => {
    const note = L.control({ position: "bottomright" });
    const line = element("p", "note");
    note.onAdd = () => line;
    note.addTo(map);
    whenSpoken(() => line.replaceChildren(notes()[place]));
  });
}

function northMark() {
  const letter = svgElement("text", { x: 10, y: 32, "text-anchor": "middle", "font-size": 12, "font-weight": 700, fill: INK });
  const mark = svgElement(
    "svg",
    { viewBox: "0 0 20 34", width: 20, height: 34, role: "img" },
    svgElement("path", { d: "M10 0 L16 18 L10 14.5 Z", fill: INK }),
    svgElement("path", { d: "M10 0 L4 18 L10 14.5 Z", fill: PAPER, stroke: INK, "stroke-width": 0.8 }),
    letter,
  );
  whenSpoken(() => {
    letter.replaceChildren(say("page_north_letter"));
    mark.setAttribute("aria-label", say("page_north"));
  });
  return mark;
}

// Change the size of the map's frame and keep what it shows; undoing the change restores the very view.
function makeReframe(map, whole) {
  let last = null;
  return (change) => {
    const before = { centre: map.getCenter(), zoom: map.getZoom() };
    const bounds = map.getBounds();
    change();
    map.invalidateSize({ animate: false });
    const untouched = last && last.after.zoom === before.zoom && last.after.centre.equals(before.centre);
    if (untouched) map.setView(last.before.centre, last.before.zoom, { animate: false });
    else if (whole.isValid() && bounds.contains(whole)) showWhole(map, whole);
    else map.fitBounds(bounds, { animate: false });
    last = untouched ? null : { before, after: { centre: map.getCenter(), zoom: map.getZoom() } };
  };
}

// A ring around the site that the pointer or the table's cursor is on; cheaper than painting all sites anew.
function makeHalo(map, sites) {
  const halo = element("div", "halo leaflet-zoom-hide");
  halo.hidden = true;
  map.getPane("names").append(halo);
  let shown = -1;
  const place = () => {
    halo.hidden = shown < 0 || !isOnMap(sites, shown);
    if (!halo.hidden) L.DomUtil.setPosition(halo, map.latLngToLayerPoint([sites.latitude[shown], sites.longitude[shown]]));
  };
  map.on("zoomend viewreset", place);
  return (index) => {
    shown = index;
    place();
  };
}

// The name beside the pointer and the pointing hand over a mark; tells `onPoint` which site it is, -1 for none.
function startTip(map, layer, sites, onPoint) {
  const tip = byId("tip");
  let last = -1;
  const point = (index, { x, y }) => {
    map.getContainer().classList.toggle("pointing", index >= 0);
    tip.hidden = index < 0;
    if (index >= 0) tip.style.transform = `translate(${x + 14}px, ${y - 12}px)`;
    if (index === last) return;
    last = index;
    if (index >= 0) tip.replaceChildren(foreign(siteTitle(sites, index)));
    onPoint(index);
  };
  map.on("mousemove", ({ containerPoint }) => point(layer.siteAt(containerPoint), containerPoint));
  map.on("mouseout movestart zoomstart", () => point(-1, { x: 0, y: 0 }));
}

// Move the map just so far that the site lies beside the pop-up, or above it on a narrow page.
function bringIntoView(map, sites, index, popup) {
  if (!isOnMap(sites, index)) return;
  if (!WIDE.matches) map.getContainer().scrollIntoView({ block: "start" });
  const point = map.latLngToContainerPoint([sites.latitude[index], sites.longitude[index]]);
  const size = map.getSize();
  const free = WIDE.matches
    ? L.point(size.x - popup.offsetWidth - 20, size.y)
    : L.point(size.x, Math.min(size.y, window.innerHeight - popup.offsetHeight));
  const inside = point.x > 40 && point.y > 40 && point.x < free.x - 30 && point.y < free.y - 40;
  if (!inside) map.panBy(point.subtract(free.divideBy(2)), { animate: false });
}
