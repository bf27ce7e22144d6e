// What the colours of the marks say: one layer at a time, chosen by the reader. Each has classes of colour, a class for
// each site (-1 for none), and a second carrier beside colour: size, shape, or how full a mark is.

// From dark to light for black-and-white printing, told apart by lightness alone.
const GREYS = ["#101010", "#4a4a4a", "#848484", "#b8b8b8", "#ececec"];
const GRADE_SHAPES = { A: "disc", B: "square", C: "triangle", D: "diamond" };

const LAYER_KINDS = {
  decision_cost: {
    column: "cost_per_m3",
    radius: (sites, index, sizes) => (isColoured(sites.decision[index]) ? sizes.radius(sites.volume_used_m3_day[index]) : PLAIN_RADIUS),
    shape: () => null,
    bySize: true,
    byDecision: true,
    dark: "low",
  },
  volume_used: {
    column: "volume_used_m3_day",
    radius: (sites, index, sizes, place) => (place < 0 ? PLAIN_RADIUS : sizes.radius(sites.volume_used_m3_day[index])),
    shape: (decision) => DECISION_SHAPES[decision],
    bySize: true,
    byDecision: true,
  },
  evidence_grade: {
    column: "evidence_grade",
    radius: (sites, index, sizes) => sizes.even,
    shape: (decision, layer, place) => (place < 0 ? "disc" : GRADE_SHAPES[layer.levels[place]]),
  },
  funded_probability: {
    column: "funded_probability",
    radius: (sites, index, sizes, place) => (place < 0 ? PLAIN_RADIUS : sizes.even + 1),
    shape: (decision, layer, place) => (place < 0 ? "disc" : "share"),
  },
};

function makeColouring(block, sites, sizes) {
  const cost = { key: "decision_cost", ...block.cost };
  const layers = [cost, ...block.layers].map((layer) => ({ ...LAYER_KINDS[layer.key], ...layer }));
  let grey = false;

  const colouring = {
    layers,
    choose(key) {
      colouring.layer = layers.find((layer) => layer.key === key) || layers[0];
      colouring.layer.classes = colouring.layer.classes || layerClasses(sites, colouring.layer);
      colouring.use(grey);
    },
    use(wanted) {
      const { colours, dark } = colouring.layer;
      grey = wanted;
      colouring.colours = grey ? greysFor(colours.length, dark === "low") : colours;
      colouring.edge = grey || dark !== "low" ? INK : PAPER;
      colouring.example = grey ? GREYS[0] : "#0f74c4";
    },
    // radius in half pixels, so that few sprites serve all sites
    radius: (index) => Math.min(LARGEST, Math.round(2 * colouring.layer.radius(sites, index, sizes, colouring.layer.classes[index])) / 2),
    mark: (index) => ({
      ...colouring.look(colouring.layer.classes[index], sites.decision[index]),
      radius: colouring.radius(index),
      funded: sites.funding[index] === "funded",
    }),
    // The mark of a class (-1: without the value) at sites of a decision.
    look(place, decision) {
      const { layer, colours } = colouring;
      const shape = layer.shape(decision, layer, place);
      // Dark marks keep apart by a paper line, light ones stand off the ground by an ink line.
      const dark = shape && shape !== "share" && place >= colours.length / 2;
      const share = (place + 0.5) / colours.length;
      return {
        decision, shape, colour: place < 0 ? null : colours[place], tint: colours[0],
        edge: dark ? PAPER : colouring.edge, share, radius: 6, funded: false,
      };
    },
  };
  colouring.choose("decision_cost");
  return colouring;
}

function greysFor(count, darkFirst) {
  const greys = Array.from({ length: count }, (_, place) => GREYS[Math.round((place * (GREYS.length - 1)) / Math.max(count - 1, 1))]);
  return darkFirst ? greys : greys.reverse();
}

// Class of each site: by the limits below or at its value, or by its text; cost only where marks are coloured by it.
function layerClasses(sites, { key, column, breaks, levels }) {
  if (levels) {
    const texts = sites.coded(column);
    const places = texts.levels.map((text) => levels.indexOf(text));
    return Int8Array.from(texts.codes, (code) => places[code]);
  }
  const values = wholeColumn(sites, column);
  const decisions = sites.coded("decision");
  const wanted = decisions.levels.map((decision) => key !== "decision_cost" || isColoured(decision));
  const classes = new Int8Array(sites.count).fill(-1);
  for (let index = 0; index < sites.count; index += 1) {
    if (!wanted[decisions.codes[index]] || Number.isNaN(values[index])) continue;
    let place = 0;
    while (place < breaks.length && breaks[place] <= values[index]) place += 1;
    classes[index] = place;
  }
  return classes;
}

// Sites of a list in each class, and those without the value at the end.
function classCounts({ classes, colours }, list) {
  const counts = new Array(colours.length + 1).fill(0);
  for (const index of list) counts[classes[index] < 0 ? colours.length : classes[index]] += 1;
  return counts;
}

// The choice of the layer.
function startLayerChoice(colouring, onChoose) {
  const select = byId("layer");
  fillChoices(select, colouring.layers.map(({ key }) => key), (key) => say(`page_layer_${key}`));
  select.value = colouring.layer.key;
  select.addEventListener("change", () => {
    colouring.choose(select.value);
    onChoose();
  });
}
