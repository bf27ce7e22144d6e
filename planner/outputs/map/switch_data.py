"""What would change each decision, as data: keys of a sentence's parts, each combination once, and the numbers.

The page makes the sentences, as it does those of the reasons: whole texts in five languages would be megabytes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from planner.outputs.sentences import switch_said
from planner.texts import Said

Kind = tuple[str, tuple[tuple[str, str], ...]]


def switch_data(column: pd.Series) -> dict[str, Any]:
    """{"kinds": [[key, {place: key}]], "amounts": [number as English writes it], "at", "values"}: places of each site.

    column: switch_text. A text that is none of the tool's has the key "" and itself at the place "text".
    """
    kinds: dict[Kind, int] = {}
    amounts: dict[str, int] = {}
    texts, different = pd.factorize(column.fillna("").astype("str"))
    parts = [_parts(str(text)) for text in different]
    at = [kinds.setdefault(kind, len(kinds)) for kind, _ in parts]
    values = [amounts.setdefault(amount, len(amounts)) for _, amount in parts]
    return {
        "kinds": [[key, dict(places)] for key, places in kinds],
        "amounts": list(amounts),
        "at": np.array(at, dtype=np.int64)[texts],
        "values": np.array(values, dtype=np.int64)[texts],
    }


def switch_keys(data: dict[str, Any]) -> set[str]:
    """Keys of the texts that the sentences of switch_data need."""
    return {one for key, places in data["kinds"] if key for one in (key, *places.values())}


def _parts(text: str) -> tuple[Kind, str]:
    made = switch_said(text) if text else None
    if not isinstance(made, Said):
        return ("", (("text", text),)), ""
    places, amount = [], ""
    for name, value in made.values:
        if isinstance(value, Said):
            places.append((name, value.key))
        else:
            amount = value if isinstance(value, str) else str(value) if isinstance(value, int | float) else value.text()
    return (made.key, tuple(places)), amount
