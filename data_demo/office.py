"""What the invented district office knows of its wells: rows of text under the office's own headers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from geology import ALLUVIUM, GRANITE, SANDSTONE, SCHIST, UNIT_NAMES, to_degrees
from numpy.random import Generator
from wells import Well

HEADERS = (
    "well_no", "village", "ward", "lat", "lon", "formation", "aquifer_type", "depth_m", "casing_mm",
    "screen_top_m", "swl_mbgl", "yield_l_s", "pwl_mbgl", "test_type", "test_h", "test_date", "status",
    "equipped", "pump_model_code", "array_wp", "tilt", "people", "tlu", "garden_ha", "garden_crop", "tank_lift_m",
    "pipe_m", "ec", "ph", "iron", "chloride", "fluoride", "arsenic", "nitrate", "sand", "water_temp", "remarks",
)  # fmt: skip

# Medians (mg/L, EC in µS/cm) by rock unit, and the spread of the natural logarithm.
QUALITY: dict[str, tuple[dict[int, float], float]] = {
    "ec": ({GRANITE: 420, SANDSTONE: 130, ALLUVIUM: 560, SCHIST: 760}, 0.35),
    "iron": ({GRANITE: 0.12, SANDSTONE: 0.25, ALLUVIUM: 0.45, SCHIST: 0.30}, 0.9),
    "chloride": ({GRANITE: 22, SANDSTONE: 8, ALLUVIUM: 35, SCHIST: 48}, 0.6),
    "fluoride": ({GRANITE: 0.75, SANDSTONE: 0.15, ALLUVIUM: 0.35, SCHIST: 0.45}, 0.6),
    "arsenic": ({GRANITE: 0.0008, SANDSTONE: 0.0006, ALLUVIUM: 0.004, SCHIST: 0.002}, 1.0),
    "nitrate": ({GRANITE: 7, SANDSTONE: 4, ALLUVIUM: 10, SCHIST: 6}, 0.7),
}
PH = {GRANITE: 7.0, SANDSTONE: 6.1, ALLUVIUM: 7.2, SCHIST: 7.4}

# Installed sets: (pump of the generic catalogue, highest head in m, flow in m3/h, array in Wp).
# The last two are given a third to a half of the array that they need.
SETS = (
    ("HR6.3-6", 50, 1.0, 660), ("HR4-6", 50, 0.65, 450), ("CF3-6", 24, 2.5, 900),
    ("CF5-6", 24, 4.5, 1350), ("CF8-7", 27, 7.5, 2250), ("CF5-11", 45, 4.5, 2700),
    ("HR16-24", 180, 2.4, 3960), ("HR25-24", 180, 3.5, 5940), ("HR6.3-6", 50, 1.0, 660),
    ("CF8-7", 27, 7.5, 2250), ("HR6.3-6", 50, 1.0, 330), ("HR16-24", 180, 2.4, 1320),
)  # fmt: skip

GARDENS_SEED = 20262
GARDEN_L_S = 2.0  # tested yield from which a well waters a garden


@dataclass(eq=False)
class Record:
    """A row of the file; `well` is None for rows that are no well."""

    well: Well | None
    text: dict[str, str]


def write_down(rng: Generator, wells: list[Well], wards: list[str]) -> list[Record]:
    """A record for every well, in the order given; cells are text, empty where the office knows nothing."""
    numbers = np.cumsum(rng.choice([1, 1, 1, 1, 2, 5], len(wells))) + 11  # gaps: wells of other programmes
    records = []
    for well, number in zip(wells, numbers, strict=True):
        text = dict.fromkeys(HEADERS, "")
        longitude, latitude = to_degrees(np.array(well.easting_m), np.array(well.northing_m))
        text |= {
            "well_no": f"{number:05d}",
            "village": well.name,
            "lat": f"{latitude:.5f}",
            "lon": f"{longitude:.5f}",
        }
        text["ward"] = wards[well.sub_district] if rng.random() > 0.02 else ""
        text["formation"] = UNIT_NAMES[well.unit] if rng.random() > 0.15 else ""
        _condition(rng, text)
        _hole(rng, well, text)
        _test(rng, well, text)
        _users(rng, well, text)
        _quality(rng, well, text)
        records.append(Record(well, text))
    _install(rng, records)
    _water_gardens(records)
    return records


def _condition(rng: Generator, text: dict[str, str]) -> None:
    text["status"] = str(
        rng.choice(["working", "needs_repair", "abandoned", "dry", "unknown"], p=[0.70, 0.18, 0.05, 0.04, 0.03])
    )
    if text["status"] != "dry":
        text["equipped"] = str(rng.choice(["handpump", "none", "diesel", ""], p=[0.68, 0.23, 0.06, 0.03]))


def _hole(rng: Generator, well: Well, text: dict[str, str]) -> None:
    if rng.random() < 0.85:
        text["aquifer_type"] = "unconfined" if well.unit == ALLUVIUM else "confined"
    text["depth_m"] = f"{well.depth_m:.1f}"
    if rng.random() < 0.80 or well.wide:
        text["casing_mm"] = str(well.casing_mm)


def _test(rng: Generator, well: Well, text: dict[str, str]) -> None:
    """Cells of the pumping test by the evidence that the office holds.

    A tested with drawdown 48 %, B yield without drawdown or by airlift 26 %, C level or yield alone 19 %,
    D position alone 7 %; with the dry holes, which have no test, about 45, 25, 20 and 10 % of all rows.
    """
    if text["status"] == "dry":
        return
    grade = str(rng.choice(list("ABCD"), p=[0.48, 0.26, 0.19, 0.07]))
    level, rate = f"{well.static_m:.1f}", f"{well.yield_l_s:.2f}"
    tested = {
        "test_type": "step" if rng.random() < 0.15 else "constant_rate",
        "test_h": f"{well.test_h:g}" if rng.random() < 0.92 else "",
    }
    if grade == "A":
        text |= tested | {"swl_mbgl": level, "yield_l_s": rate, "pwl_mbgl": f"{well.pumping_m:.1f}"}
    elif grade == "B":
        airlift = {"test_type": str(rng.choice(["airlift", "bailer", ""], p=[0.75, 0.1, 0.15])), "test_h": ""}
        text |= {"swl_mbgl": level, "yield_l_s": rate} | (airlift if rng.random() < 0.6 else tested)
    elif grade == "C":
        text |= {"swl_mbgl": level} if rng.random() < 0.65 else {"yield_l_s": rate, "test_type": "airlift"}
    elif rng.random() < 0.6:
        text["depth_m"] = ""
    if grade in "AB" and rng.random() < 0.75:
        text["screen_top_m"] = f"{well.screen_m:.1f}"
    if grade != "D" and rng.random() < 0.93:
        text["test_date"] = _date(rng)


def _date(rng: Generator) -> str:
    """A date as precise as the paper it was copied from."""
    year = int(rng.triangular(1998, 2021, 2026))
    month, day = int(rng.integers(1, 13)), int(rng.integers(1, 29))
    forms = [f"{year}-{month:02d}-{day:02d}", f"{year}-{month:02d}", f"{year}"]
    return str(rng.choice(forms, p=[0.55, 0.25, 0.20]))


def _users(rng: Generator, well: Well, text: dict[str, str]) -> None:
    if rng.random() > 0.08:  # where people are not counted, the population raster must serve
        text["people"] = str(well.people)
    if rng.random() < 0.42:
        herd = np.exp(rng.normal(np.log(150 if well.unit == ALLUVIUM else 35), 0.8))
        text["tlu"] = str(int(np.clip(herd, 5, 600)))
    if rng.random() < 0.30:
        stand, rise = rng.choice([5, 6, 6, 8, 10]), rng.uniform(8, 25) if rng.random() < 0.2 else 0
        text["tank_lift_m"] = f"{stand + rise:.1f}"
    if rng.random() < 0.40:
        length = int(np.clip(np.exp(rng.normal(np.log(90), 0.9)), 15, 900))
        text["pipe_m"] = str(round(length, -1) if rng.random() < 0.7 else length)


def _quality(rng: Generator, well: Well, text: dict[str, str]) -> None:
    if text["status"] == "dry":
        return
    laboratory, field_kit = rng.random() < 0.38, rng.random() < 0.30
    for name, (medians, spread) in QUALITY.items():
        latrines = 4.5 if name == "nitrate" and well.town else 1.0  # they stand close to a town's wells
        median = medians[well.unit] * latrines
        value = float(np.exp(rng.normal(np.log(median), spread)))
        known = laboratory and (name != "arsenic" or rng.random() < 0.6)
        if known or (field_kit and name == "ec"):
            text[name] = f"{value:.0f}" if name == "ec" else f"{value:.2g}"
    if laboratory or field_kit:
        text["ph"] = f"{np.clip(rng.normal(PH[well.unit], 0.3), 5.2, 8.6):.1f}"
    if rng.random() < 0.18:
        text["sand"] = f"{np.exp(rng.normal(np.log(14 if well.unit == ALLUVIUM else 4), 0.8)):.0f}"
    if rng.random() < 0.30:
        # Ground is about 1.5 K warmer than air and gains 25 K a km; a few schist wells meet warm water.
        warm = rng.uniform(7, 12) if well.unit == SCHIST and rng.random() < 0.25 else 0.0
        text["water_temp"] = f"{24.5 + 0.025 * well.depth_m + warm + rng.normal(0, 0.5):.1f}"


def _install(rng: Generator, records: list[Record]) -> None:
    """Twelve solar sets on tested wells that they suit; eight wells with mains power, most in the towns."""
    free = [r for r in records if r.text["pwl_mbgl"] and r.text["people"] and r.text["status"] == "working"]
    for pump, head_m, flow_m3_h, array_wp in SETS:
        fits = [r for r in free if _suits(r.well, head_m, flow_m3_h)]
        if not fits:
            raise RuntimeError(f"no well for {pump}")
        best = min(fits, key=lambda r: abs(5.5 * flow_m3_h - 0.027 * int(r.text["people"])))
        free.remove(best)
        best.text |= {"equipped": "solar", "pump_model_code": pump, "array_wp": str(array_wp), "tlu": ""}
        best.text["tilt"] = str(rng.choice([10, 15, 15, 20])) if rng.random() < 0.8 else ""
    towns = [r for r in free if r.well is not None and r.well.town]
    for record in [towns[int(k)] for k in rng.choice(len(towns), 6, replace=False)] + free[17::60][:2]:
        record.text["equipped"] = "grid"


def _water_gardens(records: list[Record]) -> None:
    """Ten gardens in the valley at wells with water to spare; drawn apart, so that nothing else changes."""
    rng = np.random.default_rng(GARDENS_SEED)
    free = [
        r for r in records if r.well is not None and r.well.unit == ALLUVIUM and r.well.yield_l_s > GARDEN_L_S
        and r.text["pwl_mbgl"] and r.text["status"] == "working" and r.text["equipped"] not in {"solar", "grid"}
    ]  # fmt: skip
    for k in rng.choice(len(free), 10, replace=False):
        crop = str(rng.choice(["vegetables", "tomato", "onion", "cabbage", "maize", ""]))
        free[int(k)].text |= {"garden_ha": f"{rng.choice([0.1, 0.2, 0.25, 0.4, 0.5]):g}", "garden_crop": crop}


def _suits(well: Well | None, head_m: float, flow_m3_h: float) -> bool:
    if well is None or well.casing_mm < 113:
        return False
    need_m = well.pumping_m + 9
    return 0.5 * head_m < need_m < 0.92 * head_m and flow_m3_h < 0.72 * well.yield_l_s * 3.6
