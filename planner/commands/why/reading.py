"""What stood in the inventory and what became of it: first values, findings, evidence, demand; last the decision."""

from __future__ import annotations

import math

from planner.choice.decision import CONSEQUENCE, SAID_WHEN_PASSED
from planner.commands.why.opened import Opened
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, month_label, n, plain
from planner.crops import crops
from planner.glossary import glossary, monthly
from planner.physics.evapotranspiration import effective_rain_mm_month, gross_irrigation_m3_ha_day
from planner.tables.inventory import INVENTORY_NAMES
from planner.tables.irrigation import MONTH_DAYS, month_shares
from planner.texts import finding_words, sentence

LONGEST = 200  # characters shown of a cell
GRADES = {
    "A": "a pumping test with yield, rest level and pumping level",
    "B": "yield and rest level, but no drawdown that can be trusted",
    "C": "yield or rest level, not both",
    "D": "a location only",
}


def heading(sheet: Sheet, opened: Opened) -> None:
    """Which row of which run, and how to read what follows."""
    row, record = opened.row, opened.record
    name = " ".join(plain(cell(row[name])) for name in ("site_id", "site_name") if row[name])
    sheet.text(f"{name or 'A row without a name'}, row {row['inventory_row']:.0f} of the inventory")
    sheet.text(f"{plain(str(record['programme']))}, run {record['run_id']}, version {record['version']}")
    sheet.text(
        f"Money in {opened.plan.programme.currency} of {opened.plan.programme.price_year}. Each step gives its "
        "formula, in brackets where it or its numbers come from, and the numbers put in; well.storativity and the like "
        "are keys of the plan. Levels are metres below ground. Numbers are shown to six digits, but counted with all."
    )


def what_was_read(sheet: Sheet, opened: Opened) -> None:
    """The row as it was understood, its findings, and the grade of evidence."""
    row, known = opened.row, glossary()
    sheet.section("What was read")
    missing = []
    for name in INVENTORY_NAMES:
        if name not in known or name not in row.index:
            continue
        value = row[name]
        if value == "" or (isinstance(value, float) and math.isnan(value)):
            missing.append(name)
            continue
        unit = known[name].unit
        said = plain(cell(value)) if isinstance(value, str) else n(float(value))
        sheet.value(f"{known[name].label} ({name})", said if unit == "-" else f"{said} {unit}")
    sheet.value("Not given", ", ".join(missing) or "nothing")
    for finding in opened.findings.to_dict("records"):
        before, after = plain(cell(finding["old_value"])), plain(cell(finding["new_value"]))
        change = f"as read {before!s}" + (f", as used {after}" if after else "")
        what = f"{finding_words(finding['rule'])} {change} ({finding['severity']}, {finding['action']})"
        sheet.value(f"Finding on {plain(finding['column'])}", what, finding["rule"])
    grade = str(row["evidence_grade"])
    if grade:
        sheet.value("Evidence grade", f"{grade}: {GRADES[grade]}")
    for label, name in (("Why this grade", "evidence_reasons"), ("What would raise it", "evidence_raise")):
        if row[name]:
            sheet.value(label, str(row[name]))


def demand(sheet: Sheet, opened: Opened, month: int | None) -> None:
    """Demand of the design year by month, at the tank inlet; `month` 0 to 11 is the design month."""
    row, plan = opened.row, opened.plan.demand
    sheet.section("Demand in the design year")
    names = monthly("demand")
    if math.isnan(row[names[0]]):
        sheet.text("The demand is unknown.")
        return
    base = _base(sheet, opened)
    by_month = bool(row["crop_used"])
    land = [_zero(row[name]) if by_month else 0.0 for name in monthly("irrigation_m3_day")]
    if by_month:
        _irrigation(sheet, opened)
    growth = float(row["demand_growth"])
    rise = (1 + growth) ** plan.design_year / (1 - plan.losses)
    sheet.result(
        "rise",
        "(1 + growth)^design_year / (1 - losses): from today's tap to the tank inlet in the design year",
        f"(1 + {n(growth)})^{plan.design_year} / (1 - {n(plan.losses)})",
        rise,
        "",
        "demand.growth, design_year, losses",
    )
    more = " + its irrigation" if by_month else ""
    sheet.text(f"D of a month = (base × the month's factor demand.season{more}) × rise; * design month.")
    rows = []
    for m, name in enumerate(names):
        agree(f"demand of {MONTH_NAMES[m]}", (base * plan.season[m] + land[m]) * rise, float(row[name]))
        watered = (n(land[m]),) if by_month else ()
        rows.append((month_label(m, month), n(plan.season[m]), *watered, n(row[name])))
    heads = ("irrigation m3/d",) if by_month else ()
    sheet.table(("month", "factor", *heads, "D m3/d"), rows)
    _storage_share(sheet, opened, base)


