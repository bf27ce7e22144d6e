"""The catalogue: its rows against the formulas they were made with, and the loader.

"Closed form" means the catalogue's own formulas (invented); what is published or from memory says so.
"""

from __future__ import annotations

import csv
import math
from importlib.resources import files
from pathlib import Path

import numba
import numpy as np
import pytest

from planner.catalogue.arrays import CENTRIFUGAL, HELICAL, STEEL, SURFACE, Lives, Prices
from planner.catalogue.loader import ID_COLUMN, Catalogue, load_catalogue
from planner.errors import CatalogueError
from planner.plan import LoadedPlan, read_plan

# Closed form: sizes of motors, kW. Induction motors begin where permanent-magnet ones end.
PM_KW = (0.25, 0.4, 0.6, 0.9, 1.3, 1.8, 2.5, 3.5, 4.5)
INDUCTION_KW = (5.5, 7.5, 9.3, 11, 15, 18.5, 22)
# Closed form: head of a stage at best flow, m, by best flow in m3/h.
STAGE_HEAD_M = {1: 3.9, 2: 4.4, 3: 4.5, 5: 4.4, 8: 4.2, 14: 3.4, 20: 8.5, 30: 8.8, 45: 8.6, 60: 7.8}


def rows_of(name: str) -> list[dict[str, str]]:
    text = files("planner.catalogue").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def plan_with(folder: Path, text: str = "") -> LoadedPlan:
    (folder / "sites.csv").write_text("latitude,longitude\n-12,30\n", encoding="utf-8")
    path = folder / "plan.toml"
    path.write_text(f'[inventory]\nfile = "sites.csv"\n{text}', encoding="utf-8")
    return read_plan(path)


@pytest.fixture(scope="module")
def generic(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return load_catalogue(plan_with(tmp_path_factory.mktemp("plan")))


def write_rows(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys(column for row in rows for column in row)), restval="")
        writer.writeheader()
        writer.writerows(rows)


# The rows ---------------------------------------------------------------------------------------------------


def test_counts() -> None:
    families = [row["family"] for row in rows_of("pumps_helical.csv") + rows_of("pumps_centrifugal.csv")]
    counts = {family: families.count(family) for family in ("helical_rotor", "centrifugal", "surface")}
    assert counts == {"helical_rotor": 26, "centrifugal": 63, "surface": 9}
    assert [len(rows_of(f"{name}.csv")) for name in ("drives", "modules", "cables", "tanks")] == [5, 3, 8, 7]


def test_every_row_has_a_source_and_says_illustrative() -> None:
    for name in ID_COLUMN:
        for row in rows_of(name):
            assert "illustrative" in row["source"], (name, row)


def test_ids_are_unique_over_all_tables() -> None:
    ids = [row[column] for name, column in ID_COLUMN.items() for row in rows_of(name)]
    assert len(ids) == len(set(ids))


def motor_efficiency(motor_kw: float) -> float:
    if motor_kw > PM_KW[-1]:
        return min(0.86, max(0.60, 0.70 + 0.055 * math.log(motor_kw / 0.75)))
    return min(0.88, max(0.74, 0.815 + 0.04 * math.log(motor_kw / 0.4)))


def motor_price(motor_kw: float) -> float:
    return 220 + 210 * motor_kw**0.75 if motor_kw > PM_KW[-1] else 240 + 330 * motor_kw**0.7


@pytest.mark.parametrize("row", rows_of("pumps_helical.csv"), ids=lambda row: row["pump_id"])
def test_helical_row(row: dict[str, str]) -> None:
    displacement, pressure_bar = float(row["displacement_cm3"]), float(row["pressure_limit_bar"])
    speed = 3000 * min(1, (10 / displacement) ** 0.15)
    efficiency = min(0.79, 0.69 + 0.04 * math.log(displacement / 2.5))
    shaft_kw = 1.05 * displacement * 1e-6 * pressure_bar * 1e5 * speed / 60 / efficiency / 1000
    motor_kw = float(row["motor_kw"])
    pump_end = 260 + 24 * displacement**0.7 * (pressure_bar / 12) ** 0.5
    assert motor_kw == next(size for size in PM_KW if size >= shaft_kw)
    assert float(row["stages"]) == pressure_bar / 3
    assert float(row["rated_speed_rpm"]) == pytest.approx(speed, abs=0.5)
    assert float(row["min_speed_rpm"]) == pytest.approx(speed / 4, abs=0.5)
    assert float(row["hydromech_eff"]) == pytest.approx(efficiency, abs=5e-4)
    assert float(row["motor_eff"]) == pytest.approx(motor_efficiency(motor_kw), abs=5e-4)
    assert float(row["price"]) == pytest.approx(pump_end + motor_price(motor_kw), abs=5)
    assert float(row["rotor_stator_price"]) == pytest.approx(pump_end / 2 + 120, abs=5)
    assert float(row["outside_mm"]) == (78 if displacement <= 6.3 else 97)


