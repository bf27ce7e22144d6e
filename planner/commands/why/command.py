"""The worked calculation of one site, section by section."""

from __future__ import annotations

import math
from pathlib import Path

from planner.commands.why import money, pump, well
from planner.commands.why.opened import Opened, open_row
from planner.commands.why.sheet import Sheet, n, plain
from planner.glossary import monthly
from planner.texts import of_kind, sentence


def why(folder: Path, wanted: str) -> str:
    """The calculation of one site of a finished run, as text.

    wanted  site_id or `row:17`
    Raises OutputError where folder or site is not one, InternalError where the calculation is not that of the run.
    """
    opened = open_row(folder, wanted)
    row, sheet = opened.row, Sheet()
    sheet.text(f"{plain(str(row['site_id']))} {plain(str(row['site_name']))}, row {row['inventory_row']:.0f}".strip())
    sheet.text(f"decision: {row['decision']}" + ("" if math.isnan(row["rank"]) else f", rank {row['rank']:.0f}"))
    sheet.text(plain(str(row["reason_text"])))
    well.read(sheet, opened)
    well.demand(sheet, opened)
    sized = opened.sized
    well.limits(sheet, opened, sized)
    if sized is not None:
        if sized.done is not None:
            _agrees(opened)
            pump.equipment(sheet, opened, sized, sized.done)
            pump.operating_point(sheet, opened, sized, sized.done)
            pump.water(sheet, opened, sized, sized.done)
        if row["engine_status"] != "installed":
            pump.families(sheet, sized, opened.plan.programme.currency)
        if row["engine_status"] == "designed" and sized.done is not None:
            money.costs(sheet, opened, sized, sized.done)
        elif row["engine_status"] == "installed":
            sheet.section("The installed set")
            sheet.text(f"It meets {n(100 * row['supply_reliability'])} % of the year's demand; no cost, no rank.")
    if row["engine_status"] != "designed":
        _rules(sheet, opened)
    sheet.section("Read first")
    for caution in of_kind("caution"):
        sheet.text(caution)
    return str(sheet) + _last_line(opened)


def _rules(sheet: Sheet, opened: Opened) -> None:
    """Every rule that the row failed, with value and limit."""
    sheet.section("What stands against it")
    for _, check in opened.checks[~opened.checks["pass"]].iterrows():
        try:
            sheet.text(
                sentence(str(check["rule"]), str(check["subject"]), float(check["value"]), float(check["limit"]))
            )
        except KeyError:  # a rule that only counts, without a sentence
            sheet.value(str(check["rule"]), "failed")


def _agrees(opened: Opened) -> None:
    row, sized = opened.row, opened.sized
    assert sized is not None and sized.done is not None
    for month, name in enumerate(monthly("volume")):
        money.agree(name, float(sized.done.volumes_m3_day[month]), float(row[name]))
    money.agree("total head", sized.done.head_m, float(row["total_head_m"]))


def _last_line(opened: Opened) -> str:
    row = opened.row
    if row["engine_status"] != "designed":
        return f"\n{row['decision']}: no cost per cubic metre\n"
    currency = opened.plan.programme.currency
    return f"\ncost per m3 = {n(row['cost_per_m3'])} {currency}/m3, whole scheme ({row['decision']})\n"
