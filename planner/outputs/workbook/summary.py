"""The second sheet: the decisions as a sum that comes out, totals, charts, and totals that live with the lists."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from planner.glossary import MONTHS
from planner.outputs.material import Material
from planner.outputs.workbook.cells import fitted
from planner.outputs.workbook.charts import month_chart, supply_chart
from planner.outputs.workbook.lists import Listing
from planner.outputs.workbook.live import write_live
from planner.outputs.workbook.page import Page
from planner.outputs.workbook.words import Words
from planner.texts import month_names

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

    from planner.outputs.workbook.styles import Styles

COLUMNS, FIRST, OTHERS = 12, 36, 12
WIDTH = FIRST + (COLUMNS - 1) * OTHERS
SUMMED = ("capital_cost", "people_served", "volume_used_m3_day")
UNITS = {"capital_cost": "currency", "people_served": "people", "volume_used_m3_day": "m3/d"}
LEFT_OUT = ("not_assessed", "unsuitable", "hold", "test_first")
MOST_DISTRICTS = 300
CHART_ROWS = 17


def write_summary(
    book: Workbook,
    sheet: Worksheet,
    styles: Styles,
    words: Words,
    material: Material,
    sites: pd.DataFrame,
    listings: Mapping[str, Listing],
) -> None:
    """Static results first, then, apart and in colour, the totals that formulas take from the lists."""
    page = Page(sheet, styles, words.say("cut"))
    sheet.set_column(0, 0, FIRST)
    sheet.set_column(1, COLUMNS - 1, OTHERS)
    about = material.about
    page.text(0, 0, words.say("summary_title", programme=about["programme"]), styles.title)
    page.height(0, 2)
    page.text(
        1, 0, words.say("run_line", run=about["run_id"], date=about["date"], version=about["version"]), styles.note
    )
    money = words.say("money", currency=about["currency"], year=str(about["price_year"]))
    page.row = 2
    page.paragraph(f"{money} {words.say('boundary')}", styles.note, WIDTH)
    page.paragraph(words.say("static_live"), styles.note, WIDTH)
    page.row += 1
    _funnel(page, words, sites)
    _charts(book, page, words, sites, listings["supply_curve"], 1.0 - material.plan.plan.demand.losses)
    _budget(page, words, material)
    districts = by_district(sites, words)
    _districts(page, words, districts)
    write_live(page, words, listings, [*districts.index[:MOST_DISTRICTS]], COLUMNS)
    page.set_up(landscape=True)
    sheet.freeze_panes(1, 0)
    page.write()


def sums(rows: pd.DataFrame) -> list[float]:
    """Capital cost, people served and volume used of some sites."""
    return [float(rows[name].sum()) for name in SUMMED]


def _heads(words: Words) -> list[str]:
    return [words.say(f"head_{name}") for name in ("step", "rows", "share_of_rows")] + [
        f"{words.label(name)}, {words.unit(UNITS[name])}" for name in SUMMED
    ]


def _funnel(page: Page, words: Words, sites: pd.DataFrame) -> None:
    """From the rows of the inventory to those that are funded."""
    styles = page.styles
    page.heading(words.say("heading_funnel"), 6)
    page.header(_heads(words), styles.header, 4)
    equip = sites[sites["decision"] == "equip"]
    rows: list[tuple[str, pd.DataFrame, bool]] = [(words.say("inventory_rows"), sites, False)]
    rows += [
        (words.say("less", what=words.code("decision", one)), sites[sites["decision"] == one], one == "test_first")
        for one in LEFT_OUT
    ]
    rows.append((words.say("equals", what=words.code("decision", "equip")), equip, True))
    rows += [
        (words.say("of_which", what=words.code("funding", one) if one else words.say("not_funded")),
         equip[equip["funding"] == one], True)
        for one in ("funded", "reserve", "")
    ]  # fmt: skip
    for label, chosen, summed in rows:
        strong = chosen is sites or chosen is equip
        page.text(page.row, 0, label, styles.strong if strong else styles.wrapped)
        page.value(page.row, 1, len(chosen), styles.make(dict(num_format="#,##0", valign="top", bold=strong)))
        if len(sites):
            page.value(page.row, 2, len(chosen) / len(sites), styles.of("%", "number"))
        for column, (name, value) in enumerate(zip(SUMMED, sums(chosen), strict=True), start=3):
            if summed:
                page.value(page.row, column, value, styles.of(UNITS[name], "number"))
        page.row += 1
    page.text(page.row, 0, words.say("funnel_check"), styles.note)
    page.row += 2


def _charts(book: Workbook, page: Page, words: Words, sites: pd.DataFrame, curve: Listing, at_tap: float) -> None:
    """Water by month with its table, and the supply curve beside it.

    at_tap: share of the demand at the tank inlet that is left at the tap, where the water used is counted
    """
    funded = sites[sites["funding"] == "funded"]
    chosen, kind = (funded, "funded") if len(funded) else (sites[sites["decision"] == "equip"], "equip")
    styles = page.styles
    title = words.say(f"months_{kind}")
    page.heading(title, COLUMNS)
    names = (("demand", "demand_at_tap", at_tap), ("used", "used_at_tap", 1.0))
    heads = [f"{words.label(label)}, {words.unit('m3/d')}" for _, label, _ in names]
    page.header([words.say("head_month"), *heads], styles.header)
    top = page.row
    for place, month in enumerate(month_names(words.language)):
        page.text(page.row, 0, month, styles.text)
        for column, (stem, _, factor) in enumerate(names, start=1):
            held = f"{stem}_{MONTHS[place]}"
            value = factor * float(chosen[held].sum()) if held in chosen.columns else 0.0
            page.value(page.row, column, value, styles.of("m3/d", "number"))
        page.row += 1
    page.sheet.insert_chart(top - 1, 3, month_chart(book, words, title, top), {"x_scale": 0.9, "y_scale": 0.98})
    page.sheet.insert_chart(top - 1, 8, supply_chart(book, words, curve), {"x_scale": 0.78, "y_scale": 0.98})
    page.row = top - 1 + CHART_ROWS


def _budget(page: Page, words: Words, material: Material) -> None:
    """What the run says of budget, lots and tests."""
    lines = [words.spoken(line) for line in material.about["budget"]]
    if not lines:
        return
    page.heading(words.say("heading_budget"), COLUMNS)
    for line in lines:
        page.paragraph(line, page.styles.plain, WIDTH)
    page.row += 1


def by_district(sites: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Counts by decision and funding, and what funded sites cost and give, by sub-district as the lists have it."""
    name = sites["sub_district_used"].fillna("").map(lambda one: fitted(str(one), words.say("cut")))
    funded = sites["funding"] == "funded"
    parts: dict[str, pd.Series] = {
        "rows": pd.Series(1, index=sites.index),
        "equip": sites["decision"] == "equip",
        "funded": funded,
    }
    parts["reserve"] = sites["funding"] == "reserve"
    parts |= {one: sites["decision"] == one for one in reversed(LEFT_OUT)}
    frame = pd.DataFrame({key: one.astype("int64") for key, one in parts.items()})
    for one in SUMMED:
        frame[one] = sites[one].where(funded, 0.0).fillna(0.0)
    return frame.groupby(name.to_numpy(dtype=object), sort=True).sum()


