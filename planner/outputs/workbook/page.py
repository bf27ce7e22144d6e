"""A sheet that is a page: cells at their places, written row by row as the writer of large files asks for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from planner.outputs.workbook.cells import fitted, put

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from planner.outputs.workbook.styles import Styles

FLOWING = 1.05  # signs of running text in the width of a figure


class Page:
    """Cells of a page before it is written; `row` is where the next block begins."""

    def __init__(self, sheet: Worksheet, styles: Styles, mark: str) -> None:
        self.sheet, self.styles, self.mark = sheet, styles, mark
        self.row = 0
        self._cells: dict[tuple[int, int], Callable[[], Any]] = {}
        self._heights: dict[int, float] = {}

    def text(self, row: int, column: int, text: str, style: Format) -> None:
        """A text, at any time before `write`."""
        told = fitted(text, self.mark)
        self._cells[row, column] = lambda: put(self.sheet, row, column, told, style, self.styles.day)

    def value(self, row: int, column: int, value: Any, style: Format) -> None:
        """A number or a day; nothing where it is missing."""
        self._cells[row, column] = lambda: put(self.sheet, row, column, value, style, style)

    def formula(self, row: int, column: int, formula: str, style: Format, result: float) -> None:
        """A formula of ours, with the value that it has in the file as written."""
        self._cells[row, column] = lambda: self.sheet.write_formula(row, column, formula, style, result)

    def link(self, row: int, column: int, sheet: str, style: Format) -> None:
        """A way to another sheet of the workbook."""
        quoted = sheet.replace("'", "''")
        self._cells[row, column] = lambda: self.sheet.write_url(row, column, f"internal:'{quoted}'!A1", style, sheet)

    def height(self, row: int, lines: int) -> None:
        """Room for so many lines."""
        self._heights[row] = 15.0 * lines

    def heading(self, text: str, columns: int, style: Format | None = None) -> None:
        """A heading over so many columns; the next block follows it."""
        style = style or self.styles.heading
        self.text(self.row, 0, text, style)
        for column in range(1, columns):
            self._blank(self.row, column, style)
        self.row += 1

    def _blank(self, row: int, column: int, style: Format) -> None:
        self._cells[row, column] = lambda: self.sheet.write_blank(row, column, None, style)

    def paragraph(self, text: str, style: Format, width: float, column: int = 0) -> None:
        """A text over the width of a page: it flows over the empty cells beside its own, broken between words.

        No merged cells: they break sorting and the reading aloud of a sheet.
        """
        line = ""
        for word in text.split(" "):
            if line and len(line) + 1 + len(word) > width * FLOWING:
                self.text(self.row, column, line, style)
                self.row, line = self.row + 1, word
            else:
                line = f"{line} {word}" if line else word
        self.text(self.row, column, line, style)
        self.row += 1

    def header(self, texts: Sequence[str], style: Format, lines: int = 2) -> None:
        """Heads of the columns of a table."""
        for column, text in enumerate(texts):
            self.text(self.row, column, text, style)
        self.height(self.row, lines)
        self.row += 1

    def write(self) -> None:
        """Write everything, row by row."""
        done = -1
        for (row, _), write in sorted(self._cells.items(), key=lambda one: one[0]):
            if row != done and row in self._heights:
                self.sheet.set_row(row, self._heights[row])
            done = row
            write()

    def set_up(self, landscape: bool) -> None:
        """A4, one page wide, numbered pages."""
        if landscape:
            self.sheet.set_landscape()
        self.sheet.set_paper(9)
        self.sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.6)
        self.sheet.fit_to_pages(1, 0)
        self.sheet.set_footer("&L&8&A&R&8&P / &N")
        self.sheet.hide_gridlines(2)
