"""The bills of all sites with a set to be bought: bill.csv, a row a site and line, and bill_totals.csv, their sums.

Quantities and unit prices are those of the engine's own bill (`engine/cost.py`); amounts are rounded to cents, and a
line `rounding` holds what this leaves, so that the lines of a site add up to its capital cost to the cent. Every
amount is in the plan's currency of the plan's price year, first cost only. A line of the equipment boundary counts in
the whole scheme too; supervision, contingency and tax are those of the whole scheme.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planner.catalogue.loader import Catalogue
from planner.catalogue.quotes import ILLUSTRATIVE, USER
from planner.engine.cost import ITEMS
from planner.errors import InternalError
from planner.outputs.tables import cell_text
from planner.plan import Plan

BILL_COLUMNS = (
    "inventory_row", "site_id", "decision", "funding", "item", "size", "boundary", "quantity", "unit", "unit_price",
    "amount", "currency", "price_year", "price_item", "price_kind", "quoted_year",
)  # fmt: skip
TOTAL_COLUMNS = (
    "decision", "funding", "item", "size", "boundary", "sites", "quantity", "unit", "unit_price", "amount", "currency",
    "price_year", "price_item", "price_kind", "quoted_year",
)  # fmt: skip
KEYS = tuple(name for name in TOTAL_COLUMNS if name not in {"sites", "quantity", "unit_price", "amount"})
PLAN, NONE = "plan", ""  # kinds of lines without a price: keys of the plan, and the line that holds the roundings
BOUNDARY = {item: boundary for item, boundary, _ in ITEMS}
ORDER = (*BOUNDARY, "contingency", "tax", "rounding")
CENTS = 100.0
SITES_AT_ONCE = 10_000
TOLERANCE = 1e-6  # of a site's capital cost, between these lines and the engine's

Floats = NDArray[np.float64]
Texts = NDArray[np.object_]


class Line(NamedTuple):
    """One kind of line for all sites: what stands in its cells, an array or the same for all."""

    item: str  # of the engine's ITEMS, or contingency, tax, rounding
    size: Texts | str  # which of the catalogue: id, or what tells one from another
    quantity: Floats
    unit: str
    unit_price: Floats | float
    price_item: Texts | str  # row of the price book or id of the catalogue; key of the plan


def bill_rows(sites: pd.DataFrame, catalogue: Catalogue, plan: Plan) -> pd.DataFrame:
    """Every line that costs anything, ordered as `sites` and then as the bill.

    sites  the columns of sites.csv, with inventory_row; those with a new set and a capital cost are billed
    Returns BILL_COLUMNS: quantities and unit prices exact, amounts in whole cents.
    """
    bought = sites[(sites["engine_status"] == "designed") & sites["capital_cost"].notna()].reset_index(drop=True)
    lines = _lines(bought, catalogue, plan)
    exact = np.array([one.quantity * one.unit_price for one in lines]).reshape(len(lines), len(bought))
    capital = bought["capital_cost"].to_numpy(dtype="float64")
    total = exact.sum(axis=0)
    wrong = np.abs(total - capital) > TOLERANCE * capital
    if wrong.any():
        row = bought["inventory_row"][wrong.argmax()]
        raise InternalError(f"bill of row {row}: its lines are not its capital cost")
    amount = np.round(exact * CENTS) / CENTS
    rest = np.round((np.round(capital * CENTS) / CENTS - amount.sum(axis=0)) * CENTS) / CENTS
    lines.append(Line("rounding", "", np.ones(len(bought)), "site", rest, ""))
    amounts = [*amount, rest]
    frames = [_frame(one, amounts[place], bought, catalogue, plan, place) for place, one in enumerate(lines)]
    frame = pd.concat(frames, ignore_index=True)
    frame = frame[(frame["amount"] != 0.0) & (frame["quantity"] != 0.0)]
    return frame.sort_values(["at", "place"], kind="stable").reset_index(drop=True)[list(BILL_COLUMNS)]


def bill_totals(rows: pd.DataFrame) -> pd.DataFrame:
    """The lines of `bill_rows` summed by decision, funding, item and size: TOTAL_COLUMNS; `sites` have such a line."""
    groups = rows.groupby(list(KEYS), sort=True)
    summed = groups.agg(
        sites=("inventory_row", "nunique"), quantity=("quantity", "sum"), unit_price=("unit_price", "first"),
        amount=("amount", "sum"),
    ).reset_index()  # fmt: skip
    return _in_order(summed)


def together(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Totals of the parts of a table, each of other sites, as totals of the whole."""
    groups = pd.concat(parts, ignore_index=True).groupby(list(KEYS), sort=True)
    summed = groups.agg({"sites": "sum", "quantity": "sum", "unit_price": "first", "amount": "sum"}).reset_index()
    return _in_order(summed)


