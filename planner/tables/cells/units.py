"""Units that an inventory may be written in, and what a level is measured from.

A unit is text that somebody wrote: it is compared without case, accents, spaces and dots. Nothing here looks at
the size of a number.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache, lru_cache
from typing import Literal

from planner.glossary import glossary

Datum = Literal["ground", "casing_top", "sea_level"]

# Factors to the glossary unit. Exact by definition: US gallon 3.785411784 L (NIST Handbook 44, appendix C),
# imperial gallon 4.54609 L (UK Weights and Measures Act 1985, schedule 1), foot 0.3048 m, inch 25.4 mm.
_US_GALLON_M3, _IMPERIAL_GALLON_M3 = 3.785411784e-3, 4.54609e-3
UNITS: dict[str, dict[str, float]] = {
    "m3/h": {
        "m3/h": 1.0,
        "m3/d": 1 / 24,
        "L/s": 3.6,
        "L/min": 0.06,
        "L/h": 0.001,
        "USgpm": _US_GALLON_M3 * 60,
        "igpm": _IMPERIAL_GALLON_M3 * 60,
        "USgph": _US_GALLON_M3,
        "igph": _IMPERIAL_GALLON_M3,
    },
    "m3/h/m": {"m3/h/m": 1.0, "m3/d/m": 1 / 24, "L/s/m": 3.6, "L/min/m": 0.06},
    "m3/d": {"m3/d": 1.0, "L/d": 0.001},
    "m": {"m": 1.0, "ft": 0.3048, "cm": 0.01, "mm": 0.001, "km": 1000.0},
    "mm": {"mm": 1.0, "in": 25.4, "cm": 10.0, "m": 1000.0},
    "mg/L": {"mg/L": 1.0, "g/m3": 1.0, "ug/L": 0.001},
    "Wp": {"Wp": 1.0, "W": 1.0, "kWp": 1000.0},
}

# Other spellings in English, French, Portuguese, Spanish and Swahili, after `_fold_unit`. A gallon without its
# country is none of them: see `is_ambiguous_unit`.
_SPELLINGS = {
    "l/s": "lps l/sec l/seg l/sg lt/s ltr/s ltrs/s lts/s lit/s litre/s litres/s liter/s liters/s litro/s litros/s"
    " litrespersecond literspersecond litresparseconde litros/seg litros/segundo litre/seconde litres/seconde"
    " litre/second litres/second ls-1 lita/s lita/sekunde",
    "l/min": "lpm l/mn lt/min lts/min litre/min litres/min liter/min liters/min litro/min litros/min litros/minuto"
    " litre/minute litres/minute litresperminute litersperminute lita/dakika",
    "l/h": "lph l/hr l/hour lt/h lts/h litre/h litres/h liters/h litro/h litros/h litros/hora litre/heure litres/heure"
    " litres/hour litresperhour litersperhour lita/saa",
    "m3/h": "m3/hr m3/hour m3/hora m3/heure m3/saa m3h-1 cum/h cum/hr cubicmetresperhour cubicmetersperhour",
    "m3/d": "m3/day m3/dia m3/jour m3/j m3/siku m3d-1 cum/day cubicmetresperday cubicmetersperday",
    "l/d": "lpd l/day l/dia l/jour l/j litres/day liters/day litros/dia litres/jour",
    "usgpm": "gpm(us) gpmus us-gpm usgal/min usgallons/min usgallonsperminute",
    "igpm": "impgpm imperialgpm ukgpm gpm(imp) gpm(uk) gpmimp impgal/min imperialgallons/min imperialgallonsperminute",
    "usgph": "gph(us) gphus us-gph usgal/h usgallons/h usgallons/hour usgallonsperhour",
    "igph": "impgph imperialgph ukgph gph(imp) gph(uk) gphimp impgal/h imperialgallons/hour imperialgallonsperhour",
    "m": "metre metres meter meters mtr mtrs mts metro metros mita",
    "ft": "feet foot ' pied pieds pe pes pie pies futi",
    "cm": "centimetre centimetres centimeter centimeters centimetro centimetros",
    "mm": "millimetre millimetres millimeter millimeters milimetro milimetros",
    "in": "inch inches \" '' pouce pouces polegada polegadas pulgada pulgadas inchi",
    "h": "hr hrs hour hours heure heures hora horas saa",
    "deg": "°",
    "degc": "°c",
    "people": "persons personnes pessoas personas watu inhabitants habitants habitantes",
    "ha": "hectare hectares hectarea hectareas hekta",
}
SPELLINGS = {other: unit for unit, others in _SPELLINGS.items() for other in others.split()}
# US and imperial gallons differ by a fifth; hour and minute by sixty.
_AMBIGUOUS = frozenset({"gpm", "gph", "gal/min", "gal/h", "gal/hr", "gallons/min", "gallons/h", "gallons/hour"}) | {
    "gallonsperminute",
    "gallonsperhour",
    "galones/min",
    "galoes/min",
}

# What a level is measured from, in words; compared without spaces and marks, behind a unit of length.
_DATUM_WORDS: dict[Datum, str] = {
    "ground": "bgl|bgs|below ground|below ground level|below ground surface|below surface|sous le sol|sous sol"
    "|sous terrain naturel|par rapport au sol|abaixo do solo|abaixo do terreno|bajo el suelo|bajo el terreno"
    "|bajo nivel del suelo|chini ya ardhi",
    "casing_top": "btoc|btc|below casing top|below top of casing|below the top of casing|below casing"
    "|sous le haut du tubage|sous tete de tubage|sous la tete de tubage|abaixo do topo do revestimento"
    "|abaixo da boca do revestimento|bajo el tope del revestimiento|bajo la boca del revestimiento",
    "sea_level": "asl|amsl|above sea level|above mean sea level|snm|s n m|au dessus du niveau de la mer"
    "|acima do nivel do mar|sobre el nivel del mar|juu ya usawa wa bahari",
}
# Columns whose values may be measured from something else than the ground, and those that only name the ground.
LEVELS = ("static_level_m", "pumping_level_m")
_DEPTHS = ("depth_m", "screen_top_m", "main_strike_m")


def allowed_units(name: str) -> dict[str, float]:
    """Units that a quantity may be given in, with the factor to its glossary unit; empty for text.

    >>> allowed_units("casing_mm")
    {'mm': 1.0, 'in': 25.4, 'cm': 10.0, 'm': 1000.0}
    """
    quantity = glossary()[name]
    return {} if quantity.dtype == "text" else UNITS.get(quantity.unit, {quantity.unit: 1.0})


def unit_factor(name: str, written: str) -> float | None:
    """Factor from the written unit to the glossary unit; None if this quantity is not given in it.

    A level may name what it is measured from: `level_datum` says which.

    >>> unit_factor("tested_yield_m3_h", "l/s"), unit_factor("depth_m", "L/s")
    (3.6, None)
    >>> unit_factor("static_level_m", "ft below casing top"), unit_factor("depth_m", "m above sea level")
    (0.3048, None)
    """
    unit, datum = _parted(written)
    if datum not in _datums(name):
        return None
    return _folded_units(name).get(_per_metre(unit) if glossary()[name].unit == "m3/h/m" else unit)


def level_datum(written: str) -> Datum | None:
    """What a unit of a level says it is measured from; None where it does not say.

    >>> level_datum("m bgl"), level_datum("ft below casing top"), level_datum("m a.s.l."), level_datum("m")
    ('ground', 'casing_top', 'sea_level', None)
    """
    return _parted(written)[1]


def is_ambiguous_unit(written: str) -> bool:
    """A gallon that does not say whether it is the US or the imperial one.

    >>> is_ambiguous_unit("gpm"), is_ambiguous_unit("US gpm")
    (True, False)
    """
    return _fold_unit(written) in _AMBIGUOUS


def _per_metre(unit: str) -> str:
    """A unit of specific capacity as flow/m: "litres/s per metre" and "(l/s)/m" are l/s/m."""
    found = re.fullmatch(r"\(?(.+?)\)?(?:/|per|por|par|pour|kwa)(m|metre|meter|metro|mita)", unit)
    return f"{_fold_unit(found[1])}/m" if found else unit


def _datums(name: str) -> tuple[Datum | None, ...]:
    if name in LEVELS:
        return None, "ground", "casing_top", "sea_level"
    return (None, "ground") if name in _DEPTHS else (None,)


@cache
def _folded_units(name: str) -> dict[str, float]:
    return {_fold_unit(unit): factor for unit, factor in allowed_units(name).items()}


def _parted(written: str) -> tuple[str, Datum | None]:
    """The folded unit and the datum behind it."""
    unit = _fold_unit(written)
    return _levels_in_words().get(re.sub(r"[\W_]", "", unit), (unit, None))


@cache
def _levels_in_words() -> dict[str, tuple[str, Datum | None]]:
    lengths = {unit: unit for unit in ("m", "ft", "cm", "mm")}
    lengths |= {other: unit for other, unit in SPELLINGS.items() if unit in lengths and other.isalpha()}
    return {
        other + word.replace(" ", ""): (unit, datum)
        for other, unit in lengths.items()
        for datum, words in _DATUM_WORDS.items()
        for word in words.split("|")
    }


@lru_cache(maxsize=4096)
def _fold_unit(written: str) -> str:
    folded = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", written).casefold())
    folded = "".join(one for one in folded if not unicodedata.combining(one))
    folded = folded.replace("μ", "u").replace("^", "").replace("′", "'").replace("’", "'").replace("”", '"')
    folded = re.sub(r"\s+", "", folded).rstrip(".")
    return SPELLINGS.get(folded, folded)
