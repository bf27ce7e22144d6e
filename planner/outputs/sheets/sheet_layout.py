"""A site sheet as the template takes it: every text with its size."""

from __future__ import annotations

from typing import Any

from planner.outputs.sheets import layout
from planner.outputs.sheets.layout import FACTS, HEADING, LABEL_SHARE, halves, head, pairs
from planner.outputs.sheets.letters import MM_PER_PT, cut, divided, line, lines, two_lines, widest_em, width_em

# Name of a heading: width of its panel, mm.
HEADS = {
    "sketch": layout.THIRD,
    "duty": layout.THIRD,
    "equipment": layout.THIRD,
    "months": layout.MONTHS,
    "costs": layout.HALF,
    "water": layout.HALF,
    "reasons": layout.WIDE,
    "verify": layout.WIDE,
    "cautions": layout.WIDE,
}
NAME, PROGRAMME = 124.0, 54.0
FIELDS = 4  # a line of the form
FOOT = {"run": 90.0, "left_out": 66.0, "page": 26.0}
SMALL, TINY, LEAST = 5.8, 4.8, layout.LEAST  # a label of the form takes two lines below SMALL, is cut below TINY


def common(data: dict[str, Any]) -> dict[str, Any]:
    """What stands on every sheet, with its sizes."""
    words, wide = data["words"], layout.WIDE
    cell = layout.STEPS / 4 - 2.0
    return {
        "mm": layout.PAGE_MM,
        "shares": LABEL_SHARE,
        "heads": {name: head(words[name], width) for name, width in HEADS.items()},
        "steps": [two_lines(one, cell, 6.0, LEAST) for one in data["steps"]],
        "recovery": two_lines(words["recovery"], cell, 6.0, LEAST),
        "step_table": line(words["step_table"], layout.STEPS, 6.8, LEAST, strong=True),
        "cautions_sized": halves(data["cautions"], wide, layout.CAUTIONS - HEADING),
        "programme_line": line(data["programme"], PROGRAMME, 6.8, LEAST),
        "title_line": line(data["title"], PROGRAMME, 6.8, LEAST),
        "run": line(data["run"], FOOT["run"], 6.2, LEAST),
        "left_out": line(data["left_out"], FOOT["left_out"], 6.2, LEAST),
    }


def page_line(words: str) -> dict[str, Any]:
    """The number of a page."""
    return line(words, FOOT["page"], 6.2, LEAST)


def sized(sheet: dict[str, Any]) -> dict[str, Any]:
    """A record of a sheet with the sizes of its texts."""
    first, months = sheet["first"], sheet["months"]
    middle = layout.MIDDLE if first is None else layout.MIDDLE_BELOW_FIRST
    tables = {
        name: pairs(sheet[name], LABEL_SHARE[name], width, height - HEADING, note)
        for name, width, height, note in (
            ("equipment", layout.THIRD, layout.UPPER, ""),
            ("costs", layout.HALF, middle, sheet["money_note"]),
            ("water", layout.HALF, middle, ""),
        )
    }
    return sheet | {
        "name": line(sheet["name"], NAME, 16.0, 6.0, strong=True),
        "id": line(sheet["id"], NAME, 9.6, 5.0),
        "decision": line(sheet["decision"], PROGRAMME - 5.5, 10.0, LEAST, strong=True),
        "facts": [
            [line(label, width - 2.0, 6.6, LEAST), line(value, width - 2.0, 8.0, LEAST, strong=True)]
            for (label, value), width in zip(sheet["facts"], FACTS, strict=True)
        ],
        "middle": middle,
        "first": None if first is None else _first(first),
        "reasons": halves(sheet["reasons"], layout.WIDE, layout.WHY - HEADING),
        "coordinates": line(sheet["coordinates"], layout.THIRD, 7.2, LEAST, strong=True),
        "months": None if months is None else months | _month_rows(months),
        "fields": [_field(*pair) for pair in sheet["fields"]],
        "test_known": line(sheet["test_known"], layout.STEPS, 6.6, LEAST),
        **tables,
    }


def _first(first: dict[str, Any]) -> dict[str, Any]:
    width, height = (one - 2 * layout.FIRST_INSET for one in (layout.WIDE, layout.FIRST))
    return {"title": head(first["title"], width), **halves(first["lines"], width, height - HEADING)}


def _month_rows(months: dict[str, Any]) -> dict[str, Any]:
    """The rows below the chart: labels fit their column, all numbers have the size of the widest."""
    label = layout.MONTHS - 12 * layout.MONTH_CELL - 0.8
    cells = [cell for row in months["rows"] for cell in row[1:]]
    return {
        "labels": [line(row[0], label, 6.1, LEAST) for row in months["rows"]],
        "size": min(line(cell, layout.MONTH_CELL - 0.4, 6.1, 3.0)["size"] for cell in cells),
        "design": line(months["design"], layout.MONTHS, 6.1, LEAST),
    }


def _field(label: str, known: str) -> dict[str, Any]:
    """A field of the form, on one line or two; what the inventory says is cut first."""
    width = (layout.WIDE - layout.STEPS - layout.GAP) / FIELDS - 2.0
    both = f"{label} {known}".rstrip()
    size = line(both, width, 6.6, SMALL)
    if size["words"] != both:
        size = two_lines(both, width, SMALL, TINY)
        if size["words"] != both:
            size = two_lines(label, width, TINY, LEAST)
            em = width / MM_PER_PT / size["size"]
            while len(known) > 1 and (lines(f"{label} {known}", em) > 2 or widest_em(known) > em):
                known = cut(divided(known, em), 0.9 * width_em(known))
    return {"label": label, "known": known, "size": size["size"]}
