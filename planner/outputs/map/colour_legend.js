// The legend of the colours: a bar of classes with the limits between them, or marks with their words; each class with
// the number of sites that are shown, and the sites without the value.

const SCALES = ["decision_cost", "volume_used"];

function makeColourLegend(run, colouring) {
  let list = [];

  function paint() {
    const { layer } = colouring;
    const counts = classCounts(layer, list);
    byId("cost-title").replaceChildren(layerTitle(layer, run));
    const asScale = SCALES.includes(layer.key);
    const without = withoutValue(colouring, counts.at(-1));
    byId("cost-scale").replaceChildren(...(asScale ? [classScale(colouring, counts)] : [classList(colouring, counts, without)]));
    byId("without").replaceChildren(...(layer.key === "volume_used" ? [without] : []));
    byId("size-scale").parentElement.hidden = !layer.bySize;
    byId("cost-scale").parentElement.classList.toggle("broad", !layer.bySize);
  }

  return {
    paint,
    show(shown) {
      list = shown;
      paint();
    },
  };
}

function layerTitle({ key }, run) {
  return say(`page_layer_title_${key}`, { currency: run.currency, year: run.price_year });
}

// Cells of colour with the number of sites in them and the limits between.
function classScale({ layer, colours }, counts) {
  if (!layer.classes.some((place) => place >= 0)) return element("p", "quiet", say("page_no_cost"));
  const scale = element("div", "scale");
  colours.forEach((colour, place) => {
    const block = element("span", "scale-colour");
    block.style.backgroundColor = colour;
    const number = element("span", "scale-count", place ? wholeText(counts[place]) : sayCount("page_sites", counts[0]));
    const limit = place < layer.breaks.length ? element("span", "scale-limit", limitText(layer.breaks[place])) : "";
    scale.append(element("span", "scale-cell", number, block, limit));
  });
  scale.prepend(element("span", "scale-end", say(`page_low_${layer.key}`)));
  scale.append(element("span", "scale-end", say(`page_high_${layer.key}`)));
  scale.setAttribute("role", "img");
  scale.setAttribute("aria-label", colours.map((_, place) => classWords(layer.breaks, place, counts[place])).join("; "));
  return scale;
}

function limitText(limit) {
  return withDecimals(limit, limit >= 100 ? 0 : limit >= 10 ? 1 : 2);
}

function classWords(breaks, place, count) {
  const low = place ? limitText(breaks[place - 1]) : "";
  const high = place < breaks.length ? limitText(breaks[place]) : "";
  const form = low && high ? "page_class_between" : high ? "page_class_below" : low ? "page_class_from" : "page_sites";
  return sayCount(form, count, { low, high });
}

function percentWords(breaks, place) {
  const limits = { low: percentText(breaks[place - 1]), high: percentText(breaks[place]) };
  if (!place) return say("page_class_below_percent", limits);
  return say(place < breaks.length ? "page_class_between_percent" : "page_class_from_percent", limits);
}

// Strong and high classes first.
function classList(colouring, counts, without) {
  const { layer, colours } = colouring;
  const words = (place) => (layer.levels ? say(`page_legend_grade_${layer.levels[place]}`) : percentWords(layer.breaks, place));
  const lines = colours.map((_, place) => classLine(colouring.look(place, "equip"), words(place), counts[place]));
  return element("ul", "classes", ...lines.reverse(), without);
}

function classLine(mark, words, count) {
  return element("li", "class-line", markCanvas(mark, 16), element("span", "", words), element("span", "count", wholeText(count)));
}

function withoutValue(colouring, count) {
  return classLine({ ...colouring.look(-1, "equip"), radius: 4 }, say("page_without_value"), count);
}