def best_efficiency(flow_m3_h: float, stage_head_m: float, constant: float) -> float:
    """Form of Regulation (EU) 547/2012, Annex III; coefficients from memory."""
    specific_speed = 2900 * math.sqrt(flow_m3_h / 3600) / stage_head_m**0.75
    x, y = math.log(specific_speed), math.log(flow_m3_h)
    return (-11.48 * x * x - 0.85 * y * y - 0.38 * x * y + 88.59 * x + 13.46 * y - constant) / 100


@pytest.mark.parametrize("row", rows_of("pumps_centrifugal.csv"), ids=lambda row: row["pump_id"])
def test_centrifugal_row(row: dict[str, str]) -> None:
    surface = row["family"] == "surface"
    flow, head, stages = float(row["best_flow_m3_h"]), float(row["head_at_best_m"]), int(row["stages"])
    wide = flow >= 20
    constant = 130.3 if surface else 133.0 if wide else 131.5
    efficiency = best_efficiency(flow, head / stages, constant)
    efficiency = min(efficiency, 0.75) if surface else efficiency
    shaft_kw = 1.19 * 1.03 * 998.2 * 9.80665 * flow / 3600 * head / efficiency / 1000
    motor_kw = float(row["motor_kw"])
    pump_end = 160 + 14 * flow**0.6 * stages**0.8 * (2 if wide else 1)
    price = 400 + 25 * flow**0.6 + 280 * motor_kw**0.7 if surface else pump_end + motor_price(motor_kw)
    assert motor_kw == next(size for size in PM_KW + INDUCTION_KW if size >= shaft_kw)
    assert row["motor_kind"] == ("induction" if motor_kw > PM_KW[-1] else "pm")
    assert float(row["max_flow_m3_h"]) == pytest.approx(1.4 * flow)
    assert float(row["best_eff"]) == pytest.approx(efficiency, abs=5e-4)
    assert float(row["motor_eff"]) == pytest.approx(motor_efficiency(motor_kw), abs=5e-4)
    assert float(row["price"]) == pytest.approx(price, abs=5)
    if surface:
        assert 2.5 <= float(row["npshr_best_m"]) <= 3.5
    else:
        assert head == pytest.approx(stages * STAGE_HEAD_M[int(flow)], abs=0.05)


def test_centrifugal_rows_are_all_that_the_rule_builds() -> None:
    """Closed form: stages for eight heads while stages ≤ 45 and the motor ≤ 22 kW."""
    built = set()
    for flow, stage_head in STAGE_HEAD_M.items():
        for head in (9, 15, 28, 50, 85, 120, 170, 220):
            stages = round(head / stage_head)
            efficiency = best_efficiency(flow, stage_head, 133.0 if flow >= 20 else 131.5)
            shaft_w = 998.2 * 9.80665 * flow / 3600 * stages * stage_head / efficiency
            if stages <= 45 and 1.19 * 1.03 * shaft_w <= 22_000:
                built.add(f"CF{flow}-{stages}")
    rows = rows_of("pumps_centrifugal.csv")
    assert built == {row["pump_id"] for row in rows if row["family"] == "centrifugal"}


