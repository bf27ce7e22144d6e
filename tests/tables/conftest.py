"""Small tables and plans for the tests of the steps that follow the inventory."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import rasterio

from planner.errors import Fault
from planner.glossary import glossary
from planner.plan import LoadedPlan, Plan
from planner.tables.files.raw_table import RawTable
from planner.tables.inventory import read_inventory
from planner.tables.step import CHECK_COLUMNS, Step
from tests.tables.files import attempt, written

MakeSites = Callable[..., pd.DataFrame]
MakePlan = Callable[..., LoadedPlan]
MakeRaster = Callable[..., str]
Open = Callable[..., RawTable]
Refuse = Callable[..., list[Fault]]
Read = Callable[..., Step]


@pytest.fixture
def make_sites() -> MakeSites:
    """Factory of a table with the columns a step reads: placed sites, missing where nothing is given."""

    def make(reads: tuple[str, ...], rows: int = 1, **given: Any) -> pd.DataFrame:
        columns: dict[str, Any] = {}
        for name in reads:
            kind = glossary()[name].dtype
            empty = {"text": "", "number": np.nan, "integer": 0, "flag": False}[kind]
            usual = {"row_kind": "site", "position_status": "ok", "evidence_grade": "A"}.get(name, empty)
            value = given.pop(name, usual)
            dtype = {"text": "str", "number": "float64", "integer": "int64", "flag": "bool"}[kind]
            columns[name] = pd.Series(value if isinstance(value, list) else [value] * rows).astype(dtype)
        assert not given, f"the step does not read {sorted(given)}"
        frame = pd.DataFrame(columns)
        frame.index = pd.RangeIndex(1, rows + 1, name="inventory_row")
        return frame

    return make


@pytest.fixture
def make_plan() -> MakePlan:
    """Factory of a plan: sections as keyword arguments."""

    def make(**sections: Any) -> LoadedPlan:
        return LoadedPlan(Plan.model_validate({"inventory": {"file": "a.csv"}, **sections}), Path("plan.toml"), {}, {})

    return make


@pytest.fixture
def keeps_promise() -> Callable[[Step, pd.DataFrame, tuple[str, ...]], None]:
    """Assert what the pipeline asserts of every step: index, names, types and ranges of the glossary."""

    def check(step: Step, sites: pd.DataFrame, writes: tuple[str, ...]) -> None:
        assert step.columns.index.equals(sites.index)
        assert list(step.columns) == list(writes)
        assert list(step.checks) == CHECK_COLUMNS
        types = {"text": "str", "number": "float64", "integer": "int64", "flag": "bool"}
        for name in writes:
            quantity, column = glossary()[name], step.columns[name]
            assert str(column.dtype) == types[quantity.dtype], name
            if quantity.dtype == "text":
                assert column.notna().all(), name
                continue
            known = column.dropna()
            assert np.isfinite(known.to_numpy(dtype="float64")).all(), name
            assert quantity.low is None or (known >= quantity.low).all(), (name, known.min())
            assert quantity.high is None or (known <= quantity.high).all(), (name, known.max())

    return check


@pytest.fixture
def make_raster(tmp_path: Path) -> MakeRaster:
    """Write bands (bands, rows, columns) or one band to a file; returns its path.

    Unless told otherwise cells are of 0.1 degrees from the north-western corner 30°E 9.7°S.
    """

    def make(
        name: str,
        values: Any,
        *,
        crs: str | None = "EPSG:4326",
        transform: Any = None,
        scale: float | None = None,
        offset: float | None = None,
        mask: Any = None,
        **profile: Any,
    ) -> str:
        bands = np.atleast_3d(values) if np.ndim(values) == 0 else np.asarray(values)
        bands = bands[None] if bands.ndim == 2 else bands
        count, height, width = bands.shape
        profile = {"driver": "GTiff", "dtype": str(bands.dtype), "crs": crs, **profile}
        profile["transform"] = transform or rasterio.Affine(0.1, 0, 30.0, 0, -0.1, -9.7)
        path = tmp_path / name
        with rasterio.open(path, "w", count=count, height=height, width=width, **profile) as target:
            target.write(bands)
            if scale is not None:
                target.scales = (scale,) * count
            if offset is not None:
                target.offsets = (offset,) * count
            if mask is not None:
                target.write_mask(mask)
        return str(path)

    return make


@pytest.fixture
def opened(tmp_path: Path) -> Open:
    """A file's content, or the path of one that is there, as a table; keys are those of [inventory]."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> RawTable:
        table, faults = attempt(tmp_path, content, name, **keys)
        assert not faults, faults
        assert table is not None
        assert all(len(row) == len(table.header) for row in table.rows)
        return table

    return make


@pytest.fixture
def refused(tmp_path: Path) -> Refuse:
    """The faults of a file that is not read."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> list[Fault]:
        faults = attempt(tmp_path, content, name, **keys)[1]
        assert faults
        return faults

    return make


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """The whole way of an inventory's file into the glossary."""

    def make(content: str | bytes | Path, name: str = "wells.csv", **keys: Any) -> Step:
        path = written(tmp_path, content, name)
        plan = Plan.model_validate({"inventory": {"file": path.name, **keys}})
        return read_inventory(LoadedPlan(plan, tmp_path / "plan.toml", {}, {}))

    return make