def _in_order(summed: pd.DataFrame) -> pd.DataFrame:
    """Whole cents, and the order of the bill. Every site pays the same unit price, but for the roundings."""
    summed["amount"] = np.round(summed["amount"] * CENTS) / CENTS
    rounding = summed["item"] == "rounding"
    summed["unit_price"] = summed["unit_price"].mask(rounding, summed["amount"] / summed["quantity"])
    summed["place"] = summed["item"].map({item: place for place, item in enumerate(ORDER)})
    summed = summed.sort_values(["decision", "funding", "place", "size", "price_item"], kind="stable")
    return summed.reset_index(drop=True)[list(TOTAL_COLUMNS)]


def write_bills(sites: pd.DataFrame, catalogue: Catalogue, plan: Plan, folder: Path) -> dict[str, Any]:
    """Write both files, some thousand sites at a time; returns what run.json tells of them."""
    totals = []
    with (folder / "bill.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(BILL_COLUMNS) + "\n")
        for start in range(0, max(len(sites), 1), SITES_AT_ONCE):
            rows = bill_rows(sites.iloc[start : start + SITES_AT_ONCE], catalogue, plan)
            totals.append(bill_totals(rows))
            file.writelines(_csv_lines(rows))
    whole = together(totals)
    with (folder / "bill_totals.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(TOTAL_COLUMNS) + "\n")
        file.writelines(_csv_lines(whole))
    by_kind = whole.groupby("price_kind")["amount"].sum()
    return {
        "boundary": "whole scheme, first cost",
        "capital": round(float(whole["amount"].sum()), 2),
        "illustrative": round(float(by_kind.get(ILLUSTRATIVE, 0.0)), 2),
        "user": round(float(by_kind.get(USER, 0.0)), 2),
        "contingency_and_tax": round(float(by_kind.get(PLAN, 0.0)), 2),
        "rounding": round(float(by_kind.get("", 0.0)), 2),
    }


def _csv_lines(rows: pd.DataFrame) -> Iterator[str]:
    """Amounts with two decimals, other numbers with ten digits; texts as in sites.csv: no formula, quoted if needed."""
    columns = []
    for name in rows.columns:
        if name == "amount":
            columns.append([f"{value:.2f}" for value in rows[name]])
        elif name in {"quantity", "unit_price"}:
            columns.append([_plain(value) for value in rows[name]])
        else:
            codes, words = pd.factorize(rows[name])
            columns.append(np.array([cell_text(str(word)) for word in words], dtype=object)[codes].tolist())
    return (",".join(cells) + "\n" for cells in zip(*columns, strict=True))


def _plain(value: float) -> str:
    """Ten significant digits, no exponent."""
    text = f"{value:.10g}"
    return f"{value:.12f}".rstrip("0").rstrip(".") if "e" in text else text


def _frame(
    line: Line, amount: Floats, bought: pd.DataFrame, catalogue: Catalogue, plan: Plan, place: int
) -> pd.DataFrame:
    rows = len(bought)
    names = pd.Series(np.full(rows, line.price_item) if isinstance(line.price_item, str) else line.price_item)
    quotes = catalogue.quotes
    kinds = {name: quotes[name].kind if name in quotes else (PLAN if name else NONE) for name in names.unique()}
    years = {name: quotes[name].price_year if name in quotes else 0 for name in kinds}
    return pd.DataFrame(
        {
            "inventory_row": bought["inventory_row"],
            "site_id": bought["site_id"],
            "decision": bought["decision"],
            "funding": bought["funding"],
            "item": line.item,
            "size": line.size,
            "boundary": BOUNDARY.get(line.item, "scheme"),
            "quantity": line.quantity,
            "unit": line.unit,
            "unit_price": line.unit_price,
            "amount": amount,
            "currency": plan.programme.currency,
            "price_year": plan.programme.price_year,
            "price_item": names.astype("str"),
            "price_kind": names.map(kinds).astype("str"),
            "quoted_year": names.map(years).map(lambda year: str(year) if year else "").astype("str"),
            "at": np.arange(rows),
            "place": place,
        }
    )


def _lines(bought: pd.DataFrame, c: Catalogue, plan: Plan) -> list[Line]:
    """The lines in the order of the engine's items, then contingency and tax."""
    lines = [*_equipment(bought, c, plan), *_scheme(bought, c)]
    one, currency, share = np.ones(len(bought)), plan.programme.currency, c.prices.supervision_share
    watched = _sum(lines)
    lines.append(Line("supervision", "fixed part", one, "site", c.prices.supervision_site, "supervision_site"))
    lines.append(Line("supervision", "share", watched, currency, share, "supervision_share"))
    lines.append(Line("contingency", "share", _sum(lines), currency, plan.costs.contingency, "costs.contingency"))
    lines.append(Line("tax", "share", _sum(lines), currency, plan.costs.tax, "costs.tax"))
    return lines


def _sum(lines: list[Line]) -> Floats:
    total: Floats = np.sum([one.quantity * one.unit_price for one in lines], axis=0)
    return total


def _equipment(bought: pd.DataFrame, c: Catalogue, plan: Plan) -> Iterator[Line]:
    p, one, currency = c.prices, np.ones(len(bought)), plan.programme.currency
    ids = {name: bought[name].to_numpy(dtype=object) for name in ("pump_id", "drive_id", "module_id", "riser_id")}
    pump, module = _places(c.pump_ids, ids["pump_id"]), _places(c.module_ids, ids["module_id"])
    riser = _places(c.riser_ids, ids["riser_id"])
    cable = np.searchsorted(c.cables.mm2, _column(bought, "cable_mm2") - 1e-9)
    watts, family = _column(bought, "array_wp"), c.pumps.family[pump]
    pieces = _column(bought, "modules_series") * _column(bought, "modules_parallel")
    piece_price = c.modules.price_wp[module] * c.modules.rated_wp[module]
    first = Line("modules", ids["module_id"], pieces, "each", piece_price, ids["module_id"])
    second = Line("pump and motor", ids["pump_id"], one, "each", c.pumps.pump_price[pump], ids["pump_id"])
    drives = [f"{name}, {watts / 1000:g} kW" for name, watts in zip(ids["drive_id"], bought["motor_w"], strict=True)]
    third = Line("drive", np.array(drives, dtype=object), one, "each", c.pumps.drive_price[pump], ids["drive_id"])
    yield from (first, second, third)
    mounting, mounting_price = "mounting_wp", p.mounting_wp
    if plan.array.mounting == "single_axis":
        mounting, mounting_price = "mounting_tracker_wp", p.mounting_tracker_wp
    yield Line("mounting", plan.array.mounting, watts, "Wp", mounting_price, mounting)
    yield Line("array wiring", "", watts, "Wp", p.dc_wiring_wp, "dc_wiring_wp")
    yield Line("isolators and fuses", "", one, "site", p.dc_wiring_site, "dc_wiring_site")
    yield Line(
        "riser", ids["riser_id"], _column(bought, "intake_depth_m"), "m", c.risers.price_m[riser], ids["riser_id"]
    )
    cables = np.array(c.cable_ids, dtype=object)[cable]
    yield Line("motor cable", cables, _column(bought, "motor_cable_m"), "m", c.cables.price_m[cable], cables)
    for number, valves in enumerate(("relief_and_check_set", "check_valve_set", "suction_set")):  # as FAMILIES
        fitted = (family == number).astype("float64")
        yield Line("valves or suction set", valves, fitted, "set", getattr(p, valves), valves)
    yield Line("dry-run and level switch", "", one, "set", p.dry_run_and_level_switch, "dry_run_and_level_switch")
    sleeves = bought["sleeve"].to_numpy(dtype="float64")
    yield Line("cooling sleeve", "", sleeves, "each", p.cooling_sleeve, "cooling_sleeve")
    yield Line("installation", "crew", one, "site", p.installation_site, "installation_site")
    yield Line(
        "installation", "share", _sum([first, second, third]), currency, p.installation_share, "installation_share"
    )
    helical = (family == 0).astype("float64")
    yield Line("installation", "helical rotor", helical, "site", p.installation_helical, "installation_helical")


def _scheme(bought: pd.DataFrame, c: Catalogue) -> Iterator[Line]:
    p, one, watts = c.prices, np.ones(len(bought)), _column(bought, "array_wp")
    delivery_ids = bought["delivery_id"].to_numpy(dtype=object)
    delivery = c.deliveries.price_m[_places(c.delivery_ids, delivery_ids)]
    yield Line("delivery pipe", delivery_ids, _column(bought, "delivery_m"), "m", delivery, delivery_ids)
    tank = np.searchsorted(c.tanks.volume_m3, _column(bought, "tank_m3") - 1e-9)
    tanks = np.array(c.tank_ids, dtype=object)[tank]
    single = np.array([c.tank_ids.index(name) for name in c.tank_ids])[tank]  # whole multiples stand side by side
    count = np.round(c.tanks.volume_m3[tank] / c.tanks.volume_m3[single])
    yield Line("tank on stand", tanks, count, "each", c.tanks.price[single], tanks)
    yield Line("fence", "fixed part", one, "site", p.fence_site, "fence_site")
    yield Line("fence", "by the array", watts, "Wp", p.fence_wp, "fence_wp")
    yield Line("tap stands", "", _column(bought, "tap_stands"), "each", p.tap_stand, "tap_stand")
    yield Line("wellhead", "", one, "site", p.wellhead_civil, "wellhead_civil")
    yield Line("earthing and lightning", "", one, "site", p.earthing_lightning, "earthing_lightning")
    yield Line("pumping test", "", one, "site", p.pumping_test, "pumping_test")
    yield Line("water-quality test", "", one, "site", p.water_quality_test, "water_quality_test")
    yield Line("transport", "", 2.0 * _column(bought, "road_km"), "km", p.transport_km, "transport_km")
    yield Line("theft protection", "", one, "site", p.anti_theft_site, "anti_theft_site")
    yield Line("training", "", one, "site", p.training_site, "training_site")


def _column(bought: pd.DataFrame, name: str) -> Floats:
    values: Floats = bought[name].to_numpy(dtype="float64")
    return values


def _places(ids: tuple[str, ...], names: Texts) -> NDArray[np.int64]:
    known = {name: place for place, name in enumerate(ids)}
    return np.array([known[name] for name in names], dtype=np.int64)
