// The table of sites: only the rows in view exist, so that ten thousand scroll like ten. One of them is the cursor;
// the keyboard's way to the map leads through it.

const ROW_HEIGHT = 42;
const ROWS_BEYOND = 6;

// extra: only where the table is wide
const COLUMNS = [
  { key: "rank", say: "label_rank", number: true },
  { key: "site_name", say: "label_site_id" },
  { key: "sub_district", say: "label_sub_district", extra: true },
  { key: "decision", say: "label_decision", extra: true },
  { key: "funding", say: "label_funding", extra: true },
  { key: "pump_family", say: "label_pump_family", extra: true },
  { key: "cost_per_m3", say: "page_column_cost", number: true },
  { key: "volume_used_m3_day", say: "page_column_volume", number: true },
  { key: "capital_cost", say: "page_column_capital", number: true, extra: true },
  { key: "people_served", say: "label_people", number: true, extra: true },
  { key: "lot", say: "label_lot", number: true, extra: true },
];

function makeTable(sites, reasons, markOf, run, onOpen, onPoint) {
  const grid = byId("grid");
  const body = byId("rows");
  const order = makeOrder(sites, () => {
    fill(order.sort(found));
    grid.scrollTop = 0;
  });
  let found = [];
  let built = new Map();
  let cursor = -1;
  let selected = -1;
  let hot = -1;

  // Without lots the last column would be dashes alone.
  const lots = sites.lot.some(Number.isFinite);
  const columns = lots ? COLUMNS : COLUMNS.filter(({ key }) => key !== "lot");
  grid.classList.toggle("no-lots", !lots);

  const cells = { sites, reasons, markOf, lots };
  fillHeader(columns, run, order);
  fillChoices(byId("order"), columns.map(({ key }) => key), columnHead);
  byId("order").addEventListener("change", () => order.by(byId("order").value));

  function render() {
    const head = grid.firstElementChild.offsetHeight;
    const first = Math.max(0, Math.floor((grid.scrollTop - head) / ROW_HEIGHT) - ROWS_BEYOND);
    const last = Math.min(found.length, Math.ceil((grid.scrollTop + grid.clientHeight) / ROW_HEIGHT) + ROWS_BEYOND);
    const kept = new Map();
    for (let place = first; place < last; place += 1) {
      const index = found[place];
      const row = built.get(index) || siteRow(cells, index);
      row.style.transform = `translateY(${place * ROW_HEIGHT}px)`;
      row.setAttribute("aria-rowindex", place + 2);
      row.setAttribute("aria-selected", String(index === selected));
      row.classList.toggle("cursor", place === cursor);
      row.classList.toggle("hot", index === hot);
      if (!row.parentNode) body.append(row);
      kept.set(index, row);
    }
    for (const [index, row] of built) if (!kept.has(index)) row.remove();
    built = kept;
    const at = built.get(found[cursor]);
    if (at) grid.setAttribute("aria-activedescendant", at.id);
    else grid.removeAttribute("aria-activedescendant");
  }

  function fill(list) {
    const before = found[cursor];
    found = list;
    cursor = before === undefined ? -1 : found.indexOf(before);
    body.style.height = `${found.length * ROW_HEIGHT}px`;
    grid.setAttribute("aria-rowcount", found.length + 1);
    render();
  }

  function bring(place) {
    const head = grid.firstElementChild.offsetHeight;
    const top = place * ROW_HEIGHT;
    if (top < grid.scrollTop) grid.scrollTop = top;
    const room = grid.clientHeight - head - ROW_HEIGHT;
    if (top > grid.scrollTop + room) grid.scrollTop = top - room;
  }

  function move(place) {
    cursor = Math.max(0, Math.min(found.length - 1, place));
    bring(cursor);
    render();
    onPoint(found[cursor]);
  }

  const rowIndex = (target) => Number((target.closest(".site") || { dataset: { index: -1 } }).dataset.index);
  grid.addEventListener("scroll", () => requestAnimationFrame(render));
  new ResizeObserver(render).observe(grid);
  body.addEventListener("click", (event) => {
    const index = rowIndex(event.target);
    if (index < 0) return;
    cursor = found.indexOf(index);
    onOpen(index, grid);
  });
  body.addEventListener("pointerover", (event) => onPoint(rowIndex(event.target)));
  body.addEventListener("pointerleave", () => onPoint(-1));
  grid.addEventListener("blur", () => onPoint(-1));
  grid.addEventListener("keydown", (event) => {
    if (event.target !== grid || !found.length) return;
    const page = Math.max(1, Math.floor(grid.clientHeight / ROW_HEIGHT) - 2);
    const step = { ArrowDown: cursor + 1, ArrowUp: cursor - 1, PageDown: cursor + page, PageUp: cursor - page, Home: 0, End: found.length - 1 }[event.key];
    if (step !== undefined) move(step);
    else if (event.key === "Enter" && cursor >= 0) onOpen(found[cursor], grid);
    else return;
    event.preventDefault();
  });

  return {
    show: (list) => {
      found = list;
      fill(order.sort(list));
    },
    list: () => found,
    repaint() {
      for (const row of built.values()) row.remove();
      built = new Map();
      render();
    },
    select(index) {
      selected = index;
      const place = found.indexOf(index);
      if (place >= 0) {
        cursor = place;
        bring(place);
      }
      render();
    },
    point(index) {
      hot = index;
      render();
    },
    orderWords: order.words,
  };
}

