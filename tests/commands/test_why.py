"""`planner why`: the printed arithmetic is done again from the printed numbers, and the end is that of the run.

Nothing of the package is called to work a printed line out again: `sheet_reader` is a calculator of a few lines.
"""

from __future__ import annotations

import csv
import json
import math
import operator
import re
import shutil
import sys
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import betainc, betaincinv

from planner import cli
from planner.commands.why.command import why
from planner.errors import InternalError, OutputError
from planner.pipeline import run
from tests.commands.sheet_reader import (
    CLOSES,
    NUMBER,
    calculate,
    closes,
    plane_and_cells,
    table,
    value,
    water_of_knots,
    worked,
)

MakeProgramme = Callable[..., Path]

RATE, YEARS = 0.08, 20  # of the demo's plan
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def test_every_line_closes(sheets: dict[int, str]) -> None:
    assert len(sheets) >= 12
    for text in sheets.values():
        closes(text, 110)
        assert "\t" not in text


def test_every_rule_holds(sheets: dict[int, str]) -> None:
    for text in sheets.values():
        body = re.split(r"\n\n\d+  ", text.split("  Rules of the pump", 1)[1])[0]
        rules = re.findall(rf"({NUMBER}) (<=|>=|>) ({NUMBER}).*  holds", re.sub(r"\n {6}(?=\S)", " ", body))
        assert len(rules) >= 10
        for found, sign, limit in rules:
            assert {"<=": operator.le, ">=": operator.ge, ">": operator.gt}[sign](float(found), float(limit))


def test_the_worked_hour(sheets: dict[int, str]) -> None:
    """Five skies of a beta law, by scipy; light on the plane and cells by pvlib: independent libraries."""
    for text in sheets.values():
        plane_and_cells(text, float(value(text, "tilt")), float(value(text, "azimuth")))
        a, b = (
            float(one)
            for one in re.findall(rf"\^2 - 1\) = ({NUMBER})", re.sub(r"\n {6}", " ", text.split("skies: means")[1]))[:2]
        )
        edges = betainc(a + 1, b, betaincinv(a, b, np.arange(6) / 5))
        means = value(text, "k_c, most that k reaches") * a / (a + b) * 5 * np.diff(edges)
        skies = [float(cells[1]) for cells in table(text, "One hour", "sky")]
        assert skies == pytest.approx(means, abs=0.01 * value(text, "k_c, most that k reaches"))
        kinds = table(text, "One hour", "kind")
        ghi = next(float(cells[1]) for cells in table(text, "Sun", "month") if cells[0].endswith("*"))
        days = [value(text, "scale to the month's irradiation") * float(cells[4]) for cells in kinds]
        assert sum(days) / 10 == pytest.approx(ghi, rel=1e-5)


