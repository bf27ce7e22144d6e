"""The section [ranking] of a plan: the order of the sites to equip."""

from __future__ import annotations

from pydantic import Field

from planner.plan.section import Section


class Ranking(Section):
    allow_prior_equip: bool = Field(False, description="let sites that rest on regional priors be `equip`")
