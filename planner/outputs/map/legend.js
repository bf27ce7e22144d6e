// The legend below the map: classes of cost, size of the marks, the decisions as switches, and how the map looks.

function fillLegend(block, sites, sizes, palette, onFilter) {
  const { run, cost } = block;
  const switches = DECISIONS.map((decision) => legendSwitch(() => [decisionWord(decision), decisionMeaning(decision)], run.counts[decision], true, onFilter));
  const funded = sites.funding.filter((funding) => funding === "funded").length;
  const onlyFunded = funded ? legendSwitch(() => [say("page_only_funded"), say("page_meaning_funded")], funded, false, onFilter) : null;
  byId("decisions").append(...[...switches, onlyFunded].filter(Boolean).map(({ label }) => label));

  function paint() {
    byId("cost-scale").replaceChildren(costScale(sites, cost.breaks, palette.colours));
    const mark = (decision) => ({ decision, colour: isColoured(decision) ? palette.example : null, edge: palette.edge, radius: 6, funded: false });
    DECISIONS.forEach((decision, place) => switches[place].showMark(mark(decision)));
    if (onlyFunded) onlyFunded.showMark({ ...mark("equip"), colour: "#ffffff", radius: 4.5, funded: true });
  }

  whenSpoken(() => {
    byId("cost-title").replaceChildren(say("page_cost_title", { currency: run.currency, year: run.price_year }));
    paintSizeScale(byId("size-scale"), sizes);
    paint();
  });
  return {
    paint,
    decisions: () => DECISIONS.filter((_, place) => switches[place].box.checked),
    onlyFunded: () => Boolean(onlyFunded && onlyFunded.box.checked),
    reset() {
      for (const { box } of switches) box.checked = true;
      if (onlyFunded) onlyFunded.box.checked = false;
    },
  };
}

// Cells of colour with the number of sites in them and the limits between them.
function costScale(sites, breaks, colours) {
  const counts = colours.map((_, place) => sites.costClass.filter((found) => found === place).length);
  if (!counts.some(Boolean)) return element("p", "quiet", say("page_no_cost"));
  const scale = element("div", "scale");
  colours.forEach((colour, place) => {
    const block = element("span", "scale-colour");
    block.style.backgroundColor = colour;
    const number = element("span", "scale-count", place ? wholeText(counts[place]) : sayCount("page_sites", counts[0]));
    const limit = place < breaks.length ? element("span", "scale-limit", limitText(breaks[place])) : "";
    scale.append(element("span", "scale-cell", number, block, limit));
  });
  scale.firstChild.append(element("span", "scale-end scale-low", say("page_cheap")));
  scale.lastChild.append(element("span", "scale-end scale-high", say("page_dear")));
  scale.setAttribute("role", "img");
  scale.setAttribute("aria-label", costScaleWords(breaks, counts));
  return scale;
}

function limitText(limit) {
  return withDecimals(limit, limit >= 100 ? 0 : limit >= 10 ? 1 : 2);
}

function costScaleWords(breaks, counts) {
  const classes = counts.map((count, place) => {
    const low = place ? limitText(breaks[place - 1]) : "";
    const high = place < breaks.length ? limitText(breaks[place]) : "";
    const form = low && high ? "page_class_between" : high ? "page_class_below" : low ? "page_class_from" : "page_sites";
    return sayCount(form, count, { low, high });
  });
  return classes.join("; ");
}

// Three round volumes, drawn with the very rule of the map.
function paintSizeScale(canvas, sizes) {
  const largest = niceAbove(sizes.typical * 0.9);
  const volumes = [largest / 25, largest / 5, largest];
  const context = sizeCanvas(canvas, 170, 42);
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
  return { box, label, showMark: (mark) => label.children[1].replaceWith(markCanvas(mark, 16)) };
}

// How the map looks, apart from what it shows: relief or plain ground, colours or greys.
function startLooks(hasRelief, onRelief, onGrey) {
  byId("relief-switch").hidden = !hasRelief;
  byId("relief").addEventListener("change", () => onRelief(byId("relief").checked));
  byId("grey").addEventListener("change", () => onGrey(byId("grey").checked));
}
