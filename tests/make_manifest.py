"""Write what `planner selfcheck` holds an installation against:

python -m tests.make_manifest               planner/data/manifest.csv, after any change of a data file
python -m tests.make_manifest --expected    also the results of its tiny run, after a change of what is computed
"""

from __future__ import annotations

import argparse
import csv
import tempfile
from pathlib import Path

from planner.commands.selfcheck import shipped, trial


def write_table(path: Path, rows: list[dict[str, str]]) -> None:
    """A table as git keeps it, with plain line ends on every system."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_expected() -> None:
    """Run the tiny run and keep what comes out."""
    from planner import pipeline

    with tempfile.TemporaryDirectory() as folder:
        pipeline.run(trial.PLAN, Path(folder) / "out")
        write_table(trial.EXPECTED, trial.results(Path(folder) / "out" / "sites.csv"))


def manifest() -> list[dict[str, str]]:
    """A row a data file: its path in the package and its digest."""
    package = shipped.PACKAGE
    return [
        {"file": name, "sha256": shipped.content_digest((package / name).read_bytes())}
        for name in shipped.data_files(package)
    ]


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--expected", action="store_true")
    if parser.parse_args().expected:
        write_expected()
    write_table(shipped.PACKAGE / shipped.MANIFEST, manifest())
