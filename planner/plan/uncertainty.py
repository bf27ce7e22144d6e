"""The section [uncertainty] of a plan: how wide what is known may be wrong."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from planner.plan.section import NotNegative, Positive, Section, Share

Grade = Literal["A", "B", "C", "D"]

REST_LEVEL_M: dict[Grade, float] = {"A": 1.0, "B": 2.0, "C": 3.0, "D": 10.0}
DRAWDOWN_FACTOR: dict[Grade, float] = {"A": 1.3, "B": 2.5, "C": 2.5, "D": 2.5}
YIELD_FACTOR: dict[Grade, float] = {"A": 1.15, "B": 1.5, "C": 1.5, "D": 3.0}


class Uncertainty(Section):
    """P10–P90 half-widths; the main run uses them for the planning values of rules (P75, P25)."""

    rest_level_m: dict[Grade, NotNegative] = Field(
        default_factory=lambda: dict(REST_LEVEL_M), description="half-width, m, by grade"
    )
    drawdown_factor: dict[Grade, Positive] = Field(
        default_factory=lambda: dict(DRAWDOWN_FACTOR), description="× and ÷, by grade"
    )
    yield_factor: dict[Grade, Positive] = Field(
        default_factory=lambda: dict(YIELD_FACTOR),
        description="× and ÷, by grade; a yield from a prior counts as D",
    )
    solar_share: Share = Field(0.08, description="half-width of the range of a solar raster or weather file, share")

    @field_validator("rest_level_m", "drawdown_factor", "yield_factor")
    @classmethod
    def _complete(cls, value: dict[Grade, float], info: ValidationInfo) -> dict[Grade, float]:
        """Grades that the plan leaves out keep their default."""
        return {"rest_level_m": REST_LEVEL_M, "drawdown_factor": DRAWDOWN_FACTOR, "yield_factor": YIELD_FACTOR}[
            str(info.field_name)
        ] | value
