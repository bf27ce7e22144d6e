"""What a change computes again: nothing, some chunks, or all. The same table stands in DEVELOPERS.md."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio

from planner import pipeline
from planner.chunks import keys
from planner.chunks.loop import Task, chunks_of
from planner.chunks.sites import engine_sites, to_assess
from planner.doubt.run import draw_sites
from planner.doubt.switch import switches
from planner.engine.assess import Context, Sites, assess, make_context
from planner.stages import drawing, pump_costs, sizing, well_tests
from tests.chunks.light import rows_of
from tests.conftest import MakeProgramme
from tests.engine import bed
from tests.engine.bed import context, one_site

ROWS = [
    {
        "people": str(200 + 5 * number),
        "static_level_m": str(8 + 0.5 * number),
        "pumping_level_m": str(14 + 0.5 * number),
    }
    for number in range(48)
]  # each with a drawdown of its own: what is unknown is taken from all wells, and hangs on every one of them
SITES = 4  # a chunk

Change = Callable[[Path], object]


def taken(path: Path) -> tuple[Sites, Context]:
    """Sites and context of a plan as they go into the sizing."""
    plan, catalogue, table = pipeline.before_sizing(path)
    sites = engine_sites(table.sites, to_assess(table.sites), plan.plan, catalogue)
    return sites, make_context(plan.plan, catalogue)


def sized(path: Path) -> dict[str, set[int]]:
    """Key of each sizing chunk, and the rows in it."""
    sites, where = taken(path)
    found = chunks_of(sizing.TASK, (sites,), where, sites=SITES)
    return {key: set(sites.inventory_row[rows].tolist()) for rows, key in found}


def text(old: str, new: str) -> Change:
    """A change in the plan file."""

    def change(path: Path) -> None:
        before = path.read_text(encoding="utf-8")
        assert old in before
        path.write_text(before.replace(old, new), encoding="utf-8")

    return change


def cell(row: int, old: str, new: str) -> Change:
    """A change in one row of the inventory, 1 = first."""

    def change(path: Path) -> None:
        lines = (path.parent / "wells.csv").read_text(encoding="utf-8").splitlines()
        assert old in lines[row]
        lines[row] = lines[row].replace(old, new)
        (path.parent / "wells.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return change


def inserted(path: Path) -> None:
    """A row more in the middle of the file: the row of another well, some kilometres off and deeper."""
    lines = (path.parent / "wells.csv").read_text(encoding="utf-8").splitlines()
    lines.insert(20, lines[1].replace("W000,-9.8700", "W999,-9.9900").replace(",60,150,8.0,", ",70,150,9.3,"))
    assert lines[20] != lines[1]
    (path.parent / "wells.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def sun(path: Path) -> None:
    """One cell of the sun's raster."""
    with rasterio.open(path.parent / "solar.tif", "r+") as raster:
        months = raster.read()
        months[:, 2, 1] += 0.1
        raster.write(months)


@pytest.fixture(scope="module")
def before(make_programme: MakeProgramme, tmp_path_factory: pytest.TempPathFactory) -> dict[str, set[int]]:
    return sized(make_programme(tmp_path_factory.mktemp("before"), ROWS))


PROGRAMME = '[programme]\nname = "Small invented programme"\n'
NOTHING: dict[str, Change] = {
    "budget": text(PROGRAMME, PROGRAMME + "budget = 50000\n"),
    "draws": text("draws = 4", "draws = 8"),
    "outputs": text('"gpkg", ', ""),
    "ranking": text("[testing]", "[ranking]\nallow_prior_equip = true\n\n[testing]"),
}
ALL: dict[str, Change] = {
    "horizon": text(PROGRAMME, PROGRAMME + "horizon_years = 12\n"),
    "ageing": text("[testing]", "[array]\nageing_year = 0.011\n\n[testing]"),
    "tax": text("[testing]", "[costs]\ntax = 0.07\n\n[testing]"),
}


@pytest.mark.parametrize("name", NOTHING)
def test_what_sizing_does_not_read_computes_nothing_again(
    make_programme: MakeProgramme, tmp_path: Path, before: dict[str, set[int]], name: str
) -> None:
    plan = make_programme(tmp_path, ROWS)
    NOTHING[name](plan)
    assert sized(plan) == before


@pytest.mark.parametrize("name", ALL)
def test_what_every_site_reads_computes_all_again(
    make_programme: MakeProgramme, tmp_path: Path, before: dict[str, set[int]], name: str
) -> None:
    plan = make_programme(tmp_path, ROWS)
    ALL[name](plan)
    assert not before.keys() & sized(plan).keys()


def test_a_row_computes_its_chunk_again(
    make_programme: MakeProgramme, tmp_path: Path, before: dict[str, set[int]]
) -> None:
    plan = make_programme(tmp_path, ROWS)
    cell(20, ",295,", ",310,")(plan)
    after = sized(plan)
    assert 1 <= len(after.keys() - before.keys()) <= 3
    assert all(20 in rows or len(rows) <= 2 * SITES for key, rows in after.items() if key not in before)
    assert len(after.keys() & before.keys()) >= len(before) - 3


