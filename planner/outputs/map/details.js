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
  const month = monthNames("long")[at("design_month") - 1];
  return [
    [say("page_water"), [
      [month ? say("page_demand_in", { month }) : say("label_design_demand_m3_day"), volumeText(at("design_demand_m3_day")), "m³/d"],
      [say("label_supply_reliability"), percentText(at("supply_reliability")), "%"],
      [say("label_supply_reliability_worst_month"), percentText(at("supply_reliability_worst_month")), "%"],
      [say("page_low_sun"), percentText(at("low_sun_reliability_worst_month")), "%"],
      [say("page_short_days"), withDecimals(100 * at("days_below_80pct"), 1), "%"],
      [say("page_supply_limited"), sayCode("page_supply", at("supply_limited"))],
      [say("label_people_served"), estimateText(at("people_served"))],
    ]],
    [say("page_well"), [
      [say("label_evidence_grade"), sayCode("page_grade", at("evidence_grade"))],
      [say("label_evidence_reasons"), told(at("evidence_reasons"))],
      [say("page_rest_level"), withDecimals(at("design_static_level_m"), 1), "m"],
      [say("page_pumping_level"), withDecimals(at("design_pumping_level_m"), 1), "m"],
      [say("page_total_head"), withDecimals(at("total_head_m"), 1), "m"],
      [say("label_peak_flow_m3_h"), withDecimals(at("peak_flow_m3_h"), 2), "m³/h"],
      [say("page_safe_rate"), withDecimals(at("safe_rate_m3_h"), 2), "m³/h"],
      [say("page_safe_rate_limit"), sayCode("page_limit", at("safe_rate_limit"))],
    ]],
    [say("page_set"), setRows(sites, at, index)],
  ];
}

function setRows(sites, at, index) {
  return [
    [say("label_pump_id"), [familyWord(at("pump_family")), at("pump_id")].filter(Boolean).join(", ")],
    [say("label_pump_id_standard"), at("pump_id_standard")],
    [say("label_motor_w"), withDecimals(at("motor_w") / 1000, 2), at("sleeve") ? say("page_kw_sleeve") : "kW"],
    [say("label_drive_id"), at("drive_id")],
    [say("label_array_wp"), wholeText(at("array_wp")), "Wp"],
    [say("page_modules"), stringsText(sites, index), at("module_id")],
    at("mounting") === "single_axis"
      ? [say("label_mounting"), say("page_single_axis")]
      : [say("label_tilt_deg"), wholeText(at("tilt_deg")), towardsText(at("azimuth_deg"))],
    [say("page_intake"), wholeText(at("intake_depth_m")), say("page_below_ground")],
    [say("label_riser_mm"), at("riser_id") || wholeText(at("riser_mm")), at("riser_id") ? "" : "mm"],
    [say("label_delivery_mm"), wholeText(at("delivery_mm")), "mm"],
    [say("label_cable_mm2"), withDecimals(at("cable_mm2"), 1), "mm²"],
    [say("label_tank_m3"), withDecimals(at("tank_m3"), 0), "m³"],
    [say("page_irradiation"), withDecimals(at("solar_kwh_m2_day"), 1), sunUnit(at)],
  ];
}

// What a test, or another value of what is known, would change.
function changeGroup({ sites, run, switches }, index) {
  const at = (name) => sites[name][index];
  return [say("page_change"), [
    [say("page_change_decision"), capital(switches(index))],
    [say("page_change_evidence"), told(at("evidence_raise"))],
    [say("page_test_is_worth"), ...testWords(sites, run, index)],
    [say("page_test_costs"), estimateText(at("test_cost")), run.currency],
  ]];
}

// Value of a test and its unit, with its place among the tests that are worth their cost.
function testWords(sites, run, index) {
  const value = sites.test_value[index];
  if (!Number.isFinite(value)) return ["", ""];
  const place = sites.test_rank[index];
  if (!Number.isFinite(place)) return [say("page_test_not_worth"), ""];
  const tests = sites.test_rank.reduce((most, one) => (one > most ? one : most), 0);
  const values = { currency: run.currency, place: wholeText(place), tests: wholeText(tests) };
  return [largeText(value), say(sites.test_funded[index] ? "page_test_worth_funded" : "page_test_worth", values)];
}

// The unit of the tilt, with the way the array looks.
function towardsText(azimuth) {
  if (!Number.isFinite(azimuth)) return "°";
  const quarter = { 0: "page_towards_north", 90: "page_towards_east", 180: "page_towards_south", 270: "page_towards_west" }[azimuth];
  return say(quarter || "page_towards", { azimuth: wholeText(azimuth) });
}

