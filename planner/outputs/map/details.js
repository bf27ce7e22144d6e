// The numbers of a site in groups, as [words, value, unit]; what is missing is left out.

function detailParts(context, index) {
  const [water, well, set] = waterGroups(context, index);
  return [
    water, costGroup(context, index), rangeGroup(context, index), changeGroup(context, index), well, set, familyGroup(context, index),
    wayGroup(context, index), tenderGroup(context, index), shownGroup(context, index), readGroup(context, index),
  ]
    .map(([title, rows]) => [title, rows.filter(([, value]) => value !== MISSING && value !== "")])
    .filter(([, rows]) => rows.length)
    .flatMap(([title, rows]) => [element("h3", "", title), element("dl", "details", ...rows.map(detailRow))]);
}

// A sentence stands below its words, over the whole width.
const SENTENCE = 34;

function detailRow([words, value, unit]) {
  const isText = typeof value === "string";
  const shown = element("dd", "", isText ? foreign(value) : value);
  if (unit) shown.append(element("small", "", ` ${unit}`));
  return element("div", isText && value.length > SENTENCE ? "sentence" : "", element("dt", "", words), shown);
}

function waterGroups({ sites }, index) {
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

// What a test, or another value of what is known, would change.
function changeGroup({ sites, run }, index) {
  const at = (name) => sites[name][index];
  return ["What would change this", [
    ["The decision", capital(at("switch_text"))],
    ["The evidence", at("evidence_raise")],
    ["A pumping test is worth", ...testWords(sites, run, index)],
    ["A pumping test costs", estimateText(at("test_cost")), run.currency],
  ]];
}

// Value of a test and its unit, with its place among the tests that are worth their cost.
function testWords(sites, run, index) {
  const value = sites.test_value[index];
  if (!Number.isFinite(value)) return ["", ""];
  const place = sites.test_rank[index];
  if (!Number.isFinite(place)) return ["less than it costs", ""];
  const tests = sites.test_rank.reduce((most, one) => (one > most ? one : most), 0);
  const bought = sites.test_funded[index] ? ", within the test budget" : "";
  return [largeText(value), `${run.currency} more than it costs; ${wholeText(place)} of ${wholeText(tests)} tests by worth${bought}`];
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

function tenderGroup({ sites }, index) {
  return ["Tender", [
    ["Lot", wholeText(sites.lot[index])],
    ["Drive from the base of the lot, one way", wholeText(sites.lot_base_km[index]), "km"],
  ]];
}

function costGroup({ sites, run }, index) {
  const at = (name) => sites[name][index];
  return [`Cost, ${run.currency} of ${run.price_year}`, [
    ["Per m³ used, whole scheme", costText(at("cost_per_m3")), run.currency],
    ["Its range, 8 of 10 cases", rangeText(at("cost_per_m3_p10"), at("cost_per_m3_p90"), costText), run.currency],
    ["Per m³ used, equipment only", costText(at("cost_equipment_per_m3")), run.currency],
    ["Capital, whole scheme", estimateText(at("capital_cost")), run.currency],
    ["Capital per person served", estimateText(at("cost_per_person")), run.currency],
    ["Life-cycle cost a year, whole scheme", estimateText(at("annual_cost")), run.currency],
  ]];
}

// What the draws say, in cases of ten: a percentage would promise more than they hold.
function rangeGroup({ sites }, index) {
  const at = (name) => sites[name][index];
  const kind = at("range_kind");
  if (!kind) return ["How sure", []];
  return [kind === "commit" ? "How sure, built as planned" : "How sure, once a pumping test is made", [
    ["Water used, 8 of 10 cases", rangeText(at("volume_used_m3_day_p10"), at("volume_used_m3_day_p90"), volumeText), "m³/d"],
    ["The demand is met", inTen(at("demand_met_probability"))],
    [kind === "commit" ? "Less than half of the demand is met" : "No set can be built", inTen(at("failure_probability"))],
    ["This pump family is the cheapest", inTen(at("family_probability"))],
    ["Funded, the budget spent anew in each", inTen(at("funded_probability"))],
    ["Rank, 8 of 10 cases", Number.isFinite(at("rank_p10")) ? `${wholeText(at("rank_p10"))} to ${wholeText(at("rank_p90"))}` : ""],
  ]];
}

// "0.24–0.52"; a high end that is missing has no end: too many draws give no water.
function rangeText(low, high, text) {
  if (!Number.isFinite(low)) return MISSING;
  return Number.isFinite(high) ? `${text(low)}–${text(high)}` : `${text(low)} or more`;
}

function inTen(share) {
  if (!Number.isFinite(share)) return MISSING;
  if (share > 0.95) return share === 1 ? "in all cases" : "in nearly all cases";
  if (share < 0.05) return share === 0 ? "in no case" : "in hardly any case";
  return `in ${Math.round(10 * share)} of 10 cases`;
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