def test_a_row_more_moves_no_other_chunk(
    make_programme: MakeProgramme, tmp_path: Path, before: dict[str, set[int]]
) -> None:
    plan = make_programme(tmp_path, ROWS)
    inserted(plan)
    after = sized(plan)
    assert sum(map(len, after.values())) == 1 + sum(map(len, before.values()))
    assert 1 <= len(after.keys() - before.keys()) <= 4


def test_a_cell_of_the_sun_computes_its_sites_again(
    make_programme: MakeProgramme, tmp_path: Path, before: dict[str, set[int]]
) -> None:
    plan = make_programme(tmp_path, ROWS)
    sites, _ = taken(plan)
    sun(plan)
    brighter, _ = taken(plan)
    order, again = np.argsort(sites.inventory_row), np.argsort(brighter.inventory_row)
    touched = set(sites.inventory_row[order][(sites.ghi[order] != brighter.ghi[again]).any(axis=1)].tolist())
    assert 0 < len(touched) < len(ROWS)
    after = sized(plan)
    for key, rows in before.items():
        assert (key in after) != bool(rows & touched) or not rows & touched
    assert before.keys() & after.keys()


# Context and settings ---------------------------------------------------------------------------------------


def key(task: Task, where: Context, columns: tuple[Any, ...] = (), settings: tuple[Any, ...] = ()) -> str:
    """The key of a task's only chunk."""
    (found,) = chunks_of(task, columns or (one_site(),), where, settings)
    return found[1]


def test_a_price_changes_every_key() -> None:
    where = context()
    dearer = dataclasses.replace(where.catalogue, digest=where.catalogue.digest[::-1])
    assert key(sizing.TASK, where) != key(sizing.TASK, dataclasses.replace(where, catalogue=dearer))


def test_a_version_changes_every_key(monkeypatch: pytest.MonkeyPatch) -> None:
    tasks = (sizing.TASK, drawing.TASK, well_tests.TASK, pump_costs.TASK)
    before = [key(task, context()) for task in tasks]
    assert len(set(before)) == len(tasks)
    monkeypatch.setattr(keys, "__version__", "99.0.0")
    assert not set(before) & {key(task, context()) for task in tasks}


def test_draws_hang_on_their_widths_seed_and_number() -> None:
    where, other = context(), bed.make_context(uncertainty={"seed": 77})
    assert key(sizing.TASK, where) == key(sizing.TASK, other)
    assert key(well_tests.TASK, where) == key(well_tests.TASK, other)  # its widths are columns
    assert key(drawing.TASK, where) != key(drawing.TASK, other)
    assert key(drawing.TASK, where, settings=(4,)) != key(drawing.TASK, where, settings=(5,))


def test_switch_values_hang_on_the_dearest_funded_cost() -> None:
    found = {key(well_tests.TASK, context(), settings=(cutoff,)) for cutoff in (float("nan"), 0.5, 0.5 + 1e-12)}
    assert len(found) == 3


def test_only_draws_hang_on_the_place_in_the_file() -> None:
    moved = (dataclasses.replace(one_site(), inventory_row=np.array([9])),)
    for task in (sizing.TASK, well_tests.TASK, pump_costs.TASK):
        assert key(task, context()) == key(task, context(), moved)
    assert key(drawing.TASK, context()) != key(drawing.TASK, context(), moved)


def test_every_value_of_every_column_is_in_the_key() -> None:
    rows = rows_of(1)
    own = keys.key_of("", [rows], True)
    changed = [
        dataclasses.replace(rows, months=np.where(np.arange(12) == month, 0.5, rows.months)) for month in range(12)
    ]
    changed += [dataclasses.replace(rows, value=rows.value + 1e-15), dataclasses.replace(rows, value=-rows.value)]
    assert own not in {keys.key_of("", [one], True) for one in changed}


class Watched:
    """A plan that notes what is read of it."""

    def __init__(self, plan: Any, name: str = "", read: set[str] | None = None) -> None:
        self.__dict__.update(_plan=plan, _name=name, _read=set() if read is None else read)

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._plan, name)
        if self._name or name != "programme":
            self._read.add(f"{self._name}{name}")
            return found
        return Watched(found, "programme.", self._read)


def test_nothing_is_read_that_is_not_in_the_key() -> None:
    where, site = context(), one_site()
    plan: Any = Watched(where.plan)
    watched = make_context(plan, where.catalogue)
    assess(site, watched)
    allowed = {*keys.SECTIONS, *(f"programme.{name}" for name in keys.PROGRAMME)}
    assert plan._read <= allowed
    doubts = drawing.Doubts(site.inventory_row, *(np.array([1.0]),) * 4, np.ones((1, 12)), np.array([0.5]),
                            np.array([False]), np.array([100.0]), np.array([np.nan]), np.array([False]))  # fmt: skip
    draw_sites(site, doubts, watched, 2)
    assert plan._read <= allowed | {"uncertainty"}
    plan._read.clear()
    widths = well_tests.Widths(*(np.array([one]) for one in (2.0, 1.5, 1.5, 1.2, 1.15, 0.05, 40.0, 5.0, True)))
    switches(site, widths, watched, 1.0)
    assert plan._read <= allowed
