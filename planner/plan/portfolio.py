"""The section [portfolio] of a plan: the rules under which a budget is spent."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from planner.plan.section import Section


def _with_reasons(value: object) -> object:
    """Identifiers alone are identifiers without a reason."""
    if isinstance(value, list | tuple) and all(isinstance(one, str) for one in value):
        return dict.fromkeys(value, "")
    if isinstance(value, dict) and all(isinstance(one, str) for one in value.values()):
        return value
    raise ValueError('site ids as text: ["…", "…"], or with a reason each: { "…" = "reason" }')


def _whole(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _share(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1


def _counts(value: object) -> object:
    if _is_table(value, _whole):
        return value
    raise ValueError("whole numbers, by column: { sub_district = 2 }, or of one group: { column = { group = 2 } }")


def _shares(value: object) -> object:
    if _is_table(value, _share):
        return value
    raise ValueError("shares 0 to 1, by column: { sub_district = 0.05 }, or of one group: { column = { group = 0.3 } }")


def _is_table(value: object, fits: object) -> bool:
    """Whether every entry is a number that fits, or a table of such."""
    if not isinstance(value, dict) or not callable(fits):
        return False
    return all(
        all(fits(number) for number in one.values()) and bool(one) if isinstance(one, dict) else fits(one)
        for one in value.values()
    )


Reasons = Annotated[dict[str, str], BeforeValidator(_with_reasons)]
Counts = Annotated[dict[str, int | dict[str, int]], BeforeValidator(_counts)]
Shares = Annotated[dict[str, float | dict[str, float]], BeforeValidator(_shares)]


class Portfolio(Section):
    """Every rule that limits the choice stands here, and is off unless written."""

    objective: Literal["people_served", "volume_used"] = Field(
        "people_served", description="what the budget must buy most of: people served or water used"
    )
    minimum_count: Counts = Field(
        default_factory=dict, description="column = least number of funded sites in each of its groups (all, if fewer)"
    )
    minimum_share: Shares = Field(
        default_factory=dict, description="column = least share of the funded sites in each of its groups"
    )
    locked_in: Reasons = Field(default_factory=dict, description="site ids that are funded in any case, with a reason")
    locked_out: Reasons = Field(default_factory=dict, description="site ids that are not funded, with a reason")
    carry_over: bool = Field(False, description="money that a [[phase]] leaves may be spent in later ones")
    max_pump_types: int | None = Field(
        None, description="most pump types in the standard set; sites that it does not suit are listed", ge=1
    )
    pump_type_tolerance: Annotated[float, Field(ge=0, le=1)] | None = Field(
        None,
        description="a standard pump may cost so much more than the site's own choice, share (0.03 beside "
        "max_pump_types; judgement)",
    )

    @model_validator(mode="after")
    def _one_side(self) -> Portfolio:
        both = sorted(set(self.locked_in) & set(self.locked_out))
        if both:
            raise ValueError(f"each site in one of locked_in and locked_out; in both are {', '.join(both)}")
        return self
