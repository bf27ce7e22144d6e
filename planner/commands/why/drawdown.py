"""What the test tells: transmissivity, and the drawdown law s = B Q + C Q² + M V."""

from __future__ import annotations

import math

import pandas as pd

from planner.commands.why.opened import Opened, series_at
from planner.commands.why.sheet import Sheet, agree, n
from planner.commands.why.well import Z
from planner.physics.aquifer import (
    LARGEST_U,
    day_loss_d_m2,
    memory_coefficient_d_m2,
    theis_drawdown_m,
    well_function,
)
from planner.tables import wells

SMALL_U = 0.5  # up to here the printed series of W(u) is good to five digits


def drawdown(sheet: Sheet, opened: Opened) -> None:
    """B, C and memory of s = B Q + C Q² + M V, Q and V in m3/d."""
    row, well, physics_t = opened.row, opened.plan.well, float(opened.row["transmissivity_used_m2_d"])
    sheet.section("Drawdown law: s = B Q + C Q^2 + M V, Q and V in m3/d")
    if math.isnan(physics_t):
        sheet.text("Nothing to work it out from.")
        return
    test = _test(opened)
    flow, radius, storage = float(test["flow_m3_d"]), float(test["radius_m"]), float(test["storativity"])
    clock, measured = float(test["clock_h"]), bool(test["measured"])
    aquifer_m = _loss_of_test(sheet, opened, test)
    _transmissivity(sheet, opened, test, aquifer_m)

    day, given = well.pumping_hours_day, not math.isnan(row["transmissivity_m2_d"])
    b, grade = float(row["drawdown_b_d_m2"]), str(row["evidence_grade"])
    if given and not measured:
        u = radius**2 * storage / (4 * physics_t * day / 24)
        _w_of_u(sheet, u, f"{n(radius)}^2 × {n(storage)} / (4 × {n(physics_t)} × {n(day)} / 24)")
        found = float(theis_drawdown_m(1.0, physics_t, storage, radius, day / 24))
        sheet.result(
            "B, aquifer loss of a pumping day",
            "W(u) / (4 pi T)",
            f"{n(float(well_function(u)))} / (4 × pi × {n(physics_t)})",
            found,
            "d/m2",
            "Theis 1935",
        )
    else:
        test_b = sheet.result(
            "B of the test", "aquifer loss / Q", f"{n(aquifer_m)} / {n(flow)}", aquifer_m / flow, "d/m2"
        )
        found = float(day_loss_d_m2(test_b, physics_t, clock, day))
        sheet.result(
            "B, aquifer loss of a pumping day",
            "B of the test + ln(day / clock) / (4 pi T), at least 5 % of B",
            f"max({n(test_b)} + ln({n(day)} / {n(clock)}) / (4 × pi × {n(physics_t)}), 0.05 × {n(test_b)})",
            found,
            "d/m2",
            "Cooper & Jacob 1946; well.pumping_hours_day",
        )
    agree("B", found, b)
    factor = opened.plan.uncertainty.drawdown_factor[grade]  # type: ignore[index]
    sheet.result(
        "B for rules",
        "B × factor^z: 75th percentile",
        f"{n(b)} × {n(factor)}^{Z}",
        float(row["drawdown_b_rule_d_m2"]),
        "d/m2",
        f"uncertainty.drawdown_factor {grade}",
    )
    _well_loss(sheet, opened, test)
    count, share = well.days_since_recovery, day / 24
    logs = [math.lgamma(count + share), math.lgamma(count), math.lgamma(1 + share)]
    first, second, third = (f"{one:.8f}" if one >= 0 else f"(0 - {-one:.8f})" for one in logs)
    memory = float(memory_coefficient_d_m2(physics_t, count, share))
    agree("memory", memory, float(row["memory_d_m2"]))
    sheet.result(
        "M, memory of earlier days",
        f"(lnΓ(N + f) - lnΓ(N) - lnΓ(1 + f)) / f / (4 pi T), N = {count} days pumped since the water table last "
        f"recovered, f = {n(day)} / 24 of each; the bracket is also the sum of ln((k + f) / k), k = 1 to N - 1",
        f"({first} - {second} - {third}) / {n(share)} / (4 × pi × {n(physics_t)})",
        memory,
        "d/m2",
        "superposition of Cooper & Jacob 1946; well.days_since_recovery",
    )


def _test(opened: Opened) -> pd.Series:
    """The test of the row as the wells step sees it; the table of all rows gives the median that may stand in."""
    rows = opened.table.loc[opened.table["row_kind"] == "site"]
    evidence = rows["duplicate_of"].isna() & ~rows["level_conflict"].astype(bool)
    return series_at(wells.tests_of(rows, evidence, rows, opened.plan.well), opened.number)


