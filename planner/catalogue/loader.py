"""Equipment and prices: read, checked, converted to the plan's currency, and laid out for the kernels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from planner.catalogue.arrays import Cables, Drives, Lives, Modules, Pipes, Prices, Pumps, Tanks
from planner.plan import LoadedPlan

__all__ = ["Catalogue", "PriceRow", "load_catalogue"]


class PriceRow(NamedTuple):
    """A line of the price list in plan currency; `life_y` is 0 for what does not wear out."""

    item: str
    unit: str
    price: float
    life_y: float
    boundary: str  # equipment, scheme
    residual: bool  # whether unused life counts at the end of the horizon
    source: str
    note: str


@dataclass(frozen=True)
class Catalogue:
    """Everything that can be bought, in plan currency. Ids are in the order of their arrays."""

    pumps: Pumps
    pump_ids: tuple[str, ...]
    drives: Drives
    drive_ids: tuple[str, ...]
    modules: Modules
    module_ids: tuple[str, ...]
    risers: Pipes
    riser_ids: tuple[str, ...]
    deliveries: Pipes
    delivery_ids: tuple[str, ...]
    cables: Cables
    tanks: Tanks
    prices: Prices
    lives: Lives
    price_rows: tuple[PriceRow, ...]  # the price list as read, for bills and reports
    sources: dict[str, str]  # id or item → source
    digest: str  # sha256 of the tables used and the plan keys that act on them


def load_catalogue(plan: LoadedPlan) -> Catalogue:
    """Read the tables the plan names, or the generic ones; raises CatalogueError with every fault."""
    raise NotImplementedError
