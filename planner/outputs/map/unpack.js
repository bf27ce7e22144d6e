// Packed columns: a value is a whole number of `width` digits to base 64; code 0 stands for a missing number.

const DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

const DIGIT_OF = new Uint8Array(128);
for (let place = 0; place < 64; place += 1) DIGIT_OF[DIGITS.charCodeAt(place)] = place;

function unpack({ width, codes }, count) {
  const values = new Float64Array(count);
  for (let index = 0, at = 0; index < count; index += 1) {
    let value = 0;
    for (let place = 0; place < width; place += 1, at += 1) value = value * 64 + DIGIT_OF[codes.charCodeAt(at)];
    values[index] = value;
  }
  return values;
}

function unpackNumbers(column, count) {
  const codes = unpack(column, count);
  if (column.levels) return codes.map((code) => column.levels[code] ?? NaN);
  const unit = 10 ** column.decimals;
  return codes.map((code) => (code ? (code - 1 + column.low) / unit : NaN));
}

function unpackTexts(column, count) {
  if (column.texts) return column.texts;
  return Array.from(unpack(column, count), (code) => column.levels[code]);
}

// For each of `count` owners: where its entries begin in a long list; one more place for the end of the list.
function starts(counts, count) {
  const begin = new Int32Array(count + 1);
  unpack(counts, count).forEach((size, index) => {
    begin[index + 1] = begin[index] + size;
  });
  return begin;
}
