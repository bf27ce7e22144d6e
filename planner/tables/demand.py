"""What each site must give: m3 a day by month, at the tank inlet, in the design year.

base = stated demand, else people × norm + livestock × norm + irrigation. Then D_m = base_m × (1 + g)^design_year ÷
(1 − losses), with g = 0 where the demand is stated: a stated demand is the demand to design for. The season's factor
is on people, livestock and what is stated. Irrigation comes by month from climate and crop, or is the plan's constant,
which has the season's factor too. Losses lie between tank inlet and tap. Geometric growth is the usual forecast of
rural water supply manuals; the norms and the growth are the plan's.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.glossary import monthly
from planner.plan import LoadedPlan
from planner.tables import irrigation
from planner.tables.step import Finding, Step, frame_of, rule_rows

Floats = NDArray[np.float64]

READS: tuple[str, ...] = (
    "row_kind",
    "longitude",
    "position_status",
    "people",
    "livestock_tlu",
    "demand_m3_day",
    "people_nearest",
    *irrigation.READS,
)
WRITES: tuple[str, ...] = (
    "people_counted",
    "people_source",
    "demand_source",
    "people_share",
    *monthly("people_share"),
    "storage_share",
    *monthly("et0_mm_day"),
    "crop_used",
    "planting_month_used",
    *monthly("irrigation_m3_day"),
    *monthly("demand"),
    "demand_growth",
)


def run(sites: pd.DataFrame, plan: LoadedPlan) -> Step:
    """Demand and the people behind it, for every row.

    Rows that are no sites stay empty, but for the storage share. A demand that is not above zero in any month cannot be
    designed for: it counts as unknown, as does irrigation without sun, and the site fails the rule `demand_unknown`.
    """
    demand = plan.plan.demand
    is_site = sites["row_kind"] == "site"
    stated = is_site & (sites["demand_m3_day"] > 0)
    people, people_source = _people(sites, is_site)
    et0_mm_day = irrigation.reference_mm_day(sites, plan)
    watered = _watering(sites, is_site & ~stated, et0_mm_day, plan)

    season = np.array(demand.season)[None, :]
    of_people = _column(people.fillna(0.0) * demand.norm_l_person_day / 1000.0) * season
    of_stock = _column(sites["livestock_tlu"].fillna(0.0) * demand.livestock_l_tlu_day / 1000.0) * season
    of_land = np.where(_column(sites["irrigated_ha"] > 0), watered.m3_day, 0.0)
    base = np.where(_column(stated), _column(sites["demand_m3_day"]) * season, of_people + of_stock + of_land)
    known = is_site & (base > 0).any(axis=1) & np.isfinite(base).all(axis=1)
    base = np.where(_column(known), base, np.nan)

    growth = pd.Series(np.where(stated, 0.0, demand.growth), index=sites.index).where(is_site)
    design = base * _column((1.0 + growth) ** demand.design_year / (1.0 - demand.losses))
    # a stated demand is taken as people's: nothing in the inventory splits it
    share = np.where(_column(stated), 1.0, _parts(of_people, base))
    counted = of_people.sum(axis=1) > 0
    source = np.where(~known, "", np.where(stated, "stated", np.where(counted, "people", "other")))
    columns = frame_of(
        {
            "people_counted": people,
            "people_source": people_source,
            "demand_source": pd.Series(source, index=sites.index, dtype="str"),
            "people_share": share.min(axis=1),
            **dict(zip(monthly("people_share"), share.T, strict=True)),
            "storage_share": _storage_share(base, of_stock, of_land, stated, plan),
            **dict(zip(monthly("et0_mm_day"), et0_mm_day.T, strict=True)),
            "crop_used": watered.crop,
            "planting_month_used": watered.planting_month,
            **dict(zip(monthly("irrigation_m3_day"), watered.m3_day.T, strict=True)),
            **dict(zip(monthly("demand"), design.T, strict=True)),
            "demand_growth": growth,
        },
        WRITES,
        sites.index,
    )
    year = pd.Series(base @ irrigation.MONTH_DAYS / irrigation.MONTH_DAYS.sum(), index=sites.index)
    checks = rule_rows(sites.index[is_site], "demand_unknown", known, value=year, operator=">", limit=0.0, unit="m3/d")
    from_raster = sites.index[people_source == "raster"]
    told = zip(from_raster.tolist(), sites["site_id"][from_raster].tolist(), people[from_raster].tolist(), strict=True)
    findings = [
        Finding(row, site_id, "people", "people_from_raster", "info", new_value=f"{number:.0f}")
        for row, site_id, number in told
    ]
    return Step(columns, watered.findings + findings, checks)


def _watering(sites: pd.DataFrame, counts: pd.Series, et0_mm_day: Floats, plan: LoadedPlan) -> irrigation.Irrigation:
    """Irrigation of the sites where it counts: by month, or the plan's constant with the season's factor."""
    constant = plan.plan.demand.irrigation_m3_ha_day
    area = sites["irrigated_ha"].where(counts & (sites["irrigated_ha"] > 0))
    if constant is None:
        return irrigation.irrigation(sites.assign(irrigated_ha=area), et0_mm_day, plan)
    none = pd.Series("", index=sites.index, dtype="str")
    m3_day = _column(area * constant) * np.array(plan.plan.demand.season)
    return irrigation.Irrigation(m3_day, none, np.full(len(sites), np.nan), [])


def _parts(part: Floats, whole: Floats) -> Floats:
    """Part over whole by month (n, 12); where nothing is asked in a month, whether there is any part in the year."""
    some = np.broadcast_to((part > 0).any(axis=1, keepdims=True), part.shape)
    shares = np.divide(part, whole, out=some.astype("float64"), where=whole > 0)
    return np.where(np.isnan(whole), np.nan, shares)


def _storage_share(base: Floats, of_stock: Floats, of_land: Floats, stated: pd.Series, plan: LoadedPlan) -> Floats:
    """Share of a day that the tank must hold (n,): of each use, weighted by the month with the largest demand.

    People draw in the morning and the evening, livestock by day, and irrigation goes by turn while the sun shines.
    Where the demand is stated or not known, people's.
    """
    demand = plan.plan.demand
    month = np.where(np.isnan(base), -1.0, base).argmax(axis=1)[:, None]
    whole, stock, land = (np.take_along_axis(each, month, axis=1)[:, 0] for each in (base, of_stock, of_land))
    split = ~stated.to_numpy() & (whole > 0)
    less = stock * (demand.storage_share - demand.storage_share_livestock)
    less = less + land * (demand.storage_share - demand.storage_share_irrigation)
    return demand.storage_share - np.divide(less, whole, out=np.zeros(whole.size), where=split)


def _column(values: pd.Series) -> NDArray[np.generic]:
    """A column to go with twelve months, (n, 1)."""
    return np.asarray(values)[:, None]


def _people(sites: pd.DataFrame, is_site: pd.Series) -> tuple[pd.Series, pd.Series]:
    """People and their source: the inventory, else the population nearest to the site if there is any."""
    written = is_site & sites["people"].notna()
    nearest = is_site & ~written & (sites["people_nearest"] > 0)
    people = sites["people"].where(written, sites["people_nearest"].where(nearest))
    source = pd.Series(np.where(written, "inventory", np.where(nearest, "raster", "")), index=sites.index, dtype="str")
    return people, source
