// Start: read the data, draw the map, and tie legend, list, search and pop-up together.

const WIDE = window.matchMedia("(min-width: 900px)");

function startMap() {
  const still = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
  const map = L.map("map", {
    attributionControl: false, zoomSnap: 0.1, zoomDelta: 0.75, maxZoom: 17, zoomAnimation: !still, fadeAnimation: false,
  });
  for (const [name, level] of [["areas", 200], ["sites", 410], ["names", 420]]) {
    map.createPane(name).style.zIndex = level;
    map.getPane(name).style.pointerEvents = "none";
  }
  return map;
}

function siteBounds(sites) {
  const bounds = L.latLngBounds([]);
  for (let index = 0; index < sites.count; index += 1) {
    if (isOnMap(sites, index)) bounds.extend([sites.latitude[index], sites.longitude[index]]);
  }
  return bounds;
}

function showWhole(map, bounds) {
  if (bounds.isValid()) map.fitBounds(bounds, { padding: [26, 26], animate: false });
  else map.setView([0, 0], 2);
}

function addControls(map, bounds) {
  const whole = L.control({ position: "topleft" });
  whole.onAdd = () => {
    const button = element("button", "whole", "Whole area");
    button.type = "button";
    button.addEventListener("click", () => showWhole(map, bounds));
    L.DomEvent.disableClickPropagation(button);
    return button;
  };
  whole.addTo(map);
  L.control.scale({ imperial: false, maxWidth: 120 }).addTo(map);
  const north = L.control({ position: "bottomleft" });
  north.onAdd = () => element("div", "north", northMark());
  north.addTo(map);
}

function northMark() {
  return svgElement(
    "svg",
    { viewBox: "0 0 20 34", width: 20, height: 34, role: "img", "aria-label": "North is up" },
    svgElement("path", { d: "M10 0 L16 18 L10 14.5 Z", fill: INK }),
    svgElement("path", { d: "M10 0 L4 18 L10 14.5 Z", fill: PAPER, stroke: INK, "stroke-width": 0.8 }),
    svgElement("text", { x: 10, y: 32, "text-anchor": "middle", "font-size": 12, "font-weight": 700, fill: INK }, "N"),
  );
}

function startTabs() {
  const tabs = [...document.querySelectorAll("[role=tab]")];
  function open(chosen) {
    for (const tab of tabs) {
      tab.setAttribute("aria-selected", String(tab === chosen));
      tab.tabIndex = tab === chosen ? 0 : -1;
      byId(tab.getAttribute("aria-controls")).hidden = tab !== chosen;
    }
  }
  tabs.forEach((tab, place) => {
    tab.addEventListener("click", () => open(tab));
    tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = tabs[(place + step + tabs.length) % tabs.length];
      open(next);
      next.focus();
    });
  });
  return (id) => {
    open(byId(id));
    byId(byId(id).getAttribute("aria-controls")).focus();
  };
}

// A small name beside the pointer, and the pointing hand over a mark.
function startTip(map, layer, sites) {
  const tip = byId("tip");
  map.on("mousemove", ({ containerPoint }) => {
    const index = layer.siteAt(containerPoint);
    map.getContainer().classList.toggle("pointing", index >= 0);
    tip.hidden = index < 0;
    if (index < 0) return;
    tip.replaceChildren(foreign(siteTitle(sites, index)));
    tip.style.transform = `translate(${containerPoint.x + 14}px, ${containerPoint.y - 12}px)`;
  });
  map.on("mouseout movestart zoomstart", () => {
    tip.hidden = true;
  });
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

function startPopup(map, layer, list, sites, context) {
  const popup = byId("popup");
  let opener = null;

  function open(index, from) {
    opener = from;
    fillPopup(popup, sites, index, context, close);
    popup.hidden = false;
    layer.select(index);
    list.mark(index);
    bringIntoView(map, sites, index, popup);
    popup.focus({ preventScroll: true });
  }

  function close() {
    if (popup.hidden) return;
    popup.hidden = true;
    layer.select(-1);
    list.mark(-1);
    (opener || map.getContainer()).focus({ preventScroll: WIDE.matches });
  }

  map.on("click", ({ containerPoint }) => {
    const index = layer.siteAt(containerPoint);
    if (index >= 0) open(index, null);
    else close();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") close();
  });
  return open;
}

function startSearch(onChange, onEnter) {
  const field = byId("search");
  field.addEventListener("input", onChange);
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter") onEnter(field);
  });
  return () => plainLetters(field.value.trim());
}

function drawMap(block, sites, context) {
  const map = startMap();
  const outlines = areaOutlines(block.areas);
  const bounds = block.areas.length ? outlines.getBounds() : siteBounds(sites);
  showWhole(map, bounds);
  outlines.addTo(map);
  addAreaNames(map, block.areas, outlines.getLayers());
  addControls(map, bounds);
  const layer = new SiteLayer(sites, context.colours, context.sizes).addTo(map);
  startTip(map, layer, sites);
  new ResizeObserver(() => map.invalidateSize({ pan: false })).observe(byId("map"));
  return { map, layer };
}

function writeWords(run, sites, openTab, onOpen) {
  const offMap = sites.order.filter((index) => !isOnMap(sites, index));
  fillHead(run, sites);
  fillCaution(run, () => openTab("tab-read"));
  fillReadFirst(run, sites, offMap.length);
  fillOffMap(sites, offMap, onOpen);
  byId("column-cost").append(`${run.currency}/m³`);
}

function start() {
  const block = readBlock();
  const sites = readSites(block.sites, block.cost.breaks);
  const sizes = makeSizes(sites, byId("map").offsetWidth);
  const context = { run: block.run, colours: block.cost.colours, sizes };
  const onOpen = (index, from) => open(index, from);

  // Words and legend come first: they settle the size of the map.
  writeWords(block.run, sites, startTabs(), onOpen);
  const legend = fillLegend(block, sites, sizes, refresh);
  const { map, layer } = drawMap(block, sites, context);
  const list = makeList(sites, context, onOpen);
  const open = startPopup(map, layer, list, sites, context);
  const searched = startSearch(refresh, (field) => list.first() >= 0 && open(list.first(), field));

  function refresh() {
    const wanted = searched();
    const shown = new Uint8Array(sites.count);
    const matched = new Uint8Array(sites.count);
    for (let index = 0; index < sites.count; index += 1) {
      shown[index] = Number(legend.shows(index));
      matched[index] = Number(sites.searchText[index].includes(wanted));
    }
    layer.show(shown, matched);
    const found = sites.order.filter((index) => shown[index] && matched[index]);
    list.fill(found);
    byId("status").textContent = `${wholeText(found.length)} of ${wholeText(sites.count)} rows shown`;
  }

  refresh();
}

start();
