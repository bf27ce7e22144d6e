"""A run from plan to files: same bytes whatever the way there, every decision reached, nothing dropped.

The wells are invented. What a test expects of them is the contract's rule or a closed form, never a number of ours.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner import __version__, pipeline, publish, run_table
from planner.catalogue.arrays import FAMILIES
from planner.choice.decision import CONSEQUENCE, DECISIONS, FAMILY_RULES, SAID_WHEN_PASSED
from planner.errors import InternalError
from planner.glossary import glossary
from planner.plan import read_plan
from planner.stages import sizing
from planner.tables.step import FINDING_COLUMNS, Step
from planner.texts import texts

MakeProgramme = Callable[..., Path]
Changes = Mapping[str, str] | None

OUTPUTS = (
    "sites.csv",
    "sites.parquet",
    "checks.parquet",
    "findings.csv",
    "map.html",
    "plan.gpkg",
    "bill.csv",
    "bill_totals.csv",
    "programme.xlsx",
    "field.gpx",
    "field.kml",
    "field_form.csv",
    "field_form.xlsx",
    "site_sheets.pdf",
    "brief.pdf",
    "chart_funnel.svg",
    "chart_head_flow.svg",
    "chart_months.svg",
    "chart_supply_curve.svg",
)


def prior(place: int, **change: str) -> dict[str, str]:
    """A row where regional level and yield are known."""
    return {"latitude": "-9.6700", "longitude": f"{30.06 + 0.01 * place:.4f}", **change}


# What is changed on a good well, the decision this leads to, and the reason that must be among those given.
CASES: dict[str, tuple[Changes, str, str]] = {
    "good": ({}, "equip", "demand_met"),
    "empty": (None, "not_assessed", "blank_row"),
    "total": ({"site_id": "TOTAL", "latitude": "", "longitude": ""}, "not_assessed", "total_row"),
    "no place": ({"latitude": "", "longitude": ""}, "not_assessed", "position_missing"),
    "null island": ({"latitude": "0", "longitude": "0"}, "not_assessed", "position_placeholder"),
    "no sun": ({"latitude": "-9.65", "longitude": "30.345"}, "not_assessed", "no_solar_value"),
    "nothing known": (
        {"static_level_m": "", "tested_yield_m3_h": "", "pumping_level_m": ""},
        "not_assessed",
        "no_level_or_yield",
    ),
    "dry": ({"status": "dry"}, "unsuitable", "status_dry"),
    "abandoned": ({"status": "abandoned"}, "unsuitable", "status_abandoned"),
    "a spring": ({"water_point_type": "protected spring"}, "unsuitable", "not_a_borehole"),
    "narrow": ({"casing_mm": "60"}, "unsuitable", "no_design"),
    "water below the bottom": ({"static_level_m": "70"}, "hold", "level_conflict"),
    "water above the ground": ({"static_level_m": "-2"}, "hold", "level_conflict"),
    "yield out of the others": ({"tested_yield_m3_h": "60"}, "hold", "unit_doubtful"),
    "half drawn down": (
        {"aquifer": "unconfined", "depth_m": "30", "static_level_m": "5", "pumping_level_m": "20"},
        "hold",
        "drawdown_beyond_half",
    ),
    "outside": ({"latitude": "-9.75", "longitude": "30.38"}, "hold", "outside_area"),
    "visited last": (prior(20, site_id="D", test_date="2024"), "equip", "demand_met"),
    "visited first": (prior(20, site_id="D", test_date="2020"), "hold", "repeat_visit"),
    "arsenic": ({"arsenic_mg_l": "0.011"}, "hold", "arsenic_above_limit"),
    "fluoride": ({"fluoride_mg_l": "1.6"}, "hold", "fluoride_above_limit"),
    "nitrate": ({"nitrate_mg_l": "51"}, "hold", "nitrate_above_limit"),
    "nobody": ({"people": ""}, "hold", "demand_unknown"),
    "grid": ({"equipped_with": "grid"}, "hold", "already_grid"),
    "solar, not said which": ({"equipped_with": "solar"}, "hold", "solar_unspecified"),
    "solar, not in the catalogue": (
        {"equipped_with": "solar", "existing_pump_id": "XX1", "existing_array_wp": "900"},
        "hold",
        "unknown_pump_id",
    ),
    "solar, enough": (
        {"equipped_with": "solar", "existing_pump_id": "CF3-11", "existing_array_wp": "3000"},
        "hold",
        "already_equipped",
    ),
    "solar, too small": (
        {"equipped_with": "solar", "existing_pump_id": "CF1-7", "existing_array_wp": "400"},
        "hold",
        "installed_set_short",
    ),
    "solar, small for its pump": (
        {"equipped_with": "solar", "existing_pump_id": "HR10-12", "existing_array_wp": "200"},
        "hold",
        "array_small",
    ),
    "crowd": ({"people": "20000"}, "hold", "coverage_low"),
    "no yield": ({"tested_yield_m3_h": "", "pumping_level_m": ""}, "test_first", "yield_unknown"),
    "no level": ({"static_level_m": "", "pumping_level_m": ""}, "test_first", "level_unknown"),
    "airlift": ({"test_kind": "airlift"}, "test_first", "grade_below_a"),
    "no casing": ({"casing_mm": ""}, "test_first", "casing_assumed"),
    "regional level": (prior(0, static_level_m="", pumping_level_m=""), "test_first", "level_prior"),
    "regional yield": (prior(2, tested_yield_m3_h="", pumping_level_m=""), "test_first", "yield_prior"),
    "no drawdown": ({"pumping_level_m": ""}, "test_first", "drawdown_prior"),
    "no depth": ({"depth_m": "", "pumping_level_m": ""}, "test_first", "depth_assumed"),
    "arsenic unknown": ({"arsenic_mg_l": ""}, "equip", "quality_untested"),
    "well at its limit": ({"people": "2500"}, "equip", "supply_limited_well"),
    "beyond the catalogue": (
        {
            "people": "2000",
            "depth_m": "300",
            "static_level_m": "180",
            "tested_yield_m3_h": "200 m3/h",  # with its unit, or so high a yield would be doubted
            "pumping_level_m": "181",
        },
        "equip",
        "supply_limited_catalogue",
    ),
    "sand": ({"sand_mg_l": "20"}, "equip", "sand_warning"),
    "sand and hardly a flow": (
        {"sand_mg_l": "20", "people": "40", "tested_yield_m3_h": "0.5"},
        "equip",
        "sand_settles",
    ),
    "warm and narrow": ({"casing_mm": "90", "water_temperature_c": "36"}, "equip", "confirm_rotor_size"),
    "tight": ({"casing_mm": "102"}, "equip", "dummy_run_required"),
    "written once": (prior(22, site_id="E"), "equip", "demand_met"),
    "written again": (prior(22, site_id="E"), "hold", "duplicate"),
    "tested, then dry": (prior(18, site_id="F", test_date="2020"), "hold", "other_visit_ended"),
    "found dry": (
        prior(18, site_id="F", test_date="2024", status="dry", tested_yield_m3_h="", pumping_level_m=""),
        "unsuitable",
        "repeat_visit",
    ),
    "too shallow for the regional level": (
        prior(4, static_level_m="", pumping_level_m="", depth_m="16"),
        "test_first",
        "no_design_on_prior",
    ),
}
NAMES = list(CASES)


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in OUTPUTS}


@pytest.fixture(scope="module")
def plan(make_programme: MakeProgramme, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = make_programme(tmp_path_factory.mktemp("programme"), [change for change, _, _ in CASES.values()])
    every_file = re.sub(r"(?m)^files = .*\n", "", path.read_text(encoding="utf-8"))
    path.write_text(every_file, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def done(plan: Path) -> tuple[publish.Outcome, Path]:
    """The plain run that the others are compared with."""
    folder = plan.parent / "plain"
    return pipeline.run(plan, folder), folder


@pytest.fixture(scope="module")
def sites(done: tuple[publish.Outcome, Path]) -> pd.DataFrame:
    return pd.read_parquet(done[1] / "sites.parquet").set_index("inventory_row")


@pytest.fixture(scope="module")
def record(done: tuple[publish.Outcome, Path]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((done[1] / "run.json").read_text(encoding="utf-8"))
    return found


def test_what_is_no_well_is_not_sized(sites: pd.DataFrame) -> None:
    assert sites["engine_status"].iloc[NAMES.index("a spring")] == "skipped"


def test_the_record_says_how_the_inventory_was_read(record: dict[str, Any]) -> None:
    assert record["inventory_read_as"] == {
        "date_order": "",
        "decimal": ".",
        "delimiter": ",",
        "encoding": "utf-8",
        "format": "csv",
        "header_row": "1",
        "header_rows": "1",
    }
    assert list(record["inventory_read_as"]) == sorted(record["inventory_read_as"])


# The same bytes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("chunk_sites", "workers"), [(1, 2), (7, 1), (7, 2), (512, 1)])
def test_chunks_and_workers_change_no_byte(
    plan: Path, done: tuple[publish.Outcome, Path], tmp_path: Path, chunk_sites: int, workers: int
) -> None:
    outcome = pipeline.run(plan, tmp_path / "out", workers=workers, chunk_sites=chunk_sites)
    assert bytes_of(tmp_path / "out") == bytes_of(done[1])
    assert outcome.run_id == done[0].run_id


def test_an_interruption_changes_no_byte(
    plan: Path, done: tuple[publish.Outcome, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "out"

    def stop(finished: int, total: int) -> None:
        if finished > total / 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        pipeline.run(plan, folder, workers=1, chunk_sites=3, progress=stop)
    assert [path.name for path in folder.iterdir()] == [".planner"]
    stored = sorted((folder / ".planner" / "chunks" / "sizing").iterdir())
    assert len(stored) >= 3
    stored[0].write_bytes(stored[0].read_bytes()[:100])  # half written
    stored[1].write_bytes(b"{}")

    computed: list[int] = []
    assess = sizing.assess

    def counted(part: Any, context: Any) -> Any:
        computed.append(part.inventory_row.size)
        return assess(part, context)

    monkeypatch.setattr(sizing, "assess", counted)
    told: list[str] = []
    pipeline.run(plan, folder, workers=1, chunk_sites=3, tell=told.append)
    assert bytes_of(folder) == bytes_of(done[1])
    # What was finished is not computed again: all chunks less those stored, more the two that were spoilt; one
    # site is assessed before the threads start.
    chunks = len(list((folder / ".planner" / "chunks" / "sizing").iterdir()))
    assert len(computed) == 1 + chunks - (len(stored) - 2)
    assert f"sizing: {len(stored) - 2} of {chunks} chunks found again" in told

    computed.clear()
    pipeline.run(plan, folder, workers=1, chunk_sites=3)
    assert not computed
    computed.clear()
    pipeline.run(plan, folder, workers=1, chunk_sites=3, fresh=True)
    assert len(computed) == 1 + chunks
    assert bytes_of(folder) == bytes_of(done[1])


def test_a_changed_assumption_finds_no_old_chunk(plan: Path, tmp_path: Path) -> None:
    pipeline.run(plan, tmp_path / "out")
    before = pd.read_parquet(tmp_path / "out" / "sites.parquet")["cost_per_m3"]
    dearer = plan.with_name("dearer.toml")
    text = plan.read_text(encoding="utf-8") + "\n[costs]\ntax = 0.2\n"
    dearer.write_text(text, encoding="utf-8")
    pipeline.run(dearer, tmp_path / "out")
    after = pd.read_parquet(tmp_path / "out" / "sites.parquet")["cost_per_m3"]
    assert (after[before.notna()] > before[before.notna()]).all()


# Decisions and reasons --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_row_made_for_it_reaches_each_decision(sites: pd.DataFrame, name: str) -> None:
    _, decision, reason = CASES[name]
    row = sites.loc[NAMES.index(name) + 1]
    assert (row["decision"], reason in row["reason_codes"].split(";")) == (decision, True), row["reason_text"]


def test_the_cases_reach_every_decision_and_every_rule_that_decides(sites: pd.DataFrame) -> None:
    assert set(sites["decision"]) == set(DECISIONS)
    reached = {code for codes in sites["reason_codes"] for code in codes.split(";")}
    deciding = {rule for rule, decision in CONSEQUENCE.items() if decision}
    assert deciding <= reached
    # The rules of one pump family are reached where families are tested, with the engine; the built-in sun where no
    # raster is given.
    assert set(CONSEQUENCE) - set(FAMILY_RULES) - {"sun_built_in"} <= reached


def test_the_first_decision_that_applies_decides(sites: pd.DataFrame) -> None:
    order = {decision: number for number, decision in enumerate(DECISIONS)}
    for _, row in sites.iterrows():
        codes = row["reason_codes"].split(";")
        asked = [CONSEQUENCE.get(code, "") or "equip" for code in codes]
        if "no_design_on_prior" in codes:  # no design on values that were not measured condemns no site
            asked.remove(CONSEQUENCE["no_design"])
        assert order[row["decision"]] == min(order[decision] for decision in asked)


def test_every_reason_has_its_sentence(sites: pd.DataFrame) -> None:
    for _, row in sites.iterrows():
        codes = row["reason_codes"].split(";")
        assert len(set(codes)) == len(codes)
        assert set(codes) <= {*CONSEQUENCE, *SAID_WHEN_PASSED}
        for code in codes:
            pattern = re.sub(r"\\{\w+\\}", ".{1,80}?", re.escape(texts()[code][1]))
            assert re.search(pattern, row["reason_text"]), (code, row["reason_text"])
        assert "{" not in row["reason_text"]
        assert "?" not in row["reason_text"]
        assert "nan" not in row["reason_text"]


@pytest.mark.parametrize(
    ("held", "kept", "words"),
    [
        ("visited first", "visited last", "another visit to the well of row {}, which is kept"),
        ("written again", "written once", "repeats row {}, which is kept"),
    ],
)
def test_a_repeated_row_names_the_row_that_is_kept(sites: pd.DataFrame, held: str, kept: str, words: str) -> None:
    number = NAMES.index(kept) + 1
    row = sites.loc[NAMES.index(held) + 1]
    assert row["duplicate_of"] == number
    assert words.format(number) in row["reason_text"]


def test_priors_let_a_site_be_equipped_only_where_the_plan_says_so(
    plan: Path, sites: pd.DataFrame, tmp_path: Path
) -> None:
    bold = plan.with_name("bold.toml")
    text = plan.read_text(encoding="utf-8") + "\n[ranking]\nallow_prior_equip = true\n"
    bold.write_text(text, encoding="utf-8")
    pipeline.run(bold, tmp_path / "out")
    after = pd.read_parquet(tmp_path / "out" / "sites.parquet").set_index("inventory_row")
    sized = sites["engine_status"] == "designed"
    first = sites["decision"] == "test_first"
    assert (after.loc[first & sized, "decision"] == "equip").all()
    assert (after.loc[first & ~sized, "decision"] != "equip").all()
    assert after.loc[~first, "decision"].equals(sites.loc[~first, "decision"])


def test_rank_is_by_cost_among_equip(sites: pd.DataFrame) -> None:
    equip = sites[sites["decision"] == "equip"]
    assert sorted(equip["rank"]) == list(range(1, len(equip) + 1))
    assert sites.loc[sites["decision"] != "equip", "rank"].isna().all()
    by_rank = equip.sort_values("rank")
    assert by_rank["cost_per_m3"].is_monotonic_increasing
    ties = by_rank[by_rank["cost_per_m3"].duplicated(keep=False)]
    assert len(ties), "the programme has twins"
    for _, same in ties.groupby("cost_per_m3"):
        assert same.index.is_monotonic_increasing


def test_a_design_is_whole_or_absent(sites: pd.DataFrame) -> None:
    names = list(glossary())
    engine = names[names.index("design_month") : names.index("decision")]
    designed = sites["engine_status"] == "designed"
    numbers = [name for name in engine if glossary()[name].dtype == "number" and not name.startswith("cost_")]
    of_one_family = tuple(FAMILIES)  # of the best set of each family, which not every family has
    may_lack = {"family_margin", "family_margin_equipment", "people_served"}
    always = [name for name in numbers if name not in may_lack and not name.startswith(of_one_family)]
    assert sites.loc[designed, always].notna().all(axis=None)
    assert sites.loc[~sites["engine_status"].isin(["designed", "installed"]), numbers].isna().all(axis=None)
    installed = sites[sites["engine_status"] == "installed"]
    assert (installed["capital_cost"] == 0).all()
    assert installed["cost_per_m3"].isna().all()
    assert (installed["decision"] == "hold").all()


# Nothing dropped --------------------------------------------------------------------------------------------


def test_every_row_of_the_inventory_comes_out(sites: pd.DataFrame, done: tuple[publish.Outcome, Path]) -> None:
    assert sites.index.tolist() == list(range(1, len(CASES) + 1))
    assert sites.loc[NAMES.index("empty") + 1, "row_kind"] == "blank"
    assert sites.loc[NAMES.index("total") + 1, "row_kind"] == "total"
    with (done[1] / "sites.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["inventory_row"]) for row in rows] == sites.index.tolist()
    assert [row["decision"] for row in rows] == sites["decision"].tolist()


def test_missing_is_empty(done: tuple[publish.Outcome, Path]) -> None:
    text = (done[1] / "sites.csv").read_text(encoding="utf-8")
    cells = {cell for row in csv.reader(text.splitlines()) for cell in row}
    assert not cells & {"nan", "NaN", "None", "<NA>", "-9999", "inf"}


def test_decisions_add_up(sites: pd.DataFrame, record: dict[str, Any], done: tuple[publish.Outcome, Path]) -> None:
    counted = sites["decision"].value_counts()
    for decision in DECISIONS:
        assert record["counts"][decision] == counted[decision] == done[0].counts[decision]
    assert sum(record["counts"][decision] for decision in DECISIONS) == record["counts"]["rows"] == len(CASES)
    assert record["counts"]["ranked"] == counted["equip"]
    assert record["counts"]["funded"] == record["counts"]["reserve"] == 0


def test_checks_and_findings_point_at_rows(sites: pd.DataFrame, done: tuple[publish.Outcome, Path]) -> None:
    checks = pd.read_parquet(done[1] / "checks.parquet")
    assert set(checks["inventory_row"]) == set(sites.index)
    for code in ("duplicate", "coverage_low"):
        failed = checks.loc[(checks["rule"] == code) & ~checks["pass"], "inventory_row"]
        assert failed.tolist() == sites.index[sites["reason_codes"].str.contains(code)].tolist()
    with (done[1] / "findings.csv").open(encoding="utf-8", newline="") as file:
        findings = list(csv.DictReader(file))
    assert list(findings[0]) == FINDING_COLUMNS
    assert {int(one["row"]) for one in findings} <= {0, *sites.index}
    assert len(findings) == sum(done[0].findings.values())


# The record -------------------------------------------------------------------------------------------------


def test_the_record_tells_plan_inputs_and_defaults(
    record: dict[str, Any], plan: Path, done: tuple[publish.Outcome, Path]
) -> None:
    loaded = read_plan(plan)
    assert record["version"] == __version__
    assert record["run_id"] == done[0].run_id
    assert re.fullmatch("[0-9a-f]{12}", record["run_id"])
    assert record["date"] == "2026-01-01"
    assert record["defaults_used"] == json.loads(json.dumps(loaded.defaults_used))
    assert record["plan"] == loaded.plan.model_dump(mode="json", exclude_none=True)
    assert set(record["inputs"]) == {
        "inventory.file",
        "area.boundary",
        "rasters.solar.file",
        "rasters.water_level.file",
        "rasters.well_yield.file",
    }
    for named in record["inputs"].values():
        assert named["sha256"] == hashlib.sha256((plan.parent / named["file"]).read_bytes()).hexdigest()


def test_the_record_lists_the_files_with_true_hashes(
    record: dict[str, Any], done: tuple[publish.Outcome, Path]
) -> None:
    assert set(record["files"]) == set(OUTPUTS)
    for name, digest in record["files"].items():
        assert hashlib.sha256((done[1] / name).read_bytes()).hexdigest() == digest
    assert {path.name for path in done[1].iterdir()} == {*OUTPUTS, "run.json", ".planner"}


def test_the_record_tells_that_no_stage_lost_a_row(record: dict[str, Any]) -> None:
    assert [stage["name"] for stage in record["stages"]] == [
        "inventory",
        *(step.__name__.rsplit(".", 1)[-1] for step in pipeline.STEPS),
        "sizing",
        "alternatives",
        "choice",
        "draws",
        "testing",
        "selection",
        "lots",
        "outputs",
    ]
    for stage in record["stages"]:
        assert stage["rows_in"] == stage["rows_out"] == len(CASES)
        assert stage["seconds"] >= 0


def test_the_run_id_follows_its_inputs(plan: Path, done: tuple[publish.Outcome, Path], tmp_path: Path) -> None:
    wells = plan.parent / "wells.csv"
    before = wells.read_bytes()
    try:
        wells.write_bytes(before.replace(b"Tundare", b"Tundari", 1))
        assert pipeline.run(plan, tmp_path / "out").run_id != done[0].run_id
    finally:
        wells.write_bytes(before)
    assert pipeline.run(plan, tmp_path / "out").run_id == done[0].run_id


@pytest.mark.parametrize(("written", "epoch", "date"), [(True, "0", "2026-01-01"), (False, "86400", "1970-01-02")])
def test_the_date_is_the_plans_else_that_of_the_environment(
    make_programme: MakeProgramme,
    plan_text: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    written: bool,
    epoch: str,
    date: str,
) -> None:
    text = plan_text if written else plan_text.replace('date = "2026-01-01"', "")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    pipeline.run(make_programme(tmp_path, [{"status": "dry"}], text), tmp_path / "out")
    assert json.loads((tmp_path / "out" / "run.json").read_text(encoding="utf-8"))["date"] == date


# Foreign text -----------------------------------------------------------------------------------------------

HOSTILE = (
    "=HYPERLINK(0)",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "=cmd|' /C calc'!A0",
    "-5",
    'He said "no", twice',
    "two\nlines",
    "a\rreturn",
    "bell \x07 and nul \x00",
    "right \u202e to left",
    "</script><script>alert(1)</script>",
    "x" * 10_000,
    "Ŋ̈🜨",
    " outer spaces ",
)


@pytest.fixture(scope="module")
def hostile(make_programme: MakeProgramme, tmp_path_factory: pytest.TempPathFactory) -> Path:
    rows = [{"site_name": text, "sub_district": text.strip()} for text in HOSTILE]
    plan = make_programme(tmp_path_factory.mktemp("hostile"), rows)
    pipeline.run(plan, plan.parent / "out")
    return plan.parent / "out"


def test_the_parquet_holds_names_exactly(hostile: Path) -> None:
    frame = pd.read_parquet(hostile / "sites.parquet")
    assert frame["site_name"].tolist() == list(HOSTILE)
    assert frame["sub_district"].tolist() == [text.strip() for text in HOSTILE]


def test_no_cell_of_the_csv_is_a_formula(hostile: Path) -> None:
    for name in ("sites.csv", "findings.csv"):
        with (hostile / name).open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        for cell in cells:
            assert cell[:1] not in set("=+-@\t\r") or re.fullmatch(r"[+-]?[0-9.]+(e-?[0-9]+)?", cell), cell


def test_names_come_back_from_the_csv(hostile: Path) -> None:
    with (hostile / "sites.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(HOSTILE)
    for row, text in zip(rows, HOSTILE, strict=True):
        guarded = text[:1] in set("=+-@\t\r") and text != "-5"
        assert row["site_name"] == ("'" + text if guarded else text)


def test_control_characters_are_findings_not_refusals(hostile: Path) -> None:
    findings = pd.read_csv(hostile / "findings.csv", dtype=str, keep_default_na=False)
    told = findings[(findings["rule"] == "control_character") & (findings["column"] == "site_name")]
    expected = [HOSTILE.index(text) + 1 for text in HOSTILE if re.search("[\x00-\x1f\u202e]", text)]
    assert told["row"].astype(int).tolist() == expected


def test_names_are_no_markup_in_the_map(hostile: Path) -> None:
    page = (hostile / "map.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    assert "\\u003c/script\\u003e\\u003cscript\\u003ealert(1)" in page


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Kaskazini: phase 2", "kaskazini-phase-2"),
        ("../../etc/passwd", "etc-passwd"),
        ("Région Éloignée", "region-eloignee"),
        ("…", "plan"),
        ("x" * 200, "x" * 60),
        ("C:\\temp", "c-temp"),
    ],
)
def test_the_default_folder_is_a_plain_name(name: str, expected: str) -> None:
    assert pipeline.slug(name) == expected


# The promises between steps ---------------------------------------------------------------------------------


def table(**columns: Any) -> pd.DataFrame:
    return pd.DataFrame(columns, index=pd.RangeIndex(1, 3, name="inventory_row"))


def broken(step: pd.DataFrame, writes: tuple[str, ...], stands: pd.DataFrame | None = None) -> str:
    with pytest.raises(InternalError) as caught:
        run_table.check_step("digging", table() if stands is None else stands, Step(step), writes)
    message = str(caught.value)
    assert message.startswith("digging: ")
    return message


def test_a_step_that_keeps_its_promise_passes() -> None:
    columns = table(depth_m=[1.0, np.nan], crop=pd.Series(["", "maize"], index=[1, 2], dtype="str"))
    run_table.check_step("digging", table(people=[1.0, 2.0]), Step(columns), ("crop", "depth_m"))


@pytest.mark.parametrize("rows", [[1], [1, 2, 3], [2, 1], [1, 1]])
def test_a_step_keeps_its_rows(rows: list[int]) -> None:
    step = pd.DataFrame({"depth_m": [1.0] * len(rows)}, index=pd.Index(rows))
    assert "rows were lost, added or reordered" in broken(step, ("depth_m",))


def test_a_step_writes_what_it_names_and_nothing_else() -> None:
    step = table(depth_m=[1.0, 2.0])
    assert "casing_mm" in broken(step, ("depth_m", "casing_mm"))
    assert "depth_m" in broken(step, ())
    twice = pd.concat([step, step], axis=1)
    assert "promise" in broken(twice, ("depth_m",))


def test_a_step_overwrites_nothing() -> None:
    step = table(depth_m=[1.0, 2.0])
    assert "depth_m stands already" in broken(step, ("depth_m",), table(depth_m=[1.0, 2.0]))


def test_a_step_writes_only_names_of_the_glossary() -> None:
    assert "dpeth_m is not in the glossary" in broken(table(dpeth_m=[1.0, 2.0]), ("dpeth_m",))


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("depth_m", pd.Series(["1", "2"], index=[1, 2], dtype="str")),
        ("depth_m", pd.Series([True, False], index=[1, 2])),
        ("crop", pd.Series([1.0, 2.0], index=[1, 2])),
        ("crop", pd.Series(["a", "b"], index=[1, 2], dtype="object")),
        ("level_conflict", pd.Series([0.0, 1.0], index=[1, 2])),
        ("solar_cell", pd.Series(["1", "2"], index=[1, 2], dtype="str")),
    ],
)
def test_a_step_keeps_to_the_types_of_the_glossary(name: str, values: pd.Series) -> None:
    assert "the glossary says" in broken(table(**{name: values}), (name,))


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("depth_m", [1.0, 1500.1]),
        ("depth_m", [1.0, -0.1]),
        ("cost_per_m3", [1.0, np.inf]),
        ("rest_level_m", [1.0, -np.inf]),
        ("design_month", [1.0, 12.5]),
        ("design_month", [1.0, 13.0]),
        ("crop", pd.Series(["maize", None], index=[1, 2], dtype="str")),
    ],
)
def test_a_step_keeps_to_the_ranges_of_the_glossary(name: str, values: Any) -> None:
    assert f"row 2: {name} = " in broken(table(**{name: values}), (name,))


def test_a_step_reads_only_what_was_written() -> None:
    class Thirsty:
        __name__ = "thirsty"
        READS = ("depth_m",)

    with pytest.raises(InternalError, match=r"thirsty: reads \['depth_m'\], which no step wrote"):
        pipeline._steps(run_table.Table(table(), [], []), None, (Thirsty(),), print)  # type: ignore[arg-type]


def test_what_is_counted_is_what_is_written(plan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    decide = pipeline.decide

    def invents(*arguments: Any) -> pd.DataFrame:
        return decide(*arguments).replace({"decision": {"equip": "perhaps"}})

    monkeypatch.setattr(pipeline, "decide", invents)
    with pytest.raises(InternalError, match="do not add up"):
        pipeline.run(plan, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == [".planner"]
