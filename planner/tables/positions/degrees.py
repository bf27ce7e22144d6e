"""The grammar of angles in position cells: decimal degrees, degrees and minutes, degrees, minutes and seconds.

Strict: what it does not cover is no angle. Where a text can mean two things it says so and leaves the choice
to whoever knows the area. Nothing here knows a boundary or a reference system.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from planner.tables.cells.read import PLAIN_NUMBER

# A degree of latitude on a sphere of the Earth's mean radius, 6 371 km: for differences that are told, not used.
METRES_A_DEGREE = 111_195.0

# Signs that keyboards and word processors put in place of ° ' ", by what they stand for.
_LOOK_ALIKES = str.maketrans(
    dict.fromkeys("º˚⁰ᵒ∘◦", "°")
    | dict.fromkeys("′’‘ʹ´`ʼ‵＇‛", "'")
    | dict.fromkeys("″”“ʺ¨˝‟〃＂", '"')
    | {"−": "-", "–": "-"}
)
# Words of the five languages of the plan. A single O is no entry: west in French, Portuguese and Spanish (Ouest,
# Oeste), east in German (Ost).
_WORDS = {
    "N": ("n", "north", "nord", "norte", "kaskazini"),
    "S": ("s", "south", "sud", "sul", "sur", "kusini"),
    "E": ("e", "east", "est", "este", "leste", "l", "mashariki"),
    "W": ("w", "west", "ouest", "oeste", "magharibi"),
    "O": ("o",),
}
_LETTER = {word: letter for letter, words in _WORDS.items() for word in words}
_H = "|".join(sorted(_LETTER, key=len, reverse=True))
_FRACTION = r"(?:[.,][0-9]{0,15})?"
_DEG = r"(?:\s*°\s*|\s*:\s*|\s+)"
_MIN = r"(?:\s*'\s*|\s*:\s*|\s+)"
_ANGLE = re.compile(
    rf"(?:(?P<before>{_H})\.?\s*)?(?P<sign>[+-])?\s*"
    rf"(?:(?P<whole>[0-9]{{1,3}}{_FRACTION})\s*(?P<mark>°|deg(?:rees)?)?"
    rf"|(?P<d>[0-9]{{1,3}}){_DEG}(?P<m>[0-9]{{1,2}}{_FRACTION})\s*'?"
    rf"|(?P<d3>[0-9]{{1,3}}){_DEG}(?P<m3>[0-9]{{1,2}}){_MIN}(?P<s3>[0-9]{{1,2}}{_FRACTION})\s*\"?)"
    rf"(?:\s*(?P<after>{_H})\.?)?",
    re.IGNORECASE,
)
# 15d41m18s: a last s is a second's mark here, which leaves the hemisphere unsaid.
_SPELT = re.compile(
    r"(?P<d>[^dm]*[0-9])\s*(?:d|deg|degrees)\.?\s*(?P<m>[0-9][0-9.,]*)\s*(?:m|min|minutes)\.?\s*"
    r"(?:(?P<s>[0-9][0-9.,]*)\s*(?:s|sec|seconds)\.?)?\s*(?P<after>[a-z]*)",
    re.IGNORECASE,
)
_SPELT_LETTERS = re.compile("[dmo]", re.IGNORECASE)
_O_FOR_DEGREE = re.compile(r"(?<=[0-9])\s?o\s?(?=[0-9])", re.IGNORECASE)
_ABOVE_POINT = re.compile(r"^[^.,]*[.,]?")
_SAYS_ANGLE = re.compile("[°':.,]")
_LONGEST = 60  # characters; no angle is longer


@dataclass(frozen=True)
class Angle:
    """One angle as it was written.

    degrees  with the sign that is written or that the letter gives; positive where it has neither
    letter   N, S, E or W, "O" where it may be west or east, "" where there is none
    step     place value of the last figure, degrees
    parts    1 decimal degrees, 2 with minutes, 3 with seconds
    marked   it cannot be metres: it has a mark, a letter or several parts
    """

    degrees: float
    letter: str
    step: float
    parts: int
    marked: bool


def read_angle(text: str) -> Angle | None:
    """The angle that a text without outer spaces is, None if it is none.

    >>> [round(read_angle(text).degrees, 5) for text in ("15°41'18\\" S", "S15 41.30", "-15,688")]
    [-15.68833, -15.68833, -15.688]
    >>> read_angle("15 61 18") is None
    True
    """
    if not 0 < len(text) <= _LONGEST:
        return None
    found = _ANGLE.fullmatch(_normal(text))
    if found is None or (found["before"] and found["after"]):
        return None
    written = found["before"] or found["after"]
    letter = _LETTER[written.lower()] if written else ""
    parts = [part for part in found.group("whole", "d", "m", "d3", "m3", "s3") if part is not None]
    numbers = [float(part.replace(",", ".")) for part in parts]
    if any(number >= 60 for number in numbers[1:]):
        return None
    # "15 41" alone could be a number with a space in it; with a mark, a letter or a fraction it is an angle.
    if len(parts) == 2 and not (letter or _SAYS_ANGLE.search(found.string)):
        return None
    size = sum(number / 60**place for place, number in enumerate(numbers))
    negative = found["sign"] == "-"
    if negative and letter in ("N", "E"):
        return None  # the sign contradicts the letter
    decimals = len(_ABOVE_POINT.sub("", parts[-1]))
    step = 10.0**-decimals / 60 ** (len(parts) - 1)
    marked = bool(letter or found["mark"] or len(parts) > 1)
    return Angle(-size if negative or letter in ("S", "W") else size, letter, step, len(parts), marked)


def _normal(text: str) -> str:
    """Look-alikes as ° ' ", one space at most, spelt units as marks."""
    marked = text
    if not text.isascii():
        marked = unicodedata.normalize("NFKC", text.translate(_LOOK_ALIKES)).translate(_LOOK_ALIKES)
    marked = " ".join(marked.replace("`", "'").replace("''", '"').split())
    if marked.isdigit() or not _SPELT_LETTERS.search(marked):
        return marked
    marked = _O_FOR_DEGREE.sub("°", marked)
    spelt = _SPELT.fullmatch(marked)
    if spelt:
        seconds = f'{spelt["s"]}"' if spelt["s"] else ""
        return f"{spelt['d']}°{spelt['m']}'{seconds}{spelt['after']}"
    return marked


def read_metres(text: str) -> float:
    """A distance written with grouped thousands, a decimal comma or the unit m; NaN if it is none.

    One comma before three figures can be either, and is none.

    >>> read_metres("8 264 331"), read_metres("743,210.5 m"), read_metres("743210,5"), read_metres("743,210")
    (8264331.0, 743210.5, 743210.5, nan)
    """
    if not 0 < len(text) <= _LONGEST:
        return math.nan
    plain = unicodedata.normalize("NFKC", text).replace("−", "-")
    plain = re.sub(r"\s*m\.?\s*[NE]?$", "", plain, flags=re.IGNORECASE).strip()
    if re.fullmatch(PLAIN_NUMBER, plain):
        return float(plain)
    for thousands, decimal in ((" ", r"[.,]"), ("'", r"[.,]"), (",", r"\."), (r"\.", ",")):
        many = "+" if thousands in " '" else "{2,}"
        groups = rf"(-?[0-9]{{1,3}}(?:{thousands}[0-9]{{3}}){many})(?:{decimal}([0-9]+))?"
        found = re.fullmatch(groups, plain)
        if found is None and many == "{2,}":
            found = re.fullmatch(rf"(-?[0-9]{{1,3}}{thousands}[0-9]{{3}}){decimal}([0-9]+)", plain)
        if found:
            return float(re.sub("[^0-9-]", "", found[1]) + "." + (found[2] or "0"))
    comma = re.fullmatch(r"(-?[0-9]+),([0-9]+)", plain)
    if comma and not (len(comma[2]) == 3 and len(comma[1].lstrip("-")) <= 3):
        return float(f"{comma[1]}.{comma[2]}")
    return math.nan


# How a column of figures may hold minutes without marks, as the plan calls it: factor that makes a number
# degrees × 10 000 + minutes × 100 + seconds, and whether the last pair has seconds.
PACKED = {"dd.mmss": (10_000, True), "ddmmss": (1, True), "ddmm.mmm": (1, False), "dd.mmmm": (100, False)}


def unpack(number: float, form: str) -> float:
    """Degrees of a number of a packed form; NaN where its minutes or seconds are 60 or more.

    >>> round(unpack(15.4118, "dd.mmss"), 6), round(unpack(-1541.30, "ddmm.mmm"), 6)
    (15.688333, -15.688333)
    """
    if not abs(number) < 1e9:
        return math.nan
    factor, has_seconds = PACKED[form]
    size = round(abs(number) * factor, 7)
    whole, last = divmod(size, 100)
    if not has_seconds:
        degrees, minutes, seconds = whole, last, 0.0
    else:
        degrees, minutes = divmod(whole, 100)
        seconds = last
    if minutes >= 60 or seconds >= 60:
        return math.nan
    return math.copysign(degrees + minutes / 60 + seconds / 3600, number)


def decimals_of(text: str) -> int:
    """Figures behind the point of a plain number; 9 where it has an exponent.

    >>> decimals_of("-15.6880"), decimals_of("33"), decimals_of("1e-5")
    (4, 0, 9)
    """
    if "e" in text or "E" in text:
        return 9
    point = text.find(".")
    return len(text) - point - 1 if point >= 0 else 0
