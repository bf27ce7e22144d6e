"""The section [testing] of a plan: pumping tests before sets are bought, and what would change a decision."""

from __future__ import annotations

from pydantic import Field

from planner.plan.section import NotNegative, Positive, Section, Share


class Testing(Section):
    """What a test costs is the price book's `pumping_test`, with supervision, contingency and tax."""

    budget: NotNegative | None = Field(None, description="for pumping tests; empty: tests are ranked, not funded")
    campaign_tests: int = Field(5, description="tests from which the price of a campaign holds (our choice)", ge=1)
    campaign_share: Share = Field(
        0.55, description="price of a test in a campaign ÷ of one mobilised singly (our choice)"
    )
    water_value_m3: Positive | None = Field(
        None, description="worth of a cubic metre; empty: P75 of the cost per m3 of the sites that could be equipped"
    )
    switch_values: bool | None = Field(
        None, description="look for what would change each decision; empty: up to 5 000 sites"
    )
