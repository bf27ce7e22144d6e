// The data block as typed columns: sites.cost_per_m3[index] is a number or NaN, sites.site_name[index] a text.

function readBlock() {
  return JSON.parse(byId("data").textContent);
}

function readSites(block, breaks) {
  const sites = { count: block.count };
  for (const [name, values] of Object.entries(block.numbers)) sites[name] = numberColumn(values);
  for (const [name, values] of Object.entries(block.texts)) sites[name] = textColumn(values);
  sites.costClass = costClasses(sites, breaks);
  sites.order = readingOrder(sites);
  sites.searchText = searchTexts(sites);
  return sites;
}

function numberColumn(values) {
  return Float64Array.from(values, (value) => (value === null ? NaN : value));
}

function textColumn(values) {
  return Array.isArray(values) ? values : values.codes.map((code) => values.levels[code]);
}

// Class of cost of the sites that are drawn in colour, -1 for the others.
function costClasses(sites, breaks) {
  return Int8Array.from({ length: sites.count }, (_, index) => {
    const cost = sites.cost_per_m3[index];
    const coloured = ["equip", "test_first"].includes(sites.decision[index]);
    return coloured && Number.isFinite(cost) ? breaks.filter((limit) => limit <= cost).length : -1;
  });
}

// Ranked sites by rank, then the other decisions in their order, each by cost and then by row.
function readingOrder(sites) {
  const group = sites.decision.map((decision) => DECISIONS.indexOf(decision));
  const last = (value) => (Number.isFinite(value) ? value : Infinity);
  const difference = (left, right) => (left === right ? 0 : left - right);
  return Array.from({ length: sites.count }, (_, index) => index).sort(
    (left, right) =>
      group[left] - group[right] ||
      difference(last(sites.rank[left]), last(sites.rank[right])) ||
      difference(last(sites.cost_per_m3[left]), last(sites.cost_per_m3[right])) ||
      left - right,
  );
}

// Letters without case and accents, so that "ngore" finds "Ngoré".
function plainLetters(text) {
  return text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();
}

function searchTexts(sites) {
  return Array.from({ length: sites.count }, (_, index) =>
    plainLetters(`${sites.site_id[index]}\n${sites.site_name[index]}`),
  );
}

function isOnMap(sites, index) {
  return Number.isFinite(sites.latitude[index]) && Number.isFinite(sites.longitude[index]);
}

function siteTitle(sites, index) {
  return sites.site_name[index] || sites.site_id[index] || `Row ${sites.inventory_row[index]}`;
}

// Twelve values of a monthly column; null where the column is not there or has a gap.
function monthValues(sites, stem, index) {
  const columns = MONTHS.map((_, month) => sites[`${stem}_${String(month + 1).padStart(2, "0")}`]);
  if (columns.includes(undefined)) return null;
  const values = columns.map((column) => column[index]);
  return values.every(Number.isFinite) ? values : null;
}
