"""Every data file of the package against the table of digests that ships with it.

A wheel has digests of its own (RECORD), a checkout that is installed in place has none, so the project keeps a table,
`data/manifest.csv`: file, sha256. Line ends are made plain before anything is hashed, since git may write them in the
way of the system. `python -m tests.make_manifest` writes the table; a test says when that is due.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterator
from pathlib import Path

from planner.commands.selfcheck.outcome import Check

__all__ = ["MANIFEST", "PACKAGE", "check_files", "content_digest", "data_files", "recorded"]

PACKAGE = Path(__file__).resolve().parents[2]
MANIFEST = "data/manifest.csv"
NO_DATA = {".py", ".pyc", ".pyo", ".pyd", ".so"}  # sources, and what Python makes of them
MOST_TOLD = 20


def content_digest(content: bytes) -> str:
    """sha256 of a file; of a text, which has no nought among its bytes, with plain line ends."""
    if b"\0" not in content:
        content = content.replace(b"\r\n", b"\n")
    return hashlib.sha256(content).hexdigest()


def data_files(package: Path = PACKAGE) -> Iterator[str]:
    """Files of the package but sources, hidden ones and the table itself, in order, as paths within it."""
    for path in sorted(package.rglob("*")):
        name = path.relative_to(package).as_posix()
        if path.suffix not in NO_DATA and path.is_file() and name != MANIFEST and not path.name.startswith("."):
            yield name


def recorded(package: Path = PACKAGE) -> dict[str, str]:
    """The table: file → sha256."""
    with package.joinpath(MANIFEST).open(encoding="utf-8", newline="") as lines:
        return {row["file"]: row["sha256"] for row in csv.DictReader(lines)}


def check_files(package: Path = PACKAGE) -> Check:
    """Files that are missing, changed, or not of the package though the program would read them."""
    name = "shipped files"
    if not package.joinpath(MANIFEST).is_file():
        return Check(name, "FAIL", f"{MANIFEST} is missing", ["install the package again"])
    expected = recorded(package)
    kinds = {Path(file).suffix for file in expected} - {""}
    details = []
    for file, digest in expected.items():
        path = package / file
        if not path.is_file():
            details.append(f"missing: {path}")
        elif content_digest(path.read_bytes()) != digest:
            details.append(f"changed: {path}")
    details += [
        f"not of the package: {package / file}"
        for file in data_files(package)
        if file not in expected and Path(file).suffix in kinds
    ]
    if not details:
        return Check(name, "ok", f"{len(expected)} data files as they were made")
    more = [f"and {len(details) - MOST_TOLD} more"] if len(details) > MOST_TOLD else []
    advice = "install the package again; your own pumps and prices belong into files that the plan names"
    return Check(name, "FAIL", f"{len(details)} differ", [*details[:MOST_TOLD], *more, advice])
