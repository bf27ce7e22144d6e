"""Rules that can be tested once every site has its design: does it meet the demand, what must be confirmed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planner.catalogue.arrays import HELICAL
from planner.catalogue.loader import Catalogue
from planner.physics.pipes import velocity_m_s
from planner.plan import Plan
from planner.tables.step import join_checks, no_checks, rule_rows

UNITS = {
    "no_safe_rate": ("m3/h", ">"),
    "no_casing": ("mm", ">="),
    "water_too_warm": ("degC", "<="),
    "sand_above_limit": ("mg/L", "<="),
    "no_head": ("m", "<="),
    "above_safe_rate": ("1", "<="),
    "no_pressure": ("bar", "<="),
    "no_start_torque": ("N m", "<="),
    "no_suction": ("m", "<="),
    "no_riser": ("m", "<="),
    "no_delivery_pipe": ("m", "<="),
    "no_cable": ("1", "<="),
    "no_voltage_window": ("W", ">="),
    "no_cooling": ("m/s", ">="),
    "short_of_demand": ("%", ">="),
}
# Common practice: clearance below which a dummy is run first; velocity below which sand settles on the pump, where
# the water carries more than so much of it.
DUMMY_RUN_MM = 25.0
SETTLING_M_S = 0.3
SETTLING_SAND_MG_L = 10.0
# Above this share of an array's rated power to begin to pump, the error of volumes from monthly sun doubles
# (measured on hourly years, see DEVELOPERS.md).
SMALL_ARRAY = 0.45


def family_checks(rules: pd.DataFrame) -> pd.DataFrame:
    """What decided each pump family at each site: `pump_fits`, or the rule that stopped its furthest pump.

    rules  inventory_row, family, rule (categories), value, limit
    """
    if rules.empty:
        return no_checks()
    rule = rules["rule"]
    stops = rule.isin(list(UNITS)).to_numpy()
    unit, operator = (rule.map({name: UNITS.get(name, ("", ""))[at] for name in rule.cat.categories}) for at in (0, 1))
    return pd.DataFrame(
        {
            "inventory_row": rules["inventory_row"],
            "rule": rule,
            "subject": rules["family"],
            "value": rules["value"].where(stops),
            "operator": operator.astype("str").astype("category"),
            "limit": rules["limit"].where(stops),
            "unit": unit.astype("str").astype("category"),
            "pass": ~stops,
        }
    )


def design_checks(sites: pd.DataFrame, plan: Plan, catalogue: Catalogue) -> pd.DataFrame:
    """Checks of the designs: `sites` has the inventory, the wells' and the engine's columns."""
    equipment = plan.equipment
    assessed = sites.index[sites["engine_status"].isin(["designed", "installed", "no_design"])]
    designed = sites.index[sites["engine_status"] == "designed"]
    installed = sites.index[sites["engine_status"] == "installed"]
    worst = 100 * sites["supply_reliability_worst_month"]
    low = 100 * sites["low_sun_reliability_worst_month"]
    least = 100 * equipment.reliability_worst_month
    year = 100 * sites["supply_reliability"]
    limited = sites["supply_limited"]
    met = limited == ""
    checks = [
        rule_rows(assessed, "no_design", sites["engine_status"] != "no_design"),
        rule_rows(designed, "demand_met", met, value=low, operator=">=", limit=least, unit="%"),
        rule_rows(designed, "supply_limited_well", limited != "well", value=low, operator=">=", limit=least, unit="%"),
        rule_rows(
            designed,
            "supply_limited_catalogue",
            limited != "catalogue",
            value=low,
            operator=">=",
            limit=least,
            unit="%",
        ),
        rule_rows(
            designed,
            "coverage_low",
            sites["supply_reliability"] >= equipment.minimum_coverage,
            value=year,
            operator=">=",
            limit=100 * equipment.minimum_coverage,
            unit="%",
        ),
        rule_rows(
            sites.index[sites["power_share_to_run"].notna()],
            "array_small",
            sites["power_share_to_run"] <= SMALL_ARRAY,
            value=100 * sites["power_share_to_run"],
            operator="<=",
            limit=100 * SMALL_ARRAY,
            unit="%",
        ),
        rule_rows(
            assessed,
            "sun_built_in",
            sites["resource_source"] != "built-in",
            value=100 * sites["solar_range_share"],
            limit=(100 * (1 - sites["solar_sizing_factor"])).round(),
            unit="%",
        ),
        rule_rows(installed, "already_equipped", ~met, value=worst, operator="<", limit=least, unit="%"),
        rule_rows(installed, "installed_set_short", met, value=worst, operator=">=", limit=least, unit="%"),
    ]
    unsized = sites.index[(sites["row_kind"] == "site") & ~sites["status"].isin(["dry", "abandoned"])]
    either = sites["rest_level_m"].notna() | sites["yield_used_m3_h"].notna()
    checks.append(rule_rows(unsized, "yield_unknown", sites["yield_used_m3_h"].notna() | ~either))
    checks.append(rule_rows(unsized, "level_unknown", sites["rest_level_m"].notna() | ~either))
    solar = sites.index[(sites["equipped_with"] == "solar") & (sites["existing_pump_id"] != "")]
    known = sites["existing_pump_id"].isin(catalogue.pump_ids)
    checks.append(rule_rows(solar, "unknown_pump_id", known))
    return join_checks([*checks, *_equipment_checks(sites, designed, catalogue)])


def _equipment_checks(sites: pd.DataFrame, designed: pd.Index, catalogue: Catalogue) -> list[pd.DataFrame]:
    """What the chosen pump asks to be confirmed on site."""
    if designed.empty:
        return []
    place = {pump: number for number, pump in enumerate(catalogue.pump_ids)}
    pump = sites.loc[designed, "pump_id"].map(place).to_numpy(dtype="int64")

    def of_pump(values: np.ndarray) -> pd.Series:
        return pd.Series(values[pump], index=designed)

    pumps = catalogue.pumps
    helical = of_pump(pumps.family) == HELICAL
    casing, sand = sites.loc[designed, "casing_used_mm"], sites.loc[designed, "sand_mg_l"]
    gap = casing - of_pump(pumps.outside_mm)
    down_the_well = designed[of_pump(pumps.outside_mm) > 0]
    water = sites.loc[designed, "water_temperature_used_c"]
    low, high = of_pump(pumps.fit_temp_min_c), of_pump(pumps.fit_temp_max_c)
    fits = (water >= low) & (water <= high)
    nearest = high.where(water > high, low)
    warn = of_pump(pumps.sand_warn_mg_l)
    sandy = designed[sand.notna()]
    riser = {name: number for number, name in enumerate(catalogue.riser_ids)}
    bore = catalogue.risers.inside_mm[sites.loc[designed, "riser_id"].map(riser).to_numpy(dtype="int64")]
    velocity = pd.Series(velocity_m_s(sites.loc[designed, "peak_flow_m3_h"].to_numpy(), bore), index=designed)
    settling = designed[sand > SETTLING_SAND_MG_L]
    return [
        rule_rows(
            down_the_well,
            "dummy_run_required",
            gap >= DUMMY_RUN_MM,
            value=gap,
            operator=">=",
            limit=DUMMY_RUN_MM,
            unit="mm",
        ),
        rule_rows(
            designed[helical], "confirm_rotor_size", fits, value=water, operator="within", limit=nearest, unit="degC"
        ),
        rule_rows(sandy, "sand_warning", sand <= warn, value=sand, operator="<=", limit=warn, unit="mg/L"),
        rule_rows(
            settling,
            "sand_settles",
            velocity >= SETTLING_M_S,
            value=velocity,
            operator=">=",
            limit=SETTLING_M_S,
            unit="m/s",
        ),
    ]