def test_pipes_cables_tanks_and_drives() -> None:
    for row in rows_of("pipes.csv"):
        outside, price = float(row["outside_mm"]), float(row["price"])
        nominal = float(row["nominal_mm"])
        if row["material"] == "steel":
            assert price == pytest.approx(4 + 0.0045 * nominal**1.85, abs=0.005)  # closed form
        elif row["use"] == "delivery":
            assert price == pytest.approx(0.0007 * outside**2 + 3.5, abs=0.005)  # closed form
        else:
            sdr = float(row["pipe_id"].split("-")[1].removeprefix("SDR"))
            factor, pressure = {17: (0.68, 10), 11: (1, 16), 7.4: (1.5, 25)}[sdr]
            assert price == pytest.approx(0.0009 * outside**2 * 1.3 * factor, abs=0.005)  # closed form
            assert float(row["inside_mm"]) == pytest.approx(outside * (1 - 2 / sdr), abs=0.05)  # closed form
            assert float(row["pressure_bar"]) == pressure  # common practice: PN of PE 100, ISO 4427-2
    for row in rows_of("cables.csv"):
        # Published: resistivity of annealed copper 17.241 Ω mm2/km (IEC 60028); class 5 lies 8–18 % above it.
        assert 1.08 < float(row["r20_ohm_km"]) * float(row["mm2"]) / 17.241 < 1.18
        assert float(row["price"]) == pytest.approx(0.5 + 0.42 * float(row["mm2"]), abs=0.0051)  # closed form
    for row in rows_of("tanks.csv"):
        assert float(row["price"]) == pytest.approx(900 + 420 * float(row["volume_m3"]) ** 0.85, abs=5)
    assert [row["isc_max_a"] for row in rows_of("drives.csv")] == ["15", "30", "45", "45", "90"]


# The arrays -------------------------------------------------------------------------------------------------


def test_arrays_are_plain_and_aligned(generic: Catalogue) -> None:
    sizes = {
        "pumps": len(generic.pump_ids),
        "drives": len(generic.drive_ids),
        "modules": len(generic.module_ids),
        "risers": len(generic.riser_ids),
        "deliveries": len(generic.delivery_ids),
        "cables": 8,
        "tanks": 7,
    }
    assert sizes == {
        "pumps": 98,
        "drives": 5,
        "modules": 3,
        "risers": 33,
        "deliveries": 9,
        "cables": 8,
        "tanks": 7,
    }
    integers = {"family", "drive", "induction", "boost", "material", "measured"}
    for name, size in sizes.items():
        for column, values in getattr(generic, name)._asdict().items():
            assert values.shape == (size,), (name, column)
            assert values.dtype == ("int64" if column in integers else "float64"), (name, column)
            assert values.flags.c_contiguous and np.isfinite(values).all(), (name, column)
    assert list(generic.pump_ids) == sorted(generic.pump_ids)
    assert (np.diff(generic.risers.price_m) >= 0).all()
    assert all(type(value) is float for value in (*generic.prices, *generic.lives))
    assert min(generic.lives) > 0
    assert set(Lives._fields) < set(Prices._fields)


def test_a_compiled_function_takes_every_tuple(generic: Catalogue) -> None:
    @numba.njit
    def total(pumps, drives, modules, pipes, cables, tanks, prices, lives):  # type: ignore[no-untyped-def]
        drive = pumps.drive[0]
        return (
            pumps.motor_w[0]
            + drives.v_max_v[drive]
            + modules.rated_wp[0]
            + pipes.inside_mm[0]
            + cables.mm2[0]
            + tanks.volume_m3[0]
            + prices.transport_km
            + lives.wellhead_civil
        )

    c = generic
    found = total(c.pumps, c.drives, c.modules, c.risers, c.cables, c.tanks, c.prices, c.lives)
    expected = (
        c.pumps.motor_w[0] + c.drives.v_max_v[c.pumps.drive[0]] + 330 + c.risers.inside_mm[0] + 1.5 + 2 + 2.4 + 20
    )
    assert found == pytest.approx(expected)


