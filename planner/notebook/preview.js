"use strict";

// folium's pop-ups take their content through `$(`…`)[0]`; that is all of jQuery that they use.
if (window.$ === undefined) {
  window.$ = (markup) => {
    const holder = document.createElement("template");
    holder.innerHTML = markup.trim();
    return [...holder.content.children];
  };
}

// Markers without an icon of their own: a drop, drawn here, so that nothing is fetched.
delete L.Icon.Default.prototype._getIconUrl;
L.Icon.Default.mergeOptions({
  iconUrl:
    "data:image/svg+xml," +
    encodeURIComponent(
      '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 25 41"><path d="M12.5 40C10 30 1.5 22 1.5 12.5a11 11 0 0 1 22 0C23.5 22 15 30 12.5 40z" fill="#a01818" stroke="#fdfcf8" stroke-width="1.5"/><circle cx="12.5" cy="12.5" r="4.5" fill="#fdfcf8"/></svg>',
    ),
  iconRetinaUrl: null,
  shadowUrl: null,
  shadowRetinaUrl: null,
});

window.plannerPreview = (() => {
  const INK = "#1d2b33";
  const PAPER = "#fdfcf8";
  const GREY = "#7c878b";
  const PLAIN_RADIUS = 3.6;
  const LAYERS = ["areas", "equip", "test_first", "hold", "unsuitable", "not_assessed"];

  function element(tag, className, text) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text !== undefined) made.textContent = text;
    return made;
  }

  // Controls and marks of direction are shown, not obeyed: a name cannot turn the line that it stands in.
  function isolated(tag, className, text) {
    const made = element(tag, className, text);
    made.dir = "auto";
    return made;
  }

  function popup(site) {
    const box = element("div", "planner-popup");
    box.append(isolated("strong", "", site.title));
    const list = element("dl");
    for (const [label, value] of site.lines) list.append(element("dt", "", label), isolated("dd", "", value));
    box.append(list);
    return box;
  }

  function styleOf(name, colour, funded) {
    switch (name) {
      case "equip":
        return { color: funded ? INK : PAPER, weight: funded ? 2 : 0.9, fillColor: colour, fillOpacity: 1 };
      case "test_first":
        return { color: colour, weight: 2.1, fillColor: PAPER, fillOpacity: 1 };
      case "hold":
        return { color: PAPER, weight: 0.9, fillColor: GREY, fillOpacity: 1 };
      case "unsuitable":
        return { color: GREY, weight: 1.4, fillColor: GREY, fillOpacity: 0.3 };
      default:
        return { color: GREY, weight: 1.3, dashArray: "2 2", fillColor: PAPER, fillOpacity: 1 };
    }
  }

  function radiusOf(name, volume, factor) {
    if (name !== "equip" && name !== "test_first") return PLAIN_RADIUS;
    return volume > 0 ? Math.max(2.6, factor * Math.sqrt(volume)) : PLAIN_RADIUS;
  }

  function mark(style, radius) {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const circle = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    const attributes = { cx: 9, cy: 9, r: radius, fill: style.fillColor, stroke: style.color, "stroke-width": style.weight };
    attributes["fill-opacity"] = style.fillOpacity;
    if (style.dashArray) attributes["stroke-dasharray"] = style.dashArray;
    for (const [name, value] of Object.entries(attributes)) circle.setAttribute(name, value);
    svg.setAttribute("width", 18);
    svg.setAttribute("height", 18);
    svg.setAttribute("aria-hidden", "true");
    svg.append(circle);
    return svg;
  }

  function row(style, text) {
    const made = element("div", "planner-row");
    made.append(mark(style, 5.5), element("span", "", text));
    return made;
  }

  function legend(data) {
    const { legend: words, colours } = data;
    const box = element("details", "planner-legend");
    box.open = true;
    box.append(isolated("summary", "", words.title));
    box.append(element("div", "planner-head", words.cost));
    words.classes.forEach((text, place) => box.append(row(styleOf("equip", colours[place], false), text)));
    for (const [name, text] of words.marks) {
      const colour = colours[Math.min(1, colours.length - 1)];
      box.append(row(name === "funded" ? styleOf("equip", colour, true) : styleOf(name, colour, false), text));
    }
    box.append(element("div", "planner-note", words.size));
    if (words.coarse) box.append(element("div", "planner-note", words.coarse));
    box.append(element("div", "planner-note", words.run));
    const cautions = element("details");
    cautions.append(element("summary", "", words.cautions_title));
    for (const text of words.cautions) cautions.append(element("p", "", text));
    box.append(cautions);
    L.DomEvent.disableClickPropagation(box);
    L.DomEvent.disableScrollPropagation(box);
    return box;
  }

  // layers: in the order of LAYERS
  return (map, layers, data) => {
    const crowd = (700 / Math.max(data.sites.length, 1)) ** 0.25;
    const factor = Math.min(13, Math.max(5, 13 * crowd)) / Math.sqrt(data.typical);
    for (const area of data.areas) {
      const drawn = L.geoJSON(area.geometry, { interactive: false, style: { color: INK, weight: 1.4, fill: false } });
      drawn.addTo(layers[0]);
    }
    const largeFirst = [...data.sites].sort((a, b) => (b.volume || 0) - (a.volume || 0));
    for (const site of largeFirst) {
      const name = LAYERS[site.layer];
      const colour = site.class < 0 ? GREY : data.colours[site.class];
      const radius = radiusOf(name, site.volume, factor);
      L.circleMarker(site.at, { radius, ...styleOf(name, colour, site.funded) })
        .bindPopup(() => popup(site), { maxWidth: 320, maxHeight: 260 })
        .addTo(layers[site.layer]);
    }
    const control = L.control({ position: "bottomleft" });
    control.onAdd = () => legend(data);
    control.addTo(map);
    if (map.attributionControl) map.attributionControl.setPrefix("Leaflet");
  };
})();
