"""Rules of [lots] against a table of sites: lots, findings, record and errors. Sites are invented."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod

from planner.choice.lots.stage import Grouping, group
from planner.errors import PlanError
from planner.outputs.geopackage.lots import LOT_FIELDS, lot_shapes
from planner.outputs.lots import write_lots_csv
from planner.plan import LoadedPlan, read_plan

Load = Callable[..., LoadedPlan]


@pytest.fixture
def load(tmp_path: Path) -> Load:
    def plan(*lines: str, budget: float | None = None, detour: float = 1.35) -> LoadedPlan:
        (tmp_path / "wells.csv").write_text("site_id\n", encoding="utf-8")
        money = "" if budget is None else f"[programme]\nbudget = {budget}\n"
        text = f'{money}[inventory]\nfile = "wells.csv"\n[costs]\ndetour = {detour}\n[lots]\n' + "\n".join(lines)
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
        return read_plan(tmp_path / "plan.toml")

    return plan


def table(places: list[tuple[float, float]], cost: list[float] | None = None, pumps: str = "") -> pd.DataFrame:
    """Sites S1, S2 … to equip at latitude, longitude; a letter of `pumps` a site."""
    count = len(places)
    return pd.DataFrame(
        {
            "site_id": [f"S{number}" for number in range(1, count + 1)],
            "latitude": [one[0] for one in places],
            "longitude": [one[1] for one in places],
            "decision": ["equip"] * count,
            "funding": [""] * count,
            "capital_cost": cost or [10_000.0] * count,
            "people_served": [100.0] * count,
            "volume_used_m3_day": [2.0] * count,
            "pump_id": list(pumps or "a" * count),
        },
        index=pd.RangeIndex(1, count + 1, name="inventory_row"),
    )


def lattice(rows: int, columns: int, step: float = 0.1) -> list[tuple[float, float]]:
    """From the north-west, row by row, a little out of line."""
    return [(-10 - step * row - 0.001 * column, 30 + step * column) for row in range(rows) for column in range(columns)]


def lots_of(found: Grouping) -> list[int]:
    return [int(one) for one in found.step.columns["lot"]]


def test_nothing_is_grouped_unless_it_is_written(load: Load) -> None:
    found = group(table(lattice(2, 3)), load())
    assert found.step.columns.isna().all().all()
    assert (found.table, found.record, found.lines) == (None, None, [])


def test_two_clusters_are_two_lots_from_the_north_west(load: Load) -> None:
    sites = table([(-11.0, 31.0), (-11.0, 31.1), (-10.0, 30.0), (-10.0, 30.1)], pumps="abcc")
    found = group(sites, load("count = 2"))
    assert lots_of(found) == [2, 2, 1, 1]
    assert found.table is not None
    assert found.record is not None
    assert found.table["sites"].tolist() == [2, 2]
    assert found.table["capital_cost"].tolist() == [20_000.0, 20_000.0]
    assert found.table["people_served"].tolist() == [200.0, 200.0]
    assert found.table["pumps"].tolist() == ["c × 2", "a × 1; b × 1"]
    assert found.table["pump_types"].tolist() == [1, 2]
    assert found.record["balanced"] is True
    assert found.record["gap"] == 0.0
    # Each base is one of two sites; the drive to the other is the geodesic (PROJ) × detour.
    metres = Geod(ellps="WGS84").inv(30.0, -10.0, 30.1, -10.0)[2]
    assert found.table["max_base_km"][0] == pytest.approx(1.35 * metres / 1000, abs=1e-3)
    assert not found.step.findings


def test_only_funded_sites_where_there_is_a_budget(load: Load) -> None:
    sites = table(lattice(1, 4)).assign(funding=["funded", "reserve", "funded", ""])
    found = group(sites, load("count = 2", budget=1e6))
    assert [not math.isnan(one) for one in found.step.columns["lot"]] == [True, False, True, False]
    assert group(sites.assign(funding=""), load("count = 2", budget=1e6)).lines[0].text() == "Lots: no site to group."


def test_the_budgets_of_phases_are_a_budget(load: Load) -> None:
    sites = table(lattice(1, 4)).assign(funding=["funded", "reserve", "funded", ""])
    found = group(sites, load("count = 2", "[[phase]]", "year = 2027", "budget = 1e6"))
    assert [not math.isnan(one) for one in found.step.columns["lot"]] == [True, False, True, False]
    assert found.record is not None
    assert found.record["of"] == "funded"


def test_bases_of_the_plan_have_their_names_and_the_drive(load: Load) -> None:
    sites = table(lattice(2, 6))
    found = group(sites, load('bases = { "East town" = [-10.05, 30.6], West = [-10.05, 29.9] }', detour=1.0))
    assert found.table is not None
    assert found.table["base"].tolist() == ["West", "East town"]
    assert found.table["base_source"].tolist() == ["plan", "plan"]
    assert lots_of(found) == [1, 1, 1, 2, 2, 2] * 2
    metres = Geod(ellps="WGS84").inv(29.9, -10.05, 30.0, -10.0)[2]
    assert found.step.columns["lot_base_km"][1] == pytest.approx(metres / 1000)


def test_of_more_bases_than_lots_the_useful_ones_are_taken(load: Load) -> None:
    found = group(table(lattice(2, 6)), load("count = 2", "bases = [[0.0, 0.0], [-10.05, 30.6], [-10.05, 29.9]]"))
    assert found.table is not None
    assert set(found.table["base"]) == {"base 2", "base 3"}


def test_more_lots_than_bases_are_served_from_the_nearest(load: Load) -> None:
    found = group(table(lattice(2, 6)), load("count = 3", "bases = [[-10.05, 30.6], [-10.05, 29.9]]"))
    assert found.table is not None
    assert len(found.table) == 3
    assert set(found.table["base"]) <= {"base 1", "base 2"}
    assert found.record is not None
    assert "nearest base of the plan" in found.record["places"]


def test_as_few_lots_as_value_and_sites_let(load: Load) -> None:
    sites = table(lattice(3, 4))  # 12 sites of 10 000
    for lines, lots in ((["value_max = 40_000"], 3), (["sites_max = 3"], 4), (["value_max = 120_000"], 1)):
        found = group(sites, load(*lines))
        assert found.table is not None
        assert len(found.table) == lots
        assert found.table["capital_cost"].max() <= 40_000 or lots == 1
    assert group(sites, load("value_max = 40_000", "count = 5")).record["lots"] == 5  # type: ignore[index]


def test_a_site_worth_more_than_a_lot_is_told(load: Load) -> None:
    found = group(table(lattice(1, 4), [10_000, 10_000, 10_000, 90_000]), load("count = 2"))
    assert lots_of(found) == [1, 1, 1, 2]
    told = [(one.row, one.rule, one.old_value, one.new_value) for one in found.step.findings]
    assert told[0] == (4, "site_above_lot", "90 000", "at most 69 000")  # 120 000 ÷ 2 × 1.15
    assert [one[1] for one in told[1:]] == ["lot_out_of_balance"] * 2
    assert found.record is not None
    assert (found.record["balanced"], found.record["excess"]) == (False, 21_000.0)
    assert "21 000 USD outside" in " ".join(map(str, found.lines))


def test_rows_in_another_order_give_the_same_lots(load: Load) -> None:
    draw = np.random.default_rng(7)
    places = [(-10 + float(one), 30 + float(other)) for one, other in draw.random((70, 2))]
    costs = [float(one) for one in draw.lognormal(10, 0.4, 70).round(2)]
    sites = table(places, costs, "".join(draw.choice(list("abcdef"), 70)))
    for lines in (["count = 2"], ["count = 5"], ["sites_max = 20", "bases = [[-9.5, 30.5], [-9.2, 30.1]]"]):
        first = group(sites, load(*lines))
        again = group(sites.sample(frac=1, random_state=3), load(*lines))
        assert again.step.columns.loc[sites.index].equals(first.step.columns)
        assert again.record == first.record
        assert first.record is not None
        assert first.record["balanced"]


def test_pump_id_standard_goes_before_pump_id(load: Load) -> None:
    sites = table(lattice(1, 2), pumps="ab").assign(pump_id_standard=["s", ""])
    found = group(sites, load("count = 1"))
    assert found.table is not None
    assert found.table["pumps"].tolist() == ["b × 1; s × 1"]


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        (["count = 13"], "count", "13 lots of 12 sites"),
        (["value_max = 9_000"], "value_max", "less than the site"),
        (["value_max = 30_000", "count = 3"], "value_max", "3 lots of at most 30 000 for 120 000 in all"),
        (["sites_max = 2", "count = 3"], "sites_max", "3 lots of at most 2 for 12 in all"),
        (["bases = [[-10.0, 30.0]]", "radius_max_km = 20"], "radius_max_km", "lie farther from every base"),
        (["count = 2", "radius_max_km = 5"], "radius_max_km", "2 bases from which every site lies within 5"),
        (["value_max = 50_000", "count = 12", "bases = [[-10.0, 30.0]]", "radius_max_km = 1"], "radius_max_km", "km"),
    ],
)
def test_rules_that_cannot_be_kept_name_the_key(load: Load, lines: list[str], key: str, words: str) -> None:
    with pytest.raises(PlanError) as raised:
        group(table(lattice(3, 4)), load(*lines))
    [fault] = raised.value.faults
    assert fault.place.startswith(f"[lots] {key}")
    assert words in fault.found


@pytest.mark.parametrize(
    "lines",
    [
        ["value_tolerance = 0.1"],
        ["count = 0"],
        ["bases = [-10.0, 30.0]"],
        ["bases = [[-100.0, 30.0]]"],
        ["bases = [[-10.0, 30.0], [-10.0, 30.0]]"],
    ],
)
def test_keys_that_cannot_be_are_refused(load: Load, lines: list[str]) -> None:
    with pytest.raises(PlanError, match="lots"):
        load(*lines)


def test_shapes_cover_their_sites_and_share_no_ground(load: Load) -> None:
    import shapely

    draw = np.random.default_rng(2)
    sites = table([(-10 + float(one), 30 + float(other)) for one, other in draw.random((40, 2))])
    found = group(sites, load("count = 4"))
    assert found.table is not None
    with_lot = sites.join(found.step.columns)
    shapes = lot_shapes(with_lot, found.table)
    assert list(shapes.columns[:-1]) == [field.name for field in LOT_FIELDS]
    for lot, shape in zip(shapes["lot"], shapes.geometry, strict=True):
        own = with_lot[with_lot["lot"] == lot]
        assert shapely.covers(shape, shapely.multipoints(own[["longitude", "latitude"]].to_numpy()))
    areas = shapely.area(shapes.geometry.to_numpy())
    assert shapely.area(shapely.union_all(shapes.geometry.to_numpy())) == pytest.approx(areas.sum())
    one_place = with_lot.assign(latitude=-10.0, longitude=30.0)
    coarse = lot_shapes(one_place, found.table, 5000.0)
    assert not coarse.geometry.is_empty.any()
    assert not np.isclose(coarse["base_latitude"], found.table["base_latitude"]).all()


def test_the_table_is_safe_for_a_spreadsheet(load: Load, tmp_path: Path) -> None:
    found = group(table(lattice(1, 2), pumps="=b"), load('bases = { "=1+1" = [-10.0, 30.0] }'))
    assert found.table is not None
    write_lots_csv(found.table, tmp_path / "lots.csv")
    text = (tmp_path / "lots.csv").read_text(encoding="utf-8").splitlines()
    assert text[0].startswith("lot,base,base_source,base_latitude,base_longitude,sites,capital_cost,value_deviation")
    assert text[1].startswith("1,'=1+1,plan,-10,30,2,20000,0,200,4,2,'=")
