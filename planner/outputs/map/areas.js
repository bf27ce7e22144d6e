// The boundary polygons and their names.

function areaOutlines(areas) {
  const style = { color: "#8b979b", weight: 1.1, fillColor: PAPER, fillOpacity: 1, interactive: false };
  const features = areas.map((area) => ({ type: "Feature", properties: {}, geometry: area.geometry }));
  const renderer = L.canvas({ pane: "areas", padding: 0.4 });
  return L.geoJSON(features, { style, interactive: false, pane: "areas", renderer });
}

// Names stand as text over the marks; one that its polygon has no room for is hidden.
function addAreaNames(map, areas, outlines) {
  const names = areas.map((area) => {
    const icon = L.divIcon({ className: "area-name", html: foreign(area.name), iconSize: null });
    return L.marker(area.label, { icon, interactive: false, keyboard: false, pane: "names" }).addTo(map);
  });
  const fit = () => names.forEach((marker, place) => hideIfNarrow(map, marker, outlines[place].getBounds()));
  map.on("zoomend resize", fit);
  fit();
}

function hideIfNarrow(map, marker, bounds) {
  const room = map.latLngToLayerPoint(bounds.getSouthEast()).x - map.latLngToLayerPoint(bounds.getNorthWest()).x;
  const label = marker.getElement().firstChild;
  label.hidden = false;
  label.hidden = label.offsetWidth > room;
}
