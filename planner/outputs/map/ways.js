// Other ways to lift the water: what each costs, how much of the demand it meets, or why it is not open.

const WAY_WORDS = {
  handpump: "Handpumps",
  diesel: "Diesel set",
  diesel_solar: "Solar set and diesel set",
  grid: "Grid",
};

const WAY_REASONS = {
  level_unknown: "water level not known",
  too_deep: "water too deep",
  too_many: "too many handpumps needed",
  no_design: "no pump fits here",
  distance_unknown: "distance to the grid not known",
  short: "too little water for the rules of reliability",
  not_needed: "not needed: the solar set meets the demand",
};

function wayGroup(context, index) {
  const { sites, run } = context;
  const at = (name) => sites[name][index];
  const unit = `${run.currency}/m³`;
  const why = wayReasons(at("alternatives_missing"));
  const rows = [["One handpump here", costText(at("cost_handpump_per_m3")), `${unit}${shareWords(at("coverage_handpump"))}`]];
  for (const [way, words] of Object.entries(WAY_WORDS)) rows.push(wayRow(sites, index, way, words, unit, why[way]));
  const nothing = at("coverage_do_nothing");
  const unserved = at("people_unserved_do_nothing");
  if (Number.isFinite(nothing)) rows.push(["Do nothing", percentText(nothing), "% of demand met now"]);
  if (Number.isFinite(unserved)) rows.push(["People unserved if nothing is done", estimateText(unserved)]);
  const margin = at("alternative_margin");
  if (Number.isFinite(margin)) rows.push([`Cheapest of them: ${wordFor(WAY_WORDS, at("alternative_cheapest")).toLowerCase()}`, marginText(margin), "than the solar set"]);
  rows.push(
    ["CO₂ of diesel", withDecimals(at("co2_diesel_t_year"), 1), "t/year, fuel burnt only"],
    ["CO₂ of the grid", withDecimals(at("co2_grid_t_year"), 1), "t/year, energy used only"],
    ["CO₂ that solar avoids against diesel", withDecimals(at("co2_avoided_t_year"), 1), "t/year, for the water used"],
  );
  return ["Other ways to lift the water, whole scheme", rows];
}

function wayRow(sites, index, way, words, unit, reason) {
  const several = way === "handpump";
  const cost = sites[several ? "cost_handpumps_per_m3" : `cost_${way}_per_m3`][index];
  const needed = sites.handpumps_needed[index];
  const label = several && Number.isFinite(needed) ? `${words}, ${wholeText(needed)} for the demand` : words;
  const told = reason ? WAY_REASONS[reason] || "" : "";
  if (!Number.isFinite(cost)) return [label, told];
  const share = several ? "" : shareWords(sites[`coverage_${way}`][index]);
  return [label, costText(cost), `${unit}${share}${told ? `; ${told}` : ""}`];
}

function shareWords(share) {
  return Number.isFinite(share) ? `, ${percentText(share)} % of demand` : "";
}

// "grid distance_unknown;diesel short" as { grid: "distance_unknown", diesel: "short" }.
function wayReasons(text) {
  return Object.fromEntries((text || "").split(";").filter(Boolean).map((part) => part.split(" ")));
}
