"""Sentences and labels, drawn from texts.csv: data in, plain text out, no markup."""

from __future__ import annotations

import csv
import math
import re
from functools import cache
from importlib.resources import files

FAMILY_WORDS = {"helical_rotor": "Helical rotor", "centrifugal": "Centrifugal", "surface": "Surface pump"}


@cache
def texts() -> dict[str, tuple[str, str]]:
    """All texts: key → (kind, English)."""
    text = files("planner").joinpath("texts.csv").read_text(encoding="utf-8")
    return {row["key"]: (row["kind"], row["en"]) for row in csv.DictReader(text.splitlines())}


def of_kind(kind: str) -> list[str]:
    """All texts of a kind, in the order of the file."""
    return [text for found, text in texts().values() if found == kind]


def number(value: float) -> str:
    """A number for a sentence: three significant digits, whole above 100, nothing where it is missing."""
    if math.isnan(value):
        return "?"
    if value == 0 or abs(value) >= 100:
        return f"{value:.0f}"
    return f"{float(f'{value:.3g}'):g}"


def sentence(rule: str, subject: str, value: float, limit: float) -> str:
    """The sentence of a rule with its value and limit filled in."""
    template = texts()[rule][1]
    if "{value} %" in template:  # a share is never rounded up to its limit
        value = math.floor(value + 1e-9) if not math.isnan(value) else value
    parts = {
        "{subject}": FAMILY_WORDS.get(subject, subject),
        "{value}": number(value),
        "{limit}": number(limit),
    }
    return re.sub("|".join(parts), lambda found: parts[found[0]], template)
