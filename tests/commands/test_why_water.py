"""`planner why`: water, from the cap of the pump over days and months to the years, worked out again by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner.commands.why.command import why
from planner.pipeline import run
from tests.commands.sheet_reader import CLOSES, NUMBER, Order, closes, table, value, water_of_knots

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
RATE = 0.08  # of the demo's plan


def test_knots_add_up_to_the_volume(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        assert water_of_knots(text, 0) == pytest.approx(value(text, "pumpable volume") / 0.99, rel=CLOSES)
        month = int(sites.at[row, "design_month"])
        assert value(text, "pumpable volume") == pytest.approx(sites.at[row, f"volume_{month:02d}"], rel=1e-5)


def test_months_add_up_to_the_year(sheets: dict[int, str], sites: pd.DataFrame, orders: dict[int, Order]) -> None:
    for row, text in sheets.items():
        site = sites.loc[row]
        months = table(text, "The twelve months", "month")
        assert [cells[0].strip(" *") for cells in months] == list(MONTHS)
        stars = [m for m, cells in enumerate(months, start=1) if cells[0].endswith("*")]
        assert stars == [site["design_month"]]
        demand, wanted, volume, used = ([float(cells[k]) for cells in months] for k in (2, 3, 4, 6))
        safe, share = value(text, "V_safe, daily limit"), value(text, "storage share of a day, through the tank")
        assert share == pytest.approx(site["storage_share"], rel=1e-5)
        day = value(text, "a day's use that well and tank allow")
        assert day == pytest.approx(min(safe, site["tank_m3"] / share), rel=1e-5)
        assert wanted == pytest.approx([min(d, day) for d in demand], rel=1e-5)
        room = value(text, "S, room to carry over to later days")
        assert room == pytest.approx(max(site["tank_m3"] - share * min(max(demand), safe), 0), rel=1e-3, abs=1e-4)
        kinds = kinds_of_months(text, "The twelve months")
        for each, whole in zip(kinds, volume, strict=True):
            mean = sum(each) / 10
            assert max(each) <= safe * 1.0001 and mean <= whole * 1.0001
            assert max(each) > safe * 0.9999 or mean == pytest.approx(whole, rel=1e-4)
        assert used == pytest.approx(water_of_days(kinds, wanted, room, orders[row]), rel=2e-4)
        year = sum(days * one for days, one in zip(DAYS, used, strict=True))
        asked = sum(days * one for days, one in zip(DAYS, demand, strict=True))
        assert year / asked == pytest.approx(site["supply_reliability"], rel=1e-4)
        assert 0.9 * year / 365 == pytest.approx(site["volume_used_m3_day"], rel=1e-4)


def water_of_days(kinds: list[list[float]], wanted: list[float], room: float, order: Order) -> list[float]:
    """Water used on the mean day of each month: day after day through the tank, by hand."""
    stored, taken = room / 2, [0.0] * 12
    for day, (month, kind) in enumerate(order.days):
        here = kinds[month][kind]
        take = min(wanted[month], stored + here)
        stored = min(room, stored + here - take)
        if day >= order.before:
            taken[month] += take
    return [total / sum(month == m for month, _ in order.days[order.before :]) for m, total in enumerate(taken)]


def kinds_of_months(text: str, section: str) -> list[list[float]]:
    return [[float(cell) for cell in cells[1:]] for cells in table(text, section, "month", 1)]


def test_ten_days_through_the_tank(sheets: dict[int, str], sites: pd.DataFrame, orders: dict[int, Order]) -> None:
    helped = short = 0
    for row, text in sheets.items():
        section, month = "Days of", int(sites.at[row, "design_month"]) - 1
        kinds = [float(cell) for cell in table(text, section, "kind")[0][1:]]
        assert kinds == pytest.approx(kinds_of_months(text, "The twelve months")[month], abs=1e-3 * max(kinds))
        room, after = value(text, "S, room to carry over to later days"), None
        days = table(text, section, "day")
        assert len(days) == 10
        for number, kind, *cells in days:
            stored, pumped, wanted, taken, left = map(float, cells)
            assert orders[row].days[orders[row].before + int(number) - 1] == (month, int(kind) - 1)
            assert pumped == pytest.approx(kinds[int(kind) - 1], rel=1e-4)
            assert after is None or stored == after
            assert taken == pytest.approx(min(wanted, stored + pumped), rel=1e-5)
            assert left == pytest.approx(min(room, stored + pumped - taken), rel=1e-4, abs=1e-4)
            after, helped, short = left, helped + (taken > pumped), short + (taken < wanted)
        lacking = [name for name in text.splitlines() if name.startswith("  days that get less than 0.8")]
        assert len(lacking) == 1
        assert value(text, "days that get less than 0.8 of what is wanted") == pytest.approx(
            sites.at[row, "days_below_80pct"], abs=1e-6
        )
    assert helped and short


def test_shares_of_a_year_of_low_sun(sheets: dict[int, str], sites: pd.DataFrame, orders: dict[int, Order]) -> None:
    """The rules test them; they come from twelve months of an array that is as much smaller."""
    for row, text in sheets.items():
        site, months = sites.loc[row], table(text, "The same months in a year of low sun", "month")
        factor = value(text, "low sun, of the mean year's")
        assert factor == pytest.approx(site["solar_sizing_factor"], rel=1e-5)
        mean = table(text, "The twelve months", "month")
        assert all(float(low[3]) <= float(all_[4]) for low, all_ in zip(months, mean, strict=True))
        assert value(text, "W, array in low sun") == pytest.approx(0.95 * factor * site["array_wp"], rel=1e-5)
        demand, used = ([float(cells[k]) for cells in months] for k in (2, 4))
        wanted, room = [float(cells[3]) for cells in mean], value(text, "S, room to carry over to later days")
        kinds = kinds_of_months(text, "The same months in a year of low sun")
        assert used == pytest.approx(water_of_days(kinds, wanted, room, orders[row]), rel=2e-4)
        year = sum(days * one for days, one in zip(DAYS, used, strict=True))
        asked = sum(days * one for days, one in zip(DAYS, demand, strict=True))
        assert year / asked == pytest.approx(site["low_sun_reliability"], rel=1e-4)
        worst = min(u / d for u, d in zip(used, demand, strict=True))
        assert worst == pytest.approx(site["low_sun_reliability_worst_month"], rel=1e-4)
        met = year / asked >= 0.95 - 1e-6 and worst >= 0.90 - 1e-6  # [equipment] reliability
        assert ("\n  limited by: " in text) == (not met) == (site["supply_limited"] != "")
        share = value(text, "power to run, of rated")
        assert share == pytest.approx(site["power_share_to_run"], rel=1e-5)
        assert ("the array is small" in text) == (share > 0.45)


def test_people_served_in_their_worst_month(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        used = [float(cells[6]) for cells in table(text, "The twelve months", "month")]
        shares = [sites.at[row, f"people_share_{m:02d}"] for m in range(1, 13)]
        litres = 1000 * 0.9 * min(u * share for u, share in zip(used, shares, strict=True))  # [demand] losses
        served = min(sites.at[row, "people_counted"], litres / 20)  # [demand] norm_l_person_day
        assert sites.at[row, "people_served"] == pytest.approx(served, rel=1e-4)


def test_the_cap_lies_where_the_first_limit_is_met(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        knots = [[float(cell) for cell in cells[1:]] for cells in table(text, "Rules of the pump", "flow")]
        flows = [knot[0] for knot in knots]
        assert flows == pytest.approx(np.linspace(0, flows[-1], 20), rel=1e-5, abs=1e-6)
        power, ceiling = value(text, "P_max, taken at most"), value(text, "ceiling")
        assert ceiling <= flows[-1] * 1.00001
        cap = flows[-1]
        for before, after in pairwise(knots):
            parts = [
                (most - a) / (b - a)
                for most, a, b in (
                    (1.0, before[2], after[2]),
                    (power, before[3], after[3]),
                    (ceiling, before[0], after[0]),
                    *((0.0, low[4] - low[2], high[4] - high[2]) for low, high in [(before, after)] if len(low) == 5),
                )
                if b > most * (1 + 1e-6) + 1e-9
            ]
            if parts:
                cap = before[0] + max(min(1.0, *parts), 0.0) * (after[0] - before[0])
                break
        assert value(text, "cap") == pytest.approx(cap, rel=1e-4)
        assert value(text, "cap") == pytest.approx(sites.at[row, "cap_flow_m3_h"], rel=1e-5)


def test_wear_ends_the_life_of_rotor_and_stator(sheets: dict[int, str]) -> None:
    worn = 0
    for text in sheets.values():
        if "rotor and stator, life by hours" not in text:
            continue
        lives = [value(text, "rotor and stator, life by hours"), 10.0]  # calendar cap of the catalogue
        if "Wear lets more water slip back" in text:
            months = [[float(cell) for cell in cells[1:]] for cells in table(text, "Replacements", "month")]
            slips = [1.5 + 2.5 * (used - wanted) / (used - end) for used, end, wanted in months if end < wanted]
            if slips:
                worn += 1
                found = re.search(rf"slip at the limit, of new: .*?= ({NUMBER})\n", text, re.DOTALL)
                assert found
                lives.append(lives[0] * (min(slips) - 1) / 3)
                assert value(text, "life until a month falls short") == pytest.approx(lives[-1], rel=1e-4)
        assert value(text, "rotor and stator, life") == pytest.approx(max(min(lives), 1.0), rel=1e-4)
    assert worn


def test_the_years_give_the_cost_of_water(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        months = [[float(cell) for cell in cells[1:]] for cells in table(text, "Water over the horizon", "month")]
        growth = float(sites.at[row, "demand_growth"])
        for cells in months:
            assert cells[0] == pytest.approx(cells[3] * (1 + growth) ** -9, rel=CLOSES)  # year 1 of design year 10
            assert cells[6] == pytest.approx(cells[3] * (1 + growth) ** 10, rel=CLOSES)
        first, middle, last = (sum(d * cells[k] for d, cells in zip(DAYS, months, strict=True)) for k in (2, 5, 8))
        present = 0.0
        for cells in table(text, "Water over the horizon", "year"):
            year, used, tap, factor, amount = map(float, cells)
            line = (
                first + (year - 1) / 9 * (middle - first) if year <= 10 else middle + (year - 10) / 10 * (last - middle)
            )
            assert used == pytest.approx(line, rel=CLOSES)
            assert tap == pytest.approx(0.9 * used, rel=CLOSES)  # [demand] losses
            assert factor == pytest.approx((1 + RATE) ** -year, rel=CLOSES)
            present += tap * (1 + RATE) ** -year
            assert amount == pytest.approx(tap * (1 + RATE) ** -year, rel=CLOSES)
        assert value(text, "life-cycle cost, whole scheme") / present == pytest.approx(
            sites.at[row, "cost_per_m3"], rel=1e-4
        )
        assert value(text, "life-cycle cost, equipment only") / present == pytest.approx(
            sites.at[row, "cost_equipment_per_m3"], rel=1e-4
        )


def test_a_surface_pump_is_capped_by_its_suction(
    make_programme: Callable[..., Path], plan_text: str, tmp_path: Path
) -> None:
    """Invented shallow wells, so deep that suction binds before the well does; no other family is allowed."""
    wells = [{"static_level_m": "2", "pumping_level_m": level} for level in ("3", "6")]
    plan = make_programme(tmp_path, wells, plan_text + '\n[equipment]\nfamilies = ["surface"]\n')
    run(plan, tmp_path / "out")
    sites = pd.read_parquet(tmp_path / "out" / "sites.parquet").set_index("inventory_row")
    assert sites["engine_status"].tolist() == ["designed"] * 2 and "suction" in set(sites["safe_rate_limit"])
    for row in (1, 2):
        text = why(tmp_path / "out", f"row:{row}")
        closes(text, 90)
        assert value(text, "cap") <= value(text, "ceiling by suction, with friction") * 1.00001
        assert value(text, "cap") == pytest.approx(sites.at[row, "cap_flow_m3_h"], rel=1e-5)
        told = " ".join(text.split())
        assert "Helical rotor: no pump of the catalogue or not allowed" in told
        assert "Surface pump: best design" in told and "no_suction: suction head available" in told
