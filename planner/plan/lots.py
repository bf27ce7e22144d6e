"""The section [lots] of a plan: how the sites of the programme are grouped for tender."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field, model_validator

from planner.plan.section import NotNegative, Positive, Section, Share


def _with_names(value: object) -> object:
    """Positions alone get names by their place in the list."""
    if isinstance(value, list | tuple) and all(isinstance(one, list | tuple) for one in value):
        return {f"base {number}": one for number, one in enumerate(value, start=1)}
    if isinstance(value, dict):
        return value
    raise ValueError('positions: [[latitude, longitude], …], or with names: { "town" = [latitude, longitude] }')


Position = tuple[Annotated[float, Field(ge=-90, le=90)], Annotated[float, Field(ge=-180, le=180)]]
Bases = Annotated[dict[str, Position], BeforeValidator(_with_names)]


class Lots(Section):
    """Off unless one of count, value_max, sites_max and bases is written."""

    count: int | None = Field(
        None,
        description="number of lots; empty: as few as value_max, sites_max and the number of bases let",
        ge=1,
        le=200,
    )
    value_max: Positive | None = Field(None, description="highest capital cost of a lot, plan currency")
    sites_max: int | None = Field(None, description="most sites of a lot", ge=1)
    bases: Bases = Field(
        default_factory=dict,
        description="service bases, [[latitude, longitude], …] or named; empty: found among the sites",
    )
    value_tolerance: Share = Field(
        0.15, description="share by which the capital cost of a lot may differ from the mean lot's (judgement)"
    )
    radius_max_km: Positive | None = Field(None, description="longest drive from the base to a site of its lot, km")
    pump_type_km: NotNegative = Field(
        10.0, description="driving that one pump type less in a lot is worth, km one way, summed over sites (judgement)"
    )

    @property
    def wanted(self) -> bool:
        """Whether sites are grouped at all."""
        return bool(self.count or self.value_max or self.sites_max or self.bases)

    @model_validator(mode="after")
    def _complete(self) -> Lots:
        if self.model_fields_set and not self.wanted and not self._all_default():
            raise ValueError("count, value_max, sites_max or bases beside the other keys")
        places: dict[tuple[float, float], str] = {}
        for name, place in self.bases.items():
            if not name.strip():
                raise ValueError("a name for each base")
            if place in places:
                raise ValueError(f"bases at different places; at one place are {places[place]} and {name}")
            places[place] = name
        return self

    def _all_default(self) -> bool:
        """The defaults may be written out, as `planner draft` does."""
        fields = type(self).model_fields
        return all(getattr(self, name) == fields[name].get_default(call_default_factory=True) for name in fields)