def _loss_of_test(sheet: Sheet, opened: Opened, test: pd.Series) -> float:
    """Drawdown of the test split into well loss and aquifer loss; returns the latter."""
    row, measured = opened.row, bool(test["measured"])
    flow, s, share = float(test["flow_m3_d"]), float(test["drawdown_m"]), float(test["loss_share"])
    sheet.result("Q of the test", "24 × yield", f"24 × {n(flow / 24)}", flow, "m3/d")
    if measured:
        sheet.result(
            "s, drawdown of the test",
            "pumping level - rest level",
            f"{n(row['pumping_level_m'])} - {n(row['static_level_m'])}",
            s,
            "m",
            "inventory",
        )
    else:
        source = {
            "inventory_median": "median of the inventory's tests of grade A",
            "assumed": "well.specific_capacity_m3_h_m",
        }.get(str(test["source"]), "")
        sheet.result(
            "s, drawdown that stands in for a test",
            "yield / specific capacity",
            f"{n(flow / 24)} / {n(flow / 24 / s)}",
            s,
            "m",
            source,
        )
    aquifer_m, given = float(test["aquifer_m"]), float(test["given_c"])
    if measured and not math.isnan(given):
        sheet.result(
            "aquifer loss", "s - C Q^2", f"{n(s)} - {n(given)} × {n(flow)}^2", aquifer_m, "m", "C of the inventory"
        )
    else:
        sheet.result(
            "aquifer loss",
            "s × (1 - share of well loss)",
            f"{n(s)} × (1 - {n(share)})",
            aquifer_m,
            "m",
            "well.well_loss_share",
        )
    return aquifer_m


def _transmissivity(sheet: Sheet, opened: Opened, test: pd.Series, aquifer_m: float) -> None:
    """T of the test by Theis, solved by trial, and the check that it gives the drawdown again."""
    row = opened.row
    flow, radius, storage, clock = (float(test[key]) for key in ("flow_m3_d", "radius_m", "storativity", "clock_h"))
    known = str(row["casing_source"])
    sheet.result("r, radius of the well", "casing / 2", f"{n(2000 * radius)} / 2000", radius, "m", f"casing: {known}")
    sheet.value(
        "S, storage coefficient",
        n(storage),
        "well.specific_yield" if row["aquifer"] == "unconfined" else "well.storativity",
    )
    hours = "inventory" if clock == row["test_hours"] else "well.test_hours_unknown"
    sheet.value("clock of the test", f"{n(clock)} h", hours)
    used = float(row["transmissivity_used_m2_d"])
    if not math.isnan(row["transmissivity_m2_d"]):
        sheet.value("T, transmissivity", f"{n(used)} m2/d", "inventory: takes the place of the test's")
        return
    thickness, s = float(test["thickness_m"]), float(test["drawdown_m"])
    confined = float(wells.confined_equal(pd.Series([aquifer_m]), pd.Series([s]), pd.Series([thickness])).iloc[0])
    if confined != aquifer_m:
        sheet.result(
            "s', as if the aquifer did not thin",
            "loss - loss^2 / (2 × water column)",
            f"{n(aquifer_m)} - {n(aquifer_m)}^2 / (2 × {n(thickness)})",
            confined,
            "m",
            "Jacob 1944",
        )
    t = float(test["transmissivity"])
    agree("transmissivity", t, used)
    if not test["solved"]:
        sheet.text(
            "No T gives so large a drawdown: the test saw only the water stored in the well. The least T that the "
            "equation allows stands in, the safe side."
        )
        sheet.result(
            "T, transmissivity",
            f"r^2 S / (4 t u), u = {LARGEST_U:.6f}",
            f"{n(radius)}^2 × {n(storage)} / (4 × {n(clock)} / 24 × {LARGEST_U:.6f})",
            t,
            "m2/d",
        )
        return
    sheet.text(
        f"T is found by trial so that Q / (4 pi T) × W(u) is the aquifer loss, with u = r^2 S / (4 T t) and W the well "
        f"function (Theis 1935). T = {n(t)} m2/d does it; of two T that would, the larger. The check:"
    )
    u = radius**2 * storage / (4 * t * clock / 24)
    _w_of_u(sheet, u, f"{n(radius)}^2 × {n(storage)} / (4 × {n(t)} × {n(clock)} / 24)")
    again = float(theis_drawdown_m(flow, t, storage, radius, clock / 24))
    agree("drawdown of the test", again, confined)
    sheet.result(
        "drawdown again",
        "Q / (4 pi T) × W(u)",
        f"{n(flow)} / (4 × pi × {n(t)}) × {n(float(well_function(u)))}",
        again,
        "m",
        "Theis 1935",
    )


def _w_of_u(sheet: Sheet, u: float, numbers: str) -> None:
    sheet.result("u", "r^2 S / (4 T t)", numbers, u)
    w = float(well_function(u))
    if u < SMALL_U:
        said = n(u)
        sheet.result(
            "W(u)",
            "-0.577216 - ln u + u - u^2 / 4 + u^3 / 18 - u^4 / 96 + …",
            f"0 - 0.577216 - ln({said}) + {said} - {said}^2 / 4 + {said}^3 / 18 - {said}^4 / 96",
            w,
        )
    else:
        sheet.value("W(u)", n(w), "table of the well function")


def _well_loss(sheet: Sheet, opened: Opened, test: pd.Series) -> None:
    row, measured = opened.row, bool(test["measured"])
    flow, share, c = float(test["flow_m3_d"]), float(test["loss_share"]), float(row["drawdown_c_d2_m5"])
    if not math.isnan(test["given_c"]):
        sheet.value("C, well loss", f"{n(c)} d2/m5", "inventory")
    elif not measured and not math.isnan(row["transmissivity_m2_d"]):
        b = float(row["drawdown_b_d_m2"])
        sheet.result(
            "C, well loss",
            "share / (1 - share) × B / Q",
            f"{n(share)} / (1 - {n(share)}) × {n(b)} / {n(flow)}",
            c,
            "d2/m5",
            "well.well_loss_share",
        )
    else:
        sheet.result(
            "C, well loss",
            "share × s / Q^2",
            f"{n(share)} × {n(test['drawdown_m'])} / {n(flow)}^2",
            c,
            "d2/m5",
            "well.well_loss_share",
        )
