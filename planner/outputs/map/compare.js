// Two sites side by side: the pop-up keeps one, the next one that is opened can be set beside it.

// onKept(): another site is kept, or none.
function startCompare(context, onKept) {
  const dialog = byId("compare");
  const { sites } = context;
  let kept = -1;
  let pair = null;

  function keep(index) {
    kept = index;
    showKept();
    onKept();
    const again = document.querySelector(".popup:not([hidden]) .compare-button");
    if (again) again.focus();
  }

  function showKept() {
    const note = byId("kept");
    note.hidden = kept < 0;
    if (kept < 0) return note.replaceChildren();
    const drop = textButton(say("page_compare_drop"), () => keep(-1));
    return note.replaceChildren(element("span", "", ...sayParts("page_compare_kept", { site: element("b", "", foreign(siteTitle(sites, kept))) })), drop);
  }

  function buttons(index) {
    const words = kept < 0 ? [say("page_compare")] : kept === index ? [say("page_compare_is_kept")] : sayParts("page_compare_with", { site: foreign(siteTitle(sites, kept)) });
    const button = textButton("", () => (kept < 0 ? keep(index) : kept === index ? keep(-1) : open(kept, index)));
    button.classList.add("compare-button");
    button.replaceChildren(...words);
    button.setAttribute("aria-pressed", String(kept === index));
    return [button];
  }

  function open(first, second) {
    pair = [first, second];
    fill();
    dialog.showModal();
    dialog.scrollTop = 0;
  }

  function fill() {
    const title = element("h2", "", say("page_compare_head"));
    title.id = "compare-title";
    const bar = element("header", "compare-bar", title, textButton(say("page_print"), () => window.print()), closeButton(() => dialog.close()));
    dialog.replaceChildren(bar, ...comparison(context, ...pair));
  }

  whenSpoken(() => {
    showKept();
    if (dialog.open) fill();
  });
  // A click beside the table closes it.
  dialog.addEventListener("click", (event) => {
    if (event.target === dialog) dialog.close();
  });
  return {
    buttons,
    isOpen: () => dialog.open,
    fillPrint() {
      const title = element("h2", "", say("page_print_compare_head", { programme: context.run.programme }));
      byId("print-compare").replaceChildren(title, ...comparison(context, ...pair), ...runParts(context.run));
    },
  };
}

function textButton(words, onClick) {
  const button = element("button", "link", words);
  button.type = "button";
  button.addEventListener("click", onClick);
  return button;
}

function closeButton(onClick) {
  const close = textButton("×", onClick);
  close.className = "close";
  close.setAttribute("aria-label", say("page_close"));
  return close;
}

function comparison(context, first, second) {
  return [comparedTable(context, first, second), ...comparedCharts(context.sites, [first, second])];
}

function comparedTable(context, first, second) {
  const { sites, markOf } = context;
  const head = (index) => comparedHead(markCanvas({ ...markOf(index), radius: 6 }, 16), foreign(siteTitle(sites, index)), element("small", "", foreign(sites.site_id[index] || say("page_row", { row: sites.inventory_row[index] }))));
  const table = element("table", "compared", element("thead", "", element("tr", "", comparedHead(say("page_compare_quantity")), head(first), head(second), comparedHead(say("page_compare_difference")))));
  for (const [group, rows] of comparedRows(context, first, second)) table.append(comparedGroup(group, rows));
  return table;
}

function comparedHead(...children) {
  const cell = element("th", "", ...children);
  cell.scope = "col";
  return cell;
}

function comparedGroup(group, rows) {
  const title = element("th", "", group);
  title.colSpan = 4;
  title.scope = "rowgroup";
  const lines = rows.map(([left, right]) => {
    const name = element("th", "", left[0]);
    name.scope = "row";
    const { words, alike } = differenceWords(left, right);
    return element("tr", alike ? "alike" : "", name, valueCell(left), valueCell(right), element("td", "difference", words));
  });
  return element("tbody", "", element("tr", "group", title), ...lines);
}

function valueCell([, , text, unit]) {
  return element("td", "", foreign(text), unit && text !== MISSING ? element("small", "", ` ${unit}`) : "");
}

// The months of both, on one scale.
function comparedCharts(sites, pair) {
  const known = pair.map((index) => [index, monthVolumes(sites, index)]).filter(([, volumes]) => volumes);
  if (!known.length) return [];
  const most = Math.max(...known.flatMap(([index, volumes]) => [...volumes, ...monthDemands(sites, index)]).filter(Number.isFinite));
  const charts = known.map(([index, volumes]) => element("figure", "",
    element("figcaption", "", element("b", "", foreign(siteTitle(sites, index)))),
    monthChart(volumes, monthDemands(sites, index), sites.design_month[index], most)));
  const legend = element("p", "quiet", ...sayParts("page_chart", { demand: element("span", "dash", say("page_chart_demand")) }));
  return [element("div", "compared-charts", ...charts), legend];
}

function runParts(run) {
  return [
    element("ul", "", ...run.cautions.map((text) => element("li", "", foreign(told(text))))),
    element("p", "quiet", [runWords(run), ...positionWords(run)].join(". ")),
  ];
}
