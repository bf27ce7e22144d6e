// Online tiles under the sites, only if the plan names them, and only after the reader switched them on. Tiles that do
// not come leave the plain ground.

// The switch is there before the map, whose size it settles.
function sayTiles(source) {
  if (!source) return;
  byId("tiles-switch").hidden = false;
  whenSpoken(() => byId("tiles-words").replaceChildren(say("page_tiles", { host: source.host })));
}

function startTiles(map, ground, source) {
  if (!source) return;
  const box = byId("tiles");
  box.checked = false;
  const tiles = tileLayer(source);
  const note = tileNote(source);
  // The ground gives way when there is something to see.
  tiles.on("tileload", () => ground.showTiles(box.checked));

  box.addEventListener("change", () => {
    ground.showTiles(false);
    for (const part of [tiles, note]) {
      if (box.checked) part.addTo(map);
      else part.remove();
    }
  });
}

// Hard limits of zoom are those of the map; the world is shown once.
function tileLayer({ url }) {
  return L.tileLayer(url, { maxZoom: 17, noWrap: true, keepBuffer: 1, updateWhenZooming: false });
}

function tileNote({ host, attribution }) {
  const note = L.control({ position: "bottomright" });
  const words = element("p", "note tiles-note");
  whenSpoken(() => words.replaceChildren(element("span", "", foreign(attribution)), say("page_tiles_told", { host })));
  note.onAdd = () => words;
  return note;
}