def _storage_share(sheet: Sheet, opened: Opened, base: float) -> None:
    """Share of a day's demand that goes through the tank, of the month with the largest demand."""
    row, plan = opened.row, opened.plan.demand
    written, name = float(row["storage_share"]), "storage share of a day, through the tank"
    m = max(range(12), key=lambda one: float(row[monthly("demand")[one]]))
    stated = row["demand_source"] == "stated"
    stock = 0.0 if stated else _zero(row["livestock_tlu"]) * plan.livestock_l_tlu_day / 1000 * plan.season[m]
    land = 0.0 if stated else _zero(row[monthly("irrigation_m3_day")[m]])
    if stock == 0.0 and land == 0.0:
        agree("storage share", plan.storage_share, written)
        sheet.value(name, n(written), "demand.storage_share")
        return
    whole = base * plan.season[m] + (land if row["crop_used"] else 0.0)
    people = whole - stock - land
    shares = (plan.storage_share, plan.storage_share_livestock, plan.storage_share_irrigation)
    uses = (people, stock, land)
    agree("storage share", sum(use * share for use, share in zip(uses, shares, strict=True)) / whole, written)
    sheet.result(
        name,
        f"(people's × share + livestock's × share + irrigation's × share) / all, in {MONTH_NAMES[m]}",
        f"({' + '.join(f'{n(use)} × {n(share)}' for use, share in zip(uses, shares, strict=True))}) / {n(whole)}",
        written,
        "",
        "demand.storage_share, storage_share_livestock, storage_share_irrigation; at the tap today",
    )


def _base(sheet: Sheet, opened: Opened) -> float:
    """Demand of a day at the tap today, before the season: all but irrigation by month."""
    row, plan = opened.row, opened.plan.demand
    if row["demand_source"] == "stated":
        base = float(row["demand_m3_day"])
        sheet.value("base", f"{n(base)} m3/d", "stated in the inventory: counts for everything, and does not grow")
        return base
    people, stock, land = (_zero(row[name]) for name in ("people_counted", "livestock_tlu", "irrigated_ha"))
    base = people * plan.norm_l_person_day / 1000 + stock * plan.livestock_l_tlu_day / 1000
    formula, numbers, key = "people × norm + livestock × norm", "", ""
    if plan.irrigation_m3_ha_day is not None:
        base += land * plan.irrigation_m3_ha_day
        formula += " + hectares × irrigation"
        numbers, key = f" + {n(land)} × {n(plan.irrigation_m3_ha_day)}", ", irrigation_m3_ha_day"
    sheet.result(
        "base",
        formula,
        f"{n(people)} × {n(plan.norm_l_person_day)} / 1000 + {n(stock)} × {n(plan.livestock_l_tlu_day)} / 1000"
        + numbers,
        base,
        "m3/d",
        f"people from the {row['people_source'] or 'plan: none'}; demand.norm_l_person_day, livestock_l_tlu_day{key}",
    )
    return base


