// The codes of the data in their order, and where the words for them stand in the table of texts.

const DECISIONS = ["equip", "test_first", "hold", "unsuitable", "not_assessed"];

const FAMILIES = ["helical_rotor", "centrifugal", "surface"];

const SEVERITIES = ["stop", "warning", "info"];

const MONTHS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12];

function decisionWord(decision) {
  return sayCode("page_decision", decision);
}

function decisionMeaning(decision) {
  return say(`page_meaning_${decision}`);
}

function familyWord(family) {
  return FAMILIES.includes(family) ? say(family) : family;
}

function fundingWord(funding) {
  return sayCode("page_funding", funding);
}

// A column of the inventory by its label, else its code as words: "my_column" is "my column".
function columnWord(column) {
  return knows(`label_${column}`) ? say(`label_${column}`) : column.replaceAll("_", " ");
}
