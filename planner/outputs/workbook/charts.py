"""The two charts of the summary, native: they follow the cells that they are drawn from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.outputs.workbook.lists import HEADER_ROWS, Listing
from planner.outputs.workbook.words import Words

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.chart import Chart

DEMAND, USED, LINE = "#B9C4CB", "#1F6F8B", "#1F3A4D"
GRID = "#D5DCE1"


def month_chart(book: Workbook, words: Words, title: str, top: int) -> Chart:
    """Columns of demand and water used by month, from the table on the summary whose first row is `top`."""
    chart = book.add_chart({"type": "column"})
    sheet = words.sheets["summary"]
    for column, colour in ((1, DEMAND), (2, USED)):
        chart.add_series(
            {
                "name": [sheet, top - 1, column],
                "categories": [sheet, top, 0, top + 11, 0],
                "values": [sheet, top, column, top + 11, column],
                "fill": {"color": colour},
                "border": {"color": LINE, "width": 0.5},
                "gap": 60,
                "overlap": 0,
            }
        )
    _dress(chart, title, "", words.unit("m3/d"))
    return chart


def supply_chart(book: Workbook, words: Words, curve: Listing) -> Chart:
    """Cost of water against the water of all sites that cost no more, in steps, from the sheet of the supply curve."""
    chart = book.add_chart({"type": "scatter", "subtype": "straight"})
    sheet, last = words.sheets["supply_curve"], HEADER_ROWS + max(curve.written, 1) - 1
    x, y = curve.place("cumulative_volume_m3_day") or 0, curve.place("cost_per_m3") or 0
    chart.add_series(
        {
            "name": words.label("cost_per_m3"),
            "categories": [sheet, HEADER_ROWS, x, last, x],
            "values": [sheet, HEADER_ROWS, y, last, y],
            "line": {"color": USED, "width": 2},
        }
    )
    across = f"{words.label('cumulative_volume_m3_day')}, {words.unit('m3/d')}"
    _dress(chart, words.say("chart_supply"), across, words.unit("currency/m3"))
    chart.set_legend({"none": True})
    return chart


def _dress(chart: Chart, title: str, across: str, up: str) -> None:
    font = {"size": 9}
    chart.set_title({"name": title, "name_font": {"size": 11}, "overlay": False})
    chart.set_x_axis({"name": across, "name_font": font, "num_font": font, "min": 0} if across else {"num_font": font})
    chart.set_y_axis(
        {
            "name": up,
            "name_font": font,
            "num_font": font,
            "min": 0,
            "major_gridlines": {"visible": True, "line": {"color": GRID, "width": 0.5}},
        }
    )
    chart.set_legend({"position": "bottom", "font": font})
