"""Names that people read beside the columns, and text that SQLite and XML can hold."""

from __future__ import annotations

import re
from collections.abc import Iterable

from planner.glossary import Quantity, glossary, monthly

MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DECISION_LABELS = {
    "equip": "Equip",
    "test_first": "Test first",
    "hold": "Hold",
    "unsuitable": "Unsuitable",
    "not_assessed": "Not assessed",
}

# What no XML 1.0 document may hold (section 2.2): controls but tab and line ends, halves of surrogate pairs, two
# non-characters. SQLite ends a text at NUL and cannot store surrogates.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NO_CHARACTER = re.compile("[\ud800-\udfff\ufffe\uffff]")


def holdable(text: str) -> str:
    r"""Text in which a control character shows as its picture, and what is no character as U+FFFD.

    >>> holdable("Upper\x00 well \x1b\n<b>") == "Upper\u2400 well \u241b\n<b>"
    True
    """
    return _NO_CHARACTER.sub("\ufffd", _CONTROL.sub(lambda found: chr(0x2400 + ord(found[0])), text))


def glossary_fields(names: Iterable[str]) -> list[Quantity]:
    """The quantities of these columns, in their order."""
    known = glossary()
    return [known[name] for name in names]


def alias(field: Quantity, currency: str) -> str:
    """Label with month and unit.

    >>> alias(glossary()["volume_03"], "USD"), alias(glossary()["cost_per_m3"], "USD")
    ('Volume pumpable, Mar (m3/d)', 'Cost of water, whole scheme (USD/m3)')
    """
    stem, _, month = field.name.rpartition("_")
    label = field.label
    if month.isdigit() and field.name in monthly(stem):
        label += f", {MONTH_NAMES[int(month) - 1]}"
    unit = "" if field.unit == "-" else f" ({field.unit.replace('currency', currency)})"
    return holdable(label + unit)
