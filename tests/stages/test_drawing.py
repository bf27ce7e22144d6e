"""The draws of a run, from table to files: resumable, the same whatever the way there, told where there are none."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner import pipeline
from planner.commands.why.command import why
from planner.glossary import glossary
from planner.stages import drawing

MakeProgramme = Callable[..., Path]

# Wells that are tested with drawdown, without, and not at all; one that cannot be built.
WELLS = (
    {"site_id": "A1"},
    {"site_id": "A2", "tested_yield_m3_h": "9", "people": "500"},
    {"site_id": "B1", "pumping_level_m": ""},
    {"site_id": "C1", "tested_yield_m3_h": "", "pumping_level_m": "", "latitude": "-9.6700"},
    {"site_id": "X1", "casing_mm": "60"},
)
# Widths of nothing, and money for some.
SURE = """
[uncertainty]
draws = 2
rest_level_m = { A = 0 }
drawdown_factor = { A = 1 }
yield_factor = { A = 1 }
solar_share = 0
well_loss_range = [0.2, 0.2]
season_swing_range_m = [3, 3]
decline_half_width_m_year = 0
demand_common_factor = 1
demand_site_factor = 1
soiling_factor = 1
ageing_factor = 1
slip_factor = 1
life_factor = 1
upkeep_factor = 1
price_common_factor = 1
price_part_factor = 1
price_site_factor = 1
"""


@pytest.fixture(scope="module")
def plan(make_programme: MakeProgramme, tmp_path_factory: pytest.TempPathFactory) -> Path:
    rows = [{"latitude": "-9.8500", "longitude": f"{30.05 + 0.02 * n:.4f}", **well} for n, well in enumerate(WELLS)]
    path = make_programme(tmp_path_factory.mktemp("drawn"), rows)
    # Switch values go the same ways, part by part.
    path.write_text(
        path.read_text(encoding="utf-8").replace("switch_values = false", "switch_values = true"), encoding="utf-8"
    )
    return path


@pytest.fixture(scope="module")
def folder(plan: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = tmp_path_factory.mktemp("results") / "maps"
    pipeline.run(plan, found, workers=1)
    return found


def sites_of(folder: Path) -> pd.DataFrame:
    return pd.read_parquet(folder / "sites.parquet").set_index("site_id")


def test_kinds_of_range_follow_grade_and_decision(folder: Path) -> None:
    """D28: commit for grade A, test first otherwise, nothing without a design."""
    assert sites_of(folder)["range_kind"].to_dict() == {
        "A1": "commit", "A2": "commit", "B1": "test_first", "C1": "test_first", "X1": "",
    }  # fmt: skip


def test_ranges_are_in_order_and_only_where_drawn(folder: Path) -> None:
    sites = sites_of(folder)
    drawn = sites["range_kind"] != ""
    for stem in ("cost_per_m3", "volume_used_m3_day", "pumping_level_m"):
        low, middle, high = (sites[f"{stem}_{end}"] for end in ("p10", "p50", "p90"))
        assert low[~drawn].isna().all()
        assert (low <= middle)[drawn & middle.notna()].all()
        assert (middle <= high)[drawn & high.notna()].all()
    untested = sites["cost_per_m3_p10_untested"].notna()
    assert not untested[sites["range_kind"] != "test_first"].any()
    ranked = sites["decision"] == "equip"
    assert sites.loc[ranked, ["rank_p10", "rank_p90"]].notna().all(axis=None)
    assert sites.loc[~ranked, ["rank_p10", "rank_p90"]].isna().all(axis=None)
    assert sites["funded_probability"].isna().all()


def test_the_record_tells_draws_and_seed(folder: Path) -> None:
    record = json.loads((folder / "run.json").read_text())
    assert (record["draws"], record["seed"]) == (4, 1)
    assert "4 draws" in record["notes"][0]


@pytest.mark.parametrize(("workers", "chunk"), [(2, 1), (1, 3)])
def test_workers_and_chunks_change_no_byte(
    plan: Path, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, workers: int, chunk: int
) -> None:
    monkeypatch.setattr(drawing, "CHUNK_SITES", chunk)
    pipeline.run(plan, tmp_path / "again", workers=workers)
    for name in ("sites.csv", "sites.parquet", "map.html"):
        assert (tmp_path / "again" / name).read_bytes() == (folder / name).read_bytes()


def test_kept_chunks_are_found_and_broken_ones_made_again(
    plan: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (folder / "sites.parquet").read_bytes()
    (kept,) = (folder / ".planner" / "chunks").glob("draws/*.chunk")
    made = []
    monkeypatch.setattr(drawing, "draw_sites", lambda *a, real=drawing.draw_sites: made.append(1) or real(*a))
    pipeline.run(plan, folder, workers=1)
    assert not made
    kept.write_bytes(kept.read_bytes()[:100])
    pipeline.run(plan, folder, workers=1)
    assert made
    assert (folder / "sites.parquet").read_bytes() == before


def test_without_draws_columns_are_empty_and_it_is_told(plan: Path, tmp_path: Path) -> None:
    none = plan.parent / "none.toml"
    none.write_text(plan.read_text().replace("draws = 4", "draws = 0"))
    pipeline.run(none, tmp_path / "none")
    sites = sites_of(tmp_path / "none")
    names = list(glossary())
    columns = names[names.index(drawing.FIRST) + 1 : names.index(drawing.LAST) + 1]
    assert sites[columns].isna().all(axis=None)
    assert (sites["range_kind"] == "").all()
    record = json.loads((tmp_path / "none" / "run.json").read_text())
    assert (record["draws"], record["seed"]) == (0, None)
    assert record["notes"][0].startswith("No ranges")


def test_another_seed_gives_other_ranges(plan: Path, folder: Path, tmp_path: Path) -> None:
    other = plan.parent / "seed.toml"
    other.write_text(plan.read_text().replace("draws = 4", "draws = 4\nseed = 2"))
    pipeline.run(other, tmp_path / "seed")
    ours, theirs = sites_of(folder), sites_of(tmp_path / "seed")
    assert (ours["cost_per_m3"].dropna() == theirs["cost_per_m3"].dropna()).all()
    assert not np.allclose(ours["cost_per_m3_p50"].dropna(), theirs["cost_per_m3_p50"].dropna())


def test_without_doubt_the_draws_fund_the_set_of_the_plan(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    """Closed form: widths of nothing. 45 000 buys the two with most people for their money, and the cheapest fills up
    what is left or does not: the relaxation is tight but for the last site."""
    rows = [{"people": people} for people in ("150", "600", "300", "450")]
    path = make_programme(
        tmp_path,
        rows,
        plan_text.replace("\n[uncertainty]\ndraws = 4\n", SURE).replace(
            "\n[inventory]", "budget = 45_000\n\n[inventory]", 1
        ),
    )
    pipeline.run(path, tmp_path / "out", workers=1)
    sites = pd.read_parquet(tmp_path / "out" / "sites.parquet")
    funded = sites["funding"] == "funded"
    assert 0 < funded.sum() < 4
    assert sites["cost_per_m3_p50"].to_numpy() == pytest.approx(sites["cost_per_m3"].to_numpy(), rel=1e-6)
    assert (sites["funded_probability"] == funded).all()
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    found = record["funding"]["funded_probability"]
    assert (found["draws"], found["rules_kept"]) == (2, 1.0)
    count = funded.sum()
    assert any(line.startswith(f"{count} funded sites: {count} are funded in at least 8") for line in record["budget"])


def test_why_tells_what_was_drawn(folder: Path) -> None:
    for name, words in (
        ("A1", "The set of the plan is bought"),
        ("B1", "bought untested"),
        ("X1", "Nothing was drawn"),
    ):
        text = why(folder, name)
        assert "  Ranges\n" in text
        assert words in text
        assert max(map(len, text.splitlines())) <= 110
