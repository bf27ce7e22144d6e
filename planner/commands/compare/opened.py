"""A finished run as its files give it: the record, the sites and the checks, read with care and never changed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from planner.errors import Fault, OutputError
from planner.glossary import glossary
from planner.outputs.folder import finish
from planner.tables.step import CHECK_COLUMNS

RECORD = "run.json"
NEEDED: dict[str, type] = {
    **{"run_id": str, "version": str, "programme": str, "currency": str, "price_year": int},
    **{"plan": dict, "inputs": dict, "catalogue": str, "files": dict},
}
COLUMNS = (
    "inventory_row",
    "site_id",
    "site_name",
    "sub_district",
    "decision",
    "funding",
    "rank",
    "pump_id",
    "cost_per_m3",
    "reason_codes",
)


@dataclass(frozen=True)
class Run:
    """sites by inventory_row, columns of the glossary; checks None where the run wrote none; edited: files of the
    run that are no longer what it wrote."""

    folder: Path
    record: dict[str, Any]
    sites: pd.DataFrame
    checks: pd.DataFrame | None
    edited: tuple[str, ...]


def open_run(folder: Path) -> Run:
    """Raises OutputError where the folder holds no finished run, or a file of it cannot be read."""
    finish(folder)
    record = _record(folder)
    names = [name for name in ("sites.parquet", "sites.csv") if (folder / name).is_file()]
    if not names:
        raise _wrong(folder, "files", "neither sites.parquet nor sites.csv", "a run with one of them in [output] files")
    sites = _sites(folder / names[0])
    checks = _checks(folder / "checks.parquet") if (folder / "checks.parquet").is_file() else None
    read = [names[0], *(["checks.parquet"] if checks is not None else [])]
    edited = tuple(name for name in read if record["files"].get(name) != _sha256(folder / name))
    return Run(folder, record, sites, checks, edited)


def _record(folder: Path) -> dict[str, Any]:
    path = folder / RECORD
    expected = "the folder of a finished run, where run.json lies"
    try:
        record: Any = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        found = "no folder" if not folder.is_dir() else "no record of a run that can be read"
        raise _wrong(folder, "folder", found, expected) from error
    if not isinstance(record, dict):
        raise _wrong(path, "record", type(record).__name__, expected)
    wrong = [name for name, kind in NEEDED.items() if not isinstance(record.get(name), kind)]
    if wrong:
        again = "a record of this program: run the plan again"
        raise _wrong(path, "keys", f"no {', '.join(wrong)}, or not of its kind", again)
    return record


def _sites(path: Path) -> pd.DataFrame:
    try:
        if path.suffix == ".parquet":
            read = pd.read_parquet(path)
        else:
            read = pd.read_csv(path, dtype="str", keep_default_na=False, encoding="utf-8")
    except (OSError, ValueError) as error:
        raise _wrong(path, "file", str(error).splitlines()[0][:200], "a table of sites as a run writes it") from error
    missing = [name for name in COLUMNS if name not in read.columns]
    if missing:
        raise _wrong(path, "columns", f"no {', '.join(missing)}", "a table of sites as a run writes it")
    known = glossary()
    names = [name for name in read.columns if name in known]
    sites = pd.DataFrame({name: _typed(read[name], known[name].dtype, path) for name in names})
    if sites["inventory_row"].isna().any() or sites["inventory_row"].duplicated().any():
        raise _wrong(path, "inventory_row", "rows without or with the same number", "each row of the inventory once")
    sites["inventory_row"] = sites["inventory_row"].astype("int64")
    return sites.set_index("inventory_row")


def _typed(column: pd.Series, kind: str, path: Path) -> pd.Series:
    if kind == "text":
        return column.fillna("").astype("str").map(_as_written).astype("str")
    try:
        return pd.to_numeric(column.where(column != "")).astype("float64")
    except (ValueError, TypeError) as error:
        raise _wrong(path, str(column.name), str(error)[:200], "numbers, or empty") from error


def _as_written(text: str) -> str:
    """Without the apostrophe that sites.csv puts before what a spreadsheet would take for a formula."""
    return text[1:] if text[:1] == "'" and text[1:2] in set("=+-@\t\r") else text


def _checks(path: Path) -> pd.DataFrame:
    try:
        checks = pd.read_parquet(path)
    except (OSError, ValueError) as error:
        raise _wrong(path, "file", str(error).splitlines()[0][:200], "checks as a run writes them") from error
    missing = [name for name in CHECK_COLUMNS if name not in checks.columns]
    if missing:
        raise _wrong(path, "columns", f"no {', '.join(missing)}", "checks as a run writes them")
    return checks.astype({"pass": "bool", "value": "float64", "limit": "float64"})


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _wrong(path: Path, place: str, found: str, expected: str) -> OutputError:
    return OutputError([Fault(str(path), place, found, expected)])
