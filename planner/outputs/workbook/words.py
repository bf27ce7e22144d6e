"""What stands in the workbook in the report's language: labels, units, words for codes, names of sheets."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

from planner.glossary import glossary
from planner.texts import Spoken, Value, month_names, say, texts

# Reading order; the key of each sheet in the table of texts is workbook_sheet_<name>.
SHEETS = (
    "read_me", "summary", "funded", "reserve", "test_first", "hold", "unsuitable", "not_assessed", "all_sites",
    "bill", "bill_totals", "prices", "lots", "scenarios", "moves", "assumptions", "findings", "supply_curve",
    "glossary",
)  # fmt: skip
FORBIDDEN = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
NAME_LENGTH = 31
MONTH = re.compile(r"(.+)_(0[1-9]|1[0-2])")
POWERS = str.maketrans("23456", "²³⁴⁵⁶")
SIGNS = {"degC": "°C", "deg": "°", "uS": "µS"}


@dataclass(frozen=True)
class Words:
    """The words of one workbook."""

    language: str
    currency: str
    price_year: int

    def say(self, key: str, **values: Value) -> str:
        """The text workbook_<key>, filled."""
        return say(f"workbook_{key}", self.language, **values)

    def has(self, key: str) -> bool:
        """Whether there is a text workbook_<key>."""
        return f"workbook_{key}" in texts(self.language)

    @cached_property
    def sheets(self) -> dict[str, str]:
        """Names of the sheets, each one only once and as every spreadsheet takes them."""
        found: dict[str, str] = {}
        for key in SHEETS:
            name = base = sheet_name(self.say(f"sheet_{key}"))
            number = 2
            while name.casefold() in {one.casefold() for one in found.values()}:
                name = f"{base[: NAME_LENGTH - 3]} {number}"
                number += 1
            found[key] = name
        return found

    def spoken(self, one: str | Spoken) -> str:
        """A line of a run, which may not know its language yet."""
        return one if isinstance(one, str) else one.text(self.language)

    def label(self, name: str) -> str:
        """What a column is called: of the glossary, or our own; its machine name where there is none."""
        return self._described("label", name)

    def meaning(self, name: str) -> str:
        """What a column means."""
        return self._described("meaning", name)

    def _described(self, what: str, name: str) -> str:
        for end in ("_old", "_new"):
            if name.endswith(end):
                return self.say(f"{what}{end}", text=self._described(what, name.removesuffix(end)))
        if self.has(f"{what}_{name}"):
            return self.say(f"{what}_{name}")
        known = texts(self.language)
        month = MONTH.fullmatch(name)
        if name in glossary() and month is not None and f"{what}_{month[1]}_{{month}}" in known:
            text = known[f"{what}_{month[1]}_{{month}}"][1]
            return self.say("of_month", text=text, month=month_names(self.language)[int(month[2]) - 1])
        return known[f"{what}_{name}"][1] if f"{what}_{name}" in known else name if what == "label" else ""

    def unit(self, unit: str) -> str:
        """A unit as readers write it, money with the year of its prices."""
        if unit in {"-", ""}:
            return "–"
        if unit == "%":
            return "%"
        return "/".join(self._unit_part(part) for part in unit.split("/"))

    def _unit_part(self, part: str) -> str:
        if part in {"currency", "cents"}:
            return f"{self.currency} {self.price_year}"
        if self.has(f"unit_{part}"):
            return self.say(f"unit_{part}")
        return SIGNS.get(part) or re.sub(r"(?<=[a-z])[2-6]$", lambda found: found[0].translate(POWERS), part)

    def code(self, column: str, value: str) -> str:
        """A word for a code of a column; the code itself where there is none.

        >>> Words("en", "USD", 2026).code("decision", "test_first")
        'Test first'
        """
        column = column.removesuffix("_old").removesuffix("_new")
        key = f"code_{column}_{slug(value)}"
        if self.has(key):
            return self.say(key)
        return texts(self.language).get(value, ("", value))[1] if column == "pump_family" else value


def slug(value: str) -> str:
    """A code as a part of a key."""
    return re.sub(r"[^a-z0-9]+", "_", value.lower()).strip("_")


def sheet_name(text: str) -> str:
    """The text as a name of a sheet: at most 31 characters, none of []:*?/\\, no apostrophe at an end.

    >>> sheet_name("Prix [USD/m3] : l'essentiel de la liste")
    "Prix  USD m3    l'essentiel de"
    """
    return FORBIDDEN.sub(" ", text)[:NAME_LENGTH].strip("' ") or "-"
