// Marks as pixels: every different mark is painted once, and copied for each site straight into the picture. A
// hundred thousand marks take some 30 ms, with a graphics card or without; drawing them one by one takes ten times that.

const PAD = 44; // what a mark may reach beyond the canvas

// For each site which sprite is its mark; few sprites serve all sites.
function makeSprites(sites, colouring, radius) {
  const { classes } = colouring.layer;
  const { codes: decision } = sites.coded("decision");
  const funding = sites.coded("funding");
  const funded = funding.levels.indexOf("funded");
  const slots = new Map();
  const sprites = [];
  const slot = new Uint16Array(sites.count);
  for (let index = 0; index < sites.count; index += 1) {
    const key = `${decision[index]} ${radius[index]} ${funding.codes[index] === funded} ${classes[index]}`;
    let found = slots.get(key);
    if (found === undefined) {
      found = sprites.length;
      slots.set(key, found);
      sprites.push(makeSprite(colouring.mark(index)));
    }
    slot[index] = found;
  }
  return { slot, sprites };
}

// The pixels of a mark from its middle: x, y and colour; opaque ones apart.
function makeSprite(mark) {
  const density = window.devicePixelRatio || 1;
  const half = Math.ceil(mark.radius + 3.5);
  paintMark(sizeCanvas(SPRITE.canvas, 2 * half, 2 * half), half, half, mark);
  const { data, width, height } = SPRITE.getImageData(0, 0, SPRITE.canvas.width, SPRITE.canvas.height);
  const pixels = new Uint32Array(data.buffer);
  const middle = Math.round(half * density);
  const places = Array.from({ length: width * height }, (_, at) => at);
  const list = (wanted) => pixelList(places.filter((at) => wanted(pixels[at] >>> 24)), pixels, width, middle);
  return { solid: list((alpha) => alpha === 255), soft: list((alpha) => alpha > 0 && alpha < 255) };
}

const SPRITE = element("canvas").getContext("2d", { willReadFrequently: true });

function pixelList(places, pixels, width, middle) {
  return {
    x: Int16Array.from(places, (at) => (at % width) - middle),
    y: Int16Array.from(places, (at) => Math.floor(at / width) - middle),
    colours: Uint32Array.from(places, (at) => pixels[at]),
    offsets: new Int32Array(places.length),
  };
}

// A picture of the size of a canvas, wider by a margin on all sides, so that no mark needs to be cut.
function makePicture() {
  const canvas = element("canvas");
  let image = null;
  let pixels = null;

  function begin(width, height, pad, sprites) {
    if (!image || image.width !== width + 2 * pad || image.height !== height + 2 * pad) {
      image = new ImageData(width + 2 * pad, height + 2 * pad);
      pixels = new Uint32Array(image.data.buffer);
      canvas.width = width;
      canvas.height = height;
    }
    pixels.fill(0);
    for (const { solid, soft } of sprites) for (const list of [solid, soft]) placeOffsets(list, image.width);
  }

  // Put a mark at whole pixels of the canvas.
  function put(x, y, pad, { solid, soft }) {
    const at = (y + pad) * image.width + x + pad;
    for (let place = 0; place < solid.offsets.length; place += 1) pixels[at + solid.offsets[place]] = solid.colours[place];
    for (let place = 0; place < soft.offsets.length; place += 1) {
      const here = at + soft.offsets[place];
      pixels[here] = over(soft.colours[place], pixels[here]);
    }
  }

  function finish(pad) {
    canvas.getContext("2d", { willReadFrequently: true }).putImageData(image, -pad, -pad);
    return canvas;
  }

  return { canvas, begin, put, finish };
}

function placeOffsets(list, width) {
  for (let place = 0; place < list.offsets.length; place += 1) list.offsets[place] = list.y[place] * width + list.x[place];
}

// A colour laid over another; over an opaque one two channels at a time.
function over(upper, lower) {
  if (lower === 0) return upper;
  const alpha = upper >>> 24;
  if (lower >>> 24 < 255) return overFaint(upper, lower, alpha);
  const share = alpha + (alpha >> 7);
  const even = (((lower & 0xff00ff) * (256 - share) + (upper & 0xff00ff) * share) >>> 8) & 0xff00ff;
  const odd = (((lower >>> 8) & 0xff) * (256 - share) + ((upper >>> 8) & 0xff) * share) & 0xff00;
  return (0xff000000 | even | odd) >>> 0;
}

function overFaint(upper, lower, alpha) {
  const below = ((lower >>> 24) * (255 - alpha)) / 255;
  const whole = alpha + below;
  const [above, under] = [alpha / whole, below / whole];
  const channel = (shift) => (((upper >>> shift) & 255) * above + ((lower >>> shift) & 255) * under + 0.5) << shift;
  return ((Math.round(whole) << 24) | (channel(16) & 0xff0000) | (channel(8) & 0xff00) | (channel(0) & 255)) >>> 0;
}