def _districts(page: Page, words: Words, districts: pd.DataFrame) -> None:
    styles = page.styles
    page.heading(words.say("heading_districts"), COLUMNS)
    heads = [words.label("sub_district_used"), words.say("head_rows")]
    heads += [words.code("decision", "equip"), words.code("funding", "funded"), words.code("funding", "reserve")]
    heads += [words.code("decision", one) for one in reversed(LEFT_OUT)]
    heads += [
        words.say("of_funded", what=words.label(name), unit=words.unit(UNITS[name])) for name in SUMMED
    ]  # fmt: skip
    page.header(heads, styles.header, 5)
    counts = [name for name in districts.columns if name not in SUMMED]
    shown = districts.head(MOST_DISTRICTS)
    total = pd.DataFrame([districts.sum()], index=[words.say("sum")])
    if len(districts) > len(shown):
        rest = pd.DataFrame([districts.iloc[len(shown) :].sum()], index=[words.say("other_districts")])
        total = pd.concat([rest, total])
    for place, (name, row) in enumerate([*shown.iterrows(), *total.iterrows()]):
        strong = place == len(shown) + len(total) - 1
        told = str(name) or words.say("no_district")
        page.text(page.row, 0, told, styles.strong if strong else styles.text)
        for column, key in enumerate(districts.columns, start=1):
            style = styles.of("people", "number") if key in counts else styles.of(UNITS[key], "number")
            if strong:
                held = "#,##0" if key in counts else style.num_format
                style = styles.make(dict(num_format=held, bold=True, top=1, valign="top"))
            page.value(page.row, column, float(row[key]), style)
        page.row += 1
    page.row += 1