def test_derived_numbers_of_a_helical_pump(generic: Catalogue) -> None:
    """Closed form, by hand for 10 cm3, 12 bar, 3000 rpm, 0.9 kW."""
    pumps, at = generic.pumps, generic.pump_ids.index("HR10-12")
    assert pumps.family[at] == HELICAL
    swept_m3_h = 10e-6 * 3000 * 60  # 1.8
    assert swept_m3_h - pumps.slip_m3_h_pa[at] * 12e5 == pytest.approx(0.94 * 1.8)
    ideal_nm = 10e-6 * 12e5 / (2 * math.pi)  # 1.9099
    assert pumps.fit_friction_nm[at] == pytest.approx(ideal_nm * (1 / 0.745 - 1))
    assert pumps.rated_torque_nm[at] == pytest.approx(900 / (100 * math.pi))
    assert pumps.copper_share[at] + pumps.iron_share[at] == pytest.approx(1 / 0.847 - 1)
    assert pumps.copper_share[at] / pumps.iron_share[at] == pytest.approx(0.6 / 0.4)
    assert pumps.motor_input_w[at] == pytest.approx(900 / 0.847)
    assert pumps.drive_rating_w[at] == pytest.approx(900 / 0.847 / 0.965)
    assert generic.drive_ids[pumps.drive[at]] == "DC-S"
    assert pumps.drive_price[at] == pytest.approx(220 + 260 * 0.9**0.75)
    assert pumps.best_flow_m3_h[at] == pumps.npshr_best_m[at] == 0
    assert (pumps.hours_life[at], pumps.rotor_stator_cap_y[at], pumps.life_y[at]) == (14_000, 10, 8)


def test_derived_numbers_of_rotodynamic_pumps(generic: Catalogue) -> None:
    """Closed form."""
    pumps, at = generic.pumps, generic.pump_ids.index("CF5-39")
    assert pumps.family[at] == CENTRIFUGAL
    assert pumps.best_power_w[at] == pytest.approx(998.2 * 9.80665 * 5 / 3600 * 171.6 / 0.557)
    assert pumps.max_flow_ratio[at] == pytest.approx(1.4)
    assert generic.drive_ids[pumps.drive[at]] == "VF-L"
    assert pumps.displacement_cm3[at] == pumps.pressure_limit_pa[at] == pumps.rotor_stator_price[at] == 0
    at = generic.pump_ids.index("SF8-22")
    assert pumps.family[at] == SURFACE
    assert (pumps.outside_mm[at], pumps.casing_min_mm[at], pumps.npshr_best_m[at]) == (0, 100, 2.8)


def test_every_motor_carries_its_pump(generic: Catalogue) -> None:
    """Closed form: runout takes 1.19 × best power; a helical set starts at its pressure limit."""
    pumps = generic.pumps
    turning = pumps.family != HELICAL
    assert (1.19 * pumps.best_power_w[turning] <= pumps.motor_w[turning]).all()
    ideal_nm = pumps.displacement_cm3 * 1e-6 * pumps.pressure_limit_pa / (2 * math.pi)
    start_nm = ideal_nm + pumps.breakaway_ratio * pumps.fit_friction_nm
    assert (start_nm <= pumps.peak_torque_ratio * pumps.rated_torque_nm)[~turning].all()


def test_strings_that_pass_the_voltage_windows(generic: Catalogue) -> None:
    """Closed form of the string rule: fewest and most in series, cells of 70 °C and 5 °C; a row a module."""
    m, d = generic.modules, generic.drives
    hot = m.vmp_v[:, None] * (1 + m.gamma_vmp_per_k[:, None] * 45)
    cold_vmp = m.vmp_v[:, None] * (1 - m.gamma_vmp_per_k[:, None] * 20)
    cold_voc = m.voc_v[:, None] * (1 - m.beta_voc_per_k[:, None] * 20)
    low = np.ceil(d.mpp_min_v / hot)
    high = np.minimum(np.floor(d.v_max_v / cold_voc), np.floor(d.mpp_max_v / cold_vmp))
    assert low.tolist() == [[2, 6, 10, 11, 18], [2, 5, 8, 10, 16], [2, 5, 8, 10, 15]]
    assert high.tolist() == [[4, 9, 18, 17, 21], [3, 7, 16, 15, 19], [3, 7, 15, 14, 18]]
    assert (m.isc_a.max() <= d.isc_max_a).all()


def test_steel_risers_live_shorter_in_corrosive_water(generic: Catalogue) -> None:
    steel = generic.risers.material == STEEL
    assert set(generic.risers.life_corrosive_y[steel]) == {5.0}
    assert (generic.risers.life_corrosive_y[~steel] == generic.risers.life_y[~steel]).all()


