"""Formats of cells, each made once. Colour is never the only sign: headings say what a block is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planner.outputs.workbook.cells import Kind, number_format

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format

DARK, PALE, LIVE, GREY, LINE = "#1F3A4D", "#E7EEF2", "#FFF3CC", "#5A6670", "#C5CFD6"


class Styles:
    """Formats of one workbook."""

    def __init__(self, book: Workbook) -> None:
        self._book = book
        self._made: dict[tuple[Any, ...], Format] = {}
        self.title = self.make(dict(bold=True, font_size=16, font_color=DARK))
        self.heading = self.make(dict(bold=True, font_size=12, font_color=DARK, bottom=1, bottom_color=DARK))
        self.text = self.make(dict(align="left", valign="top", indent=1))
        self.wrapped = self.make(dict(align="left", valign="top", text_wrap=True, indent=1))
        self.strong = self.make(dict(valign="top", text_wrap=True, bold=True))
        self.header = self.make(
            dict(
                bold=True,
                font_color="white",
                bg_color=DARK,
                text_wrap=True,
                valign="vcenter",
                border=1,
                border_color=LINE,
            )
        )
        self.machine = self.make(dict(shrink=True, italic=True, font_size=8, font_color=GREY, bg_color=PALE))
        self.unit = self.make(dict(font_size=9, bg_color=PALE, bottom=1, bottom_color=DARK))
        self.note = self.make(dict(italic=True, font_color=GREY))
        self.live_heading = self.make(
            dict(bold=True, font_size=12, bg_color=LIVE, top=2, bottom=1, bottom_color=DARK, top_color=DARK)
        )
        self.live_header = self.make(dict(bold=True, bg_color=LIVE, text_wrap=True, valign="vcenter", border=1))
        self.live_text = self.make(dict(bg_color=LIVE, valign="top"))
        self.link = self.make(dict(font_color="#0B57A4", underline=1, valign="top"))
        self.day = self.make(dict(num_format="yyyy-mm-dd", align="left", valign="top", indent=1))
        self.plain = self.make(dict(valign="top"))

    def make(self, properties: dict[str, Any]) -> Format:
        """The format with these properties."""
        key = tuple(sorted(properties.items()))
        if key not in self._made:
            self._made[key] = self._book.add_format(properties)
        return self._made[key]

    def of(self, unit: str, kind: Kind) -> Format:
        """The format of a cell of a list."""
        if kind == "date":
            return self.day
        if kind == "wrapped":
            return self.wrapped
        if kind in {"text", "flag"}:
            return self.text
        return self.make(dict(num_format=number_format(unit, kind), valign="top"))

    def live(self, unit: str) -> Format:
        """The format of a number that a formula gives."""
        return self.make(dict(num_format=number_format(unit, "number"), bg_color=LIVE, valign="top"))