function columnHead(key) {
  return say(COLUMNS.find((column) => column.key === key).say);
}

// The order of the rows; orders are made when they are first asked for, and kept.
function makeOrder(sites, onChange) {
  const made = new Map([["rank 1", sites.order]]);
  const places = new Uint32Array(sites.count);
  let key = "rank";
  let direction = 1;

  function whole() {
    const name = `${key} ${direction}`;
    if (!made.has(name)) made.set(name, sortedBy(sites, key, direction));
    return made.get(name);
  }

  return {
    by(wanted, turn = false) {
      direction = turn && wanted === key ? -direction : 1;
      key = wanted;
      showOrder(key, direction);
      onChange();
    },
    sort(list) {
      if (list.length === sites.count) return whole();
      places.fill(0);
      for (const index of list) places[index] = 1;
      return chosenOf(whole(), places);
    },
    words: () => say(direction < 0 ? "page_ordered_down" : "page_ordered", { column: lower(columnHead(key)) }),
  };
}

function sortedBy(sites, key, direction) {
  const place = new Uint32Array(sites.count);
  sites.order.forEach((index, at) => {
    place[index] = at;
  });
  const values = sites[key];
  const order = COLUMNS.find((column) => column.key === key).number ? (left, right) => missingLast(values[left], values[right], direction) : textOrder(sites, key, direction);
  return Int32Array.from(sites.order).sort((left, right) => order(left, right) || place[left] - place[right]);
}

// Texts are compared once for each different text, not once for each pair of sites.
function textOrder(sites, key, direction) {
  const words = key === "site_name" ? indexes(sites).map((index) => siteTitle(sites, index)) : sites[key];
  const compare = new Intl.Collator(ENGLISH, { numeric: true }).compare;
  const known = key === "decision" ? DECISIONS : [...new Set(words)].sort((left, right) => (left === "") - (right === "") || direction * compare(left, right));
  const rank = new Map(known.map((word, place) => [word, key === "decision" ? direction * place : place]));
  return (left, right) => rank.get(words[left]) - rank.get(words[right]);
}

function showOrder(key, direction) {
  for (const head of document.querySelectorAll("#grid [role=columnheader]")) {
    const sorted = head.dataset.key === key;
    head.setAttribute("aria-sort", sorted ? (direction > 0 ? "ascending" : "descending") : "none");
  }
  byId("order").value = key;
}

function fillHeader(columns, run, order) {
  const heads = columns.map(({ key, number, extra }) => {
    const button = element("button", "");
    whenSpoken(() => {
      button.replaceChildren(headLabel(key, run));
      if (key === "cost_per_m3" || key === "capital_cost") button.title = costsWords(run);
    });
    button.type = "button";
    button.addEventListener("click", () => order.by(key, true));
    const head = element("span", [number ? "number" : "", extra ? "extra" : ""].join(" ").trim(), button);
    head.setAttribute("role", "columnheader");
    head.dataset.key = key;
    return head;
  });
  byId("columns").append(...heads);
  showOrder("rank", 1);
}

function headLabel(key, run) {
  if (key === "cost_per_m3") return `${run.currency}/m³`;
  return key === "capital_cost" ? say("page_head_capital", { currency: run.currency }) : columnHead(key);
}

function siteRow({ sites, reasons, markOf, lots }, index) {
  const at = (key) => sites[key][index];
  const cell = (className, ...content) => {
    const made = element("span", className, ...content);
    made.setAttribute("role", "gridcell");
    return made;
  };
  const rank = Number.isFinite(at("rank")) ? wholeText(at("rank")) : "";
  const row = element(
    "div",
    "site",
    cell("number rank", rank),
    cell("name", markCanvas({ ...markOf(index), radius: 5 }, 16), element("span", "", foreign(siteTitle(sites, index)), underLine(sites, reasons, index))),
    cell("extra", foreign(at("sub_district"))),
    cell("extra", decisionWord(at("decision"))),
    cell("extra", fundingWord(at("funding"))),
    cell("extra", familyWord(at("pump_family"))),
    cell("number strong", costText(at("cost_per_m3"))),
    cell("number", volumeText(at("volume_used_m3_day"))),
    cell("number extra", estimateText(at("capital_cost"))),
    cell("number extra", estimateText(at("people_served"))),
    ...(lots ? [cell("number extra", wholeText(at("lot")))] : []),
  );
  row.setAttribute("role", "row");
  row.id = `site-${index}`;
  row.dataset.index = index;
  return row;
}

// Below the name: where a ranked site is, or why the others have no rank.
function underLine(sites, reasons, index) {
  const ranked = Number.isFinite(sites.rank[index]);
  const place = [sites.site_id[index], sites.sub_district[index]].filter(Boolean).join(" · ");
  const line = ranked ? place : say("page_why", { decision: decisionWord(sites.decision[index]), reason: reasons.first(index) });
  const under = element("small", "", foreign(line));
  under.title = ranked ? "" : `${place} · ${line}`;
  return under;
}