def test_tanks_follow_the_plan(tmp_path: Path) -> None:
    small = load_catalogue(plan_with(tmp_path, "[equipment]\ntank_max_m3 = 12\n")).tanks
    assert small.volume_m3.tolist() == [2, 5, 10]
    large = load_catalogue(plan_with(tmp_path, "[equipment]\ntank_max_m3 = 170\n")).tanks
    assert large.volume_m3.tolist() == [2, 5, 10, 15, 20, 30, 50, 100, 150]
    assert large.price[-1] == pytest.approx(3 * large.price[-3])
    for size in ("1", "1e6"):
        with pytest.raises(CatalogueError, match="tank_max_m3"):
            load_catalogue(plan_with(tmp_path, f"[equipment]\ntank_max_m3 = {size}\n"))


def test_families_of_the_plan_only(tmp_path: Path) -> None:
    plan = plan_with(tmp_path, '[equipment]\nfamilies = ["surface"]\n')
    assert set(load_catalogue(plan).pumps.family) == {SURFACE}


# Money ------------------------------------------------------------------------------------------------------


def test_currency_and_inflation(tmp_path: Path, generic: Catalogue) -> None:
    """Closed form: × rate × (1 + inflation)^years; shares and people are not money."""
    text = '[programme]\ncurrency = "KES"\nprice_year = 2028\n'
    text += "[costs]\ninflation = 0.1\nexchange_rate = { USD = 130 }\n"
    converted = load_catalogue(plan_with(tmp_path, text))
    factor = 130 * 1.1**2
    assert converted.pumps.pump_price == pytest.approx(factor * generic.pumps.pump_price)
    assert converted.pumps.rotor_stator_price == pytest.approx(factor * generic.pumps.rotor_stator_price)
    assert converted.pumps.drive_price == pytest.approx(factor * generic.pumps.drive_price)
    assert converted.tanks.price == pytest.approx(factor * generic.tanks.price)
    assert converted.modules.price_wp == pytest.approx(factor * generic.modules.price_wp)
    assert converted.risers.price_m == pytest.approx(factor * generic.risers.price_m)
    assert converted.cables.price_m == pytest.approx(factor * generic.cables.price_m)
    assert converted.prices.transport_km == pytest.approx(factor * 2.4)
    assert converted.prices.installation_share == 0.08
    assert converted.prices.people_per_tap == 250
    assert converted.digest != generic.digest


