"""Equipment and prices: read, checked, converted to the plan's currency, and laid out for the kernels.

The tables beside this file are a generic, illustrative catalogue. `[equipment] pumps` replaces the pumps with
a table of the same columns (all families in one file); `[equipment] pump_points` gives measured points of some of
them, whose curves then stand in place of the general form (`measured.py`). `[equipment] prices` replaces single
prices: an `item` is one of prices.csv or the id of a module, pipe, cable, tank or drive (for a drive a flat price,
whatever the motor). What it leaves out keeps its illustrative price; `quotes` says which is which.
"""

from __future__ import annotations

import difflib
import hashlib
import json
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import NamedTuple

from planner.catalogue.arrays import FAMILIES, Cables, Drives, Lives, Modules, Pipes, Prices, Pumps, Tanks
from planner.catalogue.equipment import (
    LIFE,
    PRICE,
    Money,
    Record,
    arrays_of,
    cable_records,
    drive_records,
    module_records,
    pipe_records,
    pump_records,
    tank_records,
)
from planner.catalogue.measured import Points, PumpFit, read_points, strangers
from planner.catalogue.quotes import SHARES, Quote, quote_of
from planner.catalogue.reading import MOST_BYTES, NEAREST_TOLD, Row, Table, read_table, require_columns
from planner.errors import CatalogueError, Fault, raise_if
from planner.plan import LoadedPlan

__all__ = ["Catalogue", "PriceRow", "PumpFit", "load_catalogue"]

PUMP_TABLES = ("pumps_helical.csv", "pumps_centrifugal.csv")
ID_COLUMN = {  # our tables, and the column of each that holds unique ids
    "pumps_helical.csv": "pump_id",
    "pumps_centrifugal.csv": "pump_id",
    "drives.csv": "drive_id",
    "modules.csv": "module_id",
    "pipes.csv": "pipe_id",
    "cables.csv": "cable_id",
    "tanks.csv": "tank_id",
    "prices.csv": "item",
}


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
    cable_ids: tuple[str, ...]
    tanks: Tanks
    tank_ids: tuple[str, ...]  # whole multiples of the largest have its id
    prices: Prices
    lives: Lives
    price_rows: tuple[PriceRow, ...]  # prices.csv with the plan's replacements, for bills and reports
    fits: dict[str, PumpFit]  # by pump_id, of pumps with measured points
    sources: dict[str, str]  # id or item → source, else the file it stands in
    quotes: dict[str, Quote]  # id or item → where its price comes from; pumps of the plan's families only
    digest: str  # sha256 of the tables used and the plan keys that act on them


def load_catalogue(plan: LoadedPlan) -> Catalogue:
    """Read the tables that the plan names, else the generic ones; raises CatalogueError with every fault."""
    faults: list[Fault] = []
    money = Money(plan)
    equipment = plan.plan.equipment
    names = [name for name in ID_COLUMN if not (equipment.pumps and name in PUMP_TABLES)]
    own = {name: _own_table(name, faults) for name in names}
    pump_tables = [own[name] for name in PUMP_TABLES if name in own]
    read = list(own.values())
    if equipment.pumps:
        pump_tables = [_user_table(plan, equipment.pumps, "pump_id", faults)]
        read += pump_tables
    points: dict[str, Points] = {}
    texts = []
    if equipment.pump_points:
        measured = _user_table(plan, equipment.pump_points, "pump_id", faults, unique=False)
        points = read_points(measured, faults)
        strangers(measured, {row.label for table in pump_tables for row in table.rows}, str(equipment.pumps), faults)
        texts = [measured.text]
    replaced: dict[str, Row] = {}
    if equipment.prices:
        book = _replace_prices(plan, equipment.prices, own, faults)
        replaced = {row.label: row for row in book.rows}
        read.append(book)

    drives = drive_records(own["drives.csv"], money)
    pumps = [pump for table in pump_tables for pump in pump_records(table, drives, money, points, faults)]
    pumps = sorted((pump for pump in pumps if FAMILIES[pump["family"]] in equipment.families), key=_id)
    modules = module_records(own["modules.csv"], money)
    pipes = pipe_records(own["pipes.csv"], money)
    cables = cable_records(own["cables.csv"], money)
    tanks = tank_records(own["tanks.csv"], money, faults)
    price_rows = _price_rows(own["prices.csv"], money)
    faults += money.faults()
    if not pumps and not faults:
        place, found = "[equipment] families", ", ".join(equipment.families)
        faults.append(Fault(str(plan.path), place, found, "a family of which there is a pump"))
    raise_if(faults, CatalogueError)

    risers = [pipe for pipe in pipes if pipe["use"] == "riser"]
    deliveries = [pipe for pipe in pipes if pipe["use"] == "delivery"]
    by_item = {row.item: row for row in price_rows}
    priced = [row for name, table in own.items() if name not in PUMP_TABLES for row in table.rows]
    in_use = set(_ids(pumps))
    priced += [row for table in pump_tables for row in table.rows if row.label in in_use]
    return Catalogue(
        pumps=arrays_of(Pumps, pumps),
        pump_ids=_ids(pumps),
        drives=arrays_of(Drives, drives),
        drive_ids=_ids(drives),
        modules=arrays_of(Modules, modules),
        module_ids=_ids(modules),
        risers=arrays_of(Pipes, risers),
        riser_ids=_ids(risers),
        deliveries=arrays_of(Pipes, deliveries),
        delivery_ids=_ids(deliveries),
        cables=arrays_of(Cables, cables),
        cable_ids=_ids(cables),
        tanks=arrays_of(Tanks, tanks),
        tank_ids=_ids(tanks),
        prices=Prices(*(by_item[item].price for item in Prices._fields)),
        lives=Lives(*(by_item[item].life_y for item in Lives._fields)),
        price_rows=price_rows,
        fits={_id(pump): pump["fit"] for pump in pumps if pump["fit"] is not None},
        sources={row.label: row.cells.get("source") or row.file for table in read for row in table.rows},
        quotes=_quotes(priced, replaced),
        digest=_digest(plan, [*(table.text for table in read), *texts]),
    )


