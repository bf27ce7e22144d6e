"""A table whose columns lie in a file is the table that lies in memory."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planner import columns_on_disk
from planner.columns_on_disk import ColumnsOnDisk
from planner.run_table import Table
from planner.tables import step
from planner.tables.step import join_checks, no_checks, plain_texts, rule_rows

ROWS = pd.Index(np.arange(1, 1201), dtype="int64", name="inventory_row")


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ColumnsOnDisk:
    monkeypatch.setattr(columns_on_disk, "ROWS", 1000)
    return ColumnsOnDisk(tmp_path / "hidden")


def columns() -> pd.DataFrame:
    """One column of each kind, with what is missing, empty and beyond ASCII."""
    count = len(ROWS)
    frame = pd.DataFrame(
        {
            "number": np.where(np.arange(count) % 7 == 0, np.nan, np.arange(count) / 3),
            "whole": np.arange(count),
            "flag": np.arange(count) % 2 == 0,
            "text": pd.Series(["", "Kép", "a\nb", "=1"] * (count // 4), dtype="str").to_numpy(),
        },
        index=ROWS,
    )
    return frame.astype({"text": "str"}).assign(same=np.broadcast_to(np.nan, count))


def test_every_kind_of_column_comes_back(disk: ColumnsOnDisk, tmp_path: Path) -> None:
    frame = columns()
    kept = disk.keep(frame, len(frame))
    disk.release()
    pd.testing.assert_frame_equal(kept, frame)
    assert not kept["number"].to_numpy().flags.owndata  # it is the file's
    assert list((tmp_path / "hidden").iterdir()) == []  # and the file has no name


def test_categories_come_back_with_a_rare_one_and_an_unused_one(disk: ColumnsOnDisk) -> None:
    texts = pd.Categorical(["b", "a", "b", "c"] * 300, categories=["a", "b", "c", "never"])
    frame = pd.DataFrame({"text": texts})
    pd.testing.assert_frame_equal(disk.keep(frame, 1200), frame)


@pytest.mark.parametrize("folder", [None, Path("a-file")])
def test_what_cannot_be_written_stays_in_memory(
    folder: Path | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(columns_on_disk, "ROWS", 1000)
    (tmp_path / "a-file").write_text("in the way", encoding="utf-8")
    disk = ColumnsOnDisk(None if folder is None else tmp_path / folder)
    pd.testing.assert_frame_equal(disk.keep(columns(), 1200), columns())


def test_small_tables_stay_in_memory(tmp_path: Path) -> None:
    pd.testing.assert_frame_equal(ColumnsOnDisk(tmp_path / "hidden").keep(columns(), 1200), columns())
    assert not (tmp_path / "hidden").exists()


def test_checks_are_in_order_whatever_the_parts(disk: ColumnsOnDisk, monkeypatch: pytest.MonkeyPatch) -> None:
    odd = ROWS[ROWS % 3 > 0]
    value = pd.Series(np.arange(len(ROWS)) / 2, index=ROWS)
    subject = pd.Series(["well", "", "dry"] * (len(ROWS) // 3), index=ROWS, dtype="str")
    frames = [
        rule_rows(ROWS, "outside_area", value < 40, value=value, operator="<=", limit=40.0, unit="m"),
        rule_rows(odd, "demand_unknown", value > 3, subject=subject),
        no_checks(),
        rule_rows(ROWS, "demand_unknown", value > 9, subject="all"),
    ]
    plain = pd.concat([plain_texts(frame) for frame in frames])
    expected = plain.sort_values(["inventory_row", "rule", "subject"], kind="stable").reset_index(drop=True)
    for most, where in ((10**6, ColumnsOnDisk()), (100, disk), (1199, disk)):
        monkeypatch.setattr(step, "_PART", most)
        table = Table(pd.DataFrame(index=ROWS), [], list(frames), disk=where)
        pd.testing.assert_frame_equal(plain_texts(table.all_checks()), expected)


def test_joined_checks_of_nothing_have_their_columns() -> None:
    assert list(join_checks([])) == step.CHECK_COLUMNS and len(join_checks([no_checks()])) == 0