def test_demand_and_rest_level_by_month(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        base, rise = value(text, "base"), value(text, "rise")
        last = 1 if sites.at[row, "crop_used"] else 0  # after the table of irrigation
        months = table(text, "Demand in the design year", "month", last)
        for m, (_, factor, *land, demand) in enumerate(months, start=1):
            irrigation = float(land[0]) if land else 0.0
            assert (float(factor) * base + irrigation) * rise == pytest.approx(float(demand), rel=CLOSES)
            assert float(demand) == pytest.approx(sites.at[row, f"demand_{m:02d}"], rel=1e-5)
        highest, rest = value(text, "month of the highest level, h"), value(text, "rest level at its highest")
        for m, (_, share, bare, _) in enumerate(table(text, "Rest level", "month"), start=1):
            fall = 0.5 * (1 - math.cos(2 * math.pi * (m - highest) / 12))
            assert float(share) == pytest.approx(fall, abs=1e-5)
            assert float(bare) == pytest.approx(rest + 3.0 * fall, rel=CLOSES)  # [well] season_swing_m


def test_irrigation_by_month(make_programme: MakeProgramme, plan_text: str, tmp_path: Path) -> None:
    """A garden alone, with months that ask for nothing, and one beside a village."""
    keys = '\n[demand]\ncrop = "onion"\ncrops_a_year = 1\nplanting_month = 10\n'
    plan = make_programme(tmp_path, [{"people": ""}, {}], plan_text + keys)
    with (tmp_path / "wells.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    with (tmp_path / "wells.csv").open("w", encoding="utf-8", newline="") as target:
        writer = csv.DictWriter(target, [*rows[0], "irrigated_ha", "crop"])
        writer.writeheader()
        writer.writerows(
            row | {"irrigated_ha": "0.1", "crop": crop} for row, crop in zip(rows, ("", "tomato"), strict=True)
        )
    run(plan, tmp_path / "out")
    sites = pd.read_parquet(tmp_path / "out" / "sites.parquet").set_index("inventory_row")
    assert sites["crop_used"].tolist() == ["onion", "tomato"]
    assert (sites.loc[1, [f"demand_{m:02d}" for m in range(4, 10)]] == 0.0).all()  # 150 days from 1 October
    assert sites["engine_status"].tolist() == ["designed"] * 2
    for row in (1, 2):
        text = why(tmp_path / "out", f"row:{row}")
        assert f"0.1 ha of {sites.at[row, 'crop_used']}" in text and "first planting: Oct" in text
        shared = value(text, "storage share of a day, through the tank")
        assert shared == pytest.approx(sites.at[row, "storage_share"], rel=1e-5)
        assert shared == 0.25 if row == 1 else 0.25 < shared < 0.8  # irrigation's and people's: [demand] defaults
        base, rise = value(text, "base"), value(text, "rise")
        watered = table(text, "Demand in the design year", "month")
        for m, cells in enumerate(watered, start=1):
            kc, reference, rain, served, irrigation = (float(cell) for cell in cells[1:])
            assert (rain, served) == (0.0, 0.0)
            # 0.1 ha, a default efficiency of 0.60: hand
            assert irrigation == pytest.approx(10 * 0.1 * kc * reference / 0.60, rel=CLOSES)
            assert reference == pytest.approx(sites.at[row, f"et0_mm_day_{m:02d}"], rel=1e-5)
        for m, (_, factor, irrigation_, demand) in enumerate(table(text, "Demand in the design year", "month", 1)):
            assert irrigation_ == watered[m][-1]
            assert (base * float(factor) + float(irrigation_)) * rise == pytest.approx(float(demand), rel=CLOSES)


def test_neighbours_add_up(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    near = {row: text for row, text in sheets.items() if sites.at[row, "neighbours"]}
    assert near
    for row, text in near.items():
        pairs = [[float(cell) for cell in cells[1:]] for cells in table(text, "Neighbours", "neighbour")]
        assert len(pairs) == sites.at[row, "neighbours"]
        t, storage = sites.at[row, "transmissivity_used_m2_d"], sites.at[row, "storativity_used"]
        for distance, volume, u, w, drawdown in pairs:
            assert u == pytest.approx(distance**2 * storage / (4 * t * 180), rel=CLOSES)
            assert drawdown == pytest.approx(volume / (4 * math.pi * t) * w, rel=CLOSES)
        assert sum(pair[-1] for pair in pairs) == pytest.approx(sites.at[row, "interference_m"], rel=CLOSES)


def test_the_bill_adds_up(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        sums = []
        for number in range(2):
            lines = table(text, "Bill of quantities", "item", number)
            for cells in lines:
                _, quantity, _, price, amount = cells[:5]
                assert float(quantity) * float(price) == pytest.approx(float(amount), rel=CLOSES, abs=0.01), cells
            sums.append(sum(float(cells[4]) for cells in lines))
        assert sums[0] == pytest.approx(value(text, "sum of the equipment boundary"), rel=1e-4)
        assert sum(sums) == pytest.approx(value(text, "sum of the whole scheme"), rel=1e-4)
        assert 1.10 * sum(sums) == pytest.approx(sites.at[row, "capital_cost"], rel=1e-4)  # [costs] contingency


def test_replacements_are_discounted(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        bought = table(text, "Replacements", "part")
        again: dict[tuple[str, float], list[float]] = {}
        for part, price, life, year, factor, present in bought:
            assert float(factor) == pytest.approx((1 + RATE) ** -float(year), rel=CLOSES)
            assert float(present) == pytest.approx(float(price) * (1 + RATE) ** -float(year), rel=CLOSES)
            assert float(year) < YEARS
            again.setdefault((part, float(life)), []).append(float(year))
        for (part, life), years in again.items():
            if part != "rotor and stator":  # its clock restarts with each pump
                every = [k * life for k in range(1, 100) if k * life < YEARS - 1e-9]
                assert years == pytest.approx(every, rel=1e-4), part
        goods = table(text, "Replacements", "goods")
        for _, price, life, age, present in goods:
            left = float(price) * (1 - float(age) / float(life)) * (1 + RATE) ** -YEARS
            assert float(present) == pytest.approx(left, rel=CLOSES, abs=1e-6)
        annuity = (1 - (1 + RATE) ** -YEARS) / RATE
        total = value(text, "capital cost, whole scheme") + sum(float(cells[-1]) for cells in bought)
        total += value(text, "upkeep a year, whole scheme") * annuity - sum(float(cells[-1]) for cells in goods)
        assert total == pytest.approx(sites.at[row, "lifecycle_cost"], rel=1e-4)
        assert total / annuity == pytest.approx(sites.at[row, "annual_cost"], rel=1e-4)


def test_the_last_line_is_that_of_sites_csv(done: Path, sheets: dict[int, str]) -> None:
    with (done / "sites.csv").open(encoding="utf-8", newline="") as file:
        written = {int(one["inventory_row"]): one for one in csv.DictReader(file)}
    for row, text in sheets.items():
        last = text.rstrip().splitlines()[-1]
        assert last.startswith(f"cost per m3 = {written[row]['cost_per_m3']} USD/m3")
        assert last.endswith(written[row]["decision"])


def test_other_families_have_their_cost_or_what_stopped_them(sheets: dict[int, str], sites: pd.DataFrame) -> None:
    for row, text in sheets.items():
        part = re.sub(r"\n {6}", " ", text.split("  Pump families")[1])
        for family, words in (
            ("helical_rotor", "Helical rotor"),
            ("centrifugal", "Centrifugal"),
            ("surface", "Surface pump"),
        ):
            told = next(line for line in part.splitlines() if line.startswith(f"  {words}: "))
            cost = sites.at[row, f"cost_{family}_per_m3"]
            if pd.notna(cost):
                assert f"best design {cost:.6g}".rstrip("0") in told
                assert sites.at[row, f"{family}_pump_id"] in told
                assert f", {sites.at[row, f'{family}_array_wp']:g} Wp" in told
                assert f"tank {sites.at[row, f'{family}_tank_m3']:g} m3" in told
            else:
                assert re.search(rf"stopped by \w+: {NUMBER} \S+ {NUMBER}|too little water", told)


def test_site_id_and_row_are_the_same_site(done: Path, sites: pd.DataFrame) -> None:
    first = sites[sites["rank"] == 1]
    assert why(done, first["site_id"].iloc[0]) == why(done, f"row:{first.index[0]}")


def test_a_repeated_id_lists_its_rows(done: Path, sites: pd.DataFrame) -> None:
    ids = sites.loc[sites["site_id"] != "", "site_id"]
    repeated = ids[ids.duplicated()].iloc[0]
    with pytest.raises(OutputError) as error:
        why(done, repeated)
    for row in ids.index[ids == repeated]:
        assert f"row:{row}" in str(error.value)


def test_an_unknown_id_names_the_nearest(done: Path, sites: pd.DataFrame) -> None:
    known = sites.loc[sites["rank"] == 1, "site_id"].iloc[0]
    with pytest.raises(OutputError, match=re.escape(repr(known))):
        why(done, known + "9")
    for wrong in ("row:99999", "row:0", "", "row:"):
        with pytest.raises(OutputError, match="row:1 to row:"):
            why(done, wrong)


def test_every_kind_of_row_has_its_sheet(done: Path, sites: pd.DataFrame) -> None:
    for status, decision in sites.groupby(["engine_status", "decision"]).groups:
        row = sites.index[(sites["engine_status"] == status) & (sites["decision"] == decision)][0]
        text = why(done, f"row:{row}")
        assert text.rstrip().splitlines()[-1].startswith("cost per m3") == (status == "designed")
        assert f"decision: {decision}" in text and "No one enters a well" in text
        for code in filter(None, sites.at[row, "reason_codes"].split(";")):
            assert re.search(rf"^  {code}: ", text, re.MULTILINE), code
        assert ("Pump families" in text) == (status in {"designed", "no_design"})
        assert ("Bill of quantities" in text) == (status == "designed")
        assert ("The twelve months" in text) == (status in {"designed", "installed"})
        if status == "no_design":
            assert re.search(r"stopped by \w+: ", text)
        for expression, printed in worked(text):
            assert calculate(expression) == pytest.approx(printed, rel=CLOSES, abs=1e-6), (row, expression)


def test_findings_are_shown_as_read_and_as_used(done: Path) -> None:
    findings = pd.read_csv(done / "findings.csv", dtype="str", keep_default_na=False)
    repaired = findings[(findings["row"] != "0") & (findings["new_value"].str.fullmatch(r"\S+"))].iloc[0]
    text = " ".join(why(done, f"row:{repaired['row']}").split())
    assert f"as read {repaired['old_value']}, as used {repaired['new_value']}" in text


@pytest.mark.parametrize(
    "name",
    [
        *("cost_per_m3", "capital_cost", "lifecycle_cost", "volume_06", "volume_pumped_m3_day", "total_head_m"),
        *("total_head_rule_m", "safe_rate_m3_h", "array_wp", "tilt_deg", "running_hours_day", "family_margin"),
        *("low_sun_reliability", "low_sun_reliability_worst_month", "power_share_to_run", "used_06"),
        *("people_served", "storage_share", "helical_rotor_array_wp"),
    ],
)
def test_a_changed_result_fails_loudly(done: Path, sites: pd.DataFrame, tmp_path: Path, name: str) -> None:
    row = int(sites.index[sites["rank"] == 1][0])
    spoilt = tmp_path / "out"
    shutil.copytree(done, spoilt, ignore=shutil.ignore_patterns(".planner"))
    change(spoilt, row, name, 1.00001)
    with pytest.raises(InternalError, match="the run wrote"):
        why(spoilt, f"row:{row}")


def test_a_row_of_another_kind_fails_loudly(done: Path, sites: pd.DataFrame, tmp_path: Path) -> None:
    """A text, a value that should be missing, and a status that hides a design."""
    designed = int(sites.index[sites["rank"] == 1][0])
    stopped = int(sites.index[sites["engine_status"] == "no_design"][0])
    for row, name, wrong in (
        (designed, "pump_id", "OTHER"),
        (designed, "engine_status", "skipped"),
        (designed, "sleeve", not sites.at[designed, "sleeve"]),
        (designed, "rank", 2),
        (stopped, "cost_per_m3", 1.0),
    ):
        spoilt = tmp_path / f"{row}{name}"
        shutil.copytree(done, spoilt, ignore=shutil.ignore_patterns(".planner"))
        found = pd.read_parquet(spoilt / "sites.parquet")
        found.loc[found["inventory_row"] == row, name] = wrong
        found.to_parquet(spoilt / "sites.parquet", index=False)
        with pytest.raises(InternalError, match=rf"{name}: worked out as .*, the run wrote"):
            why(spoilt, f"row:{row}")


def change(folder: Path, row: int, name: str, factor: float) -> None:
    found = pd.read_parquet(folder / "sites.parquet")
    found.loc[found["inventory_row"] == row, name] *= factor
    found.to_parquet(folder / "sites.parquet", index=False)


# Programmes of a few wells -----------------------------------------------------------------------------------

PRICES = "item,unit,price,currency,price_year\nwellhead_civil,site,{},USD,2026\n"


@pytest.fixture(scope="module")
def priced(make_programme: MakeProgramme, plan_text: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run with a price book of its own and hostile names; results beside the plan."""
    folder = tmp_path_factory.mktemp("priced")
    names = ["bell\x07 escape\x1b[31m", "Kesu\u202eredrum", "=1+1", "n" * 500]
    rows = [{"site_id": f"<b>{i}", "site_name": name} for i, name in enumerate(names)]
    plan = make_programme(folder, rows, plan_text + '\n[equipment]\nprices = "prices.csv"\n')
    (folder / "prices.csv").write_text(PRICES.format(777), encoding="utf-8")
    run(plan, folder / "out")
    return folder


def test_text_of_the_inventory_cannot_steer_a_terminal(priced: Path) -> None:
    for row, shown in ((1, r"escape\x1b[31m"), (2, r"Kesu\u202eredrum"), (3, "=1+1"), (4, "nnnn")):
        text = why(priced / "out", f"row:{row}")
        assert shown in text.replace("\n      ", "")
        assert all(one.isprintable() or one == "\n" for one in text)
        assert max(map(len, text.splitlines())) <= 100


def test_plan_and_results_can_be_moved_together(priced: Path, tmp_path: Path) -> None:
    moved = tmp_path / "elsewhere"
    shutil.copytree(priced, moved)
    assert re.search(r"wellhead +1 +site +777 ", why(moved / "out", "<b>0"))


def test_a_pump_that_is_hard_to_start_waits_in_the_morning(
    make_programme: MakeProgramme, plan_text: str, tmp_path: Path
) -> None:
    """With five times the friction at rest, no pump of ours, the band below the start counts half."""
    pumps = list(csv.DictReader((files("planner.catalogue") / "pumps_helical.csv").read_text("utf-8").splitlines()))
    plan = make_programme(tmp_path, [{"people": "150"}], plan_text + '\n[equipment]\npumps = "pumps.csv"\n')
    with (tmp_path / "pumps.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, pumps[0])
        writer.writeheader()
        writer.writerows(pump | {"breakaway_ratio": "5", "motor_peak_torque_ratio": "4"} for pump in pumps)
    run(plan, tmp_path / "out")
    text = why(tmp_path / "out", "row:1")
    assert "the band between counts half" in re.sub(r"\s+", " ", text)
    whole, late = water_of_knots(text, 0), water_of_knots(text, 1)
    assert late < whole
    assert value(text, "water of the mean day") == pytest.approx((whole + late) / 2, rel=CLOSES)
    assert value(text, "pumpable volume") == pytest.approx(0.99 * (whole + late) / 2, rel=CLOSES)


def test_a_price_book_that_is_gone_or_changed_is_named(priced: Path, tmp_path: Path) -> None:
    moved = tmp_path / "elsewhere"
    shutil.copytree(priced, moved)
    (moved / "prices.csv").write_text(PRICES.format(778), encoding="utf-8")
    with pytest.raises(OutputError, match=r"prices\.csv changed since the run"):
        why(moved / "out", "row:1")
    (moved / "prices.csv").unlink()
    with pytest.raises(OutputError, match=r"no file at .*prices\.csv"):
        why(moved / "out", "row:1")


@pytest.mark.parametrize(
    ("key", "found"), [("version", "this program is"), ("catalogue", "changed since the run"), ("plan", "no plan")]
)
def test_another_record_is_refused(priced: Path, tmp_path: Path, key: str, found: str) -> None:
    moved = tmp_path / "elsewhere"
    shutil.copytree(priced, moved)
    path = moved / "out" / "run.json"
    record = json.loads(path.read_text(encoding="utf-8"))
    record |= {key: "0" * 64}
    if key == "plan":
        del record[key]
    path.write_text(json.dumps(record), encoding="utf-8")
    with pytest.raises(OutputError, match=found):
        why(moved / "out", "row:1")


def test_a_folder_that_is_no_run(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no record of a run"):
        why(tmp_path, "row:1")
    with pytest.raises(OutputError, match="no folder"):
        why(tmp_path / "nowhere", "row:1")


def test_a_run_without_tables_is_refused(make_programme: MakeProgramme, plan_text: str, tmp_path: Path) -> None:
    run(make_programme(tmp_path, [{}], re.sub("files = .*", 'files = ["csv"]', plan_text)), tmp_path / "out")
    with pytest.raises(OutputError, match="parquet"):
        why(tmp_path / "out", "row:1")


def test_exit_status(
    priced: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def status(*words: str) -> int:
        monkeypatch.setattr(sys, "argv", ["planner", "why", *words])
        with pytest.raises(SystemExit) as stopped:
            cli.main()
        return int(stopped.value.code or 0)

    assert status(str(priced / "out"), "row:1") == 0
    told = capsys.readouterr()
    assert "cost per m3 = " in told.out and not told.err
    assert status(str(priced / "out"), "\x1b[31m") == 2
    told = capsys.readouterr()
    assert "error: " in told.err and "\x1b" not in told.err and not told.out
    assert status(str(tmp_path), "row:1") == 2
    shutil.copytree(priced, tmp_path / "spoilt")
    change(tmp_path / "spoilt" / "out", 1, "cost_per_m3", 1.001)
    assert status(str(tmp_path / "spoilt" / "out"), "row:1") == 3
    assert "the run wrote" in capsys.readouterr().err
