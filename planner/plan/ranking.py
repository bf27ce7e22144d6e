"""The section [ranking] of a plan: the order of the sites to equip."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from planner.plan.section import Positive, Section


class Criterion(Section):
    """Weight of a column in the weighted order."""

    weight: Positive = Field(description="of the column, beside the others")
    better: Literal["low", "high"] | None = Field(None, description="which end is better; known for usual columns")


def _criteria(value: object) -> object:
    """A number alone is a weight."""
    if not isinstance(value, dict):
        raise ValueError("weights by column: { cost_per_m3 = 0.5, people_served = 0.3 }")
    return {name: {"weight": one} if isinstance(one, int | float) else one for name, one in value.items()}


Criteria = Annotated[dict[str, Criterion], BeforeValidator(_criteria)]


class Ranking(Section):
    allow_prior_equip: bool = Field(False, description="let sites that rest on regional priors be `equip`")
    weights: Criteria = Field(
        default_factory=dict,
        description="column = weight in a second, weighted order, or { weight, better }; rank stays by cost",
    )
