"""One PDF of several."""

from __future__ import annotations

import io
from collections.abc import Sequence

from planner.outputs.sheets.safe_text import BREAK


def joined(parts: Sequence[bytes], title: str, language: str, date: str) -> bytes:
    """The pages of all parts in their order; the same bytes for the same parts.

    title     what a reader shows above the file
    language  of the words, for those who have them read aloud
    date      YYYY-MM-DD, the time of making that the file states
    """
    from pypdf import PdfWriter
    from pypdf.generic import NameObject, TextStringObject

    writer = PdfWriter()
    for part in parts:
        writer.append(io.BytesIO(part), import_outline=False)
    day = "".join(letter for letter in date if letter.isdigit()) or "19700101"
    writer.add_metadata(
        {"/Title": title.replace(BREAK, ""), "/Producer": "typst, pypdf", "/CreationDate": f"D:{day}000000Z"}
    )
    writer.root_object[NameObject("/Lang")] = TextStringObject(language)
    found = io.BytesIO()
    writer.write(found)
    return found.getvalue()
