// Packed columns: whole numbers from 0 upwards, as digits to base 64 in a text or as planes of bytes in the block's
// bytes; code 0 stands for a missing number. block.py writes both.

const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

const DIGIT_OF = new Uint8Array(128);
for (let place = 0; place < 64; place += 1) DIGIT_OF[DIGITS.charCodeAt(place)] = place;

// The bytes of a packed block; set once, before any column is read.
let planeBytes = new Uint8Array(0);

// The block of data; null, with a visible message, where it cannot be read.
async function readBlock() {
  const { type, textContent } = byId("data");
  if (type === "application/json") return JSON.parse(textContent);
  if (typeof DecompressionStream === "undefined") return failed("old-browser");
  try {
    const bytes = await inflate(fromBase64(textContent));
    const length = new DataView(bytes.buffer).getUint32(0, true);
    planeBytes = bytes.subarray(4 + length);
    return JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
  } catch {
    return failed("damaged");
  }
}

function failed(id) {
  byId(id).hidden = false;
  return null;
}

function fromBase64(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let at = 0; at < bytes.length; at += 1) bytes[at] = letters.charCodeAt(at);
  return bytes;
}

async function inflate(bytes) {
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

// Codes as a typed array; one plane is looked at where it lies.
function unpack(codes, count) {
  if (typeof codes === "string") return fromDigits(codes, count);
  const [at, planes] = codes;
  if (planes === 1) return planeBytes.subarray(at, at + count);
  const values = codeArray(8 * planes, count);
  for (let plane = planes - 1; plane >= 0; plane -= 1) {
    const bytes = planeBytes.subarray(at + plane * count, at + (plane + 1) * count);
    for (let index = 0; index < count; index += 1) values[index] = values[index] * 256 + bytes[index];
  }
  return values;
}

function fromDigits(codes, count) {
  const width = count ? codes.length / count : 0;
  const values = codeArray(6 * width, count);
  for (let index = 0, at = 0; index < count; index += 1) {
    let value = 0;
    for (let place = 0; place < width; place += 1, at += 1) value = value * 64 + DIGIT_OF[codes.charCodeAt(at)];
    values[index] = value;
  }
  return values;
}

function codeArray(bits, count) {
  if (bits <= 8) return new Uint8Array(count);
  if (bits <= 16) return new Uint16Array(count);
  return bits <= 32 ? new Uint32Array(count) : new Float64Array(count);
}

function unpackNumbers(column, count) {
  const codes = unpack(column.codes, count);
  const values = new Float64Array(count);
  if (column.levels) {
    const levels = Float64Array.from(column.levels, (level) => level ?? NaN);
    for (let index = 0; index < count; index += 1) values[index] = levels[codes[index]];
    return values;
  }
  const unit = 10 ** column.decimals;
  const low = column.low - 1;
  for (let index = 0; index < count; index += 1) values[index] = codes[index] ? (codes[index] + low) / unit : NaN;
  return values;
}

function unpackTexts(column, count) {
  if (column.texts) return column.texts;
  const codes = unpack(column.codes, count);
  if (!column.around) return Array.from(codes, (code) => column.levels[code]);
  const amounts = unpackTexts(column.amounts, count);
  return Array.from(codes, (code, index) => column.around[code].join(amounts[index]));
}

// Flags, six a code: 1 where a site has a value; and how many before each site have one.
function unpackFlags(codes, count) {
  const sixes = unpack(codes, Math.ceil(count / 6));
  const flags = new Uint8Array(count);
  const before = new Uint32Array(count);
  let known = 0;
  for (let index = 0; index < count; index += 1) {
    flags[index] = (sixes[(index / 6) | 0] >> (5 - (index % 6))) & 1;
    before[index] = known;
    known += flags[index];
  }
  return { flags, before, known };
}

// Numbers of those that have a flag, at their places among all; NaN for the others.
function spread(column, { flags, before, known }) {
  const numbers = unpackNumbers(column, known);
  const values = new Float64Array(flags.length);
  for (let index = 0; index < flags.length; index += 1) values[index] = flags[index] ? numbers[before[index]] : NaN;
  return values;
}

// One value alone, as a pop-up wants it.
function codeAt(codes, place, count) {
  let value = 0;
  if (typeof codes === "string") {
    const width = codes.length / count;
    for (let at = place * width; at < (place + 1) * width; at += 1) value = value * 64 + DIGIT_OF[codes.charCodeAt(at)];
    return value;
  }
  for (let plane = codes[1] - 1; plane >= 0; plane -= 1) value = value * 256 + planeBytes[codes[0] + plane * count + place];
  return value;
}

function numberAt(column, place, count) {
  const code = codeAt(column.codes, place, count);
  if (column.levels) return column.levels[code] ?? NaN;
  return code ? (code - 1 + column.low) / 10 ** column.decimals : NaN;
}

function textAt(column, place, count) {
  if (column.texts) return column.texts[place];
  const code = codeAt(column.codes, place, count);
  return column.around ? column.around[code].join(textAt(column.amounts, place, count)) : column.levels[code];
}

// A column that is asked for one value at a time, and unpacked as a whole only for what needs the whole.
function oneByOne(read, whole) {
  let all = null;
  return new Proxy({}, {
    get(_, key) {
      if (!all && typeof key === "string" && key >= "0" && key < ":") return read(Number(key));
      all = all || whole();
      return typeof all[key] === "function" ? all[key].bind(all) : all[key];
    },
  });
}

// For each of `count` owners: where its entries begin in a long list; one more place for the end of the list.
function starts(counts, count) {
  const begin = new Int32Array(count + 1);
  unpack(counts, count).forEach((size, index) => {
    begin[index + 1] = begin[index] + size;
  });
  return begin;
}