def test_missing_rate_is_one_fault_that_names_currency_and_key(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(plan_with(tmp_path, '[programme]\ncurrency = "KES"\n'))
    (fault,) = caught.value.faults
    assert "[costs] exchange_rate" in str(fault) and "USD" in str(fault) and "drives.csv" in str(fault)


def test_digest_is_stable_and_sees_prices(tmp_path: Path, generic: Catalogue) -> None:
    assert load_catalogue(plan_with(tmp_path)).digest == generic.digest
    book = tmp_path / "prices.csv"
    plan = plan_with(tmp_path)
    rows = ["item,unit,price,currency,price_year", "guard_year,year,600,USD,2026", ""]
    digests = set()
    for end in ("\n", "\r\n"):
        book.write_bytes(("\ufeff" if end == "\r\n" else "").encode() + end.join(rows).encode())
        plan = plan_with(tmp_path, '[equipment]\nprices = "prices.csv"\n')
        digests.add(load_catalogue(plan).digest)
    assert len(digests) == 1
    assert generic.digest not in digests


# The user's files -------------------------------------------------------------------------------------------


def test_price_book_replaces_items_and_equipment(tmp_path: Path, generic: Catalogue) -> None:
    (tmp_path / "book.csv").write_text(
        "item,unit,price,currency,price_year,life_y,source\n"
        "guard_year,year,300,USD,2026,,quotation 12\n"
        "om_tank_share,share,0.02,,,,\n"
        "M450,Wp,0.25,USD,2026,,\n"
        "TANK-50,each,9000,EUR,2025,15,\n"
        "STEEL-50,m,12,USD,2026,4,\n"
        "DC-S,each,400,USD,2026,7,\n",
        encoding="utf-8",
    )
    text = '[equipment]\nprices = "book.csv"\n[costs]\ninflation = 0.05\nexchange_rate = { EUR = 1.2 }\n'
    found = load_catalogue(plan_with(tmp_path, text))
    assert found.prices.guard_year == 300
    assert found.prices.om_tank_share == 0.02
    assert found.modules.price_wp[found.module_ids.index("M450")] == 0.25
    assert (found.tanks.price[-1], found.tanks.life_y[-1]) == (pytest.approx(9000 * 1.2 * 1.05), 15)
    steel = found.riser_ids.index("STEEL-50")
    assert (found.risers.price_m[steel], found.risers.life_corrosive_y[steel]) == (12, 4)
    assert set(found.pumps.drive_price[found.pumps.drive == 0]) == {400.0}
    assert found.prices.fence_site == generic.prices.fence_site
    assert found.sources["guard_year"] == "quotation 12"
    assert next(row for row in found.price_rows if row.item == "guard_year").price == 300


def test_pump_table_of_the_user_holds_all_families(tmp_path: Path) -> None:
    rows = [
        rows_of("pumps_helical.csv")[5],
        rows_of("pumps_centrifugal.csv")[0],
        rows_of("pumps_centrifugal.csv")[-1],
    ]
    write_rows(tmp_path / "pumps.csv", [*rows, dict.fromkeys(rows[0], "")])
    found = load_catalogue(plan_with(tmp_path, '[equipment]\npumps = "pumps.csv"\n'))
    assert found.pump_ids == ("CF1-2", "HR4-12", "SF45-30")
    assert found.pumps.family.tolist() == [CENTRIFUGAL, HELICAL, SURFACE]


def test_all_faults_at_once(tmp_path: Path) -> None:
    helical, centrifugal = rows_of("pumps_helical.csv")[0], rows_of("pumps_centrifugal.csv")[0]
    bad = [
        helical | {"price": "-5", "displacement_cm3": "0", "water_temp_max_c": ""},
        helical,  # the id again
        centrifugal | {"best_eff": "0.9", "best_flow_m3_h": "1,5", "motor_kind": "steam"},
        centrifugal | {"pump_id": "CF-X", "family": "jet"},
        centrifugal | {"pump_id": "=1+1", "motor_kw": "0.25", "price_year": "2026.5"},
        centrifugal | {"pump_id": "CF-Y", "motor_kw": "50", "motor_kind": "induction", "max_flow_m3_h": "0.5"},
        centrifugal | {"pump_id": "CF-Z", "price": "nan", "currency": "dollars", "min_speed_rpm": "9000"},
        helical | {"pump_id": "HR-E", "volumetric_eff_new": "0.99", "hydromech_eff": "0.94", "life_y": "1e999"},
    ]
    for row in bad:
        row.pop("sand_max_mg_l", None)
    write_rows(tmp_path / "pumps.csv", bad)
    (tmp_path / "book.csv").write_text(
        "item,unit,price,currency,price_year,life_y,boundary\n"
        "fence_site,site,-1,USD,2026,,\n"
        "moat,site,1,USD,2026,,\n"
        "M330,Wp,0,USD,2026,,\n"
        "transport_km,mile,2,USD,2026,3,equipment\n"
        "om_tank_share,share,5,,,,\n"
        "CABLE-4,m,2,XAF,2026,,\n",
        encoding="utf-8",
    )
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(plan_with(tmp_path, '[equipment]\npumps = "pumps.csv"\nprices = "book.csv"\n'))
    message = str(caught.value).splitlines()
    for expected in (
        "pumps.csv: header, column sand_max_mg_l: found no such column",
        "pumps.csv: row 1 (HR2.5-6), column price: found -5",
        "pumps.csv: row 1 (HR2.5-6), column displacement_cm3: found 0;",
        "pumps.csv: row 1 (HR2.5-6), column water_temp_max_c: found nothing",
        "pumps.csv: row 2 (HR2.5-6), column pump_id: found 'HR2.5-6' again, first in row 1",
        "pumps.csv: row 3 (CF1-2), column best_eff: found 0.9; expected a number from 0.01 to 0.85",
        "pumps.csv: row 3 (CF1-2), column best_flow_m3_h: found '1,5'",
        "pumps.csv: row 3 (CF1-2), column motor_kind: found 'steam'; expected one of pm, induction",
        "pumps.csv: row 4 (CF-X), column family: found 'jet'",
        "pumps.csv: row 5, column pump_id: found '=1+1'",
        "pumps.csv: row 5, column price_year: found 2026.5",
        "pumps.csv: row 6 (CF-Y), column motor_kw: found 50 (induction); expected a motor that a drive",
        "pumps.csv: row 6 (CF-Y), column best_flow_m3_h: found 1; expected at most max_flow_m3_h",
        "pumps.csv: row 7 (CF-Z), column price: found 'nan'",
        "pumps.csv: row 7 (CF-Z), column currency: found 'dollars'",
        "pumps.csv: row 7 (CF-Z), column min_speed_rpm: found 9000; expected at most rated_speed_rpm",
        "pumps.csv: row 8 (HR-E), column hydromech_eff: found 0.93 × volumetric_eff_new",
        "pumps.csv: row 8 (HR-E), column life_y: found 1e999",
        "book.csv: row 1 (fence_site), column price: found -1",
        "book.csv: row 2 (moat), column item: found 'moat'",
        "book.csv: row 3 (M330), column price: found 0;",
        "book.csv: row 4 (transport_km), column unit: found 'mile'; expected km",
        "book.csv: row 4 (transport_km), column life_y: found 3",
        "book.csv: row 4 (transport_km), column boundary: found 'equipment'; expected scheme",
        "book.csv: row 5 (om_tank_share), column price: found 5; expected a number from 0 to 1",
        "[costs] exchange_rate: found no rate for XAF",
    ):
        assert any(expected in line for line in message), expected
    assert len(message) == 26, "\n".join(message)  # the list above, nothing twice


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "an empty file"),
        (b"pump_id,family\n", "rows: found none"),
        (b"pump_id,pump_id,family\nA,A,surface\n", "column 'pump_id' twice"),
        (b"pump_id,family\nA,surface,3\n", "3 cells"),
        (b'pump_id,family\n"A,surface\n', "line 2"),
        (b"pump_id,family\n\xff,surface\n", "text that is not UTF-8"),
        (b"pump,family\nA,surface\n", "no such column, but 'pump'"),
        (b"item,unit\n\x00,\x00\n", "column pump_id"),
    ],
)
def test_broken_files(tmp_path: Path, content: bytes, expected: str) -> None:
    (tmp_path / "pumps.csv").write_bytes(content)
    with pytest.raises(CatalogueError) as caught:
        load_catalogue(plan_with(tmp_path, '[equipment]\npumps = "pumps.csv"\n'))
    assert expected in str(caught.value)


