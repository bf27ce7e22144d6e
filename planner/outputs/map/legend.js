// The legend below the map: classes of cost, size of the marks, and the decisions as switches.

function fillLegend(block, sites, sizes, onChange) {
  const { run, cost } = block;
  byId("cost-title").append(`Cost of water, ${run.currency} of ${run.price_year} per m³ used`);
  byId("cost-scale").append(costScale(sites, cost));
  paintSizeScale(byId("size-scale"), sizes);
  const switches = DECISIONS.map((decision) => decisionSwitch(decision, run.counts[decision], onChange));
  byId("decisions").append(...switches.map((item) => item.label));
  const funded = sites.funding.filter((funding) => funding === "funded").length;
  const onlyFunded = funded ? fundedSwitch(funded, onChange) : null;
  if (onlyFunded) byId("decisions").append(onlyFunded.label);
  return {
    shows: (index) =>
      switches[DECISIONS.indexOf(sites.decision[index])].box.checked &&
      (!onlyFunded || !onlyFunded.box.checked || sites.funding[index] === "funded"),
  };
}

// Cells of colour with the number of sites in them and the limits between them.
function costScale(sites, { breaks, colours }) {
  const counts = colours.map((_, place) => sites.costClass.filter((found) => found === place).length);
  if (!counts.some(Boolean)) return element("p", "quiet", "No site has a cost.");
  const scale = element("div", "scale");
  colours.forEach((colour, place) => {
    const block = element("span", "scale-colour");
    block.style.backgroundColor = colour;
    const number = element("span", "scale-count", place ? wholeText(counts[place]) : `${wholeText(counts[0])} sites`);
    const limit = place < breaks.length ? element("span", "scale-limit", limitText(breaks[place])) : "";
    scale.append(element("span", "scale-cell", number, block, limit));
  });
  scale.firstChild.append(element("span", "scale-end scale-low", "cheap"));
  scale.lastChild.append(element("span", "scale-end scale-high", "dear"));
  scale.setAttribute("role", "img");
  scale.setAttribute("aria-label", costScaleWords(breaks, counts));
  return scale;
}

function limitText(limit) {
  return withDecimals(limit, limit >= 100 ? 0 : limit >= 10 ? 1 : 2);
}

function costScaleWords(breaks, counts) {
  const classes = counts.map((count, place) => {
    const from = place ? `from ${limitText(breaks[place - 1])} ` : "";
    const below = place < breaks.length ? `below ${limitText(breaks[place])}` : "";
    return `${from}${below}: ${count} sites`;
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
  canvas.setAttribute("aria-label", `Mark areas for ${volumes.map(volumeLabel).join(", ")} cubic metres a day`);
}

function volumeLabel(volume) {
  return String(Number(volume.toPrecision(2)));
}

function decisionSwitch(decision, count, onChange) {
  const mark = { decision, colour: isColoured(decision) ? "#0f74c4" : null, radius: 6, funded: false };
  return legendSwitch(mark, DECISION_WORDS[decision], count, true, onChange, DECISION_MEANING[decision]);
}

function fundedSwitch(count, onChange) {
  const mark = { decision: "equip", colour: "#ffffff", radius: 4.5, funded: true };
  return legendSwitch(mark, "Only funded", count, false, onChange, "sites within the budget have a dark ring");
}

function legendSwitch(mark, words, count, checked, onChange, meaning) {
  const box = element("input");
  box.type = "checkbox";
  box.checked = checked;
  box.addEventListener("change", onChange);
  const label = element("label", "switch", box, markCanvas(mark, 16), element("span", "", words), element("span", "count", wholeText(count)));
  label.title = meaning;
  return { box, label };
}
