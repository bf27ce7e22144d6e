"""From rows of text to checked records, one dict an item with the fields of the arrays."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, get_type_hints

import numpy as np

from planner.catalogue.arrays import FAMILIES, HELICAL, MATERIALS, SURFACE, Integers
from planner.catalogue.measured import (
    GIVEN_BY_POINTS,
    HELICAL_FIELDS,
    ROTODYNAMIC_FIELDS,
    WATER_KG_M3,
    Points,
    fit_pump,
)
from planner.catalogue.reading import Row, Table, require_columns
from planner.errors import Fault
from planner.physics.pumps import DROOP, SHUT_OFF
from planner.physics.water import GRAVITY_M_S2
from planner.plan import LoadedPlan
from planner.plan.sections import PriceGroup

__all__ = [
    "LIFE",
    "PRICE",
    "WATER_KG_M3",
    "Money",
    "Record",
    "arrays_of",
    "cable_records",
    "drive_records",
    "module_records",
    "pipe_records",
    "pump_records",
    "tank_records",
]

Record = dict[str, Any]
Kind = TypeVar("Kind")
TANKS_SIDE_BY_SIDE = 40

Ranges = dict[str, tuple[float, float]]
PRICE = (0.001, 1e12)
LIFE = (0.5, 100.0)

PUMP: Ranges = {
    "rated_speed_rpm": (100, 20_000),
    "min_speed_rpm": (10, 20_000),
    "motor_kw": (0.01, 1_000),
    "motor_eff": (0.1, 0.99),
    "copper_loss_share": (0, 1),
    "motor_peak_torque_ratio": (1, 5),
    "mass_kg": (0.1, 10_000),
    "casing_min_mm": (20, 2_000),
    "water_temp_max_c": (10, 100),
    "sand_max_mg_l": (0, 10_000),
    "sand_warn_mg_l": (0, 10_000),
    "price": PRICE,
    "life_y": LIFE,
}
HELICAL_PUMP: Ranges = {
    "displacement_cm3": (0.01, 10_000),
    "pressure_limit_bar": (0.1, 200),
    "volumetric_eff_new": (0.3, 1),
    "hydromech_eff": (0.1, 0.95),
    "breakaway_ratio": (1, 10),
    "slip_life_factor": (1, 10),
    "slip_end_factor": (1, 20),
    "outside_mm": (20, 1_000),
    "fit_temp_min_c": (0, 100),
    "fit_temp_max_c": (0, 100),
    "rotor_stator_price": PRICE,
    "rotor_stator_hours": (100, 200_000),
    "rotor_stator_sand_mg_l": (0.1, 10_000),
    "rotor_stator_cap_y": LIFE,
}
ROTODYNAMIC_PUMP: Ranges = {
    "best_flow_m3_h": (0.01, 10_000),
    "head_at_best_m": (0.1, 2_000),
    "max_flow_m3_h": (0.01, 20_000),
    "best_eff": (0.01, 0.85),
}
OF_FAMILY: tuple[Ranges, ...] = (
    PUMP | HELICAL_PUMP,
    PUMP | ROTODYNAMIC_PUMP | {"outside_mm": (20, 1_000)},
    PUMP | ROTODYNAMIC_PUMP | {"npshr_best_m": (0.1, 15)},
)
# Fields of the arrays that come from best point or points; 0 for the other families.
CURVES = ("pressure_limit_pa", *HELICAL_FIELDS, *ROTODYNAMIC_FIELDS)
DRIVE: Ranges = {
    "mpp_min_v": (1, 2_000),
    "mpp_max_v": (1, 2_000),
    "v_max_v": (1, 2_000),
    "shaft_min_kw": (0, 1_000),
    "shaft_max_kw": (0.01, 1_000),
    "ratio_max": (0.1, 10),
    "isc_max_a": (0.1, 10_000),
    "motor_voltage_v": (1, 1_000),
    "efficiency": (0.5, 1),
    "standby_w": (0, 1_000),
    "life_y": LIFE,
    "price_base": (0, 1e12),
    "price_per_kw": (0, 1e12),
    "price_exponent": (0, 2),
}
MODULE: Ranges = {
    "rated_wp": (1, 2_000),
    "vmp_v": (1, 500),
    "voc_v": (1, 500),
    "imp_a": (0.01, 100),
    "isc_a": (0.01, 100),
    "gamma_per_k": (-0.02, 0),
    "beta_voc_per_k": (-0.02, 0),
    "gamma_vmp_per_k": (-0.02, 0),
    "price": PRICE,
    "life_y": LIFE,
}
PIPE: Ranges = {
    "nominal_mm": (1, 2_000),
    "outside_mm": (1, 2_000),
    "inside_mm": (1, 2_000),
    "pressure_bar": (0.1, 400),
    "roughness_mm": (0, 10),
    "price": PRICE,
    "life_y": LIFE,
    "life_corrosive_y": LIFE,
}
CABLE: Ranges = {
    "mm2": (0.1, 1_000),
    "r20_ohm_km": (0.001, 200),
    "mass_kg_m": (0, 100),
    "price": PRICE,
    "life_y": LIFE,
}
TANK: Ranges = {"volume_m3": (0.1, 10_000), "price": PRICE, "life_y": LIFE}


def price_group(row: Row) -> PriceGroup:
    """Which factor of [costs] price_factor acts on a row; goods (unused life is worth something) are equipment."""
    if row.label.startswith(("om_", "guard_")):
        return "upkeep"
    return "works" if row.cells.get("residual") == "no" else "equipment"


@dataclass
class Money:
    """Factors from a row's currency and year to the plan's; remembers currencies without a rate."""

    plan: LoadedPlan
    missing: dict[str, set[str]] = field(default_factory=dict)

    def factor(self, row: Row) -> float:
        """Plan currency of the plan's year for one unit of the row's; NaN where a rate is missing."""
        currency, year = row.money()
        programme, costs = self.plan.plan.programme, self.plan.plan.costs
        rate = 1.0
        if currency and currency != programme.currency:
            if currency not in costs.exchange_rate:
                self.missing.setdefault(currency, set()).add(row.file)
            rate = costs.exchange_rate.get(currency, math.nan)
        factor = costs.price_factor.get(price_group(row), 1.0)
        return float(rate * (1 + costs.inflation) ** (programme.price_year - year) * factor)

    def faults(self) -> list[Fault]:
        """One fault for each currency without a rate."""
        own = self.plan.plan.programme.currency
        return [
            Fault(
                str(self.plan.path),
                "[costs] exchange_rate",
                f"no rate for {currency}, the currency of {', '.join(sorted(tables))}",
                f"exchange_rate = {{ {currency} = … }}, the {own} for one {currency}",
            )
            for currency, tables in sorted(self.missing.items())
        ]


def arrays_of(kind: type[Kind], records: list[Record]) -> Kind:
    """The records as a tuple of one-dimensional arrays, int64 or float64 as the fields of `kind` say."""
    columns = [
        np.array([record[name] for record in records], dtype="int64" if hint == Integers else "float64")
        for name, hint in get_type_hints(kind).items()
    ]
    build: Any = kind
    made: Kind = build(*columns)
    return made


def drive_records(table: Table, money: Money) -> list[Record]:
    """Drives in the order of the file."""
    found = []
    for row in table.rows:
        record: Record = {"id": row.label} | row.numbers(DRIVE)
        row.ascending(record, ("mpp_min_v", "mpp_max_v"), ("mpp_max_v", "v_max_v"))
        row.ascending(record, ("shaft_min_kw", "shaft_max_kw"))
        record["motor_kind"] = row.word("motor_kind", ("pm", "induction"))
        record["induction"] = int(record["motor_kind"] == "induction")
        record["boost"] = int(row.word("boost", ("yes", "no")) == "yes")
        record["money"] = money.factor(row)
        found.append(record)
    return found


def pump_records(
    table: Table, drives: list[Record], money: Money, points: Mapping[str, Points], faults: list[Fault]
) -> list[Record]:
    """Pumps with their motors and drives; `fit` of a record is None unless the pump has measured points.

    Columns that only one family has are asked of that family only, those that points give of pumps without points.
    """
    kinds = {(row.cells.get("family"), row.label in points) for row in table.rows}
    needed: dict[str, None] = {}  # in order, each once
    for family, name in enumerate(FAMILIES):
        for measured in (False, True):
            if (name, measured) in kinds:
                needed |= dict.fromkeys(column for column in OF_FAMILY[family] if _asked(column, family, measured))
    require_columns(table, ("family", *needed, "motor_kind", "currency", "price_year"), faults)
    found = []
    for row in table.rows:
        name = row.word("family", FAMILIES)
        if name:
            found.append(_pump(row, FAMILIES.index(name), drives, money.factor(row), points.get(row.label)))
    return found


def _asked(column: str, family: int, measured: bool) -> bool:
    return not (measured and column in GIVEN_BY_POINTS[family])


def _pump(row: Row, family: int, drives: list[Record], money: float, points: Points | None) -> Record:
    value = dict.fromkeys((*CURVES, *(column for ranges in OF_FAMILY for column in ranges)), 0.0)
    for column, (low, high) in OF_FAMILY[family].items():
        if row.cells.get(column) or _asked(column, family, points is not None):
            value[column] = row.number_in(column, low, high)
    row.ascending(value, ("min_speed_rpm", "rated_speed_rpm"), ("sand_warn_mg_l", "sand_max_mg_l"))
    motor_w = 1000 * value["motor_kw"]
    loss = 1 / value["motor_eff"] - 1
    drive, drive_price, drive_efficiency = _drive_for(row, value["motor_kw"], drives)
    record = value | {
        "id": row.label,
        "fit": None,
        "measured": 0,
        "family": family,
        "min_speed_ratio": value["min_speed_rpm"] / value["rated_speed_rpm"],
        "motor_w": motor_w,
        "rated_torque_nm": motor_w / (2 * math.pi * value["rated_speed_rpm"] / 60),
        "peak_torque_ratio": value["motor_peak_torque_ratio"],
        "motor_efficiency": value["motor_eff"],
        "copper_share": value["copper_loss_share"] * loss,
        "iron_share": (1 - value["copper_loss_share"]) * loss,
        "motor_input_w": motor_w / value["motor_eff"],
        "drive_rating_w": motor_w / value["motor_eff"] / drive_efficiency,
        "pump_price": money * value["price"],
        "rotor_stator_price": money * value["rotor_stator_price"],
        "hours_life": value["rotor_stator_hours"],
        "wear_sand_mg_l": value["rotor_stator_sand_mg_l"],
        "drive": drive,
        "drive_price": drive_price,
    }
    if family != SURFACE:
        row.ascending(value, ("outside_mm", "casing_min_mm"))
    if family == HELICAL:
        row.ascending(value, ("fit_temp_min_c", "fit_temp_max_c"), ("slip_life_factor", "slip_end_factor"))
        record["pressure_limit_pa"] = 1e5 * value["pressure_limit_bar"]
    if points is None:
        return record | (_helical(row, value) if family == HELICAL else _rotodynamic(row, value))
    fields, fit = fit_pump(row, family, record, drives[drive], points)
    return record | fields | {"fit": fit, "measured": int(family != HELICAL)}


def _helical(row: Row, value: dict[str, float]) -> Record:
    efficiency = value["volumetric_eff_new"] * value["hydromech_eff"]
    if efficiency > 0.85:
        row.fault("hydromech_eff", f"{efficiency:.2f} × volumetric_eff_new", "an efficiency of at most 0.85")
    pressure_pa = 1e5 * value["pressure_limit_bar"]
    swept_m3_h = 60e-6 * value["displacement_cm3"] * value["rated_speed_rpm"]
    ideal_torque_nm = 1e-6 * value["displacement_cm3"] * pressure_pa / (2 * math.pi)
    return {
        "slip_m3_h_pa": (1 - value["volumetric_eff_new"]) * swept_m3_h / pressure_pa,
        "slip_exponent": 1.0,
        "fit_friction_nm": ideal_torque_nm * (1 / value["hydromech_eff"] - 1),
    }


def _rotodynamic(row: Row, value: dict[str, float]) -> Record:
    row.ascending(value, ("best_flow_m3_h", "max_flow_m3_h"))
    best, head = value["best_flow_m3_h"], value["head_at_best_m"]
    return {
        "best_efficiency": value["best_eff"],
        "best_power_w": WATER_KG_M3 * GRAVITY_M_S2 * best / 3600 * head / value["best_eff"],
        "max_flow_ratio": value["max_flow_m3_h"] / best,
        "head_0_m": SHUT_OFF * head,
        "head_2_m_h2_m6": -DROOP * head / best**2,
    }


def _drive_for(row: Row, motor_kw: float, drives: list[Record]) -> tuple[int, float, float]:
    """Index, price and efficiency of the smallest drive that covers the motor."""
    kind = row.word("motor_kind", ("pm", "induction"))
    if not kind or math.isnan(motor_kw):
        return 0, math.nan, math.nan
    fitting = [
        (drive["shaft_max_kw"], index)
        for index, drive in enumerate(drives)
        if drive["motor_kind"] == kind and drive["shaft_min_kw"] <= motor_kw <= drive["shaft_max_kw"]
    ]
    if not fitting:
        row.fault("motor_kw", f"{motor_kw:g} ({kind})", "a motor that a drive of the catalogue covers")
        return 0, math.nan, math.nan
    index = min(fitting)[1]
    drive = drives[index]
    price = drive["price_base"] + drive["price_per_kw"] * motor_kw ** drive["price_exponent"]
    return index, drive["money"] * price, drive["efficiency"]


def module_records(table: Table, money: Money) -> list[Record]:
    """Modules, ascending by rated power."""
    found = []
    for row in table.rows:
        record: Record = {"id": row.label} | row.numbers(MODULE)
        row.ascending(record, ("vmp_v", "voc_v"), ("imp_a", "isc_a"))
        found.append(record | {"price_wp": money.factor(row) * record["price"]})
    return sorted(found, key=lambda record: (record["rated_wp"], record["id"]))


def pipe_records(table: Table, money: Money) -> list[Record]:
    """Risers and delivery pipes, ascending by price a metre."""
    found = []
    for row in table.rows:
        record: Record = {"id": row.label} | row.numbers(PIPE)
        row.ascending(record, ("inside_mm", "outside_mm"))
        material = row.word("material", MATERIALS)
        record["material"] = MATERIALS.index(material) if material else 0
        record["use"] = row.word("use", ("riser", "delivery"))
        record["pressure_pa"] = 1e5 * record["pressure_bar"]
        record["life_corrosive_y"] = min(record["life_corrosive_y"], record["life_y"])  # the plan may shorten life_y
        found.append(record | {"price_m": money.factor(row) * record["price"]})
    return sorted(found, key=lambda record: (record["price_m"], record["id"]))


def cable_records(table: Table, money: Money) -> list[Record]:
    """Motor cables, ascending by size."""
    found = []
    for row in table.rows:
        record: Record = {"id": row.label} | row.numbers(CABLE)
        record["r20_ohm_m"] = record["r20_ohm_km"] / 1000
        found.append(record | {"price_m": money.factor(row) * record["price"]})
    return sorted(found, key=lambda record: record["mm2"])


def tank_records(table: Table, money: Money, faults: list[Fault]) -> list[Record]:
    """Tanks up to the plan's largest, ascending; above the largest size its whole multiples, side by side."""
    found = []
    for row in table.rows:
        record: Record = {"id": row.label} | row.numbers(TANK)
        found.append(record | {"price": money.factor(row) * record["price"]})
    largest = money.plan.plan.equipment.tank_max_m3
    found.sort(key=lambda record: record["volume_m3"])
    sizes = [record for record in found if record["volume_m3"] <= largest]
    if not sizes or largest > TANKS_SIDE_BY_SIDE * sizes[-1]["volume_m3"]:
        bounds = f"at least the smallest tank, at most {TANKS_SIDE_BY_SIDE} of the largest"
        faults.append(Fault(str(money.plan.path), "[equipment] tank_max_m3", f"{largest:g} m3", bounds))
        return found
    last = sizes[-1]
    several = range(2, int(largest / last["volume_m3"]) + 1)
    return sizes + [last | {"volume_m3": n * last["volume_m3"], "price": n * last["price"]} for n in several]
