// The findings about the inventory: how many by rule, severity and sub-district; what was read, made of it, is to be done.

const FINDINGS_AT_ONCE = 100;

function fillFindings(findings, sites, onOpen) {
  whenSpoken(() => byId("tab-findings").replaceChildren(say("page_tab_findings", { count: wholeText(findings.count) })));
  const fields = { severity: byId("finding-severity"), district: byId("finding-area"), search: byId("finding-search") };
  const present = SEVERITIES.filter((code) => findings.groups.some((group) => group.severity === code));
  fillChoices(fields.severity, present, (code) => say(`page_severity_${code}`));
  fillDistricts(fields.district, findings);
  const districtOf = districtIndex(findings, sites);

  function refresh() {
    const wanted = {
      severity: fields.severity.value,
      district: fields.district.value === "" ? -1 : Number(fields.district.value),
      letters: plainLetters(fields.search.value.trim()),
      sites,
      districtOf,
    };
    const rules = rulesOf(findings.groups, wanted);
    byId("finding-count").textContent = countWords(findings, rules, wanted);
    byId("finding-groups").replaceChildren(ruleTable(rules, wanted, onOpen));
    byId("finding-places").replaceChildren(placeTable(findings, wanted, (district) => {
      fields.district.value = String(district);
      refresh();
      fields.district.focus();
    }));
  }

  fields.severity.addEventListener("change", refresh);
  fields.district.addEventListener("change", refresh);
  fields.search.addEventListener("input", refresh);
  startFindingPrint();
  whenSpoken(() => keepOpen(refresh));
}

// Another language closes no rule.
function keepOpen(change) {
  const toggles = () => [...document.querySelectorAll("#finding-groups .rule-toggle")];
  const open = new Set(toggles().filter((one) => one.getAttribute("aria-expanded") === "true").map((one) => one.dataset.rule));
  change();
  for (const one of toggles()) if (open.has(one.dataset.rule)) one.click();
}

function districtName(name) {
  return name || say("page_no_sub_district");
}

function fillDistricts(select, findings) {
  const places = findings.districts.map((_, place) => String(place)).filter((place) => findings.groups.some((group) => hereIn(group, Number(place))));
  fillChoices(select, places, (place) => districtName(findings.districts[place]));
}

// The place of a finding's sub-district; the whole file comes last.
function districtIndex(findings, sites) {
  const places = new Map(findings.districts.slice(0, -1).map((name, place) => [name, place]));
  return (one) => (one.site < 0 ? findings.districts.length - 1 : places.get(sites.sub_district[one.site]));
}

function countWords(findings, rules, wanted) {
  const total = rules.reduce((sum, { total: count }) => sum + count, 0);
  const sums = SEVERITIES.map((code) => [code, wholeText(rules.reduce((sum, { counts }) => sum + (counts[code] || 0), 0))]);
  const cut = findings.carried < findings.count;
  return [
    say("page_finding_count", { shown: wholeText(total), all: wholeText(findings.count), ...Object.fromEntries(sums) }),
    cut && wanted.letters && say("page_finding_search_sees", { carried: wholeText(findings.carried) }),
    cut && say("page_findings_file"),
  ].filter(Boolean).join(" ");
}

function ruleTable(rules, wanted, onOpen) {
  const head = element("tr", "", headCell(say("page_what_found")), ...SEVERITIES.map((code) => headCell(say(`page_severity_head_${code}`), `number severity ${code}`)));
  const body = rules.flatMap((rule, place) => ruleRows(rule, place, wanted, onOpen));
  return element("table", "rules", element("thead", "", head), element("tbody", "", ...body));
}

function headCell(words, className = "") {
  const cell = element("th", className, words);
  cell.scope = "col";
  return cell;
}

