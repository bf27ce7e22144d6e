"""The one call of typst: templates of this folder and data as JSON in, a PDF out; no network, no font of others."""

from __future__ import annotations

import datetime
import json
import tempfile
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from planner.errors import InternalError

TEMPLATES = ("common.typ", "chart.typ", "sheet.typ", "brief.typ")


def typeset(template: str, data: Mapping[str, Any], date: str) -> bytes:
    """The bytes of a PDF, the same for the same arguments.

    template  a name of TEMPLATES; it reads `data.json` beside it, and can read nothing outside a folder of this call
    data      texts, numbers, lists and mappings; texts are set as they are, never read as markup or code
    date      YYYY-MM-DD, the time of making that the file states
    Raises InternalError where typst refuses.
    """
    import typst

    own = files("planner.outputs.sheets")
    with tempfile.TemporaryDirectory(prefix="planner-") as name, as_file(own.joinpath("fonts")) as fonts:
        folder = Path(name)
        for one in TEMPLATES:
            (folder / one).write_bytes(own.joinpath(one).read_bytes())
        text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        (folder / "data.json").write_text(text, encoding="utf-8", newline="\n")
        (folder / "packages").mkdir()
        try:
            made = typst.compile(
                str(folder / template),
                root=str(folder),
                font_paths=[str(fonts)],
                ignore_system_fonts=True,
                format="pdf",
                pdf_tags=False,
                package_path=str(folder / "packages"),
                package_cache_path=str(folder / "packages"),
                timestamp=_timestamp(date),
            )
        except typst.TypstError as error:
            raise InternalError(f"typst: {error.message} {error.diagnostic}") from error
    if not isinstance(made, bytes):
        raise InternalError("typst gave no single file")
    return made


def _timestamp(date: str) -> datetime.datetime:
    """Midnight of the day; the first of 1970 for a date that is none."""
    try:
        day = datetime.date.fromisoformat(date)
    except ValueError:
        day = datetime.date(1970, 1, 1)
    return datetime.datetime(day.year, day.month, day.day, tzinfo=datetime.UTC)
