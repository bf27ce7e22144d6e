"""The section [uncertainty] of a plan: how wide what is known may be wrong."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from planner.plan.section import NotNegative, Positive, Section, Share

Grade = Literal["A", "B", "C", "D"]

REST_LEVEL_M: dict[Grade, float] = {"A": 1.0, "B": 2.0, "C": 3.0, "D": 10.0}
DRAWDOWN_FACTOR: dict[Grade, float] = {"A": 1.3, "B": 2.5, "C": 2.5, "D": 2.5}
YIELD_FACTOR: dict[Grade, float] = {"A": 1.15, "B": 1.5, "C": 1.5, "D": 3.0}
DRAWS = 32  # where the plan names no number
MOST_DRAWN = 5000  # sites; a larger table is drawn only where the plan names a number


def _in_order(ends: tuple[float, float]) -> tuple[float, float]:
    if ends[0] > ends[1]:
        raise ValueError("the lower end first")
    return ends


Factor = Annotated[float, Field(ge=1, le=100)]
Swing = Annotated[tuple[NotNegative, NotNegative], AfterValidator(_in_order)]
LossShare = Annotated[float, Field(ge=0, le=0.9)]
LossRange = Annotated[tuple[LossShare, LossShare], AfterValidator(_in_order)]


class Uncertainty(Section):
    """How wide the inputs may be wrong, P10 to P90 unless said otherwise, and how often they are drawn.

    The main run uses levels, drawdown and yield for the planning values of rules (P75, P25). Every default is
    judgement. The median of each input is the value of the plain run. Levels follow a normal law, factors a lognormal
    one; what is given by two ends (season's swing, well loss) lies evenly on either side of its central value.
    """

    draws: int | None = Field(
        None,
        description=f"draws of all that is not known; empty: {DRAWS}, and 0 above {MOST_DRAWN} sites that are drawn",
        ge=0,
        le=100_000,
    )
    seed: int = Field(1, description="begins the sequences of the draws", ge=0, le=2**31 - 1)

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
    solar_common_share: Share = Field(
        0.5, description="share of the sun's variance that all sites have in common; the rest is each site's own"
    )
    well_loss_range: LossRange = Field((0.0, 0.5), description="well loss as a share of the tested drawdown, ends")
    season_swing_range_m: Swing = Field((0.0, 10.0), description="fall of the rest level in a year, ends, m")
    decline_half_width_m_year: NotNegative = Field(
        0.05, description="half-width of the long-term fall of the rest level, m a year, in common"
    )
    demand_common_factor: Factor = Field(1.2, description="× and ÷ on the demand of all sites together")
    demand_site_factor: Factor = Field(1.2, description="× and ÷ on each site's own")
    soiling_factor: Factor = Field(1.5, description="× and ÷ on the light lost to dust")
    ageing_factor: Factor = Field(1.5, description="× and ÷ on the loss of array power a year")
    slip_factor: Factor = Field(1.5, description="× and ÷ on the slip that wear adds to a helical rotor")
    life_factor: Factor = Field(1.3, description="× and ÷ on all lives, in years and in hours")
    upkeep_factor: Factor = Field(1.4, description="× and ÷ on upkeep")
    price_common_factor: Factor = Field(1.15, description="× and ÷ on all prices together")
    price_part_factor: Factor = Field(
        1.1, description="× and ÷ on the prices of each kind: array, pumps by family, pipes, tank, works; in common"
    )
    price_site_factor: Factor = Field(1.1, description="× and ÷ on all prices at a site")

    @field_validator("rest_level_m", "drawdown_factor", "yield_factor")
    @classmethod
    def _complete(cls, value: dict[Grade, float], info: ValidationInfo) -> dict[Grade, float]:
        """Grades that the plan leaves out keep their default."""
        return {"rest_level_m": REST_LEVEL_M, "drawdown_factor": DRAWDOWN_FACTOR, "yield_factor": YIELD_FACTOR}[
            str(info.field_name)
        ] | value
