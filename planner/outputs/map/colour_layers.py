"""What else the marks can be coloured by, besides decision and cost: volume used, evidence grade, chance of funding.

Every scale of colours runs from light to dark in one hue, so that any eye and any printer keeps its order; the page
gives each a second carrier (size, shape, or how full a mark is).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

# From low to high, light to dark: lightness (CIE L*) falls by 12 or more from class to class, so the order survives
# every kind of colour blindness and grey printing.
VOLUME_COLOURS = ("#d9e8f5", "#a3c6e4", "#5b99cc", "#2a669f", "#0c2f5e")
GRADE_COLOURS = ("#e4dbef", "#b39ad3", "#7a55ab", "#3a1a69")
CHANCE_COLOURS = ("#dff1e4", "#a0d0ae", "#57a67d", "#22755a", "#063f31")

GRADES = ("D", "C", "B", "A")  # from weak to strong
CHANCE_BREAKS = (0.2, 0.4, 0.6, 0.8)


def colour_layers(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The layers that at least one site has a value for, in the order of the page's choice.

    frame: sites with volume_used_m3_day, evidence_grade, funded_probability. A layer by numbers has `breaks`, inner
    limits, rising; a value equal to a limit belongs to the class above it. One by texts has `levels` instead. `colours`
    is one for each class.
    """
    volume = frame["volume_used_m3_day"].to_numpy(dtype="float64", na_value=np.nan)
    chance = frame["funded_probability"].to_numpy(dtype="float64", na_value=np.nan)
    layers: list[dict[str, Any]] = []
    if np.isfinite(volume).any():
        breaks = volume_breaks(volume)
        layers.append({"key": "volume_used", "breaks": breaks, "colours": spread(VOLUME_COLOURS, len(breaks) + 1)})
    if frame["evidence_grade"].isin(GRADES).any():
        layers.append({"key": "evidence_grade", "levels": list(GRADES), "colours": list(GRADE_COLOURS)})
    if np.isfinite(chance).any():
        layers.append({"key": "funded_probability", "breaks": list(CHANCE_BREAKS), "colours": list(CHANCE_COLOURS)})
    return layers


def volume_breaks(volumes: NDArray[np.float64]) -> list[float]:
    """Inner limits of the classes of volume: quintiles rounded to two digits, 0 to 4 of them, rising.

    volumes: (n,) m3/d, NaN where unknown. A limit that leaves the lowest or the highest class empty is dropped.

    >>> volume_breaks(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]))
    [2.0, 3.0, 4.0, 5.0]
    """
    known = volumes[np.isfinite(volumes)]
    if known.size == 0:
        return []
    limits = {float(f"{limit:.2g}") for limit in np.quantile(known, [0.2, 0.4, 0.6, 0.8])}
    return sorted(limit for limit in limits if known.min() < limit <= known.max())


def spread(colours: tuple[str, ...], classes: int) -> list[str]:
    """Colours of 1 to len(colours) classes over the whole scale; a single class gets the middle one.

    >>> spread(VOLUME_COLOURS, 2) == [VOLUME_COLOURS[0], VOLUME_COLOURS[4]]
    True
    """
    last = len(colours) - 1
    if classes == 1:
        return [colours[last // 2]]
    return [colours[round(place * last / (classes - 1))] for place in range(classes)]
