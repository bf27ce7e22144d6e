"""Units and height references that stand in the header of a column: `Débit (l/s)`, `SWL m bgl`, `Q_m3h`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from planner.glossary import glossary
from planner.tables.cells.read import fold, unit_factor

Datum = Literal["", "ground", "casing", "sea"]
LEVELS = ("static_level_m", "pumping_level_m")
# How the plan writes a level's unit with its reference.
DATUM_TEXT: dict[Datum, str] = {"ground": "bgl", "casing": "below casing top", "sea": "above sea level"}
# Quantities whose header should say its unit: two or more are in common use, and both give plausible numbers.
UNIT_ASKED = ("tested_yield_m3_h", "casing_mm", "test_hours", "demand_m3_day", "existing_array_wp", "irrigated_ha")

_GALLON = "the header does not say whether US gallons (3.785 L) or imperial ones (4.546 L)"
# unit of the plan; other spellings as `fold` leaves them; what is doubtful about them. Common practice.
_UNITS: tuple[tuple[str, str, str], ...] = (
    ("m3/h", "m3 h, m3h, m3 hr, m3hr, m3 hour, m3 per hour, m3 h 1, m 3 h, m3 heure, m3 hora, m3ph, cum h, cmh", ""),
    ("m3/h", "cubic metres per hour, cubic meters per hour, cu m hr, metros cubicos hora, m3 por hora, m3 saa", ""),
    (
        "m3/d",
        "m3 d, m3d, m3 day, m3day, m3 per day, m3 j, m3j, m3 jour, m3 dia, m3 d 1, m 3 d, m3 par jour, m3 siku",
        "",
    ),
    ("m3/d", "cubic metres per day, cubic meters per day, m3 por dia, cum d", ""),
    ("L/s", "l s, ls, lps, l sec, l seg, lts seg, lts s, lt s, lt seg, ltr s, lit s, l s 1, litres per second", ""),
    ("L/s", "liters per second, litres s, liters s, litres sec, litre s, l per s, l per sec, litros por segundo", ""),
    ("L/s", "litres seconde, litros segundo, litros seg, litres par seconde, lita kwa sekunde, lita sekunde", ""),
    ("L/min", "l min, lmin, lpm, l mn, lts min, lt min, ltr min, l min 1, litres per minute, liters per minute", ""),
    ("L/min", "litres min, liters min, litros por minuto, litros min, litres par minute, lita kwa dakika", ""),
    ("L/min", "l m", "`l/m` is taken as litres a minute"),
    ("L/h", "l h, lh, lph, l hr, l hour, lts h, lts hr, lt h, ltr hr, l h 1, litres per hour, liters per hour", ""),
    ("L/h", "litres h, litres hr, liters hr, litros por hora, litros hora, litres par heure, lita kwa saa", ""),
    ("L/d", "l d, lpd, l day, l j, l jour, l dia, litres per day, liters per day, litres day, lita kwa siku", ""),
    ("USgpm", "us gpm, usgpm, us gal min, us gallons per minute, us gal per min, gpm us", ""),
    ("igpm", "imp gpm, igpm, imperial gpm, imp gal min, imperial gallons per minute, gpm imp", ""),
    ("USgph", "us gph, usgph, us gal hr, us gallons per hour, us gal per hour, gph us", ""),
    ("igph", "imp gph, igph, imperial gph, imp gal hr, imperial gallons per hour, gph imp", ""),
    ("USgpm", "gpm, gal min, gals min, gallons per minute, gal per min, gallons min, galones por minuto", _GALLON),
    ("igph", "gph, gal h, gal hr, gals hr, gallons per hour, gal per hour, gallons hr, gallons hour", _GALLON),
    ("m", "m, metre, metres, meter, meters, mtr, mtrs, mts, mt, metros, metro, mita, m s, metre s, mètres", ""),
    ("ft", "ft, feet, foot, pieds, pies, futi, pes", ""),
    ("cm", "cm, centimetres, centimeters, sentimita", ""),
    ("mm", "mm, millimetres, millimeters, milimetros, milimita", ""),
    ("in", "inch, inches, pouce, pouces, pulgadas, pulgada, pulg, polegadas, polegada, pol, inchi", ""),
    ("km", "km, kms, kilometres, kilometers, kilometros, quilometros, kilomita", ""),
    ("ha", "ha, hectare, hectares, hectareas, hectarea, hekta", ""),
    ("acre", "acre, acres, ac, ekari", ""),
    ("m2", "m2, sqm, sq m, square metres", ""),
    ("h", "h, hr, hrs, hour, hours, heure, heures, hora, horas, saa, heures h", ""),
    ("min", "min, mins, minute, minutes, minutos, mn, dakika", ""),
    ("d", "day, days, jour, jours, dia, dias, siku", ""),
    ("mg/L", "mg l, mgl, mg l 1, mg litre, mg ltr, mg lt, mg per l, milligrams per litre, miligramos por litro", ""),
    ("mg/L", "ppm", "`ppm` is taken as mg/L"),
    ("ug/L", "ug l, μg l, ugl, mcg l, ug l 1, microgrammes l, micrograms per litre", ""),
    ("ug/L", "ppb", "`ppb` is taken as ug/L"),
    ("g/m3", "g m3", ""),
    ("uS/cm", "us cm, μs cm, uscm, us cm 1, us, μs, umho cm, umhos cm, μmhos cm, micros cm, microsiemens cm", ""),
    ("uS/cm", "us cm 25 c, μs cm 25 c, us cm at 25 c, microsiemens per cm, microsiemens", ""),
    ("mS/cm", "mscm, millisiemens cm", ""),
    ("mS/m", "mS m", ""),
    ("dS/m", "ds m", ""),
    ("Wp", "wp, w, watt, watts, wc, watt peak, watts peak, watts crete, wati", ""),
    ("kWp", "kwp, kw, kwc, kilowatt, kilowatts, kilowati", ""),
    (
        "degC",
        "deg c, degc, degrees c, degrees celsius, celsius, centigrade, degres celsius, grados c, grados celsius",
        "",
    ),
    (
        "deg",
        "deg, degree, degrees, degres, graus, grados, digrii, dd, decimal degrees, deg decimal, degres decimaux",
        "",
    ),
    ("deg", "graus decimais, grados decimales, decimal deg, dms, ddm, deg min sec, decimal, wgs84 degrees", ""),
    ("m2/d", "m2 d, m2 day, m2 j, m2 jour, m2 dia, m2 per day, m2 d 1, m2d", ""),
    ("m2/s", "m2 s, m2s", ""),
    ("m2/h", "m2 h, m2h", ""),
    ("m3/h/m", "m3 h m, m3 hr m, m3h m, m3 h 1 m 1, m2 h of drawdown", ""),
    ("m3/d/m", "m3 d m, m3 day m, m3 j m, m3 dia m", ""),
    ("L/s/m", "l s m, lps m, l s per m, l sec m, l s 1 m 1, lts seg m", ""),
    ("L/min/m", "l min m, lpm m", ""),
    ("people", "persons, people, inhabitants, personnes, pessoas, personas, watu, heads of people", ""),
    ("TLU", "tlu, ubt", ""),
)
# Read as units between brackets only: as trailing words they are as often words of the name.
_BRACKETED = {"in": "in", "c": "degC", "d": "d", "j": "d", "g": "g", "jrs": "d", "ms cm": "mS/cm", "po": "in"}
_BRACKETED |= {"m s m": "mS/m", "h h": "h"}
_NOT_TRAILING = {"people", "deg", "TLU", "d", "m s"} | {
    "us",
    "μs",
    "w",
    "mt",
    "saa",
    "dia",
    "dias",
    "siku",
    "min",
    "mn",
}

_DATUMS: dict[Datum, str] = {
    "ground": "bgl, b g l, below ground level, below ground, bgs, below ground surface, bls, below land surface, "
    "below surface, bg, sol, sous sol, sous le sol, par rapport au sol, du sol, tn, sous tn, par rapport au tn, "
    "bajo el suelo, bajo el terreno, bajo nivel del terreno, bajo superficie, bnt, abaixo do solo, abaixo do terreno, "
    "chini ya ardhi, kutoka ardhini",
    "casing": "bmp, below measuring point, btoc, b toc, toc, below casing, below casing top, below top of casing, bct, "
    "below toc, repere, par rapport au repere, tubage, par rapport au tubage, sous repere, bajo el brocal, "
    "abaixo da boca, desde el brocal, margelle, par rapport a la margelle, chini ya kesingi",
    "sea": "asl, amsl, a s l, a m s l, above sea level, above mean sea level, msl, snm, s n m, nm, "
    "sobre el nivel del mar, acima do nivel do mar, au dessus du niveau de la mer, ngm, juu ya usawa wa bahari",
}
_GLUED = {"mbgl": "ground", "mbgs": "ground", "mbls": "ground", "mbg": "ground", "ftbgl": "ground", "ftbgs": "ground"}
_GLUED |= {"mbmp": "casing", "mbtoc": "casing", "mbct": "casing", "mtoc": "casing", "ftbtoc": "casing", "bnt": "ground"}
_GLUED |= {"masl": "sea", "mamsl": "sea", "msnm": "sea", "mslm": "sea", "ftasl": "sea", "ftamsl": "sea", "manm": "sea"}
_ALONE = {
    "sol",
    "tn",
    "du sol",
    "bg",
    "nm",
    "tubage",
    "repere",
    "margelle",
    "toc",
    "sous sol",
    "msl",
}  # only with a unit
_PREPOSITIONS = {"en", "em", "in", "katika", "kwa"}
_MEASURING_POINT = ("bmp", "below measuring point", "repere", "par rapport au repere", "sous repere", "mbmp")


@dataclass(frozen=True)
class Unit:
    """What a header says of its unit.

    unit    as the plan writes it, "" where only the reference of the heights is said
    datum   what a height or depth is counted from, "" where the header does not say
    doubt   why this reading is no certainty, or ""
    """

    unit: str
    datum: Datum = ""
    doubt: str = ""


@cache
def _words() -> dict[str, Unit]:
    """Folded spelling → unit, without references of heights."""
    found: dict[str, Unit] = {}
    for unit, spellings, doubt in _UNITS:
        for one in spellings.split(", "):
            found.setdefault(fold(one), Unit(unit, "", doubt))
    return found


@cache
def _datum_words() -> dict[str, Datum]:
    return {fold(one): datum for datum, spellings in _DATUMS.items() for one in spellings.split(", ")}


def _with_datum(folded: str) -> Unit | None:
    """`m bgl`, `mbgl`, `ft below casing`, `below ground level`."""
    point = "measured below a measuring point: taken as the top of the casing"
    if folded in _GLUED:
        unit = "ft" if folded.startswith("ft") else "m" if folded.startswith("m") else ""
        return Unit(unit, _GLUED[folded], point if folded in _MEASURING_POINT else "")  # type: ignore[arg-type]
    if folded in _datum_words() and folded not in _ALONE:
        return Unit("", _datum_words()[folded], point if folded in _MEASURING_POINT else "")
    head, _, rest = folded.partition(" ")
    length = _words().get(head)
    if length is not None and length.unit in {"m", "ft"} and rest in _datum_words():
        return Unit(length.unit, _datum_words()[rest], point if rest in _MEASURING_POINT else "")
    return None


def read_unit(text: str, *, bracketed: bool) -> Unit | None:
    """The unit that a text is, or None.

    >>> read_unit("l/s", bracketed=True), read_unit("m bgl", bracketed=False)
    (Unit(unit='L/s', datum='', doubt=''), Unit(unit='m', datum='ground', doubt=''))
    """
    if bracketed and re.fullmatch(r"\s*[\"″”]\s*", text):
        return Unit("in")
    if bracketed and re.fullmatch(r"\s*mS\s*/\s*(cm|m)\s*", text):
        return Unit("mS/cm" if text.strip().endswith("cm") else "mS/m")
    folded = fold(text.replace("³", "3").replace("²", "2"))
    unit = _with_datum(folded) or _words().get(folded)
    if bracketed:
        return unit or (Unit(_BRACKETED[folded]) if folded in _BRACKETED else None)
    if unit is None or folded in _NOT_TRAILING or unit.unit in _NOT_TRAILING:
        return None
    return unit


def split_unit(header: str) -> tuple[str, Unit | None]:
    """The header without its unit, and the unit; two units that contradict are left in the name.

    >>> split_unit("Débit (l/s)")
    ('Débit', Unit(unit='L/s', datum='', doubt=''))
    >>> split_unit("swl_mbgl")
    ('swl', Unit(unit='m', datum='ground', doubt=''))
    >>> split_unit("yield (driller)")
    ('yield driller', None)
    """
    found: list[Unit] = []

    def bracket(match: re.Match[str]) -> str:
        unit = read_unit(match[1], bracketed=True)
        if unit is None:
            return f" {match[1]} "
        found.append(unit)
        return " "

    rest = re.sub(r"[(\[{]([^()\[\]{}]*)[)\]}]", bracket, header)
    rest = re.sub(r"\s+", " ", rest).strip()
    if re.search(r"\w\s*[\"″”]$", rest) and not found:  # Casing 6": the mark is the unit only after no number
        return header, None
    for _ in range(2):
        rest, unit = _trailing(rest)
        if unit is not None:
            found.append(unit)
    merged = _merge(found)
    return (rest, merged) if merged is not None or not found else (header, None)


def _trailing(text: str) -> tuple[str, Unit | None]:
    """A unit of one to six words at the end, never the whole text."""
    words = re.split(r"[\s_/,;:.\-]+", text.replace("³", "3").replace("²", "2").strip(" _/,;:.-"))
    for count in range(min(6, len(words) - 1), 0, -1):
        unit = read_unit(" ".join(words[-count:]), bracketed=False)
        if unit is not None:
            left = words[:-count]
            if len(left) > 1 and left[-1].casefold() in _PREPOSITIONS:
                left = left[:-1]
            return " ".join(left), unit
    return text, None


def _merge(found: list[Unit]) -> Unit | None:
    """One unit and one reference out of several remarks; None where they contradict."""
    units = {one.unit for one in found if one.unit}
    datums = {one.datum for one in found if one.datum}
    if not found or len(units) > 1 or len(datums) > 1:
        return None
    doubt = next((one.doubt for one in found if one.doubt), "")
    return Unit("".join(units), next(iter(datums), ""), doubt)


def plan_unit(name: str, unit: Unit) -> str | None:
    """The unit as `[inventory.units]` takes it for a quantity; None where the two do not go together.

    >>> plan_unit("static_level_m", Unit("m", "ground")), plan_unit("depth_m", Unit("m", "ground"))
    ('m bgl', 'm')
    >>> plan_unit("depth_m", Unit("L/s"))
    """
    quantity = glossary().get(name)
    if quantity is None:  # northing and easting
        return "" if unit.unit in {"", "m"} and not unit.datum else None
    if quantity.dtype == "text":
        return None
    if name in {"latitude", "longitude"}:
        return "" if unit.unit in {"", "deg"} and not unit.datum else None
    if unit.datum and quantity.unit != "m":
        return None
    if unit.datum and name in LEVELS:
        return f"{unit.unit or 'm'} {DATUM_TEXT[unit.datum]}"
    if unit.datum and (unit.datum == "sea") != (name == "ground_elevation_m"):
        return None
    return (unit.unit or quantity.unit) if unit_factor(name, unit.unit or quantity.unit) is not None else None


def unit_known_but_not_read(name: str, unit: Unit) -> bool:
    """Whether the unit is one of this kind of quantity that this version cannot convert: `EC (mS/cm)`."""
    alike = {"uS/cm": ("mS/cm", "mS/m", "dS/m"), "h": ("min", "d"), "m2/d": ("m2/s", "m2/h"), "ha": ("acre", "m2")}
    alike |= {"m3/h": ("USgph", "igph", "L/d"), "m3/d": ("L/s", "L/h"), "m": ("km",)}
    alike |= {"m3/h/m": ("L/s/m", "m3/d/m", "L/min/m")}
    quantity = glossary().get(name)
    return quantity is not None and unit.unit in alike.get(quantity.unit, ())
