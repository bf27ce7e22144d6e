// The legend below the map: colours, size of the marks, the decisions as switches, and how the map looks.

function fillLegend(run, sites, sizes, colouring, onFilter) {
  const colours = makeColourLegend(run, colouring);
  const switches = DECISIONS.map((decision) => legendSwitch(() => [decisionWord(decision), decisionMeaning(decision)], run.counts[decision], true, onFilter));
  const funded = sites.funding.filter((funding) => funding === "funded").length;
  const onlyFunded = funded ? legendSwitch(() => [say("page_only_funded"), say("page_meaning_funded")], funded, false, onFilter) : null;
  byId("decisions").append(...[...switches, onlyFunded].filter(Boolean).map(({ label }) => label));

  function paint() {
    colours.paint();
    DECISIONS.forEach((decision, place) => switches[place].showMark(decisionMark(colouring, decision)));
    if (onlyFunded) onlyFunded.showMark({ decision: "equip", colour: "#ffffff", edge: "#ffffff", radius: 4.5, funded: true });
  }

  whenSpoken(() => {
    paintSizeScale(byId("size-scale"), sizes);
    paint();
  });
  return {
    paint,
    show: colours.show,
    decisions: () => DECISIONS.filter((_, place) => switches[place].box.checked),
    onlyFunded: () => Boolean(onlyFunded && onlyFunded.box.checked),
    reset() {
      for (const { box } of switches) box.checked = true;
      if (onlyFunded) onlyFunded.box.checked = false;
    },
  };
}

// What the shape of a decision looks like in the layer of colour, null where shapes say something else.
function decisionMark(colouring, decision) {
  const { layer, colours, edge, example } = colouring;
  if (!layer.byDecision) return null;
  if (layer.shape(decision)) return colouring.look(["equip", "test_first", "hold"].includes(decision) ? Math.floor(colours.length / 2) : -1, decision);
  return { decision, colour: isColoured(decision) ? example : null, edge, radius: 6, funded: false };
}

// Three round volumes, drawn with the very rule of the map.
function paintSizeScale(canvas, sizes) {
  const largest = niceAbove(sizes.typical * 0.9);
  const volumes = [largest / 25, largest / 5, largest];
  const context = sizeCanvas(canvas, 158, 42);
  context.font = "12px Arial, sans-serif";
  context.textBaseline = "middle";
  let left = 1;
  for (const volume of volumes) {
    const radius = sizes.radius(volume);
    circle(context, left + radius, 20, radius);
    context.fillStyle = "#c9d0d1";
    context.fill();
    context.strokeStyle = GREY;
    context.stroke();
    context.fillStyle = INK;
    context.fillText(volumeLabel(volume), left + 2 * radius + 5, 21);
    left += 2 * radius + 20 + context.measureText(volumeLabel(volume)).width;
  }
  canvas.setAttribute("aria-label", say("page_size_scale", { volumes: volumes.map(volumeLabel).join("; ") }));
}

function volumeLabel(volume) {
  return plainNumber(Number(volume.toPrecision(2)));
}

// saying() gives its words and their meaning.
function legendSwitch(saying, count, checked, onChange) {
  const box = element("input");
  box.type = "checkbox";
  box.checked = checked;
  box.addEventListener("change", onChange);
  const label = element("label", "switch", box, element("span"), element("span", ""), element("span", "count", wholeText(count)));
  whenSpoken(() => {
    const [words, meaning] = saying();
    label.children[2].replaceChildren(words);
    label.title = meaning;
  });
  return { box, label, showMark: (mark) => label.children[1].replaceWith(mark ? markCanvas(mark, 16) : element("span", "no-mark")) };
}

// How the map looks, apart from what it shows: relief or plain ground, colours or greys.
function startLooks(hasRelief, onRelief, onGrey) {
  byId("relief-switch").hidden = !hasRelief;
  byId("relief").addEventListener("change", () => onRelief(byId("relief").checked));
  byId("grey").addEventListener("change", () => onGrey(byId("grey").checked));
}
