// The boundary polygons: their rings, their bounds and their names.

// Outer rings run against the clock and holes with it, so that holes stay open where all rings are filled at once.
function areaRings({ geometry }) {
  return geometry.type === "Polygon" ? geometry.coordinates : geometry.coordinates.flat();
}

function areaBounds(area) {
  return L.latLngBounds(areaRings(area).flat().map(([longitude, latitude]) => [latitude, longitude]));
}

// Names stand as text over the marks, where they hide few of them; one that its polygon has no room for is hidden.
// marks: { x, y, radius, drawn } of the sites, world coordinates at zoom 0.
function addAreaNames(map, areas, marks) {
  const names = areas.map((area) => {
    const icon = L.divIcon({ className: "area-name", html: foreign(area.name), iconSize: null });
    const marker = L.marker(area.label, { icon, interactive: false, keyboard: false, pane: "names" }).addTo(map);
    const world = (latlng) => map.project(latlng, 0);
    return { marker, bounds: areaBounds(area), middle: world(area.label), rings: areaRings(area).map((ring) => ring.map(([longitude, latitude]) => world([latitude, longitude]))) };
  });
  const fit = () => {
    const view = map.getBounds().pad(0.2);
    for (const name of names) {
      hideIfNarrow(map, name.marker, name.bounds);
      if (view.contains(map.unproject(name.middle, 0))) placeName(map, name, marks);
    }
  };
  map.on("zoomend resize", fit);
  fit();
}

function hideIfNarrow(map, marker, bounds) {
  const room = map.latLngToLayerPoint(bounds.getSouthEast()).x - map.latLngToLayerPoint(bounds.getNorthWest()).x;
  const label = marker.getElement().firstChild;
  label.hidden = false;
  label.hidden = label.offsetWidth > room;
}

// Steps that a name may move from the middle of its area, in pixels.
const NAME_STEP = { x: 12, y: 9 };
const NAME_STEPS = { x: 6, y: 8 };
const NAME_PULL = 1 / 60; // hidden marks that a pixel from the middle is worth
const MOST_NEAR = 300; // among more marks no place is free, and a name stays in the middle

function placeName(map, { marker, middle, rings }, marks) {
  const label = marker.getElement().firstChild;
  if (label.hidden) return;
  const scale = 2 ** map.getZoom();
  const half = { x: label.offsetWidth / 2 + 1, y: label.offsetHeight / 2 - 1 };
  const near = marksNear(middle, scale, half, marks);
  if (near.length > MOST_NEAR) {
    marker.setLatLng(map.unproject(middle, 0));
    return;
  }
  const inside = (x, y) => isInside(rings, middle.x + x / scale, middle.y + y / scale);
  const tries = [];
  for (let right = -NAME_STEPS.x; right <= NAME_STEPS.x; right += 1) {
    for (let down = -NAME_STEPS.y; down <= NAME_STEPS.y; down += 1) {
      const [x, y] = [right * NAME_STEP.x, down * NAME_STEP.y];
      tries.push({ x, y, worth: hiddenMarks(near, x, y, half) + Math.hypot(x, y) * NAME_PULL });
    }
  }
  tries.sort((one, other) => one.worth - other.worth);
  const best = tries.find(({ x, y }) => [-half.x, 0, half.x].every((end) => inside(x + end, y))) || { x: 0, y: 0 };
  marker.setLatLng(map.unproject([middle.x + best.x / scale, middle.y + best.y / scale], 0));
}

// The marks that a name could come to lie on, in pixels from the middle of the area.
function marksNear(middle, scale, half, { x, y, radius, drawn }) {
  const reach = { x: half.x + NAME_STEP.x * NAME_STEPS.x + LARGEST, y: half.y + NAME_STEP.y * NAME_STEPS.y + LARGEST };
  const near = [];
  for (const index of drawn) {
    const [across, down] = [(x[index] - middle.x) * scale, (y[index] - middle.y) * scale];
    if (Math.abs(across) < reach.x && Math.abs(down) < reach.y) near.push([across, down, radius[index]]);
    if (near.length > MOST_NEAR) break;
  }
  return near;
}

// A large mark counts more than a small one.
function hiddenMarks(near, x, y, half) {
  let sum = 0;
  for (const [across, down, radius] of near) {
    if (Math.abs(across - x) < half.x + radius && Math.abs(down - y) < half.y + radius) sum += 0.5 + radius / 8;
  }
  return sum;
}

function isInside(rings, x, y) {
  let inside = false;
  for (const ring of rings) {
    for (let place = 1; place < ring.length; place += 1) {
      const [from, to] = [ring[place - 1], ring[place]];
      if (from.y > y !== to.y > y && x < from.x + ((y - from.y) / (to.y - from.y)) * (to.x - from.x)) inside = !inside;
    }
  }
  return inside;
}
