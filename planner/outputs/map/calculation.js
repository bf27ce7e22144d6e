// How the cost of a cubic metre comes about, from the levels to the cost, each step with the very numbers that it shows,
// so that a pocket calculator agrees.

const WATT_PER_M3_H_M = 2.725; // 1000 kg/m³ × 9.81 m/s² / 3600 s

function calculationPart({ sites, run }, index, opened) {
  const rows = calculationRows(sites, run, index);
  if (!rows.length) return [];
  const lines = rows.map(([words, formula, numbers, unit]) =>
    element("div", "", element("dt", "", words, element("small", "", formula)), element("dd", "", numbers, element("small", "", ` ${unit}`))));
  const part = element("details", "calculation",
    element("summary", "", say("page_calc")),
    element("dl", "details", ...lines),
    element("p", "quiet", say("page_calc_full", { row: sites.inventory_row[index] })),
  );
  part.open = opened;
  return [part];
}

// [words, formula in words, numbers, unit] of each step; none for a site without a cost.
function calculationRows(sites, run, index) {
  const at = (name) => sites[name][index];
  if (!Number.isFinite(at("cost_per_m3")) || !Number.isFinite(at("present_volume_m3"))) return [];
  return [...liftSteps(at), ...waterSteps(at), ...costSteps(at, run)];
}

function liftSteps(at) {
  const rest = shownAs(at("design_static_level_m"), 1);
  const level = shownAs(at("design_pumping_level_m"), 1);
  const head = shownAs(at("total_head_m"), 1);
  const flow = shownAs(at("peak_flow_m3_h"), 2);
  return [
    [say("page_calc_level"), say("page_calc_level_formula"), `${sumOf([rest, level - rest], 1)} = ${withDecimals(level, 1)}`, "m"],
    [say("page_calc_head"), say("page_calc_head_formula"), `${sumOf([level, head - level], 1)} = ${withDecimals(head, 1)}`, "m"],
    [say("page_calc_power"), say("page_calc_power_formula"),
      `${plainNumber(WATT_PER_M3_H_M)} × ${withDecimals(flow, 2)} × ${withDecimals(head, 1)} = ${wholeText(WATT_PER_M3_H_M * flow * head)}`, "W"],
  ];
}

function waterSteps(at) {
  const day = shownAs(at("volume_used_m3_day"), 2);
  const [series, parallel] = [at("modules_series"), at("modules_parallel")];
  const module = at("array_wp") / (series * parallel);
  const steps = [[say("page_calc_water"), say("page_calc_water_formula"), `${withDecimals(day, 2)} × 365 = ${wholeText(365 * day)}`, "m³"]];
  if (Number.isFinite(module)) {
    const numbers = `${wholeText(series)} × ${wholeText(parallel)} × ${plainNumber(Number(module.toPrecision(5)))} = ${wholeText(at("array_wp"))}`;
    steps.push([say("label_array_wp"), say("page_calc_array_formula"), numbers, "Wp"]);
  }
  return steps;
}

function costSteps(at, run) {
  const [capital, lifecycle, present] = ["capital_cost", "lifecycle_cost", "present_volume_m3"].map((name) => shownAs(at(name), 0));
  const factor = run.money ? annuityFactor(run.money) : NaN;
  const steps = [[say("label_lifecycle_cost"), say("page_calc_lifecycle_formula"),
    `${sumOf([capital, lifecycle - capital], 0)} = ${wholeText(lifecycle)}`, run.currency]];
  if (Number.isFinite(factor)) {
    const terms = { years: plainNumber(run.money.years), percent: plainNumber(Number((100 * run.money.rate).toPrecision(6))) };
    const shown = withDecimals(factor, 4);
    steps.push(
      [say("label_annual_cost"), say("page_calc_annual_formula", terms), `${wholeText(lifecycle)} / ${shown} = ${wholeText(lifecycle / shownAs(factor, 4))}`, run.currency],
      [say("page_calc_present"), say("page_calc_present_formula", terms), `${wholeText(present / factor)} × ${shown} ≈ ${wholeText(present)}`, "m³"],
    );
  } else {
    steps.push([say("page_calc_present"), say("page_calc_present_alone"), wholeText(present), "m³"]);
  }
  steps.push([say("label_cost_per_m3"), say("page_calc_cost_formula"),
    `${wholeText(lifecycle)} / ${wholeText(present)} = ${costText(at("cost_per_m3"))}`, `${run.currency}/m³`]);
  return steps;
}

// The number that a reader sees.
function shownAs(value, decimals) {
  return Number(value.toFixed(decimals));
}

// "1.7 + 1.4", "3.1 − 0.4"
function sumOf([first, second], decimals) {
  return `${withDecimals(first, decimals)} ${second < 0 ? "−" : "+"} ${withDecimals(Math.abs(second), decimals)}`;
}

function annuityFactor({ rate, years }) {
  return rate ? (1 - (1 + rate) ** -years) / rate : years;
}