def test_empty_voltage_window_is_a_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Our own drives go through the same checks as a user's pumps."""
    from planner.catalogue import loader

    read = loader.read_table

    def spoiled(data: bytes, file: str, key: str, faults: list) -> object:  # type: ignore[type-arg]
        return read(data.replace(b"DC-S,pm,60,180", b"DC-S,pm,190,180"), file, key, faults)

    monkeypatch.setattr(loader, "read_table", spoiled)
    with pytest.raises(CatalogueError, match=r"drives.csv: row 1 \(DC-S\), column mpp_min_v: found 190"):
        load_catalogue(plan_with(tmp_path))


def test_price_factors_act_by_group(generic: Catalogue, tmp_path: Path) -> None:
    text = "[costs]\nprice_factor = { equipment = 1.5, works = 2, upkeep = 3 }\n"
    dear = load_catalogue(plan_with(tmp_path, text))
    before, after = ({row.item: row for row in one.price_rows} for one in (generic, dear))
    # Our own rule: goods are equipment, what has no value of use left is works, the yearly items are upkeep.
    for item, factor in {
        **{"mounting_wp": 1.5, "tap_stand": 2, "pumping_test": 2, "transport_km": 2, "installation_site": 2},
        **{"om_scheme_year": 3, "om_tracker_wp": 3, "om_equipment_share": 1, "people_per_tap": 1},
    }.items():
        assert after[item].price == pytest.approx(factor * before[item].price), item
    for kind, price in (("pumps", "pump_price"), ("modules", "price_wp"), ("tanks", "price"), ("cables", "price_m")):
        ratio = getattr(getattr(dear, kind), price) / getattr(getattr(generic, kind), price)
        assert ratio == pytest.approx(np.full(len(ratio), 1.5)), kind
    assert dear.digest != generic.digest
