// Numbers as text: no more digits than they deserve, thousands apart by a thin space, a dash for missing.

const MISSING = "–";

function withDecimals(value, decimals) {
  if (!Number.isFinite(value)) return MISSING;
  const [whole, part] = value.toFixed(decimals).split(".");
  const spaced = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
  return part ? `${spaced}.${part}` : spaced;
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
  if (value >= 1e9) return `${Number((value / 1e9).toPrecision(3))} billion`;
  if (value >= 1e6) return `${Number((value / 1e6).toPrecision(3))} million`;
  return estimateText(value);
}

function percentText(share) {
  return Number.isFinite(share) ? `${Math.round(share * 100)}` : MISSING;
}

// The next number of the row 1, 2, 5, 10, 20 … at or above the value.
function niceAbove(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  return power * [1, 2, 5, 10].find((step) => step * power >= value * (1 - 1e-9));
}
