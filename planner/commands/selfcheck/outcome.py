"""What a check found, and how it is said."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

__all__ = ["Check", "Grade"]

Grade = Literal["ok", "note", "FAIL"]


@dataclass(frozen=True)
class Check:
    """One check of the installation.

    grade    ok; note, which works but should be looked at; FAIL, with which results cannot be trusted
    found    one line
    details  lines of failures and of what to do
    """

    name: str
    grade: Grade
    found: str
    details: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The check as it is printed, details below it."""
        return [f"{self.grade:4}  {self.name}: {self.found}", *(f"      {line}" for line in self.details)]
