// The findings about the inventory, by rule: how many, how grave, what was read and what was made of it.

const FINDINGS_AT_ONCE = 100;

function readFindings(block, sites) {
  const findings = { count: block.count, words: block.words, row: unpackNumbers(block.row, block.count) };
  for (const name of ["column", "rule", "severity", "old_value", "new_value", "action"]) findings[name] = unpackTexts(block[name], block.count);
  const siteOfRow = new Map(Array.from(sites.inventory_row, (row, index) => [row, index]));
  findings.site = Array.from(findings.row, (row) => siteOfRow.get(row) ?? -1);
  const bySite = new Map();
  findings.site.forEach((index, at) => {
    if (!bySite.has(index)) bySite.set(index, []);
    bySite.get(index).push(at);
  });
  findings.ofSite = (index) => bySite.get(index) || [];
  return findings;
}

function fillFindings(findings, sites, onOpen) {
  byId("tab-findings").append(` (${wholeText(findings.count)})`);
  const groups = byId("finding-groups");
  const severity = byId("finding-severity");
  const search = byId("finding-search");
  fillChoices(severity, Object.keys(SEVERITY_WORDS).filter((code) => findings.severity.includes(code)), SEVERITY_WORDS);

  function refresh() {
    const letters = plainLetters(search.value.trim());
    const list = Array.from({ length: findings.count }, (_, at) => at).filter(
      (at) => (!severity.value || findings.severity[at] === severity.value) && (!letters || findingLetters(findings, sites, at).includes(letters)),
    );
    byId("finding-count").textContent = `${wholeText(list.length)} of ${wholeText(findings.count)} findings, ${findingSums(findings, list)}`;
    groups.replaceChildren(...findingGroups(findings, list).map((group) => groupPart(findings, sites, group, onOpen)));
  }

  severity.addEventListener("change", refresh);
  search.addEventListener("input", refresh);
  refresh();
}

function findingSums(findings, list) {
  return Object.keys(SEVERITY_WORDS)
    .map((code) => `${wholeText(list.filter((at) => findings.severity[at] === code).length)} ${code}`)
    .join(", ");
}

function findingLetters(findings, sites, at) {
  const index = findings.site[at];
  const site = index < 0 ? "" : `${sites.site_id[index]}\n${sites.site_name[index]}`;
  return plainLetters([site, findings.column[at], findings.rule[at], findings.words[findings.rule[at]], findings.old_value[at], findings.new_value[at]].join("\n"));
}

// The gravest rules first, then the most frequent.
function findingGroups(findings, list) {
  const groups = new Map();
  for (const at of list) {
    const key = `${findings.severity[at]} ${findings.rule[at]}`;
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(at);
  }
  const gravity = (group) => Object.keys(SEVERITY_WORDS).indexOf(findings.severity[group[0]]);
  return [...groups.values()].sort((left, right) => gravity(left) - gravity(right) || right.length - left.length);
}

// Rows are made when a group is opened.
function groupPart(findings, sites, group, onOpen) {
  const rule = findings.rule[group[0]];
  const grave = element("span", `severity ${findings.severity[group[0]]}`, wordFor(SEVERITY_WORDS, findings.severity[group[0]]));
  const head = element("summary", "", element("span", "count", wholeText(group.length)), element("span", "", foreign(findings.words[rule]), element("small", "", grave, " · ", foreign(rule))));
  const part = element("details", "finding-group", head);
  part.addEventListener("toggle", () => {
    if (part.open && part.childElementCount === 1) part.append(...findingRows(findings, sites, group, onOpen));
  });
  return part;
}

function findingRows(findings, sites, group, onOpen) {
  const list = element("ul", "finding-list");
  const more = element("button", "more");
  more.type = "button";
  const grow = () => {
    const from = list.childElementCount;
    list.append(...group.slice(from, from + FINDINGS_AT_ONCE).map((at) => findingRow(findings, sites, at, onOpen)));
    const left = group.length - list.childElementCount;
    more.hidden = left === 0;
    more.textContent = `Show ${Math.min(FINDINGS_AT_ONCE, left)} more of ${wholeText(left)}`;
  };
  more.addEventListener("click", grow);
  grow();
  return [list, more];
}

function findingRow(findings, sites, at, onOpen) {
  const index = findings.site[at];
  const change = element("span", "change", element("small", "", foreign(plainWords(findings.column[at])), " "), findingChange(findings, at));
  if (index < 0) return element("li", "", element("span", "", "The whole file"), change);
  const button = element("button", "link", foreign(siteTitle(sites, index)));
  button.type = "button";
  button.addEventListener("click", () => onOpen(index, button));
  return element("li", "", element("span", "", button, element("small", "", ` row ${findings.row[at]}`)), change);
}

// What was read, what it became, and what was done: "355.6mm" → 355.6, repaired.
function findingChange(findings, at) {
  const [old, now] = [findings.old_value[at], findings.new_value[at]];
  const line = element("span", "");
  if (old) line.append(element("q", "", foreign(old)));
  if (now && now !== old) line.append(old ? " → " : "", element("b", "", foreign(now)));
  line.append(element("small", "", `${old || now ? ", " : ""}${wordFor(ACTION_WORDS, findings.action[at])}`));
  return line;
}
