"""The list [[phase]] of a plan: the years in which a programme is built."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated

from pydantic import AfterValidator, Field

from planner.plan.section import Positive, Section


class BuildPhase(Section):
    """What a year may spend and build. Money that it leaves is not spent later, unless [portfolio] carry_over."""

    year: int = Field(description="year of the phase", ge=1990, le=2200)
    budget: Positive | None = Field(None, description="money of the year; empty: only [programme] budget limits it")
    sites_max: int | None = Field(None, description="most sites that contractors can build in the year", ge=0)


def _ascending(phases: tuple[BuildPhase, ...]) -> tuple[BuildPhase, ...]:
    years = [one.year for one in phases]
    if any(later <= earlier for earlier, later in pairwise(years)):
        raise ValueError("each year once, the earliest first")
    return phases


Phases = Annotated[tuple[BuildPhase, ...], AfterValidator(_ascending)]


def money_of(budget: float | None, phases: tuple[BuildPhase, ...]) -> float | None:
    """What a programme may spend: its budget, the sum of its phases, or the less of the two; None where neither says.

    A phase without a budget of its own leaves the sum open.
    """
    known = [one.budget for one in phases if one.budget is not None]
    sums = [sum(known)] if phases and len(known) == len(phases) else []
    return min([*sums, *([] if budget is None else [budget])], default=None)
