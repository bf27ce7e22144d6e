// Marks as pixels: every different mark is painted once, and copied for each site straight into the picture. A
// hundred thousand marks take some 30 ms, with a graphics card or without; drawing them one by one takes ten times that.

const PAD = 44; // what a mark may reach beyond the canvas

// For each site which sprite is its mark; few sprites serve all sites.
function makeSprites(sites, palette, radius) {
  const { codes: decision } = sites.coded("decision");
  const funding = sites.coded("funding");
  const funded = funding.levels.indexOf("funded");
  const slots = new Map();
  const sprites = [];
  const slot = new Uint16Array(sites.count);
  for (let index = 0; index < sites.count; index += 1) {
    const colour = colourOf(palette, index);
    const key = `${decision[index]} ${radius[index]} ${funding.codes[index] === funded} ${colour}`;
    let found = slots.get(key);
    if (found === undefined) {
      found = sprites.length;
      slots.set(key, found);
      sprites.push(makeSprite(siteMark(sites, index, palette, radius[index])));
    }
    slot[index] = found;
  }
  return { slot, sprites };
}

// The pixels of a mark from its middle: x, y, and colour with its opacity worked in; opaque ones apart.
function makeSprite(mark) {
  const density = window.devicePixelRatio || 1;
  const half = Math.ceil(mark.radius + 3.5);
  const canvas = element("canvas");
  canvas.getContext("2d", { willReadFrequently: true });
  const context = sizeCanvas(canvas, 2 * half, 2 * half);
  paintMark(context, half, half, mark);
  const { data, width } = context.getImageData(0, 0, canvas.width, canvas.height);
  const middle = Math.round(half * density);
  const solid = [];
  const soft = [];
  for (let at = 0; at < data.length / 4; at += 1) {
    const alpha = data[4 * at + 3];
    if (!alpha) continue;
    const pixel = { x: (at % width) - middle, y: Math.floor(at / width) - middle, rgba: data.subarray(4 * at, 4 * at + 4) };
    (alpha === 255 ? solid : soft).push(pixel);
  }
  return { solid: pixelList(solid, 1), soft: pixelList(soft, 1), faint: pixelList([...solid, ...soft], FAINT), none: pixelList([], 1) };
}

function pixelList(pixels, opacity) {
  return {
    x: Int16Array.from(pixels, ({ x }) => x),
    y: Int16Array.from(pixels, ({ y }) => y),
    colours: Uint32Array.from(pixels, ({ rgba }) => premultiplied(rgba, opacity)),
    offsets: new Int32Array(pixels.length),
  };
}

function premultiplied([red, green, blue, alpha], opacity) {
  const opaque = (alpha * opacity) / 255;
  return ((Math.round(255 * opaque) << 24) | (Math.round(blue * opaque) << 16) | (Math.round(green * opaque) << 8) | Math.round(red * opaque)) >>> 0;
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
    for (const { solid, soft, faint } of sprites) for (const list of [solid, soft, faint]) placeOffsets(list, image.width);
  }

  // Put a mark at whole pixels of the canvas.
  function put(x, y, pad, solid, soft) {
    const at = (y + pad) * image.width + x + pad;
    for (let place = 0; place < solid.offsets.length; place += 1) pixels[at + solid.offsets[place]] = solid.colours[place];
    for (let place = 0; place < soft.offsets.length; place += 1) {
      const here = at + soft.offsets[place];
      pixels[here] = over(soft.colours[place], pixels[here]);
    }
  }

  function finish(pad) {
    separateOpacity(pixels);
    canvas.getContext("2d", { willReadFrequently: true }).putImageData(image, -pad, -pad);
    return canvas;
  }

  return { begin, put, finish };
}

function placeOffsets(list, width) {
  for (let place = 0; place < list.offsets.length; place += 1) list.offsets[place] = list.y[place] * width + list.x[place];
}

// A colour laid over another, both with their opacity worked in; two channels at a time.
function over(upper, lower) {
  if (lower === 0) return upper;
  const rest = 255 - (upper >>> 24);
  const share = rest + (rest >> 7);
  const even = (((lower & 0xff00ff) * share) >>> 8) & 0xff00ff;
  const odd = (((lower >>> 8) & 0xff00ff) * share) & 0xff00ff00;
  return (upper + (even | odd)) >>> 0;
}

// Pictures keep colour and opacity apart.
function separateOpacity(pixels) {
  for (let at = 0; at < pixels.length; at += 1) {
    const pixel = pixels[at];
    const alpha = pixel >>> 24;
    if (alpha === 0 || alpha === 255) continue;
    const whole = (part) => Math.min(255, Math.round((255 * part) / alpha));
    pixels[at] = ((alpha << 24) | (whole((pixel >>> 16) & 255) << 16) | (whole((pixel >>> 8) & 255) << 8) | whole(pixel & 255)) >>> 0;
  }
}
