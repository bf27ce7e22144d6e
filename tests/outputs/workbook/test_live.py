"""The live totals as LibreOffice computes them: without a repair, and equal to the results of the run."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import pytest

from planner.outputs.material import Material
from planner.outputs.workbook.words import SHEETS, Words

from .conftest import Sheets, read

WORDS = Words("en", "USD", 2026)
SUMMED = ("capital_cost", "people_served", "volume_used_m3_day")


@pytest.fixture(scope="session")
def computed(written: Path, tmp_path_factory: pytest.TempPathFactory) -> Sheets:
    """The workbook after LibreOffice opened it, computed every formula and saved it."""
    # A contributor may lack LibreOffice, and the README says that these tests then skip themselves. Continuous
    # integration installs it: there they fail rather than skip.
    program = shutil.which("soffice") or ""
    if not program and not os.environ.get("CI"):
        pytest.skip("no soffice here: Debian has it in libreoffice-calc-nogui")
    folder = tmp_path_factory.mktemp("office")
    spoiled = folder / "spoiled.xlsx"
    without_results(written, spoiled)
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    command = [program, profile, "--headless", "--convert-to", "xlsx", "--outdir", str(folder / "out"), str(spoiled)]
    subprocess.run(command, check=True, capture_output=True, timeout=300)
    return read(folder / "out" / "spoiled.xlsx")


def without_results(path: Path, target: Path) -> None:
    """A copy whose formulas have lost the results that were written with them: whoever shows some has computed."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet2.xml":
                data, count = re.subn(rb"(</f>)<v>[^<]*</v>", rb"\1", data)
                assert count > 50
            new.writestr(name, data)


def block(rows: list[list[Any]], head: str) -> dict[str, list[Any]]:
    """Rows of a live table by their first cell, below the line that begins with `head`."""
    start = next(place for place, row in enumerate(rows) if str(row[0]).startswith(head)) + 1
    found = {}
    for row in rows[start:]:
        if row[0] == "":
            break
        found[str(row[0])] = row[1:5]
    return found


def test_it_opens_without_a_repair(computed: Sheets) -> None:
    assert list(computed) == [WORDS.sheets[key] for key in SHEETS]


def test_totals_by_decision_are_those_of_the_run(computed: Sheets, material: Material) -> None:
    told = block(computed["Summary"], "All rows of “All sites”")
    assert len(told) == 7
    for name, kind in (("decision", "equip"), ("decision", "hold"), ("decision", "test_first"), ("funding", "funded")):
        chosen = material.sites[material.sites[name] == kind]
        sums = [chosen[one].sum() for one in SUMMED]
        assert told[WORDS.code(name, kind)] == pytest.approx([len(chosen), *sums]), kind
    decisions = [WORDS.code("decision", one) for one in ("equip", "test_first", "hold", "unsuitable", "not_assessed")]
    assert sum(told[one][0] for one in decisions) == len(material.sites)


def test_totals_of_what_is_seen_are_those_of_the_run(computed: Sheets, material: Material) -> None:
    told = block(computed["Summary"], "Rows in sight")
    funded = material.sites[material.sites["funding"] == "funded"]
    assert told["Funded"] == pytest.approx([len(funded), *(funded[one].sum() for one in SUMMED)])
    assert told["All sites"][0] == len(material.sites)
    assert told["Bill of quantities"][1] == pytest.approx(material.sites["capital_cost"].sum(), rel=1e-6)


def test_totals_by_sub_district_take_names_as_names(computed: Sheets, material: Material) -> None:
    """A sub-district called ">5" or "A*" is no criterion."""
    told = block(computed["Summary"], "All rows of “Funded” by sub-district")
    funded = material.sites[material.sites["funding"] == "funded"]
    assert {">5", "A*", '=HYPERLINK("http://x.invalid","y")'} <= set(told)
    assert sum(row[0] for row in told.values()) == len(funded)
    assert sum(row[1] for row in told.values()) == pytest.approx(funded["capital_cost"].sum())
    for name, row in told.items():
        chosen = funded[funded["sub_district_used"] == name]
        if len(chosen):
            assert row == pytest.approx([len(chosen), *(chosen[one].sum() for one in SUMMED)]), name


def test_results_in_the_file_are_those_that_are_computed(sheets: Sheets, computed: Sheets) -> None:
    """Readers that compute nothing show the same."""
    for head in ("Rows in sight", "All rows of “All sites”", "All rows of “Funded” by sub-district"):
        written, found = block(sheets["Summary"], head), block(computed["Summary"], head)
        assert list(written) == list(found)
        for name, row in written.items():
            assert [cell for cell in row if cell != ""] == pytest.approx([one for one in found[name] if one != ""])


def test_texts_survive_another_program(sheets: Sheets, computed: Sheets) -> None:
    place = sheets["All sites"][1].index("site_name")
    before = [row[place] for row in sheets["All sites"]]
    assert [row[place] for row in computed["All sites"][: len(before)]] == before
