// Every word that stands for a code of the data.

const DECISIONS = ["equip", "test_first", "hold", "unsuitable", "not_assessed"];

const DECISION_WORDS = {
  equip: "Equip",
  test_first: "Test first",
  hold: "Hold",
  unsuitable: "Unsuitable",
  not_assessed: "Not assessed",
};

const DECISION_MEANING = {
  equip: "tested, buildable, and ranked by cost of water",
  test_first: "buildable on what is known, but not before the well is tested; no rank",
  hold: "a conflict, a water quality limit or a missing demand must be settled first",
  unsuitable: "dry, abandoned, or no pump set can be built",
  not_assessed: "no usable position, level, yield or solar value",
};

const FAMILY_WORDS = {
  helical_rotor: "Helical rotor",
  centrifugal: "Centrifugal",
  surface: "Surface pump",
};

const GRADE_WORDS = {
  A: "A, tested with drawdown",
  B: "B, yield known without drawdown",
  C: "C, level or yield only",
  D: "D, location only",
};

const LIMIT_WORDS = {
  tested_share: "share of the tested yield",
  level: "pumping level",
  screen: "top of the screen",
  suction: "suction lift",
};

const SOURCE_WORDS = { raster: "solar map", weather: "hourly weather year", "built-in": "built-in sun" };

const SUPPLY_WORDS = { well: "the well", catalogue: "the pumps on offer" };

const FUNDING_WORDS = { funded: "funded", reserve: "reserve list" };

const MONTH_LETTERS = ["J", "F", "M", "A", "M", "J", "J", "A", "S", "O", "N", "D"];

const MONTHS = [
  "January", "February", "March", "April", "May", "June",
  "July", "August", "September", "October", "November", "December",
];

// A code without words of its own is shown as it is, never hidden.
function wordFor(words, code) {
  return Object.hasOwn(words, code) ? words[code] : code;
}

const SEVERITIES = ["stop", "warning", "info"];

const SEVERITY_HEADS = { stop: "Stop", warning: "Warn", info: "Info" };

const SEVERITY_WORDS = { stop: "Stops a site", warning: "Warning", info: "For information" };

const ACTION_WORDS = { repaired: "repaired", flagged: "flagged", stopped: "stopped" };

// A code as it is written in files, as words: "pump_family" is "pump family".
function plainWords(code) {
  return code.replaceAll("_", " ");
}
