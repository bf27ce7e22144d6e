// The data block as typed columns: sites.cost_per_m3[index] is a number or NaN, sites.site_name[index] a text.

function readBlock() {
  return JSON.parse(byId("data").textContent);
}

function readSites(block) {
  const sites = { count: block.count };
  for (const [name, column] of Object.entries(block.numbers)) unpackLater(sites, name, () => unpackNumbers(column, block.count));
  for (const [name, column] of Object.entries(block.texts)) unpackLater(sites, name, () => unpackTexts(column, block.count));
  unpackLater(sites, "season", () => unpackTexts(block.season, block.count));
  sites.order = readingOrder(sites);
  return sites;
}

// Most columns are only asked for by a pop-up: each is unpacked when it is first used.
function unpackLater(sites, name, make) {
  Object.defineProperty(sites, name, {
    configurable: true,
    get() {
      const value = make();
      Object.defineProperty(sites, name, { value });
      return value;
    },
  });
}

// Ranked sites by rank, then the other decisions in their order, each by cost and then by row.
function readingOrder(sites) {
  const group = Int8Array.from(sites.decision, (decision) => DECISIONS.indexOf(decision));
  return indexes(sites).sort(
    (left, right) =>
      group[left] - group[right] ||
      missingLast(sites.rank[left], sites.rank[right], 1) ||
      missingLast(sites.cost_per_m3[left], sites.cost_per_m3[right], 1) ||
      left - right,
  );
}

// Order of two numbers, upwards or (direction -1) downwards; a missing one comes last in both.
function missingLast(left, right, direction) {
  if (left === right) return 0;
  if (Number.isNaN(left)) return Number.isNaN(right) ? 0 : 1;
  return Number.isNaN(right) ? -1 : direction * (left - right);
}

function indexes(sites) {
  return Array.from({ length: sites.count }, (_, index) => index);
}

// Letters without case and accents, so that "ngore" finds "Ngoré".
function plainLetters(text) {
  const plain = /^[ -~\n]*$/.test(text) ? text : text.normalize("NFD").replace(/[\u0300-\u036f]/g, "");
  return plain.toLowerCase();
}

// Made when the first search asks for it.
function searchText(sites, index) {
  sites.searchTexts = sites.searchTexts || indexes(sites).map((each) => plainLetters(`${sites.site_id[each]}\n${sites.site_name[each]}`));
  return sites.searchTexts[index];
}

function isOnMap(sites, index) {
  return Number.isFinite(sites.latitude[index]) && Number.isFinite(sites.longitude[index]);
}

function siteTitle(sites, index) {
  return sites.site_name[index] || sites.site_id[index] || say("page_row_title", { row: sites.inventory_row[index] });
}

// Pumpable volume of each month; null where a month is missing.
function monthVolumes(sites, index) {
  const values = MONTHS.map((_, month) => sites[`volume_${String(month + 1).padStart(2, "0")}`][index]);
  return values.every(Number.isFinite) ? values : null;
}

// Demand of each month: the pattern of the year, scaled to the demand of the design month.
function monthDemands(sites, index) {
  const pattern = sites.season[index];
  const design = pattern[sites.design_month[index] - 1];
  return MONTHS.map((_, month) => (sites.design_demand_m3_day[index] * pattern[month]) / design);
}
