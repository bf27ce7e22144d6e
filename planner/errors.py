"""Everything that can go wrong, in one tree.

PlannerError
├── InputError (ValueError)        the user's input is wrong: exit status 2
│   ├── PlanError                  plan file
│   ├── InventoryError             inventory table
│   ├── AreaError                  boundary polygons
│   ├── RasterError                a raster
│   ├── WeatherError               a file of hourly weather
│   ├── CatalogueError             pumps, prices and other equipment tables
│   ├── ClusterError               other machines that were asked to compute
│   └── OutputError                the folder that results go to
└── InternalError (RuntimeError)   a promise between our own parts is broken: exit status 3

All faults of one input are collected first and raised once, so that a user mends a file in one round.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault: the file, the place in it, what was found there and what would be right."""

    file: str
    place: str
    found: str
    expected: str

    def __str__(self) -> str:
        return f"{self.file}: {self.place}: found {self.found}; expected {self.expected}"


class PlannerError(Exception):
    """Base of all errors that this package raises on purpose."""


class InputError(PlannerError, ValueError):
    """The user's input is wrong; `faults` names every place."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class PlanError(InputError):
    """The plan file cannot be read, has an unknown key or a value out of range."""


class InventoryError(InputError):
    """The inventory cannot be read, or its mapped columns or units do not fit it."""


class AreaError(InputError):
    """The boundary file cannot be used."""


class RasterError(InputError):
    """A raster is missing, without CRS, in a wrong unit, or away from the area."""


class WeatherError(InputError):
    """A file of hourly weather cannot be read, lacks hours, or does not agree with the sun."""


class CatalogueError(InputError):
    """A row of an equipment or price table is wrong."""


class ClusterError(InputError):
    """A cluster that was asked for cannot be used, or is gone."""


class OutputError(InputError):
    """The output folder is not ours, or a file in it is held open."""


class InternalError(PlannerError, RuntimeError):
    """A promise between our own parts is broken: a defect of ours, never of the user's files."""


def printable(text: str) -> str:
    """Text that cannot steer a terminal: what an inventory's names may hold of control characters is spelled out."""
    return "".join(one if one.isprintable() or one == "\n" else f"\\x{ord(one):02x}" for one in text)


def raise_if(faults: list[Fault], error: type[InputError]) -> None:
    """Raise `error` with all faults when there are any."""
    if faults:
        raise error(faults)
