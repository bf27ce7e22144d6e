// The boundary polygons: their rings, their bounds and their names.

// Outer rings run against the clock and holes with it, so that holes stay open where all rings are filled at once.
function areaRings({ geometry }) {
  return geometry.type === "Polygon" ? geometry.coordinates : geometry.coordinates.flat();
}

function areaBounds(area) {
  return L.latLngBounds(areaRings(area).flat().map(([longitude, latitude]) => [latitude, longitude]));
}

// Names stand as text over the marks; one that its polygon has no room for is hidden.
function addAreaNames(map, areas) {
  const names = areas.map((area) => {
    const icon = L.divIcon({ className: "area-name", html: foreign(area.name), iconSize: null });
    return L.marker(area.label, { icon, interactive: false, keyboard: false, pane: "names" }).addTo(map);
  });
  const fit = () => names.forEach((marker, place) => hideIfNarrow(map, marker, areaBounds(areas[place])));
  map.on("zoomend resize", fit);
  fit();
}

function hideIfNarrow(map, marker, bounds) {
  const room = map.latLngToLayerPoint(bounds.getSouthEast()).x - map.latLngToLayerPoint(bounds.getNorthWest()).x;
  const label = marker.getElement().firstChild;
  label.hidden = false;
  label.hidden = label.offsetWidth > room;
}
