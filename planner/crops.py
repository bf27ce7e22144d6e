"""Crops: coefficients and lengths of their stages, from the published table data/crops.csv.

Allen, Pereira, Raes & Smith 1998, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, tables 11 (lengths of
stages, of one planting and region each) and 12 (coefficients Kc for the Penman–Monteith reference). Where table 12
gives a range, the table here has its middle or its wetter end. `tag` is `copy` where the numbers were seen in a typed
copy of the tables in an open library, `from memory` where not. Flooded rice also loses water to the ground.
"""

from __future__ import annotations

import csv
import difflib
import re
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from planner.errors import InternalError

__all__ = ["Crop", "crop_named", "crops", "known_crop"]

YEAR_DAYS = 365
KC_LEAST, KC_MOST = 0.2, 1.3


@dataclass(frozen=True)
class Crop:
    """One crop.

    kc_ini, kc_mid, kc_end  coefficients on the reference evapotranspiration, 0.2 to 1.3
    days                    lengths of the initial, development, middle and late stage; at most a year together
    percolation_mm_day      water that flooded fields lose to the ground
    """

    name: str
    kc_ini: float
    kc_mid: float
    kc_end: float
    days: tuple[int, int, int, int]
    percolation_mm_day: float

    @property
    def length_days(self) -> int:
        """Days from planting to harvest."""
        return sum(self.days)


def crop_named(words: str) -> Crop | None:
    """The crop that the words name, in any case and with or without accents; None where the table has none.

    >>> crop_named("  Tomatoes ").name, crop_named("Maïs").name, crop_named("qat")
    ('tomato', 'maize', None)
    """
    name = _named().get(_fold(words))
    return None if name is None else crops()[name]


def known_crop(words: str) -> str:
    """The table's name of a crop; raises ValueError with the nearest names where it has none."""
    crop = crop_named(words)
    if crop is None:
        near = difflib.get_close_matches(_fold(words), _named(), n=3, cutoff=0.6)
        raise ValueError(f"one of: {', '.join(dict.fromkeys(_named()[each] for each in near) or crops())}")
    return crop.name


@cache
def crops() -> dict[str, Crop]:
    """Every crop by its name, in the order of the table."""
    stages = ("days_ini", "days_dev", "days_mid", "days_late")
    found = {}
    for row in _rows():
        ini, mid, end = (float(row[key]) for key in ("kc_ini", "kc_mid", "kc_end"))
        one, two, three, four = (int(row[key]) for key in stages)
        crop = Crop(row["crop"], ini, mid, end, (one, two, three, four), float(row["percolation_mm_day"]))
        if crop.length_days > YEAR_DAYS or min(ini, mid, end) < KC_LEAST or max(ini, mid, end) > KC_MOST:
            raise InternalError(f"data/crops.csv: {crop.name} has numbers that cannot be")
        found[crop.name] = crop
    return found


@cache
def _named() -> dict[str, str]:
    """Folded word → name."""
    named: dict[str, str] = {}
    for row in _rows():
        for word in (row["crop"], *row["words"].split(";")):
            if named.setdefault(_fold(word), row["crop"]) != row["crop"]:
                raise InternalError(f"data/crops.csv: {word!r} stands for two crops")
    return named


def _rows() -> list[dict[str, str]]:
    text = files("planner").joinpath("data", "crops.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _fold(text: str) -> str:
    """Text for comparison: no case, accents, punctuation or double spaces."""
    plain = "".join(one for one in unicodedata.normalize("NFKD", text) if not unicodedata.combining(one))
    return re.sub(r"[\W_]+", " ", plain.casefold()).strip()
