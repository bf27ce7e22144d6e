// The pop-up of one site: what is decided and why, then the numbers with their units.

function fillPopup(popup, context, index, onClose, actions) {
  const opened = Boolean(popup.querySelector(".calculation[open]"));
  popup.replaceChildren(popupHead(context, index, onClose, actions), element("div", "popup-body", ...popupBody(context, index, opened)));
}

function popupHead({ sites, run, markOf }, index, onClose, actions) {
  const title = element("h2", "", foreign(siteTitle(sites, index)));
  title.id = "popup-title";
  const close = element("button", "close", "×");
  close.type = "button";
  close.setAttribute("aria-label", say("page_close"));
  close.addEventListener("click", onClose);
  const decision = element("p", "verdict", markCanvas({ ...markOf(index), radius: 6.5 }, 18));
  decision.append(element("strong", "", decisionWord(sites.decision[index])), verdictRest(sites, index, run));
  return element("header", "popup-head", close, title, placeLine(sites, index, run), decision, element("div", "actions", ...actions(index)));
}

function placeLine(sites, index, run) {
  const parts = [sites.site_id[index], sites.sub_district[index]].filter(Boolean).map(foreign);
  const line = element("p", "place");
  parts.forEach((part) => line.append(part, " · "));
  line.append(say("page_row", { row: sites.inventory_row[index] }));
  if (sites.evidence_grade[index]) line.append(` · ${say("page_evidence", { grade: sites.evidence_grade[index] })}`);
  if (!isOnMap(sites, index)) line.append(` · ${say("page_not_on_map")}`);
  else if (run.coarsen_m) line.append(` · ${say("page_position_to", { grid: `${wholeText(run.coarsen_m)}\u00a0m` })}`);
  return line;
}

function verdictRest(sites, index, run) {
  const parts = [];
  if (Number.isFinite(sites.rank[index])) parts.push(say("page_rank_of", { rank: wholeText(sites.rank[index]), count: wholeText(run.counts.equip) }));
  if (sites.funding[index]) parts.push(fundingWord(sites.funding[index]));
  if (Number.isFinite(sites.phase[index])) parts.push(say("page_in_phase", { phase: sites.phase[index] }));
  if (sites.rank_rests_on_prior[index] === 1) parts.push(say("page_rank_apart"));
  return parts.length ? element("span", "", ` ${parts.join(" · ")}`) : "";
}

// opened: whether the calculation was open at the site before.
function popupBody(context, index, opened) {
  const sentences = context.reasons.sentences(index);
  return [
    element("ul", "reasons", ...sentences.map((sentence) => element("li", "", foreign(sentence)))),
    ...headlinePart(context, index),
    ...calculationPart(context, index, opened),
    ...chartPart(context.sites, index),
    ...detailParts(context, index),
  ];
}

function headlinePart({ sites, run }, index) {
  if (!Number.isFinite(sites.cost_per_m3[index])) return [];
  const figure = (value, unit, words, range = MISSING) => {
    const shown = element("dd", "", value, element("small", "", ` ${unit}`));
    if (range !== MISSING) shown.append(element("small", "range", range));
    return element("div", "", element("dt", "", words), shown);
  };
  const range = (name, text) => rangeText(sites[`${name}_p10`][index], sites[`${name}_p90`][index], text);
  return [
    element(
      "dl",
      "headline",
      figure(costText(sites.cost_per_m3[index]), `${run.currency}/m³`, say("page_headline_cost"), range("cost_per_m3", costText)),
      figure(volumeText(sites.volume_used_m3_day[index]), "m³/d", say("page_headline_volume"), range("volume_used_m3_day", volumeText)),
      figure(estimateText(sites.capital_cost[index]), run.currency, say("page_headline_capital")),
    ),
    element("p", "quiet", [costsWords(run), ...(sites.range_kind[index] ? [say("page_headline_range")] : [])].join(" ")),
  ];
}

function chartPart(sites, index) {
  const volumes = monthVolumes(sites, index);
  if (!volumes) return [];
  const caption = element("figcaption", "", ...sayParts("page_chart", { demand: element("span", "dash", say("page_chart_demand")) }));
  return [element("figure", "", caption, monthChart(volumes, monthDemands(sites, index), sites.design_month[index]))];
}

// actions(index): what can be done with the site; onShow(index): which site is shown, -1 for none.
function startPopup(map, layer, table, context, { actions, onShow }) {
  const popup = byId("popup");
  const { sites } = context;
  let opener = null;
  let shown = -1;

  function open(index, from) {
    opener = from;
    shown = index;
    fillPopup(popup, context, index, close, actions);
    popup.scrollTop = 0;
    popup.hidden = false;
    layer.select(index);
    table.select(index);
    bringIntoView(map, sites, index, popup);
    popup.focus({ preventScroll: true });
    onShow(index);
  }

  function close() {
    if (popup.hidden) return;
    popup.hidden = true;
    layer.select(-1);
    table.select(-1);
    onShow(-1);
    (opener || map.getContainer()).focus({ preventScroll: WIDE.matches });
  }

  function refill() {
    if (!popup.hidden) fillPopup(popup, context, shown, close, actions);
  }

  whenSpoken(refill);
  map.on("click", ({ containerPoint }) => {
    const index = layer.siteAt(containerPoint);
    if (index >= 0) open(index, null);
    else close();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !document.querySelector("dialog[open]")) close();
  });
  return { open, close, refill };
}
