// The pop-up of one site: what is decided and why, then the numbers with their units.

function fillPopup(popup, sites, index, context, onClose) {
  popup.replaceChildren(
    popupHead(sites, index, context, onClose),
    element("div", "popup-body", ...popupBody(sites, index, context)),
  );
  popup.scrollTop = 0;
}

function popupHead(sites, index, { run, colours, sizes }, onClose) {
  const title = element("h2", "", foreign(siteTitle(sites, index)));
  title.id = "popup-title";
  const close = element("button", "close", "×");
  close.type = "button";
  close.setAttribute("aria-label", "Close");
  close.addEventListener("click", onClose);
  const decision = element("p", "verdict", markCanvas({ ...siteMark(sites, index, colours, sizes), radius: 6.5 }, 18));
  decision.append(element("strong", "", wordFor(DECISION_WORDS, sites.decision[index])), verdictRest(sites, index, run));
  return element("header", "popup-head", close, title, placeLine(sites, index), decision);
}

function placeLine(sites, index) {
  const parts = [sites.site_id[index], sites.sub_district[index]].filter(Boolean).map(foreign);
  const line = element("p", "place");
  parts.forEach((part) => line.append(part, " · "));
  line.append(`row ${sites.inventory_row[index]}`);
  if (!isOnMap(sites, index)) line.append(" · not on the map");
  return line;
}

function verdictRest(sites, index, run) {
  const parts = [];
  if (Number.isFinite(sites.rank[index])) parts.push(`rank ${wholeText(sites.rank[index])} of ${wholeText(run.counts.equip)}`);
  if (sites.funding[index]) parts.push(wordFor(FUNDING_WORDS, sites.funding[index]));
  return parts.length ? element("span", "", ` ${parts.join(" · ")}`) : "";
}

function popupBody(sites, index, context) {
  return [
    ...reasonPart(sites.reason_text[index]),
    ...headlinePart(sites, index, context.run),
    ...chartPart(sites, index),
    ...detailParts(sites, index, context.run),
  ];
}

// Every reason, one line each where the text has several sentences.
function reasonPart(text) {
  if (!text) return [];
  const sentences = text.split(/\n+|(?:\. )(?=[A-Z])/).map((part) => part.trim()).filter(Boolean);
  const ended = sentences.map((part) => (/[.!?…]$/.test(part) ? part : `${part}.`));
  if (ended.length < 2) return [element("p", "reasons", foreign(text))];
  return [element("ul", "reasons", ...ended.map((part) => element("li", "", foreign(part))))];
}

function headlinePart(sites, index, run) {
  if (!Number.isFinite(sites.cost_per_m3[index])) return [];
  const figure = (value, unit, words) => element("div", "", element("dt", "", words), element("dd", "", value, element("small", "", ` ${unit}`)));
  return [
    element(
      "dl",
      "headline",
      figure(costText(sites.cost_per_m3[index]), `${run.currency}/m³`, "Cost of water"),
      figure(volumeText(sites.volume_used_m3_day[index]), "m³/d", "Water used"),
      figure(estimateText(sites.capital_cost[index]), run.currency, "Capital"),
    ),
  ];
}

function chartPart(sites, index) {
  const volumes = monthValues(sites, "volume", index);
  if (!volumes) return [];
  const monthly = monthValues(sites, "demand", index);
  const demand = monthly || sites.design_demand_m3_day[index];
  const which = monthly ? "demand of the month" : "demand of the design month";
  const caption = element(
    "figcaption",
    "",
    "Pumpable a day by month, m³/d, if the tank never fills; ",
    element("span", "dash", which),
  );
  return [element("figure", "", caption, monthChart(volumes, demand, sites.design_month[index]))];
}

function detailParts(sites, index, run) {
  return detailGroups(sites, index, run)
    .map(([title, rows]) => [title, rows.filter(([, value]) => value !== MISSING && value !== "")])
    .filter(([, rows]) => rows.length)
    .flatMap(([title, rows]) => [element("h3", "", title), element("dl", "details", ...rows.flatMap(detailRow))]);
}

function detailRow([words, value, unit, foreignText]) {
  const shown = element("dd", "", foreignText ? foreign(value) : value);
  if (unit) shown.append(element("small", "", ` ${unit}`));
  return [element("dt", "", words), shown];
}

function detailGroups(sites, index, run) {
  const at = (name) => sites[name][index];
  const month = MONTHS[at("design_month") - 1] || "";
  return [
    ["Water", [
      [month ? `Demand in ${month}, the design month` : "Demand", volumeText(at("design_demand_m3_day")), "m³/d"],
      ["Demand met in the year", percentText(at("supply_reliability")), "%"],
      ["Demand met in the worst month", percentText(at("supply_reliability_worst_month")), "%"],
      ["Supply limited by", wordFor(SUPPLY_WORDS, at("supply_limited"))],
      ["People served", estimateText(at("people_served"))],
    ]],
    ["Well", [
      ["Evidence", wordFor(GRADE_WORDS, at("evidence_grade"))],
      ["Rest level", withDecimals(at("design_static_level_m"), 1), "m"],
      ["Pumping level at peak flow", withDecimals(at("design_pumping_level_m"), 1), "m"],
      ["Total head at peak flow", withDecimals(at("total_head_m"), 1), "m"],
      ["Peak flow", withDecimals(at("peak_flow_m3_h"), 2), "m³/h"],
      ["Safe rate of the well", withDecimals(at("safe_rate_m3_h"), 2), "m³/h"],
      ["Safe rate limited by", wordFor(LIMIT_WORDS, at("safe_rate_limit"))],
    ]],
    ["Equipment", [
      ["Pump", pumpText(at("pump_family"), at("pump_id")), "", true],
      ["Motor", withDecimals(at("motor_w") / 1000, 2), "kW"],
      ["Intake", wholeText(at("intake_depth_m")), "m below ground"],
      ["Array", wholeText(at("array_wp")), arrayUnit(at("modules_series"), at("modules_parallel"))],
      ["Tilt", wholeText(at("tilt_deg")), "°"],
      ["Tank", withDecimals(at("tank_m3"), 0), "m³"],
      ["Irradiation, horizontal", withDecimals(at("solar_kwh_m2_day"), 1), "kWh/m²/d"],
    ]],
    [`Cost, ${run.currency} of ${run.price_year}`, [
      ["Per m³ used, whole scheme", costText(at("cost_per_m3")), run.currency],
      ["Per m³ used, equipment only", costText(at("cost_equipment_per_m3")), run.currency],
      ["Capital, whole scheme", estimateText(at("capital_cost")), run.currency],
      ["Life-cycle cost a year", estimateText(at("annual_cost")), run.currency],
    ]],
  ];
}

function pumpText(family, id) {
  return [wordFor(FAMILY_WORDS, family), id].filter(Boolean).join(", ");
}

function arrayUnit(series, parallel) {
  return Number.isFinite(series * parallel) ? `Wp, ${parallel} × ${series} modules` : "Wp";
}
