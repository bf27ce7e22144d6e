"""What a chunk is known by: a digest of everything it was computed from, so that a stored one can never be stale."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable
from typing import Any

import numpy as np

from planner import __version__
from planner.chunks.cut import ROW
from planner.engine.assess import Context
from planner.physics.equation import source_digest

# Sections of the plan that the engine reads, and keys of [programme]; a test watches what it does read.
SECTIONS = ("array", "costs", "demand", "equipment", "pipes", "well")
PROGRAMME = ("discount_rate", "horizon_years")


def context_digest(context: Context, more: Iterable[str] = (), sources: Iterable[str] = ()) -> str:
    """Digest of everything besides the sites that is read.

    more     sections of the plan besides those that the engine reads
    sources  folders of the package besides those that are compiled
    """
    digest = hashlib.sha256()
    read: dict[str, Any] = {"programme": set(PROGRAMME), **dict.fromkeys((*SECTIONS, *more), True)}
    plan = context.plan.model_dump(mode="json", include=read)
    for text in (__version__, json.dumps(plan, sort_keys=True), context.catalogue.digest, source_digest(*sources)):
        digest.update(text.encode())
    for part in context.weather or ():
        digest.update(np.asarray(part).tobytes())
    return digest.hexdigest()


def key_of(common: str, columns: Iterable[Any], by_row: bool) -> str:
    """Name of a chunk. columns: data classes of columns; by_row: what is computed hangs on the place in the file."""
    digest = hashlib.sha256(common.encode())
    for part in columns:
        for field in dataclasses.fields(part):
            if by_row or field.name != ROW:
                digest.update(np.ascontiguousarray(getattr(part, field.name)).tobytes())
    return digest.hexdigest()
