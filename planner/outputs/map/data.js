// The data block as typed columns: sites.cost_per_m3[index] is a number or NaN, sites.site_name[index] a text.

// Columns that map, table, filters and sums go over; the others are only asked for by a pop-up, one value each.
const WHOLE = new Set([
  "inventory_row", "latitude", "longitude", "rank", "cost_per_m3", "volume_used_m3_day", "capital_cost", "people_served", "lot",
  "site_id", "site_name", "sub_district", "decision", "funding", "pump_family", "rank_rests_on_prior", "test_rank", "budget_steps_mask",
]);

function readSites(block) {
  const { count } = block;
  const sites = { count };
  const present = {};
  block.present.forEach((codes, place) => unpackLater(present, place, () => unpackFlags(codes, count)));
  const numbersOf = (column) => (column.present === undefined ? unpackNumbers(column, count) : spread(column, present[column.present]));
  const numberOf = (column, index) => {
    if (column.present === undefined) return numberAt(column, index, count);
    const { flags, before, known } = present[column.present];
    return flags[index] ? numberAt(column, before[index], known) : NaN;
  };
  for (const [name, column] of Object.entries(block.numbers)) {
    unpackLater(sites, name, () => numbersOf(column), (index) => numberOf(column, index));
  }
  for (const [name, column] of Object.entries(block.texts)) {
    unpackLater(sites, name, () => unpackTexts(column, count), (index) => textAt(column, index, count));
  }
  unpackLater(sites, "season", () => unpackTexts(block.season, count), (index) => textAt(block.season, index, count));
  unpackLater(sites, "located", () => sites.latitude.map((latitude, index) => Number(Number.isFinite(latitude) && Number.isFinite(sites.longitude[index]))));
  sites.coded = makeCoded(block, sites);
  // The rows stand in reading order: ranked sites by rank, then the other decisions, each by cost and then by row.
  sites.order = Int32Array.from({ length: count }, (_, index) => index);
  return sites;
}

// A column of texts as { levels, codes }: whole numbers are compared a hundred times faster than texts.
function makeCoded(block, sites) {
  const made = new Map();
  return (name) => {
    if (!made.has(name)) {
      const { levels, codes } = block.texts[name];
      made.set(name, levels ? { levels, codes: unpack(codes, block.count) } : codedTexts(sites[name]));
    }
    return made.get(name);
  };
}

function codedTexts(texts) {
  const levels = [...new Set(texts)];
  const place = new Map(levels.map((level, code) => [level, code]));
  return { levels, codes: Uint32Array.from(texts, (text) => place.get(text)) };
}

// A column is unpacked when it is first used.
function unpackLater(sites, name, whole, one = null) {
  Object.defineProperty(sites, name, {
    configurable: true,
    get() {
      const value = one && !WHOLE.has(name) ? oneByOne(one, whole) : whole();
      Object.defineProperty(sites, name, { value });
      return value;
    },
  });
}

// All values of a column at once, for what goes over every site.
function wholeColumn(sites, name) {
  return sites[name].slice();
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
  return sites.located[index] === 1;
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
