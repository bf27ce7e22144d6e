// The findings of the data block: what a group shares is kept once, each finding that the page carries is a row.

function readFindings(block, sites) {
  const groups = block.groups.map((group) => ({
    ...group,
    at: unpack(group.at, group.places),
    here: unpack(group.here, group.places),
  }));
  const findings = { count: block.count, carried: block.carried, districts: block.districts, groups };
  let siteOfRow = null;
  let bySite = null;

  function list(group) {
    siteOfRow = siteOfRow || new Map(Array.from(sites.inventory_row, (row, index) => [row, index]));
    const [rows, olds, news] = [unpackNumbers(group.row, group.carried), unpackTexts(group.old_value, group.carried), unpackTexts(group.new_value, group.carried)];
    return olds.map((old, place) => ({ group, row: rows[place], site: siteOfRow.get(rows[place]) ?? -1, old, now: news[place] }));
  }

  // Made when a rule is opened, a search is made or a pop-up asks: counts need no rows.
  for (const group of groups) unpackLater(group, "list", () => list(group));

  findings.ofSite = (index) => {
    if (!bySite) {
      bySite = new Map();
      for (const one of groups.flatMap((group) => group.list)) {
        if (!bySite.has(one.site)) bySite.set(one.site, []);
        bySite.get(one.site).push(one);
      }
    }
    return bySite.get(index) || [];
  };
  return findings;
}

// What is asked of the findings: a severity, a sub-district, letters to be found; "" and -1 ask for nothing.
function countOf(group, wanted) {
  if (wanted.severity && group.severity !== wanted.severity) return 0;
  if (wanted.letters) return listOf(group, wanted).length;
  return wanted.district < 0 ? group.count : hereIn(group, wanted.district);
}

function hereIn(group, district) {
  const place = group.at.indexOf(district);
  return place < 0 ? 0 : group.here[place];
}

// Those that the page carries, of what is asked for.
function listOf(group, wanted) {
  if (wanted.severity && group.severity !== wanted.severity) return [];
  return group.list.filter(
    (one) => (wanted.district < 0 || wanted.districtOf(one) === wanted.district) && (!wanted.letters || lettersOf(one, wanted).includes(wanted.letters)),
  );
}

// What a rule means; a rule without a text by its code in plain words.
function findingWord(rule) {
  return knows(`finding_${rule}`) ? say(`finding_${rule}`) : rule.replaceAll("_", " ");
}

function lettersOf(one, { sites }) {
  const { rule, column } = one.group;
  const site = one.site < 0 ? "" : `${sites.site_id[one.site]}\n${sites.site_name[one.site]}`;
  return plainLetters([site, column, columnWord(column), rule, findingWord(rule), one.old, one.now].join("\n"));
}

// Groups by rule, the gravest rules first, then the most frequent: a rule can be grave in one column and not in another.
function rulesOf(groups, wanted) {
  const rules = new Map();
  for (const group of groups) {
    const count = countOf(group, wanted);
    if (!count) continue;
    if (!rules.has(group.rule)) rules.set(group.rule, { rule: group.rule, groups: [], counts: {}, total: 0 });
    const rule = rules.get(group.rule);
    rule.groups.push(group);
    rule.counts[group.severity] = (rule.counts[group.severity] || 0) + count;
    rule.total += count;
  }
  const gravity = ({ counts }) => SEVERITIES.findIndex((severity) => counts[severity]);
  return [...rules.values()].sort((left, right) => gravity(left) - gravity(right) || right.total - left.total);
}
