// Other ways to lift the water: what each costs, how much of the demand it meets, or why it is not open.

const WAYS = ["handpump", "diesel", "diesel_solar", "grid"];

function wayGroup(context, index) {
  const { sites, run } = context;
  const at = (name) => sites[name][index];
  const unit = `${run.currency}/m³`;
  const why = wayReasons(at("alternatives_missing"));
  const rows = [[say("page_one_handpump"), costText(at("cost_handpump_per_m3")), unitWords(unit, at("coverage_handpump"))]];
  for (const way of WAYS) rows.push(wayRow(sites, index, way, unit, why[way]));
  const nothing = at("coverage_do_nothing");
  const unserved = at("people_unserved_do_nothing");
  if (Number.isFinite(nothing)) rows.push([say("page_do_nothing"), percentText(nothing), say("page_met_now")]);
  if (Number.isFinite(unserved)) rows.push([say("page_unserved"), estimateText(unserved)]);
  const margin = at("alternative_margin");
  if (Number.isFinite(margin)) {
    const way = lower(sayCode("way", at("alternative_cheapest")));
    rows.push([say("page_cheapest_way", { way }), marginText(margin), say("page_than_solar")]);
  }
  rows.push(
    [say("page_co2_diesel"), withDecimals(at("co2_diesel_t_year"), 1), say("page_co2_fuel")],
    [say("page_co2_grid"), withDecimals(at("co2_grid_t_year"), 1), say("page_co2_energy")],
    [say("page_co2_avoided"), withDecimals(at("co2_avoided_t_year"), 1), say("page_co2_water")],
  );
  return [say("page_ways"), rows];
}

function wayRow(sites, index, way, unit, reason) {
  const several = way === "handpump";
  const cost = sites[several ? "cost_handpumps_per_m3" : `cost_${way}_per_m3`][index];
  const needed = sites.handpumps_needed[index];
  const label = several && Number.isFinite(needed) ? sayCount("page_handpumps_needed", needed) : sayCode("way", way);
  const why = reason ? sayCode("way_reason", reason) : "";
  if (!Number.isFinite(cost)) return [label, why];
  const shown = several ? unit : unitWords(unit, sites[`coverage_${way}`][index]);
  return [label, costText(cost), [shown, why].filter(Boolean).join("; ")];
}

// The unit of the cost, with the share of the demand that is met for it.
function unitWords(unit, share) {
  return Number.isFinite(share) ? say("page_share_met", { unit, percent: percentText(share) }) : unit;
}

// "grid distance_unknown;diesel short" as { grid: "distance_unknown", diesel: "short" }.
function wayReasons(text) {
  return Object.fromEntries((text || "").split(";").filter(Boolean).map((part) => part.split(" ")));
}
