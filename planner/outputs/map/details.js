// The numbers of a site in groups, as [words, value, unit]; what is missing is left out.

function detailParts(context, index) {
  return [...waterGroups(context, index), familyGroup(context, index), ...costGroups(context, index), wayGroup(context, index), shownGroup(context, index), readGroup(context, index)]
    .map(([title, rows]) => [title, rows.filter(([, value]) => value !== MISSING && value !== "")])
    .filter(([, rows]) => rows.length)
    .flatMap(([title, rows]) => [element("h3", "", title), element("dl", "details", ...rows.flatMap(detailRow))]);
}

function detailRow([words, value, unit]) {
  const shown = element("dd", "", typeof value === "string" ? foreign(value) : value);
  if (unit) shown.append(element("small", "", ` ${unit}`));
  return [element("dt", "", words), shown];
}

function waterGroups({ sites, run }, index) {
  const at = (name) => sites[name][index];
  const month = MONTHS[at("design_month") - 1] || "";
  return [
    ["Water", [
      [month ? `Demand in ${month}, the design month` : "Demand", volumeText(at("design_demand_m3_day")), "m³/d"],
      ["Demand met in the year", percentText(at("supply_reliability")), "%"],
      ["Demand met in the worst month", percentText(at("supply_reliability_worst_month")), "%"],
      ["The same in a year of low sun", percentText(at("low_sun_reliability_worst_month")), "%"],
      ["Days that get less than 80 %", withDecimals(100 * at("days_below_80pct"), 1), "%"],
      ["Supply limited by", wordFor(SUPPLY_WORDS, at("supply_limited"))],
      ["People served", estimateText(at("people_served"))],
    ]],
    ["Well", [
      ["Evidence", wordFor(GRADE_WORDS, at("evidence_grade"))],
      ["Why this evidence", at("evidence_reasons")],
      ["What would raise it", at("evidence_raise")],
      ["What would change the decision", at("switch_text")],
      ["A pumping test is worth, above its cost", ...testWords(at, run)],
      ["Rest level", withDecimals(at("design_static_level_m"), 1), "m"],
      ["Pumping level at peak flow", withDecimals(at("design_pumping_level_m"), 1), "m"],
      ["Total head at peak flow", withDecimals(at("total_head_m"), 1), "m"],
      ["Peak flow", withDecimals(at("peak_flow_m3_h"), 2), "m³/h"],
      ["Safe rate of the well", withDecimals(at("safe_rate_m3_h"), 2), "m³/h"],
      ["Safe rate limited by", wordFor(LIMIT_WORDS, at("safe_rate_limit"))],
    ]],
    ["Set chosen", [
      ["Pump", [wordFor(FAMILY_WORDS, at("pump_family")), at("pump_id")].filter(Boolean).join(", ")],
      ["Standard pump", at("pump_id_standard")],
      ["Motor", withDecimals(at("motor_w") / 1000, 2), at("sleeve") ? "kW, in a cooling sleeve" : "kW"],
      ["Drive", at("drive_id")],
      ["Array", wholeText(at("array_wp")), "Wp"],
      ["Modules", stringsText(sites, index), at("module_id")],
      at("mounting") === "single_axis"
        ? ["Mounting", "turns with the sun, level north–south axis"]
        : ["Tilt", wholeText(at("tilt_deg")), `° ${towardsText(at("azimuth_deg"))}`],
      ["Intake", wholeText(at("intake_depth_m")), "m below ground"],
      ["Riser", at("riser_id") || wholeText(at("riser_mm")), at("riser_id") ? "" : "mm"],
      ["Delivery pipe", wholeText(at("delivery_mm")), "mm"],
      ["Motor cable", withDecimals(at("cable_mm2"), 1), "mm²"],
      ["Tank", withDecimals(at("tank_m3"), 0), "m³"],
      ["Irradiation, horizontal", withDecimals(at("solar_kwh_m2_day"), 1), sunUnit(at)],
    ]],
  ];
}

// Value of a test and its unit, with its rank where it is worth its cost.
function testWords(at, run) {
  if (!Number.isFinite(at("test_value"))) return ["", ""];
  const rank = Number.isFinite(at("test_rank")) ? `, rank ${wholeText(at("test_rank"))} of the tests` : "";
  return [largeText(at("test_value")), `${run.currency}${rank}${at("test_funded") ? ", funded" : ""}`];
}

function towardsText(azimuth) {
  if (!Number.isFinite(azimuth)) return "";
  return `towards ${{ 0: "north", 90: "east", 180: "south", 270: "west" }[azimuth] || `${wholeText(azimuth)}°`}`;
}

