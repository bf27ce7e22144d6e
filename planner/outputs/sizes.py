"""What files of a large run leave out, in words: nothing is cut without being told."""

from __future__ import annotations

import pandas as pd

from planner.outputs.map.order import MOST_SITES
from planner.plan import Plan
from planner.texts import Said, said


def left_out(sites: pd.DataFrame, plan: Plan) -> list[Said]:
    """A sentence for each file of the plan that cannot hold all sites; none in a run of common size.

    sites  one row an inventory row
    """
    told = []
    if "map" in plan.output.files and len(sites) > MOST_SITES:
        told.append(said("sizes_map", listed=MOST_SITES, sites=len(sites)))
    if "workbook" in plan.output.files and len(sites) > plan.output.workbook_row_limit:
        told.append(said("sizes_workbook", listed=plan.output.workbook_row_limit))
    if "sheets" in plan.output.files:
        from planner.outputs.sheets.sheet_data import sheet_sites

        wanted = len(sheet_sites(sites[["inventory_row", "decision", "funding", "rank", "test_rank"]]))
        if wanted > plan.output.sheets_max:
            told.append(said("sizes_sheets", listed=plan.output.sheets_max, sites=wanted))
    return told
