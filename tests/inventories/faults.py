"""An invented inventory of faults: one fault a row, as they are met in real tables, and what is to become of it.

All names, places and numbers are made up. The area is a square of one degree in UTM zone 36 south. Every row starts
from a sound well (`sound`) that stands some kilometres from the others: what is told of it is told of its fault.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pyproj import Transformer

Cells = dict[str, str]

# The columns of the file, and the planner's names of those that have another.
HEADER = (
    *("site_id", "site_name", "sub_district", "latitude", "longitude", "utm_zone", "water_point_type", "status"),
    *("equipped_with", "depth_m", "casing_mm", "screen_top_m", "main_strike_m", "aquifer", "ground_elevation_m"),
    *("static_level_m", "tested_yield_m3_h", "pumping_level_m", "drawdown_m", "specific_capacity_m3_h_m"),
    *("test_hours", "test_kind", "test_date", "existing_intake_m", "fluoride_mg_l", "people", "longtude", "remarks"),
)
WEST, SOUTH, SIDE = 33.0, -13.0, 1.0  # degrees
SCHOOL, CLINIC = "Dambwe school", "Dambwe clinic"


@dataclass(frozen=True)
class Fault:
    """One row.

    number    of the fault in the list of the fifteen; 16 for what is also seen
    cells     what differs from the sound well
    rules     the findings of the row: rule → action
    values    what the columns hold then; None: missing
    decision  of the row, if everything that follows can be sized
    xlsx      rules of the workbook where a workbook says more or other things than text
    """

    number: int
    name: str
    cells: Cells
    rules: dict[str, str] = field(default_factory=dict)
    values: dict[str, object] = field(default_factory=dict)
    decision: str = "equip"
    xlsx: dict[str, str] | None = None


def place(at: int) -> tuple[float, float]:
    """Latitude and longitude of the place number `at`, 8 km and more from the next."""
    return round(SOUTH + 0.14717 + 0.08 * (at // 11), 5), round(WEST + 0.07913 + 0.08 * (at % 11), 5)


def sound(at: int) -> Cells:
    """A well without any fault: tested, with levels that agree, nothing unknown."""
    north, east = place(at)
    rest, draw, flow = 11.3 + at % 7, 5.4 + at % 5 / 2, round(3.1 + at * 0.037, 3)
    cells = dict.fromkeys(HEADER, "")
    return cells | {
        "site_id": f"B{at + 1:04}",
        "site_name": f"Dambwe {SYLLABLES[at % 12]}{SYLLABLES[at // 12]}".title(),
        "sub_district": "Upper Dambwe" if at % 2 else "Lower Dambwe",
        "latitude": f"{north:.5f}",
        "longitude": f"{east:.5f}",
        "water_point_type": "borehole",
        "status": "working",
        "equipped_with": "handpump",
        "depth_m": f"{52 + at % 9}",
        "casing_mm": "152",
        "screen_top_m": "38",
        "main_strike_m": "40",
        "aquifer": "confined",
        "ground_elevation_m": f"{1104 + at}",
        "static_level_m": f"{rest:.1f}",
        "tested_yield_m3_h": f"{flow:g}",
        "pumping_level_m": f"{rest + draw:.1f}",
        "test_hours": "24",
        "test_kind": "constant rate",
        "test_date": f"{2021 + at % 4}-{1 + at % 12:02}-{14 + at % 9}",
        "existing_intake_m": "34",
        "fluoride_mg_l": "0.4",
        "people": f"{210 + at}",
    }


SYLLABLES = ("kalo", "mwese", "tindi", "runa", "sefu", "gombe", "lusa", "nyaro", "pitu", "chome", "bala", "wiri")


def utm(at: int, zone: int = 36) -> Cells:
    """The position as northing and easting under the headers of degrees."""
    north, east = place(at)
    easting, northing = Transformer.from_crs("EPSG:4326", f"EPSG:{32700 + zone}", always_xy=True).transform(east, north)
    return {"latitude": f"{northing:.0f}", "longitude": f"{easting:.0f}"}


def dms(value: float, positive: str, negative: str) -> str:
    """Degrees, minutes and seconds with a letter."""
    seconds = round(abs(value) * 3600, 1)
    whole = f"{seconds // 3600:.0f}°{seconds // 60 % 60:02.0f}'{seconds % 60:04.1f}\""
    return f"{whole}{positive if value >= 0 else negative}"


def at_place(at: int) -> dict[str, object]:
    north, east = place(at)
    return {"latitude": north, "longitude": east}


LOST: dict[str, object] = {"latitude": None, "longitude": None}


def faults() -> list[Fault]:
    """Every row in the order of the file."""
    made: list[Fault] = []

    def add(number: int, name: str, cells: Cells, rules: dict[str, str] | None = None, **more: object) -> int:
        """Append a row; returns the number of its place."""
        made.append(Fault(number, name, cells, rules or {}, **more))  # type: ignore[arg-type]
        return len(made)

    def here() -> tuple[float, float]:
        return place(len(made))

    no_place = {"decision": "not_assessed", "values": LOST}
    # 1: no coordinates and stand-ins for them
    add(1, "nought", {"latitude": "0", "longitude": "0"}, {"position_placeholder": "stopped"}, decision="not_assessed")
    tiny = {"latitude": "-2e-08", "longitude": "0"}
    add(1, "tiny", tiny, {"position_placeholder": "stopped"}, decision="not_assessed")
    nines = {"latitude": "999", "longitude": "999"}
    add(1, "nines", nines, {"position_placeholder": "flagged", "position_missing": "stopped"}, **no_place)
    add(1, "empty", {"latitude": "", "longitude": ""}, {"position_missing": "stopped"}, **no_place)
    half = {"half_position": "flagged", "position_missing": "stopped"}
    add(1, "half", {"longitude": ""}, half, **no_place)
    centre = {"latitude": "-12.51234", "longitude": "33.43219"}
    for word in ("one", "two", "three", "four", "five"):
        add(1, f"centre {word}", centre, CENTRE, decision="not_assessed")
    # 2: exchanged
    north, east = here()
    swapped = {"latitude": f"{east:.5f}", "longitude": f"{north:.5f}"}
    add(2, "swapped", swapped, {"swapped_coordinates": "repaired"}, values=at_place(len(made)))
    far = {"latitude": "-15.68813", "longitude": "35.30417"}
    add(2, "outside either way", far, {"outside_area": "stopped"}, decision="hold")
    # 3: metres among degrees
    add(3, "utm in degrees", utm(len(made)), {"utm_in_degrees": "repaired"}, values=at_place(len(made)))
    zone = utm(len(made)) | {"utm_zone": "36S"}
    add(3, "utm with its zone", zone, {"utm_in_degrees": "repaired"}, values=at_place(len(made)))
    away = {"latitude": "2264331", "longitude": "743210"}
    add(3, "utm of nowhere", away, {"utm_zone_unknown": "flagged", "position_missing": "stopped"}, **no_place)
    # 4: angles, signs, commas, points
    north, east = here()
    angle = {"latitude": dms(north, "N", "S"), "longitude": dms(east, "E", "W")}
    add(4, "degrees, minutes, seconds", angle, {"position_rewritten": "repaired"}, values=at_place(len(made)))
    north, east = here()
    minutes = {"latitude": f"S {int(-north)} {-north % 1 * 60:.3f}", "longitude": f"E {int(east)} {east % 1 * 60:.3f}"}
    add(4, "degrees and minutes", minutes, {"position_rewritten": "repaired"}, values=at_place(len(made)))
    north, east = here()
    add(4, "sign lost", {"latitude": f"{-north:.5f}"}, {"sign_lost": "repaired"}, values=at_place(len(made)))
    north, east = here()
    comma = {"latitude": f"{north:.5f}".replace(".", ","), "longitude": f"{east:.5f}".replace(".", ",")}
    add(4, "decimal comma", comma, {"position_rewritten": "repaired"}, values=at_place(len(made)))
    north, east = here()
    point = {"latitude": f"{north:.5f}".replace(".", "")}
    add(4, "decimal point lost", point, {"decimal_point_lost": "repaired"}, values=at_place(len(made)))
    packed = {"latitude": "-12.4118", "longitude": "33.3047"}
    add(4, "perhaps minutes", packed, {"packed_angle": "flagged"}, values={"latitude": -12.4118, "longitude": 33.3047})
    add(
        4,
        "no angle",
        {"latitude": "12 61 18 S"},
        {"position_not_decimal": "flagged"} | {"position_missing": "stopped"},
        **no_place,
    )
    add(4, "coarse", {"latitude": "-12.6", "longitude": "33.9"}, {"coarse_position": "flagged"})
    # 5, a legacy datum, is a matter of the whole file: see the tests
    # 6: one well twice, two wells near
    well = len(made)
    north, east = place(well)
    again = {"site_id": "B-TWO", "site_name": "Nkombe 1", "latitude": f"{north:.5f}", "longitude": f"{east:.5f}"}
    late = again | {"test_date": "2024-06-17", "depth_m": "55", "casing_mm": "152"}
    add(6, "visit of 2024", late, {}, values={"visits": 2.0})
    early = late | {"site_name": "Nkombe I", "test_date": "2016-02-19"}
    add(6, "visit of 2016", early, {"repeat_visit": "stopped"}, decision="hold")
    north, east = here()
    well = {"latitude": f"{north:.5f}", "longitude": f"{east:.5f}"}
    add(6, "first of two", well | {"site_name": SCHOOL}, {"near_neighbour": "flagged"})
    beside = {"latitude": f"{north + 0.00023:.5f}", "longitude": f"{east:.5f}", "site_name": CLINIC}
    add(6, "25 m away", beside, {"near_neighbour": "flagged"})
    # 7: flows in other units
    add(7, "unit in the cell", {"tested_yield_m3_h": "1.5 L/s"}, {"unit_converted": "repaired"}, values=flow(5.4))
    add(
        7,
        "unit in doubt",
        {"tested_yield_m3_h": "61.3"},
        {"unit_doubtful": "flagged"},
        values=flow(61.3),
        decision="hold",
    )
    gallons = {"tested_yield_m3_h": "15 gpm"}
    add(7, "gallons of no country", gallons, {"unit_ambiguous": "flagged"}, values=flow(None), decision="test_first")
    add(7, "a minute", {"tested_yield_m3_h": "70 l/min"}, {"unit_converted": "repaired"}, values=flow(4.2))
    no_level = {"values": {"static_level_m": None}, "decision": "test_first"}
    # 8: noughts that are no numbers
    for name in ("depth_m", "ground_elevation_m", "pumping_level_m", "tested_yield_m3_h", "people"):
        then = "test_first" if name in {"pumping_level_m", "tested_yield_m3_h"} else "equip"
        add(8, f"nought in {name}", {name: "0"}, {"zero_as_missing": "flagged"}, values={name: None}, decision=then)
    level = {"static_level_m": "0"}
    add(8, "level of nought", level, {"artesian_undeclared": "flagged"}, **no_level)
    add(8, "artesian", level | {"aquifer": "artesian"}, {}, values={"static_level_m": 0.0})
    # 9: what cannot stand above or below
    add(9, "intake below the bottom", {"existing_intake_m": "71"}, {"intake_below_depth": "flagged"})
    below = {"static_level_m": "63", "pumping_level_m": "64", "depth_m": "55", "existing_intake_m": ""}
    add(9, "rest level below the bottom", below, BELOW, decision="hold")
    add(9, "pumping above rest", {"pumping_level_m": "4.5"}, {"pumping_above_static": "flagged"}, decision="test_first")
    add(9, "screen below the bottom", {"screen_top_m": "66"}, {"screen_below_depth": "flagged"})
    add(
        9, "above ground, not declared", {"static_level_m": "-0.6"}, {"artesian_undeclared": "stopped"}, decision="hold"
    )
    add(9, "measured from the casing", {"static_level_m": "12 m btoc"}, {"datum_in_cell": "flagged"}, **no_level)
    # 10: fields that are empty
    nothing = {"static_level_m": "", "tested_yield_m3_h": "", "pumping_level_m": ""}
    add(10, "no test", nothing, {}, values={"evidence_grade": "D"}, decision="test_first")
    add(
        10,
        "yield alone",
        nothing | {"tested_yield_m3_h": "4.07"},
        {},
        values={"evidence_grade": "C"},
        decision="test_first",
    )
    # 11: dates
    date = [
        ("day number", "36892", {"date_from_serial": "repaired"}, "2001-01-01"),
        ("either order", "03/04/2019", {"date_ambiguous": "flagged"}, "2019"),
        ("day first", "25/03/2019", {}, "2019-03-25"),
        ("month first", "03/25/2019", {}, "2019-03-25"),
        ("a zero", "1900-01-01", {"date_placeholder": "flagged"}, ""),
        ("in words", "12 mars 2019", {"date_rewritten": "repaired"}, "2019-03-12"),
        ("year alone", "2018", {}, "2018"),
        ("not yet", "2091-05-11", {"date_in_future": "flagged"}, ""),
        ("no date", "last dry season", {"not_a_date": "flagged"}, ""),
    ]
    for name, text, rules, value in date:
        add(11, f"date, {name}", {"test_date": text}, rules, values={"test_date": value})
    # 12: identifiers and names
    add(12, "leading noughts", {"site_id": "00123"}, {}, values={"site_id": "00123"})
    add(12, "outer spaces", {"site_id": " B-77 "}, {"outer_spaces": "repaired"}, values={"site_id": "B-77"})
    add(12, "one identifier", {"site_id": "B-88"}, {"id_conflict": "flagged"})
    add(12, "for two wells", {"site_id": "B-88"}, {"id_conflict": "flagged"})
    add(12, "accents", {"site_name": "Ngoumé–Sud"}, {}, values={"site_name": "Ngoumé–Sud"})
    # 13: text where numbers belong
    text = [
        ("casing_mm", "The drilling diameter is 200", {"not_a_number": "flagged"}, None),
        ("casing_mm", "140.5mm", {"unit_in_cell": "repaired"}, 140.5),
        ("tested_yield_m3_h", ">5", {"lower_bound": "flagged"}, 5.0),
        ("tested_yield_m3_h", "3-4", {"range": "flagged"}, 3.0),
        ("static_level_m", "12-14", {"range": "flagged"}, 14.0),
        ("depth_m", "NA", {"no_value": "flagged"}, None),
        ("tested_yield_m3_h", "~6", {"approximate": "flagged"}, 6.0),
        ("depth_m", "61,5", {"number_rewritten": "repaired"}, 61.5),
        ("depth_m", "1,234", {"comma_in_number": "flagged"}, None),
        ("depth_m", "many", {"not_a_number": "flagged"}, None),
    ]
    for column, cell, rules, number in text:
        add(13, f"{column} {cell}", {column: cell}, rules, values={column: number})
    dry = {"tested_yield_m3_h": "dry", "status": ""}
    add(13, "dry", dry, {"dry_as_value": "flagged"}, values={"status": "dry", **flow(None)}, decision="unsuitable")
    # 14: words
    add(14, "French", {"status": "Fonctionnel"}, {}, values={"status": "working"})
    add(14, "one letter", {"status": "F"}, {"unknown_word": "flagged"}, values={"status": "unknown"})
    add(14, "in doubt", {"status": "working?"}, {"unknown_word": "flagged"}, values={"status": "unknown"})
    spring = {"water_point_type": "protected spring"}
    add(
        14,
        "a spring",
        spring,
        {"not_a_borehole": "flagged"},
        values={"water_point_type": "spring"},
        decision="unsuitable",
    )
    add(14, "solar already", {"equipped_with": "solar"}, {}, decision="hold")
    named = {"site_name": "Mwanza spring", "water_point_type": ""}
    add(14, "a spring by name", named, {"name_of_another_source": "flagged"})
    # 15: what a yield is, and what follows from it
    add(
        15,
        "airlift",
        {"test_kind": "airlift"},
        {"rough_yield": "flagged"},
        values={"evidence_grade": "B"},
        decision="test_first",
    )
    capacity = {"specific_capacity_m3_h_m": "0.15"}
    add(15, "specific capacity", capacity, {"derived_differs": "flagged"})
    add(15, "drawdown", {"drawdown_m": "21"}, {"derived_differs": "flagged"})
    nothing_drawn = {"pumping_level_m": "", "drawdown_m": "6.5", "static_level_m": "12"}
    add(
        15,
        "drawdown alone",
        nothing_drawn,
        {"pumping_level_from_drawdown": "repaired"},
        values={"pumping_level_m": 18.5},
    )
    # also seen
    add(16, "two villages", {"site_name": "Kalo / Tindi"}, {"two_names": "flagged"})
    add(16, "failed formula", {"depth_m": "#REF!"}, {"not_a_number": "flagged"}, values={"depth_m": None}, xlsx=FORMULA)
    add(16, "hidden row", {}, {}, xlsx={"hidden_row": "flagged"})
    add(16, "struck through", {}, {}, xlsx={"struck_through": "flagged"})
    add(16, "coloured", {}, {})  # told for the whole sheet, since whole tables are coloured
    add(16, "control character", {"site_name": "Ba\x07la"}, {"control_character": "flagged"})
    total = dict.fromkeys(HEADER, "") | {"site_id": "TOTAL", "people": "23100"}
    add(
        16,
        "total",
        total,
        {"total_row": "flagged"},
        values={"row_kind": "total", "people": None},
        decision="not_assessed",
    )
    empty = dict.fromkeys(HEADER, "")
    add(16, "blank", empty, {"blank_row": "flagged"}, values={"row_kind": "blank"}, decision="not_assessed")
    foot = dict.fromkeys(HEADER, "") | {"site_name": "Source: district office, 2024"}
    add(16, "footer", foot, {"position_missing": "stopped"}, values=LOST, decision="not_assessed")
    return made


def flow(value: float | None) -> dict[str, object]:
    return {"tested_yield_m3_h": value}


CENTRE = {"repeated_position": "flagged", "position_placeholder": "stopped"}
BELOW = {"static_below_depth": "stopped"} | dict.fromkeys(
    ("pumping_below_depth", "pumping_below_screen", "strike_above_static"), "flagged"
)
FORMULA = {"formula_error": "flagged"}
FAULTS = faults()


def rows() -> list[Cells]:
    """The cells of the file."""
    return [{**sound(at), **fault.cells} for at, fault in enumerate(FAULTS)]
