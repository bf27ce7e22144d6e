// The data block as typed columns: sites.cost_per_m3[index] is a number or NaN, sites.site_name[index] a text.

function readSites(block, breaks) {
  const sites = { count: block.count };
  const present = {};
  block.present.forEach((codes, place) => unpackLater(present, place, () => unpackFlags(codes, block.count)));
  for (const [name, column] of Object.entries(block.numbers)) {
    unpackLater(sites, name, () => (column.present === undefined ? unpackNumbers(column, block.count) : spread(column, present[column.present])));
  }
  for (const [name, column] of Object.entries(block.texts)) unpackLater(sites, name, () => unpackTexts(column, block.count));
  sites.coded = makeCoded(block, sites);
  unpackLater(sites, "season", () => unpackTexts(block.season, block.count));
  sites.costClass = costClasses(sites, breaks);
  // The rows stand in reading order: ranked sites by rank, then the other decisions, each by cost and then by row.
  sites.order = Int32Array.from({ length: sites.count }, (_, index) => index);
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

// Class of cost of the sites that are drawn in colour, -1 for the others.
function costClasses(sites, breaks) {
  const { levels, codes } = sites.coded("decision");
  const coloured = levels.map(isColoured);
  const costs = sites.cost_per_m3;
  const classes = new Int8Array(sites.count).fill(-1);
  for (let index = 0; index < sites.count; index += 1) {
    if (!coloured[codes[index]] || Number.isNaN(costs[index])) continue;
    let place = 0;
    while (place < breaks.length && breaks[place] <= costs[index]) place += 1;
    classes[index] = place;
  }
  return classes;
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
  return sites.site_name[index] || sites.site_id[index] || `Row ${sites.inventory_row[index]}`;
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
