"""What every file of a run is drawn from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from planner.catalogue.loader import Catalogue
from planner.outputs import shared
from planner.plan import LoadedPlan

if TYPE_CHECKING:
    import geopandas


@dataclass(frozen=True)
class Material:
    """The results of a run as its outputs get them; they draw and write, and change nothing here.

    plan       as read, its texts and file names unchecked by any output: untrusted
    catalogue  equipment and prices of the run
    sites      one row an inventory row, `inventory_row` a column, every column of the glossary that the run has
    checks     columns of Step.checks, sorted by inventory_row, rule, subject
    findings   row, site_id, column, rule, severity, old_value, new_value, action of each
    shown      columns of the inventory that the plan carries along, text by header, row by row as `sites`
    polygons   the areas of the plan on WGS 84, their names in `name_field`; None without [area]
    about      what is said on every output: programme, currency, price_year, run_id, date, version,
               counts (by decision), defaults_used, without_effect, cautions, notes, coarsen_m, budget, budget_steps
    lots       a row a lot, columns of lots.csv; None without [lots]
    scenarios  rows of the page's table, the plan itself first; empty without scenarios
    moves      a row a site and scenario that moves, columns of scenarios.csv
    weights    columns of weights.csv; None without weights
    """

    plan: LoadedPlan
    catalogue: Catalogue
    sites: pd.DataFrame
    checks: pd.DataFrame
    findings: list[dict[str, Any]]
    shown: pd.DataFrame
    polygons: geopandas.GeoDataFrame | None
    about: dict[str, Any]
    lots: pd.DataFrame | None = None
    scenarios: list[dict[str, Any]] = field(default_factory=list)
    moves: pd.DataFrame = field(default_factory=pd.DataFrame)
    weights: pd.DataFrame | None = None

    @property
    def name_field(self) -> str:
        """Column of `polygons` with their names."""
        return self.plan.plan.area.name_field if self.plan.plan.area is not None else ""

    def handed_on(self) -> Material:
        """The same for files that leave the house: positions on the plan's grid, no private text in findings."""
        grid_m = self.plan.plan.output.coarsen_m
        return replace(
            self,
            sites=shared.coarse_sites(self.sites, self.checks, grid_m),
            checks=shared.coarse_checks(self.checks, grid_m),
            findings=shared.shared_findings(self.findings, grid_m),
        )
