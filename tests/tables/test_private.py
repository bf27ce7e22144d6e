"""Private-looking columns. Headers are common ones of such forms (our own list); names and numbers are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from planner.errors import PlanError
from planner.plan import LoadedPlan, read_plan
from planner.tables.inventory import open_inventory
from planner.tables.private import Shown, private_kind, private_text, shown_columns
from tests.tables.files import with_columns

MakeProgramme = Callable[..., Path]
NAME, PHONE, EMAIL, IDENTITY = "a person's name", "a telephone number", "an e-mail address", "an identity number"
NOTHING = pd.Series([], dtype="str")


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        ("Owner", NAME),
        ("Caretaker name", NAME),
        ("CaretakerName", NAME),
        ("enumerator", NAME),
        ("Nom et prénom", NAME),
        ("Propriétaire du forage", NAME),
        ("Gardien", NAME),
        ("Nome completo", NAME),
        ("Zelador", NAME),
        ("Responsável", NAME),
        ("Encargado", NAME),
        ("Apellidos", NAME),
        ("Jina la mmiliki", NAME),
        ("Msimamizi", NAME),
        ("Phone", PHONE),
        ("Owner phone no.", PHONE),
        ("contact", PHONE),
        ("#contact+phone", PHONE),
        ("Téléphone", PHONE),
        ("Telemóvel", PHONE),
        ("Teléfono móvil", PHONE),
        ("Namba ya simu", PHONE),
        ("E-mail", EMAIL),
        ("Courriel", EMAIL),
        ("Barua pepe", EMAIL),
        ("National ID", IDENTITY),
        ("N° carte d'identité", IDENTITY),
        ("Bilhete de identidade", IDENTITY),
        ("DNI", IDENTITY),
        ("Kitambulisho", IDENTITY),
    ],
)
def test_headers_that_look_private(header: str, kind: str) -> None:
    assert private_kind(header, NOTHING) == kind


@pytest.mark.parametrize(
    "header",
    ["name", "Village name", "Nom du village", "site_name", "Jina la kijiji", "Nombre del pozo", "remarks", "id",
     "well_no", "ownership", "formation", "hotel", "telemetry", "mobility", "identifier", "water point id",
     "management", ""],
)  # fmt: skip
def test_headers_of_places_and_wells_do_not(header: str) -> None:
    assert private_kind(header, NOTHING) == ""


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        (["rocky", "key with a.tundu@example.org"], EMAIL),
        (["rocky", "call +000 12 345 678"], ""),  # no country has 0
        (["rocky", "call +999 712 345 678"], PHONE),
        (["key: 0712 345 678", "dry in May"], PHONE),
        (["0712345678", "0712-345-679", ""], PHONE),
        (["ask Mr. Tundu Kesi", "rocky"], NAME),
        (["Mme A. Ndoro"], NAME),
        (["19880214-12345-00001-23"], IDENTITY),
        (["0012345678", "0012345679"], ""),  # codes of wells
        (["2019-04-12", "12.04.2019"], ""),
        (["8584839", "652282"], ""),
        (["-12.92571", "34.27225"], ""),
        (["12 345 678", "1 234 567"], ""),
        (["drive to Mrimba"], ""),
        (["sr 12"], ""),
        ([], ""),
    ],
)
def test_contents_that_look_private(cells: list[str], kind: str) -> None:
    assert private_kind("remarks", pd.Series(cells, dtype="str")) == kind


def test_private_text() -> None:
    assert private_text("broken, tel 0712345678") and private_text("x@example.org")
    assert not any(private_text(text) for text in ("", "8584839", "-12.8, 4.4", "355.6mm", "row 17", "2019-04-12"))


def shown_of(plan: LoadedPlan) -> Shown:
    return shown_columns(plan, open_inventory(plan))


def test_columns_are_shown_when_asked_and_told_when_private(make_programme: MakeProgramme, tmp_path: Path) -> None:
    columns = {"Remarks": ["=1+1", " two  "], "Caretaker": ["Tundu", "Kesi"], "Phone": ["", ""], "rank": ["7", "8"]}
    plan = with_columns(
        make_programme(tmp_path, [{}, {}]), columns, 'show_columns = ["remarks", "Caretaker", "rank"]\n'
    )
    shown = shown_of(read_plan(plan))
    assert shown.columns.index.tolist() == [1, 2]
    assert shown.columns.to_dict("list") == {
        "Remarks": ["=1+1", " two  "],
        "Caretaker": ["Tundu", "Kesi"],
        "rank": ["7", "8"],
    }
    told = {one.column: one for one in shown.findings}
    assert set(told) == {"Caretaker", "Phone"}
    assert all((one.row, one.rule, one.severity) == (0, "private_column", "info") for one in shown.findings)
    assert told["Caretaker"].new_value == "looks like a person's name; carried, as the plan asks"
    assert told["Phone"].new_value == "looks like a telephone number; not carried"


def test_nothing_is_shown_unless_asked(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = with_columns(make_programme(tmp_path, [{}]), {"Remarks": ["x"]})
    assert shown_of(read_plan(plan)).columns.shape == (1, 0)


def test_a_mapped_name_of_a_person_is_told(make_programme: MakeProgramme, tmp_path: Path) -> None:
    plan = make_programme(tmp_path, [{}])
    text = plan.read_text(encoding="utf-8").replace("[area]", '[inventory.columns]\nsub_district = "Owner"\n\n[area]')
    plan.write_text(text, encoding="utf-8")
    [told] = shown_of(read_plan(with_columns(plan, {"Owner": ["Tundu"]}))).findings
    assert (told.column, told.severity) == ("Owner", "warning")
    assert told.new_value == "looks like a person's name; carried as sub_district"


def test_wrong_and_inexact_names_are_refused_at_once(make_programme: MakeProgramme, tmp_path: Path) -> None:
    columns = {"Caretaker": ["Tundu"], "Note": ["a"], "note ": ["b"], "Key": ["call 0712 345 678"]}
    wanted = 'show_columns = ["caretaker", "remark", "NOTE", "key"]\n'
    plan = with_columns(make_programme(tmp_path, [{}]), columns, wanted)
    with pytest.raises(PlanError) as refused:
        shown_of(read_plan(plan))
    told = [str(fault) for fault in refused.value.faults]
    assert len(told) == 4
    assert "the exact header 'Caretaker'" in told[0] and "a person's name" in told[0]
    assert "no column 'remark'" in told[1]
    assert "2 columns 'NOTE'" in told[2]
    assert "the exact header 'Key'" in told[3] and "0712" not in told[3]