// Unit, range and source of the irradiation.
function sunUnit(at) {
  const range = Number.isFinite(at("solar_range_share")) ? `±${wholeText(100 * at("solar_range_share"))} %` : "";
  return ["kWh/m²/d", range, sayCode("page_source", at("resource_source"))].filter(Boolean).join(", ");
}

function stringsText(sites, index) {
  const [series, parallel] = [sites.modules_series[index], sites.modules_parallel[index]];
  if (!Number.isFinite(series * parallel)) return "";
  return sayCount("page_strings", parallel, { modules: wholeText(series) });
}

// Each family's best cost, or the rule that stopped its furthest pump.
function familyGroup({ sites, reasons, run }, index) {
  const rows = FAMILIES.map((family) => {
    const cost = sites[`cost_${family}_per_m3`][index];
    const name = family === sites.pump_family[index] ? say("page_family_chosen", { family: familyWord(family) }) : familyWord(family);
    return Number.isFinite(cost) ? [name, costText(cost), `${run.currency}/m³`] : [name, reasons.stop(index, family)];
  });
  const margin = sites.family_margin[index];
  if (Number.isFinite(margin)) rows.push([say("page_next_family"), marginText(margin), say("page_whole_scheme")]);
  const bare = sites.family_margin_equipment[index];
  if (Number.isFinite(bare)) rows.push([say("page_next_family_equipment"), marginText(bare)]);
  return [say("page_families"), rows];
}

function marginText(margin) {
  return say(margin < 0 ? "page_less" : "page_more", { percent: withDecimals(Math.abs(100 * margin), 1) });
}

function tenderGroup({ sites }, index) {
  return [say("page_tender"), [
    [say("label_lot"), wholeText(sites.lot[index])],
    [say("page_lot_drive"), wholeText(sites.lot_base_km[index]), "km"],
  ]];
}

function costGroup({ sites, run }, index) {
  const at = (name) => sites[name][index];
  return [say("page_cost", { currency: run.currency, year: run.price_year }), [
    [say("page_cost_scheme"), costText(at("cost_per_m3")), run.currency],
    [say("page_cost_range"), rangeText(at("cost_per_m3_p10"), at("cost_per_m3_p90"), costText), run.currency],
    [say("page_cost_equipment"), costText(at("cost_equipment_per_m3")), run.currency],
    [say("page_capital_scheme"), estimateText(at("capital_cost")), run.currency],
    [say("page_capital_person"), estimateText(at("cost_per_person")), run.currency],
    [say("page_annual_cost"), estimateText(at("annual_cost")), run.currency],
  ]];
}

// What the draws say, in cases of ten: a percentage would promise more than they hold.
function rangeGroup({ sites }, index) {
  const at = (name) => sites[name][index];
  const planned = at("range_kind") === "commit";
  if (!at("range_kind")) return ["", []];
  return [say(planned ? "page_sure_planned" : "page_sure_tested"), [
    [say("page_volume_range"), rangeText(at("volume_used_m3_day_p10"), at("volume_used_m3_day_p90"), volumeText), "m³/d"],
    [say("page_demand_met"), inTen(at("demand_met_probability"))],
    [say(planned ? "page_half_unmet" : "page_no_set"), inTen(at("failure_probability"))],
    [say("page_family_cheapest"), inTen(at("family_probability"))],
    [say("page_funded_anew"), inTen(at("funded_probability"))],
    [say("page_rank_range"), Number.isFinite(at("rank_p10")) ? say("page_from_to", { low: wholeText(at("rank_p10")), high: wholeText(at("rank_p90")) }) : ""],
  ]];
}

// "0.24–0.52"; a high end that is missing has no end: too many draws give no water.
function rangeText(low, high, text) {
  if (!Number.isFinite(low)) return MISSING;
  return Number.isFinite(high) ? `${text(low)}–${text(high)}` : say("page_or_more", { low: text(low) });
}

function inTen(share) {
  if (!Number.isFinite(share)) return MISSING;
  if (share > 0.95) return say(share === 1 ? "page_all_cases" : "page_nearly_all_cases");
  if (share < 0.05) return say(share === 0 ? "page_no_case" : "page_hardly_any_case");
  return say("page_cases", { count: Math.round(10 * share) });
}

// What the inventory said, beside what was made of it.
function readGroup({ findings }, index) {
  return [say("page_as_read"), findings.ofSite(index).map((one) => [
    element("span", "", foreign(capital(columnWord(one.group.column))), element("small", "", findingWord(one.group.rule))),
    findingChange(one),
  ])];
}

// Columns of the inventory that the plan asks for, as they stand there.
function shownGroup({ shown }, index) {
  return [say("page_inventory_columns"), shown.map(({ name, texts }) => [foreign(name), texts[index]])];
}
