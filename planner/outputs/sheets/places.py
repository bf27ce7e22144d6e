"""Where a site lies: its sketch with neighbours, its place in the area, and its coordinates in words."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.material import Material
from planner.outputs.sheets.letters import width_em
from planner.outputs.sheets.safe_text import shown
from planner.outputs.sheets.sketch import SHAPES, Frame, Sketch, borders, frame_of, group_of
from planner.texts import decimal_text, say, texts

NEAR_M, FAR_M = 3000.0, 8000.0  # half of a sketch's width: as wide as three neighbours need, between these
FEW = 3
NAMED = 8
HEIGHT = 0.74  # of a sketch's width
INSET_HEIGHT = 1.0
LETTER, LINE = 0.042, 0.062  # width of an em with some room, and height of a line, as shares of the sketch


class Places:
    """The sketches of the sites of a run."""

    def __init__(self, material: Material, language: str) -> None:
        from scipy.spatial import cKDTree

        self.language = language
        sites = material.sites
        placed = sites[sites["latitude"].notna() & sites["longitude"].notna()].reset_index(drop=True)
        self.placed = placed
        self.latitude, self.longitude = placed["latitude"].to_numpy("f8"), placed["longitude"].to_numpy("f8")
        self.row = placed["inventory_row"].to_numpy()
        self.group = [group_of(*pair) for pair in zip(placed["decision"], placed["funding"], strict=True)]
        self.id = [shown(one, 14) for one in placed["site_id"]]
        self.tree = cKDTree(_on_sphere_m(self.latitude, self.longitude)) if len(placed) else None
        self.borders = borders(material.polygons)
        whole = frame_of(material.polygons, sites, INSET_HEIGHT)
        self.whole = None if whole is None else Sketch(whole, language)
        if self.whole is not None:
            self.whole.outline(self.borders, "border", self.whole.frame.half_x_m / 60)

    def sketch(self, row: pd.Series) -> dict[str, Any] | None:
        """The site among its neighbours, and `inset`, its place in the area; None without a position."""
        latitude, longitude = float(row["latitude"]), float(row["longitude"])
        if math.isnan(latitude) or math.isnan(longitude) or self.tree is None:
            return None
        here = _on_sphere_m(np.array([latitude]), np.array([longitude]))[0]
        distance, _ = self.tree.query(here, k=min(FEW + 1, len(self.row)))
        half = min(max(NEAR_M, 1.15 * float(np.max(distance))), FAR_M)
        frame = Frame(latitude, longitude, half, half * HEIGHT)
        sketch = Sketch(frame, self.language)
        sketch.outline(self.borders)
        x, y = frame.places(self.latitude, self.longitude)
        around = self.tree.query_ball_point(here, 1.5 * half)
        around = [
            one for one in around if 0.0 < x[one] < 1.0 and 0.0 < y[one] < 1.0 and self.row[one] != row["inventory_row"]
        ]
        around.sort(key=lambda one: (math.hypot(x[one] - 0.5, y[one] - 0.5), self.row[one]))
        for one in reversed(around):
            sketch.mark(self.latitude[one], self.longitude[one], SHAPES[self.group[one]])
        sketch.mark(latitude, longitude, "target")
        taken = [(0.46, 0.45, 0.54, 0.55), (0.0, 0.0, 0.42, 0.16), (0.86, 0.82, 1.0, 1.0)]
        own = shown(row["site_id"], 14)
        for one, words in ((None, own), *((one, self.id[one]) for one in around[:NAMED])):
            place = (0.5, 0.5) if one is None else (float(x[one]), float(y[one]))
            corner = _free_corner(place, width_em(words, one is None), taken)
            if words and corner is not None:
                sketch.name(*corner, words, strong=one is None)
        said = sketch.data()
        said["inset"] = self._inset(frame)
        return said

    def _inset(self, frame: Frame) -> dict[str, Any] | None:
        if self.whole is None:
            return None
        x, y = (float(one) for one in self.whole.frame.places(np.array(frame.latitude), np.array(frame.longitude)))
        return {"x": round(x, 4), "y": round(y, 4)}

    def legend(self) -> list[dict[str, str]]:
        """What the marks of a sketch mean."""
        words = [{"mark": "target", "words": say("sheets_this_site", self.language)}]
        known = texts(self.language)
        return words + [{"mark": mark, "words": known[f"sheets_group_{group}"][1]} for group, mark in SHAPES.items()]


def coordinates(row: pd.Series, language: str) -> str:
    """The position in degrees, and in degrees with minutes; nothing where it is not known."""
    latitude, longitude = float(row["latitude"]), float(row["longitude"])
    if math.isnan(latitude) or math.isnan(longitude):
        return ""
    north = say("sheets_compass_n" if latitude >= 0 else "sheets_compass_s", language)
    east = say("sheets_compass_e" if longitude >= 0 else "sheets_compass_w", language)
    return say(
        "sheets_position",
        language,
        latitude=f"{decimal_text(latitude, language, 5)}°",
        longitude=f"{decimal_text(longitude, language, 5)}°",
        north=f"{_minutes(latitude, language)}\u00a0{north}",
        east=f"{_minutes(longitude, language)}\u00a0{east}",
    )


def _minutes(value: float, language: str) -> str:
    """Degrees and minutes to a thousandth, 2 m; a minute that rounds to sixty is a degree.

    >>> _minutes(-12.81212, "en").split()
    ['12°', "48.727'"]
    """
    thousandths = round(abs(value) * 60_000)
    degrees, rest = divmod(thousandths, 60_000)
    return f"{degrees}°\u00a0{decimal_text(rest / 1000, language, 3)}'"


def _on_sphere_m(latitude: np.ndarray, longitude: np.ndarray) -> np.ndarray:
    radius, phi, lam = 6_371_009.0, np.radians(latitude), np.radians(longitude)
    return radius * np.column_stack((np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)))


def _free_corner(
    place: tuple[float, float], wide_em: float, taken: list[tuple[float, float, float, float]]
) -> tuple[float, float] | None:
    """Upper left corner of a name right or left of a mark where no other stands; it is then taken."""
    wide = LETTER * wide_em
    for left, top in (
        (place[0] + 0.025, place[1] + LINE / 2),
        (place[0] - 0.025 - wide, place[1] + LINE / 2),
        (place[0] - wide / 2, place[1] + 0.035 + LINE),
        (place[0] - wide / 2, place[1] - 0.035),
    ):
        box = (left, top - LINE, left + wide, top)
        free = all(box[2] <= b[0] or box[0] >= b[2] or box[3] <= b[1] or box[1] >= b[3] for b in taken)
        if free and box[0] >= 0.0 and box[2] <= 1.0 and box[1] >= 0.0 and top <= 1.0:
            taken.append(box)
            return left, top
    return None
