"""Which way is cheapest over head × daily volume: the real engine on invented wells under the plan's sun and prices."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from planner import chunks, pipeline
from planner.alternatives.compare import compare
from planner.disk import in_one_piece
from planner.engine.assess import Context, assess, make_context
from planner.errors import Fault, InputError, OutputError
from planner.glossary import monthly
from planner.outputs.break_even import Chart, break_even_svg
from planner.plan import Plan, input_files
from planner.run_table import engine_columns
from planner.texts import Figure, say

LEVELS_M = (5.0, 10.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0, 130.0)
VOLUMES_M3_DAY = (1.0, 2.0, 4.0, 8.0, 15.0, 25.0, 40.0, 60.0)
SAFE_HOURS = 4.0  # the wells give a day's demand in so many hours: none of them limits a way
DRAWDOWN_M = 2.0  # at that rate


def break_even(path: Path, out: Path) -> Chart:
    """Write the chart of a plan to a file and return it. Raises InputError where the plan has no site with sun."""
    plan, catalogue, table = pipeline.before_sizing(path)
    _check_target(out, [plan.path, *(plan.resolve(name) for name in input_files(plan.plan).values())])
    rows = chunks.to_assess(table.sites)
    if not len(rows):
        raise InputError([Fault(str(path), "[inventory]", "no site with sun, level and demand", "one at least")])
    like = _median_sun(table.sites.loc[rows])
    context = make_context(plan.plan, catalogue, pipeline.weather_of(plan))
    chart = chart_of(like, context)
    with in_one_piece(out) as part:
        part.write_text(break_even_svg(chart), encoding="utf-8", newline="")
    return chart


def _check_target(out: Path, inputs: list[Path]) -> None:
    """Before the wells are sized: a place to write to, which is no input."""
    if out.is_dir():
        raise OutputError([Fault(str(out), "--out", "a folder", "the name of a file, ending in .svg")])
    if not out.absolute().parent.is_dir():
        raise OutputError([Fault(str(out), "--out", f"no folder {str(out.parent)!r}", "a folder that is there")])
    if out.resolve() in inputs:
        raise OutputError([Fault(str(out), "--out", "an input of the plan", "a name of its own")])
    with in_one_piece(out.with_name(f"{out.name}.probe")) as part:
        part.touch()
    out.with_name(f"{out.name}.probe").unlink()


def chart_of(like: pd.DataFrame, context: Context) -> Chart:
    """The chart of wells under the sun of a site.

    like  one row of the table before sizing
    """
    plan = context.plan
    wells = invented_wells(like, plan)
    sites = chunks.engine_sites(wells, wells.index, plan, context.catalogue)
    sized = pd.concat([wells, engine_columns(assess(sites, context).rows, wells.index)], axis=1)
    ways = compare(sized, context)
    shape = (len(LEVELS_M), len(VOLUMES_M3_DAY))
    equal = sized["supply_limited"] == ""
    solar = sized["cost_per_m3"].where(equal & sized["cost_per_m3"].notna())
    enough = ~ways["alternatives_missing"].str.contains("diesel short|diesel no_design")
    costs = pd.DataFrame(
        {
            "solar": solar,
            "handpump": ways["cost_handpumps_per_m3"],
            "diesel": ways["cost_diesel_per_m3"].where(enough),
        }
    )
    cheapest = np.where(costs.notna().any(axis=1), costs.fillna(np.inf).idxmin(axis=1), "").astype(object)
    lift = float(wells["tank_height_m"].iloc[0])
    return Chart(
        tuple(level + lift for level in LEVELS_M),
        VOLUMES_M3_DAY,
        cheapest.reshape(shape),
        (costs["diesel"] / costs["solar"]).to_numpy(dtype="float64").reshape(shape),
        say(
            "break_even_title",
            language_of(plan),
            money=plan.programme.currency,
            year=str(plan.programme.price_year),
        ),
        _notes(plan, float(sized["solar_kwh_m2_day"].iloc[0])),
        language_of(plan),
    )


def language_of(plan: Plan) -> str:
    """The language of what is written for people."""
    return plan.programme.language


def _notes(plan: Plan, sun_kwh_m2_day: float) -> tuple[str, ...]:
    programme, ways, language = plan.programme, plan.alternatives, language_of(plan)
    rate = Figure(100 * programme.discount_rate, "g")
    day = {"hours": Figure(SAFE_HOURS, "g"), "drawdown": Figure(DRAWDOWN_M, "g"), "sun": Figure(sun_kwh_m2_day, ".1f")}
    return (
        say("break_even_cost", language, years=str(programme.horizon_years), rate=rate),
        say("break_even_wells", language, **day),
        say(
            "break_even_sets",
            language,
            least=Figure(ways.generator_least_kw, "g"),
            most=str(ways.handpumps_most),
        ),
    )


def invented_wells(like: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Wells of every level and demand, row by row of the chart, with everything else of one site."""
    level, volume = (grid.ravel() for grid in np.meshgrid(LEVELS_M, VOLUMES_M3_DAY, indexing="ij"))
    wells = like.iloc[np.zeros(level.size, dtype=int)].set_axis(pd.RangeIndex(1, level.size + 1, name="inventory_row"))
    rate = volume / SAFE_HOURS
    new: dict[str, object] = {
        "rest_level_rule_m": level,
        "interference_m": 0.0,
        "drawdown_b_d_m2": DRAWDOWN_M / (24.0 * rate),
        "drawdown_b_rule_d_m2": DRAWDOWN_M / (24.0 * rate),
        "drawdown_c_d2_m5": 0.0,
        "memory_d_m2": 0.0,
        "share_rate_m3_h": rate,
        "safe_volume_m3_day": rate * plan.well.safe_hours_day,
        "level_limit_m": level + 20.0,
        "deepest_intake_m": level + 22.0,
        "level_limit_kind": "level",
        "casing_used_mm": 200.0,
        "tank_height_m": plan.pipes.stand_m + plan.pipes.tank_height_m,
        "pipe_length_m": plan.pipes.pipe_length_m,
        "demand_growth": plan.demand.growth,
        "storage_share": plan.demand.storage_share,
        "people_counted": volume * (1.0 - plan.demand.losses) * 1000.0 / plan.demand.norm_l_person_day,
        "equipped_with": "none",
        "status": "working",
        "existing_pump_id": "",
        "grid_distance_m": np.nan,
    }
    new |= dict.fromkeys(("sand_mg_l", "ph", "chloride_mg_l"), np.nan)
    new |= dict.fromkeys(monthly("rest_level"), level) | dict.fromkeys(monthly("demand"), volume)
    new |= dict.fromkeys(monthly("people_share"), 1.0)
    kept = wells.drop(columns=list(new))
    return pd.concat([kept, pd.DataFrame(new, index=wells.index).astype(wells[list(new)].dtypes)], axis=1)


def _median_sun(sites: pd.DataFrame) -> pd.DataFrame:
    """The site whose sun is the median of all, the first of equals."""
    sun = sites[monthly("ghi")].mean(axis=1)
    middle = sun.sort_values(kind="stable").index[(len(sun) - 1) // 2]
    return sites.loc[[middle]]
