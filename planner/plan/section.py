"""What all sections of a plan file have in common."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator

Share = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


# Larger than any budget in any currency, and products of several still are numbers.
MOST = 1e18
ANY_SIZE = ("nodata",)  # what a file holds as its mark


class Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _number_of_this_world(cls, value: Any, info: ValidationInfo) -> Any:
        """true is no 1, and a number beyond all measure is a slip of the pen that no result survives."""
        field = cls.model_fields.get(info.field_name or "")
        kinds = () if field is None else (field.annotation, *get_args(field.annotation))
        if any(isinstance(one, type) and issubclass(one, Section) for one in kinds):
            return value  # a section looks at its own
        for one in _leaves(value):
            if isinstance(one, bool) and bool not in kinds:
                raise ValueError("a number or a text, not true or false")
            number = isinstance(one, int | float) and info.field_name not in ANY_SIZE
            if number and abs(one) != math.inf and abs(one) > MOST:
                raise ValueError(f"a number of at most {MOST:g}")
        return value


def _leaves(value: Any) -> Iterator[Any]:
    """A value, or the plain values of a list or table; those of tables in tables are looked at by their own section."""
    if isinstance(value, list | tuple):
        yield from value
    elif isinstance(value, dict):
        yield from value.values()
    else:
        yield value