def _id(record: Record) -> str:
    return str(record["id"])


def _ids(records: list[Record]) -> tuple[str, ...]:
    return tuple(_id(record) for record in records)


def _own_table(name: str, faults: list[Fault]) -> Table:
    return read_table(files("planner.catalogue").joinpath(name).read_bytes(), name, ID_COLUMN[name], faults)


def _user_table(plan: LoadedPlan, name: str, key: str, faults: list[Fault], *, unique: bool = True) -> Table:
    try:
        with plan.resolve(name).open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        faults.append(Fault(name, "file", str(error.strerror or error), "a readable file"))
        return Table(name, "")
    table = read_table(data, name, key, faults, unique=unique)
    require_columns(table, [key], faults)
    return table


def _replace_prices(plan: LoadedPlan, name: str, own: dict[str, Table], faults: list[Fault]) -> Table:
    """Put the prices of the user's book into the rows of our tables, after checking each of its rows."""
    book = _user_table(plan, name, "item", faults)
    require_columns(book, ("unit", "price", "currency", "price_year"), faults)
    tables = [table for table in own.values() if table.file not in PUMP_TABLES]
    targets = {row.label: row for table in tables for row in table.rows}
    for row in book.rows:
        if row.label in targets:
            _replace_price(row, targets[row.label])
        elif row.label:
            near = difflib.get_close_matches(row.label, targets, n=1, cutoff=0.6) if len(faults) < NEAREST_TOLD else []
            expected = "an item of the price list, or the id of a module, pipe, cable, tank or drive"
            row.fault("item", repr(row.label), expected + (f"; the nearest is {near[0]!r}" if near else ""))
    return book


def _replace_price(row: Row, target: Row) -> None:
    before = len(row.faults)
    of_drive = "drive_id" in target.cells
    unit = "each" if of_drive else target.cells["unit"]
    row.word("unit", [unit])
    row.number_in("price", *(_price_range(unit) if "item" in target.cells else PRICE))
    if unit not in SHARES:
        row.money()
    life = row.cells.get("life_y", "")
    if life and not target.cells["life_y"]:
        row.fault("life_y", life, "nothing: this item does not wear out")
    elif life:
        row.number_in("life_y", *LIFE)
    for column in ("boundary", "residual"):  # what an item is stays: only its price and life are replaced
        if row.cells.get(column):
            row.word(column, [target.cells.get(column, "")])
    if len(row.faults) > before or not {"unit", "price", "currency", "price_year"} <= set(row.cells):
        return
    price = row.cells["price"]
    taken = {"price_base": price, "price_per_kw": "0"} if of_drive else {"price": price}
    taken |= {name: row.cells.get(name, "") for name in ("currency", "price_year", "source", "note")}
    taken |= {"life_y": life} if life else {}
    target.cells = {**target.cells, **taken}


def _quotes(priced: list[Row], replaced: dict[str, Row]) -> dict[str, Quote]:
    """The quote of every price in use; a share of the user's has the unit of the item it replaces."""
    found = {}
    for row in priced:
        mine = replaced.get(row.label)
        found[row.label] = quote_of(replace(row, file=mine.file) if mine else row, ID_COLUMN)
    return found


def _price_rows(table: Table, money: Money) -> tuple[PriceRow, ...]:
    found = []
    for row in table.rows:
        cells = row.cells
        factor = 1.0 if cells["unit"] in SHARES else money.factor(row)
        price = factor * row.number_in("price", *_price_range(cells["unit"]))
        life = row.number_in("life_y", *LIFE) if cells["life_y"] else 0.0
        boundary = row.word("boundary", ("equipment", "scheme"))
        residual = row.word("residual", ("yes", "no")) == "yes"
        words = (cells["source"], cells["note"])
        found.append(PriceRow(row.label, cells["unit"], price, life, boundary, residual, *words))
    return tuple(found)


def _price_range(unit: str) -> tuple[float, float]:
    return {"share": (0.0, 1.0), "people": (1.0, 1e5)}.get(unit, (0.0, 1e12))


def _digest(plan: LoadedPlan, tables: list[str]) -> str:
    """Digest of every table's text (line ends made uniform, no file names) and of the plan keys used here."""
    programme, equipment, costs = plan.plan.programme, plan.plan.equipment, plan.plan.costs
    keys = {
        "currency": programme.currency,
        "price_year": programme.price_year,
        "exchange_rate": costs.exchange_rate,
        "inflation": costs.inflation,
        "price_factor": costs.price_factor,
        "families": sorted(equipment.families),
        "tank_max_m3": equipment.tank_max_m3,
        "tables": tables,
    }
    return hashlib.sha256(json.dumps(keys, sort_keys=True).encode("utf-8")).hexdigest()
