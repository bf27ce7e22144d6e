// The list of sites: the keyboard's way to the map. Long lists grow by a page at a time.

const LIST_PAGE = 100;

function makeList(sites, { colours, sizes }, onOpen) {
  const list = byId("list");
  const more = byId("more");
  const rows = [];
  let found = [];
  let selected = -1;

  function row(index) {
    rows[index] = rows[index] || element("li", "", siteButton(sites, index, colours, sizes, onOpen));
    return rows[index];
  }

  function grow(amount) {
    const from = list.childElementCount;
    list.append(...found.slice(from, from + amount).map(row));
    more.hidden = list.childElementCount >= found.length;
    more.textContent = `Show ${Math.min(LIST_PAGE, found.length - list.childElementCount)} more of ${wholeText(found.length)}`;
  }

  function mark(index) {
    if (rows[selected]) rows[selected].firstChild.removeAttribute("aria-current");
    selected = index;
    if (index < 0) return;
    row(index).firstChild.setAttribute("aria-current", "true");
    const place = found.indexOf(index);
    if (place >= list.childElementCount) grow(place + 1 - list.childElementCount);
    if (place >= 0) row(index).scrollIntoView({ block: "nearest" });
  }

  more.addEventListener("click", () => {
    const from = list.childElementCount;
    grow(LIST_PAGE);
    list.children[from].firstChild.focus();
  });
  list.addEventListener("keydown", (event) => moveFocus(event, list));

  return {
    fill(indexes) {
      found = indexes;
      list.replaceChildren();
      grow(LIST_PAGE);
    },
    mark,
    first: () => (found.length ? found[0] : -1),
  };
}

function siteButton(sites, index, colours, sizes, onOpen) {
  const mark = { ...siteMark(sites, index, colours, sizes), radius: 5 };
  const under = element("small", "", ...[sites.site_id[index], sites.sub_district[index]].filter(Boolean).flatMap((text, place) => (place ? [" · ", foreign(text)] : [foreign(text)])));
  const button = element(
    "button",
    "site",
    element("span", "rank", Number.isFinite(sites.rank[index]) ? wholeText(sites.rank[index]) : ""),
    markCanvas(mark, 16),
    element("span", "name", foreign(siteTitle(sites, index)), under),
    element("span", "number", costText(sites.cost_per_m3[index])),
    element("span", "number", volumeText(sites.volume_used_m3_day[index])),
  );
  button.type = "button";
  button.title = wordFor(DECISION_WORDS, sites.decision[index]);
  button.addEventListener("click", () => onOpen(index, button));
  return button;
}

function moveFocus(event, list) {
  const items = [...list.children];
  const place = items.findIndex((item) => item.contains(document.activeElement));
  const target = { ArrowDown: place + 1, ArrowUp: place - 1, Home: 0, End: items.length - 1 }[event.key];
  if (target === undefined || !items[target]) return;
  event.preventDefault();
  items[target].firstChild.focus();
}