// A row with the counts of a rule; below it what was done and is to be done, and, once it was opened, the rows.
function ruleRows(rule, place, wanted, onOpen) {
  const button = element("button", "rule-toggle", foreign(findingWord(rule.rule)), element("small", "", foreign(rule.rule)));
  button.type = "button";
  button.dataset.rule = rule.rule;
  button.setAttribute("aria-expanded", "false");
  button.setAttribute("aria-controls", `finding-rule-${place}`);
  const head = element("th", "", button);
  head.scope = "row";
  const counts = SEVERITIES.map((code) => element("td", "number count", rule.counts[code] ? wholeText(rule.counts[code]) : ""));
  const cell = element("td", "");
  cell.colSpan = 1 + SEVERITIES.length;
  const below = element("tr", "rule-body closed", cell);
  below.id = `finding-rule-${place}`;
  cell.append(adviceOf(rule));
  button.addEventListener("click", () => {
    const closed = below.classList.toggle("closed");
    button.setAttribute("aria-expanded", String(!closed));
    if (cell.childElementCount === 1) cell.append(...ruleList(rule, wanted, onOpen));
  });
  return [element("tr", "rule", head, ...counts), below];
}

function adviceOf({ groups: [{ done, todo }] }) {
  return element("dl", "advice", element("dt", "", say("page_done")), element("dd", "", say(done)), element("dt", "", say("page_to_do")), element("dd", "", say(todo)));
}

function ruleList(rule, wanted, onOpen) {
  const rows = rule.groups.flatMap((group) => listOf(group, wanted)).sort((left, right) => left.row - right.row);
  const missing = rule.total - rows.length;
  const cut = missing > 0 ? [element("p", "quiet", sayCount("page_finding_rows_more", missing))] : [];
  return [...findingRows(rows, wanted.sites, onOpen), ...cut];
}

function findingRows(rows, sites, onOpen) {
  const list = element("ul", "finding-list");
  const more = element("button", "more");
  more.type = "button";
  const grow = () => {
    const from = list.childElementCount;
    list.append(...rows.slice(from, from + FINDINGS_AT_ONCE).map((one) => findingRow(one, sites, onOpen)));
    const left = rows.length - list.childElementCount;
    more.hidden = left === 0;
    more.textContent = say("page_show_more", { count: Math.min(FINDINGS_AT_ONCE, left), left: wholeText(left) });
  };
  more.addEventListener("click", grow);
  grow();
  return [list, more];
}

function findingRow(one, sites, onOpen) {
  const change = element("span", "change", element("small", "", foreign(columnWord(one.group.column)), " "), findingChange(one));
  if (one.site < 0) return element("li", "", element("span", "", say("page_whole_file")), change);
  const button = element("button", "link", foreign(siteTitle(sites, one.site)));
  button.type = "button";
  button.addEventListener("click", () => onOpen(one.site, button));
  return element("li", "", element("span", "", button, element("small", "", ` ${say("page_row", { row: one.row })}`)), change);
}

// What was read, what it became, and what was done: "355.6mm" → 355.6, repaired.
function findingChange({ group, old, now }) {
  const line = element("span", "");
  if (old) line.append(element("q", "", foreign(old)));
  if (now && now !== old) line.append(old ? " → " : "", element("b", "", foreign(now)));
  line.append(element("small", "", `${old || now ? ", " : ""}${sayCode("page_action", group.action)}`));
  return line;
}

// Counts by sub-district and severity; a press on a name asks for it alone.
function placeTable(findings, wanted, onDistrict) {
  const rows = findings.districts.map((name, place) => {
    const counts = SEVERITIES.map((code) =>
      findings.groups.reduce((sum, group) => sum + (group.severity === code && (!wanted.severity || wanted.severity === code) ? hereIn(group, place) : 0), 0),
    );
    return { name, place, counts, total: counts.reduce((sum, count) => sum + count, 0) };
  });
  const body = rows.filter(({ total }) => total).map(({ name, place, counts }) => {
    const button = element("button", "link", foreign(districtName(name)));
    button.type = "button";
    button.addEventListener("click", () => onDistrict(place));
    const head = element("th", "", button);
    head.scope = "row";
    return element("tr", "", head, ...counts.map((count) => element("td", "number count", count ? wholeText(count) : "")));
  });
  const head = element("tr", "", headCell(say("label_sub_district")), ...SEVERITIES.map((code) => headCell(say(`page_severity_head_${code}`), `number severity ${code}`)));
  return element("table", "rules", element("thead", "", head), element("tbody", "", ...body));
}

// The findings on paper: every rule that is asked for, with its advice; the rows of those that are open.
function startFindingPrint() {
  const turn = (on) => document.body.classList.toggle("printing-findings", on);
  byId("finding-print").addEventListener("click", () => {
    turn(true);
    window.addEventListener("afterprint", () => turn(false), { once: true });
    window.print();
  });
}