// Unit, range and source of the irradiation.
function sunUnit(at) {
  const range = Number.isFinite(at("solar_range_share")) ? `, ±${wholeText(100 * at("solar_range_share"))} %` : "";
  const source = wordFor(SOURCE_WORDS, at("resource_source"));
  return `kWh/m²/d${range}${source ? `, ${source}` : ""}`;
}

function stringsText(sites, index) {
  const [series, parallel] = [sites.modules_series[index], sites.modules_parallel[index]];
  if (!Number.isFinite(series * parallel)) return "";
  return `${parallel} ${parallel > 1 ? "strings" : "string"} of ${series}`;
}

// Each family's best cost, or the rule that stopped its furthest pump.
function familyGroup({ sites, reasons, run }, index) {
  const rows = Object.keys(FAMILY_WORDS).map((family) => {
    const cost = sites[`cost_${family}_per_m3`][index];
    const name = family === sites.pump_family[index] ? `${FAMILY_WORDS[family]}, chosen` : FAMILY_WORDS[family];
    return Number.isFinite(cost) ? [name, costText(cost), `${run.currency}/m³`] : [name, reasons.stop(index, family)];
  });
  const margin = sites.family_margin[index];
  if (Number.isFinite(margin)) rows.push(["Next best family costs", marginText(margin), "whole scheme"]);
  const bare = sites.family_margin_equipment[index];
  if (Number.isFinite(bare)) rows.push(["The same, equipment only", marginText(bare)]);
  return ["Pump families compared", rows];
}

function marginText(margin) {
  return `${withDecimals(Math.abs(100 * margin), 1)} % ${margin < 0 ? "less" : "more"}`;
}

function costGroups({ sites, run }, index) {
  const at = (name) => sites[name][index];
  return [
    ["Tender", [
      ["Lot", wholeText(at("lot"))],
      ["Drive from the base of the lot, one way", wholeText(at("lot_base_km")), "km"],
    ]],
    [`Cost, ${run.currency} of ${run.price_year}`, [
      ["Per m³ used, whole scheme", costText(at("cost_per_m3")) + rangeText(at("cost_per_m3_p10"), at("cost_per_m3_p90"), costText), run.currency],
      ["Per m³ used, equipment only", costText(at("cost_equipment_per_m3")), run.currency],
      ["Capital, whole scheme", estimateText(at("capital_cost")), run.currency],
      ["Capital per person served, whole scheme", estimateText(at("cost_per_person")), run.currency],
      ["Life-cycle cost a year, whole scheme", estimateText(at("annual_cost")), run.currency],
    ]],
    rangeGroup(at),
  ];
}

// What the draws say, in cases of ten: a percentage would promise more than they hold.
function rangeGroup(at) {
  const kind = at("range_kind");
  if (!kind) return ["How sure", []];
  return [kind === "commit" ? "How sure, built as planned" : "How sure, once a pumping test is made", [
    ["Volume used", `${volumeText(at("volume_used_m3_day"))}${rangeText(at("volume_used_m3_day_p10"), at("volume_used_m3_day_p90"), volumeText)}`, "m³/d"],
    ["Demand is met", inTen(at("demand_met_probability"))],
    [kind === "commit" ? "Less than half of the demand" : "No set can be built", inTen(at("failure_probability"))],
    ["This pump family is the cheapest", inTen(at("family_probability"))],
    ["Funded, the budget spent anew in each draw", inTen(at("funded_probability"))],
    ["Rank", Number.isFinite(at("rank_p10")) ? `${at("rank_p10")} to ${at("rank_p90")}, 8 of 10` : ""],
  ]];
}

// " (0.24–0.52, 8 of 10)"; a high end that is missing has no end: too many draws give no water.
function rangeText(low, high, text) {
  if (!Number.isFinite(low)) return "";
  return Number.isFinite(high) ? ` (${text(low)}–${text(high)}, 8 of 10)` : ` (${text(low)} or more, 9 of 10)`;
}

function inTen(share) {
  if (!Number.isFinite(share)) return MISSING;
  if (share > 0.95) return share === 1 ? "all draws" : "nearly all";
  if (share < 0.05) return share === 0 ? "no draw" : "hardly any";
  return `${Math.round(10 * share)} of 10`;
}

// What the inventory said, beside what was made of it.
function readGroup({ findings }, index) {
  return ["As read from the inventory", findings.ofSite(index).map((one) => [
    element("span", "", foreign(capital(plainWords(one.group.column))), element("small", "", findings.words[one.group.rule])),
    findingChange(one),
  ])];
}

// Columns of the inventory that the plan asks for, as they stand there.
function shownGroup({ shown }, index) {
  return ["Columns of the inventory", shown.map(({ name, texts }) => [foreign(name), texts[index]])];
}
