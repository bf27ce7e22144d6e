// What two sites are compared by: quantities in groups, and how the second differs from the first, in words.

const ALIKE = 0.0005; // shares that are said as 0.0 %

// [words, value or NaN, text, unit, how the difference is said: "share", "depth", "points", "places" or "words"]
function compareGroups({ sites, run }, index) {
  const at = (name) => sites[name][index];
  const number = (words, name, text, unit, way = "share") => [words, at(name), text(at(name)), unit, way];
  const word = (words, text) => [words, NaN, text || MISSING, "", "words"];
  const range = (name, text) => rangeText(at(`${name}_p10`), at(`${name}_p90`), text);
  const metres = (value) => withDecimals(value, 1);
  const flow = (value) => withDecimals(value, 2);
  const cost = `${run.currency}/m³`;
  return [
    [say("page_compare_decision"), [
      word(say("label_decision"), decisionWord(at("decision"))),
      word(say("label_evidence_grade"), at("evidence_grade")),
      number(say("label_rank"), "rank", wholeText, "", "places"),
      word(say("label_funding"), at("funding") && fundingWord(at("funding"))),
      word(say("page_funded_anew"), inTen(at("funded_probability"))),
      word(say("label_sub_district"), at("sub_district")),
    ]],
    [say("page_cost", { currency: run.currency, year: run.price_year }), [
      number(say("page_cost_scheme"), "cost_per_m3", costText, cost),
      word(say("page_cost_range"), range("cost_per_m3", costText)),
      number(say("page_cost_equipment"), "cost_equipment_per_m3", costText, cost),
      number(say("page_capital_scheme"), "capital_cost", estimateText, run.currency),
      number(say("page_capital_person"), "cost_per_person", estimateText, run.currency),
      number(say("page_annual_cost"), "annual_cost", estimateText, run.currency),
    ]],
    [say("page_water"), [
      number(say("page_headline_volume"), "volume_used_m3_day", volumeText, "m³/d"),
      word(say("page_volume_range"), range("volume_used_m3_day", volumeText)),
      number(say("label_design_demand_m3_day"), "design_demand_m3_day", volumeText, "m³/d"),
      number(say("label_supply_reliability"), "supply_reliability", percentText, "%", "points"),
      number(say("label_supply_reliability_worst_month"), "supply_reliability_worst_month", percentText, "%", "points"),
      number(say("label_people_served"), "people_served", estimateText, ""),
    ]],
    [say("page_well"), [
      number(say("page_rest_level"), "design_static_level_m", metres, "m", "depth"),
      number(say("page_pumping_level"), "design_pumping_level_m", metres, "m", "depth"),
      number(say("page_total_head"), "total_head_m", metres, "m"),
      number(say("label_peak_flow_m3_h"), "peak_flow_m3_h", flow, "m³/h"),
      number(say("page_safe_rate"), "safe_rate_m3_h", flow, "m³/h"),
    ]],
    [say("page_set"), [
      word(say("label_pump_id"), [familyWord(at("pump_family")), at("pump_id")].filter(Boolean).join(", ")),
      number(say("label_array_wp"), "array_wp", wholeText, "Wp"),
      number(say("label_tank_m3"), "tank_m3", wholeText, "m³"),
      number(say("page_intake"), "intake_depth_m", wholeText, "m", "depth"),
    ]],
  ];
}

// The rows of two sites side by side; what both lack is left out.
function comparedRows(context, first, second) {
  const other = compareGroups(context, second);
  return compareGroups(context, first)
    .map(([title, rows], group) => [title, rows
      .map((row, place) => [row, other[group][1][place]])
      .filter(([left, right]) => left[2] !== MISSING || right[2] !== MISSING)])
    .filter(([, rows]) => rows.length);
}

// How the second differs from the first, as both are shown; alike: whether it does not.
function differenceWords([, first, firstText, unit, way], [, second, secondText]) {
  if (firstText === secondText) return { words: say("page_compare_same"), alike: true };
  if (way === "words") return { words: say("page_compare_different"), alike: false };
  if (!Number.isFinite(first) || !Number.isFinite(second)) return { words: say(Number.isFinite(first) ? "page_compare_only_first" : "page_compare_only_second"), alike: false };
  return { words: amountWords(first, second, unit, way), alike: false };
}

function amountWords(first, second, unit, way) {
  const more = second > first;
  if (way === "places") return sayCount(more ? "page_compare_later" : "page_compare_earlier", Math.abs(second - first));
  if (way === "points") {
    const points = Math.abs(Math.round(100 * second) - Math.round(100 * first));
    return sayCount(more ? "page_compare_points_more" : "page_compare_points_less", points);
  }
  if (way === "depth") return say(more ? "page_compare_deeper" : "page_compare_higher", { value: amountText(first, second, unit) });
  const share = (second - first) / first;
  if (!(first > 0) || Math.abs(share) < ALIKE) return say(more ? "page_compare_more" : "page_compare_less", { value: amountText(first, second, unit) });
  if (share >= 1) return say("page_compare_times", { times: withDecimals(1 + share, 1) });
  return say(more ? "page_more" : "page_less", { percent: withDecimals(Math.abs(100 * share), Math.abs(share) < 0.095 ? 1 : 0) });
}

function amountText(first, second, unit) {
  return `${withDecimals(Math.abs(second - first), 1)}\u00a0${unit}`;
}
