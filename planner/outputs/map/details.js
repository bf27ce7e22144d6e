// The numbers of a site in groups, as [words, value, unit]; what is missing is left out.

function detailParts(context, index) {
  return [...waterGroups(context, index), familyGroup(context, index), ...costGroups(context, index), shownGroup(context, index), readGroup(context, index)]
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
  const low = at("cost_per_m3_p10");
  return [
    [`Cost, ${run.currency} of ${run.price_year}`, [
      ["Per m³ used, whole scheme", costText(at("cost_per_m3")), run.currency],
      ["8 of 10 draws lie within", Number.isFinite(low) ? `${costText(low)} to ${costText(at("cost_per_m3_p90"))}` : "", run.currency],
      ["Per m³ used, equipment only", costText(at("cost_equipment_per_m3")), run.currency],
      ["Capital, whole scheme", estimateText(at("capital_cost")), run.currency],
      ["Life-cycle cost a year", estimateText(at("annual_cost")), run.currency],
    ]],
  ];
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
