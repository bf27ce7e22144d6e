// Numbers as text: no more digits than they deserve, thousands apart by a thin space, a dash for missing. A thin space
// is the same in every language (ISO 80000-1), because a point or a comma there means another number next door; the
// decimal sign, words for millions, months and dates are those of the language.

const MISSING = "–";

const formats = new Map();

// What `make` gives for the language in use, made once for each.
function byLocale(name, make) {
  const key = `${name} ${locale()}`;
  if (!formats.has(key)) formats.set(key, make(locale()));
  return formats.get(key);
}

function decimalSign() {
  return byLocale("decimal", (tag) => new Intl.NumberFormat(tag).formatToParts(1.5).find(({ type }) => type === "decimal").value);
}

function withDecimals(value, decimals) {
  if (!Number.isFinite(value)) return MISSING;
  const [whole, part] = value.toFixed(decimals).split(".");
  const spaced = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
  return part ? `${spaced}${decimalSign()}${part}` : spaced;
}

// A number with the digits it is written with: 0.25 is 0,25 in French.
function plainNumber(value) {
  const text = String(value);
  return /^-?\d+(\.\d+)?$/.test(text) ? text.replace(".", decimalSign()) : text;
}

function wholeText(value) {
  return withDecimals(value, 0);
}

function volumeText(value) {
  return withDecimals(value, value >= 1000 ? 0 : 1);
}

// Cost of a cubic metre to two or three digits: three decimals below 1, none where the currency makes it a large number.
function costText(value) {
  const decimals = value >= 100 ? 0 : value >= 10 ? 1 : value >= 1 ? 2 : 3;
  return withDecimals(value, decimals);
}

// Sums of money and people to three digits: the estimate behind them is no better.
function estimateText(value) {
  return wholeText(Number(value.toPrecision(3)));
}

// A large sum in words: 1.82 million, 38 400.
function largeText(value) {
  if (value < 1e6 || !Number.isFinite(value)) return estimateText(value);
  const words = byLocale("large", (tag) => new Intl.NumberFormat(tag, { notation: "compact", compactDisplay: "long", maximumSignificantDigits: 3 }));
  const parts = words.formatToParts(value);
  return parts.map(({ type, value: part }) => (type === "group" ? "\u202f" : part)).join("");
}

function percentText(share) {
  return Number.isFinite(share) ? `${Math.round(share * 100)}` : MISSING;
}

// "2026-05-04" as the language writes a day; what is no date stays as it is.
function dateText(date) {
  const day = /^\d{4}-\d{2}-\d{2}$/.test(date) ? new Date(`${date}T00:00:00Z`) : new Date(NaN);
  if (Number.isNaN(day.getTime())) return date;
  return byLocale("date", (tag) => new Intl.DateTimeFormat(tag, { dateStyle: "long", timeZone: "UTC" })).format(day);
}

// Names of the twelve months: "long", or "narrow" for single letters.
function monthNames(width) {
  return byLocale(`months-${width}`, (tag) => {
    const name = new Intl.DateTimeFormat(tag, { month: width, timeZone: "UTC" });
    return Array.from({ length: 12 }, (_, month) => name.format(new Date(Date.UTC(2026, month, 1))));
  });
}

// The next number of the row 1, 2, 5, 10, 20 … at or above the value.
function niceAbove(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return power * [1, 2, 5, 10].find((step) => step * power >= value * (1 - 1e-9));
}