def _irrigation(sheet: Sheet, opened: Opened) -> None:
    """Irrigation of the months, from crop, evapotranspiration and rain."""
    row, plan = opened.row, opened.plan.demand
    crop, area, month = crops()[row["crop_used"]], float(row["irrigated_ha"]), int(row["planting_month_used"])
    chosen = "demand.planting_month" if plan.planting_month else "the planting that needs most irrigation in a year"
    behind = f"{chosen}; demand.crops_a_year: up to {plan.crops_a_year} behind one another"
    sheet.value("irrigated", f"{n(area)} ha of {crop.name}", f"{crop.length_days} days from planting to harvest")
    sheet.value("first planting", MONTH_NAMES[month - 1], behind)
    rained = "rain is the raster's" if opened.plan.rasters.rain else "no rain counts, since no raster gives it"
    ground = f"; {n(crop.percolation_mm_day)} mm/d go to the ground" if crop.percolation_mm_day else ""
    sheet.text(
        "irrigation = 10 × hectares × (Kc × ET0 - served, not below 0) / (efficiency × (1 - leaching)), with "
        f"demand.irrigation_efficiency, leaching = {n(plan.irrigation_efficiency)}, {n(plan.leaching)}; Kc is the mean "
        "of the month's days, those without crop 0 (FAO Irrigation and Drainage Paper 56, tables 11 and 12); ET0 is "
        f"its equation 6; served = effective rain a day on the days under crop{ground}; {rained}."
    )
    kc, under, _ = month_shares(crop, plan.crops_a_year, month)
    rows = []
    for m in range(12):
        et0, rain, written = (_zero(row[f"{stem}_{m + 1:02d}"]) for stem in ("et0_mm_day", "rain", "irrigation_m3_day"))
        served = under[m] * (float(effective_rain_mm_month(rain)) / MONTH_DAYS[m] - crop.percolation_mm_day)
        net = max(kc[m] * et0 - served, 0.0)
        agree(
            f"irrigation of {MONTH_NAMES[m]}",
            area * float(gross_irrigation_m3_ha_day(net, plan.irrigation_efficiency, plan.leaching)),
            written,
        )
        rows.append((MONTH_NAMES[m], n(kc[m]), n(et0), n(rain), n(served), n(written)))
    sheet.table(("month", "Kc", "ET0 mm/d", "rain mm", "served mm/d", "irrigation m3/d"), rows)


def decision(sheet: Sheet, opened: Opened) -> None:
    """Every rule that was tested on the row, what each that failed leads to, and the decision."""
    row, checks = opened.row, opened.checks
    sheet.section("Decision")
    codes = str(row["reason_codes"]).split(";")
    for check in checks.to_dict("records"):
        rule, subject = str(check["rule"]), str(check["subject"])
        if rule not in codes or check["pass"] != (rule in SAID_WHEN_PASSED):
            continue
        words = plain(sentence(rule, subject, float(check["value"]), float(check["limit"])))
        leads = CONSEQUENCE.get(rule, "")
        if rule == "no_design" and "no_design_on_prior" in codes:
            leads = CONSEQUENCE["no_design_on_prior"]
        sheet.value(rule, words, f"leads to {leads}" if leads else "no consequence")
    sheet.text(
        "The weightiest consequence decides: not_assessed, unsuitable, hold, test_first, and equip where none speaks "
        "against it."
        + (
            " ranking.allow_prior_equip lets what leads to test_first pass."
            if opened.plan.ranking.allow_prior_equip
            else ""
        )
    )
    sheet.text("All rules that were tested on this row:")
    rows = []
    for check in checks.to_dict("records"):
        bounds = "" if math.isnan(check["limit"]) else f"{check['operator']} {n(check['limit'])}"
        value = "" if math.isnan(check["value"]) else n(check["value"])
        unit = "" if check["unit"] in {"-", "1"} else str(check["unit"])
        passed = "holds" if check["pass"] else "fails"
        rows.append((str(check["rule"]), plain(cell(check["subject"]))[:20], value, bounds, unit, passed))
    sheet.table(("rule", "of", "value", "limit", "unit", ""), rows)
    sheet.value("decision", str(row["decision"]))


def cell(text: object) -> str:
    """A cell of the inventory, cut where it is very long."""
    said = str(text)
    return said if len(said) <= LONGEST else f"{said[:LONGEST]}…"


def _zero(value: float) -> float:
    return 0.0 if math.isnan(value) else float(value)
