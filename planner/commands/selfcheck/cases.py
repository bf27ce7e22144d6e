"""Hand-calculated and published cases, shipped with the package, against the equations as installed here.

The cases are rows of `data/checks.csv`: a quantity, its inputs as JSON, the expected value as printed, a
tolerance and where the value comes from. The tests read the same file.
"""

from __future__ import annotations

import csv
import inspect
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from planner.errors import InternalError
from planner.physics import (
    aquifer,
    cables,
    evapotranspiration,
    lifting,
    money,
    photovoltaic,
    pipes,
    pumps,
    sky,
    storage,
    sun,
    water,
)

__all__ = ["Case", "known_cases"]

COLUMNS = ["id", "what", "quantity", "inputs", "expected", "tolerance", "unit", "source", "tag"]


@dataclass(frozen=True)
class Case:
    """One case: `got` is this installation's value, `passed` whether it is within `tolerance` of `expected`.

    expected, tolerance, got  in `unit`
    tag                       published, from memory, or computed (by hand or by an independent library)
    """

    id: str
    what: str
    expected: float
    tolerance: float
    got: float
    unit: str
    source: str
    tag: str
    passed: bool

    def lines(self) -> list[str]:
        """The case as it is printed."""
        mark, unit = "ok  " if self.passed else "FAIL", self.unit.strip("-")
        return [
            f"{mark} {self.id:5}{self.what}",
            f"          expected {self.expected:.6g}, got {self.got:.6g} {unit}  [{self.source}]",
        ]


def known_cases() -> list[Case]:
    """Run every shipped case, in the order of the file.

    >>> all(case.passed for case in known_cases())
    True
    """
    return [_run(row) for row in _rows()]


def _rows() -> list[dict[str, str]]:
    text = files("planner").joinpath("data/checks.csv").read_text(encoding="utf-8")
    reader = csv.DictReader(text.splitlines())
    if reader.fieldnames != COLUMNS:
        raise InternalError(f"data/checks.csv: columns {reader.fieldnames}, expected {COLUMNS}")
    return list(reader)


def _run(row: dict[str, str]) -> Case:
    quantity = QUANTITIES[row["quantity"]]
    given = inspect.signature(quantity).bind(**json.loads(row["inputs"]))  # compiled equations take no keywords
    got = float(quantity(*given.args, **given.kwargs))
    expected, tolerance = float(row["expected"]), float(row["tolerance"])
    # the last bits of the subtraction are not held against a value that sits on the limit
    passed = math.isfinite(got) and abs(got - expected) <= tolerance * (1.0 + 1e-9) + 1e-12
    return Case(row["id"], row["what"], expected, tolerance, got, row["unit"], row["source"], row["tag"], passed)


def _extraterrestrial_mj_m2(latitude_deg: float, declination_rad: float, eccentricity_factor: float) -> float:
    return 3.6 * float(sun.extraterrestrial_kwh_m2(latitude_deg, declination_rad, eccentricity_factor))


def _day_length_h(latitude_deg: float, declination_rad: float) -> float:
    return 24.0 / math.pi * float(sun.sunset_hour_angle_rad(latitude_deg, declination_rad))


def _declination_deg(day_of_year: float) -> float:
    return math.degrees(sun.declination_rad(day_of_year))


def _hour_share(function: Callable[[float, float], float], hour_angle_deg: float, day_length_h: float) -> float:
    return float(function(math.radians(hour_angle_deg), math.radians(7.5 * day_length_h)))


def _kind(function: Callable[[float], Any], clearness: float, kind: int) -> float:
    return float(function(clearness)[kind])


def _friction_head_at_20_c_m(
    flow_m3_h: float, length_m: float, inside_diameter_mm: float, roughness_mm: float
) -> float:
    viscosity = water.kinematic_viscosity_m2_s(20.0)
    return float(pipes.friction_head_m(flow_m3_h, length_m, inside_diameter_mm, roughness_mm, viscosity))


def _hydraulic_energy_kwh(volume_m3: float, head_m: float) -> float:
    return float(pumps.hydraulic_power_w(volume_m3, head_m, 1000.0)) / 1000.0


def _helical_torque_nm(displacement_cm3: float, pressure_pa: float, efficiency: float) -> float:
    ideal = float(pumps.helical_torque_nm(displacement_cm3, pressure_pa, 0.0))
    return float(pumps.helical_torque_nm(displacement_cm3, pressure_pa, ideal * (1.0 / efficiency - 1.0)))


def _suction_lift_m(
    elevation_m: float, temperature_c: float, npsh_required_m: float, friction_m: float, margin_m: float
) -> float:
    available = pumps.npsh_available_m(elevation_m, temperature_c, 0.0, friction_m, margin_m)
    return float(available) - npsh_required_m


def _dc_drop_v(current_a: float, length_m: float, r20_ohm_km: float, temperature_c: float) -> float:
    resistance = cables.conductor_resistance_ohm_km(r20_ohm_km, temperature_c)
    return float(cables.dc_drop_v(current_a, length_m, resistance))


def _reference_mm_day(
    highest_c: float, lowest_c: float, solar_mj_m2: float, outside_mj_m2: float, wind_2_m_m_s: float, elevation_m: float
) -> float:
    """Reference evapotranspiration where humidity is not measured: the lowest temperature is the dew point."""
    et = evapotranspiration
    vapour, clear = et.saturation_pressure_kpa(lowest_c), et.field_clear_sky_mj_m2(outside_mj_m2, elevation_m)
    longwave = et.net_longwave_mj_m2(highest_c, lowest_c, vapour, solar_mj_m2, clear)
    return float(
        et.reference_evapotranspiration_mm_day(
            et.net_radiation_mj_m2(solar_mj_m2, longwave),
            0.0,
            (highest_c + lowest_c) / 2.0,
            wind_2_m_m_s,
            et.mean_saturation_pressure_kpa(highest_c, lowest_c),
            vapour,
            et.field_air_pressure_kpa(elevation_m),
        )
    )


def _loss_of_supply(supply_m3: list[float], demand_m3: float, capacity_m3: float, start_m3: float) -> float:
    _, unmet = storage.daily_balance(supply_m3, demand_m3, capacity_m3, start_m3)
    return float(unmet.sum()) / (demand_m3 * len(supply_m3))


def _lifecycle_cost(
    capital: float, parts: list[list[float]], yearly: float, rate: float, horizon_years: float
) -> float:
    """Present value of capital, of replaced parts [price, life in years] and of yearly upkeep."""
    again = sum(price * float(money.replacement_factor(rate, life, horizon_years)) for price, life in parts)
    return capital + again + yearly * float(money.annuity_factor(rate, horizon_years))


def _cost_per_m3(volume_m3_year: float, **scheme: Any) -> float:
    factor = money.annuity_factor(scheme["rate"], scheme["horizon_years"])
    return _lifecycle_cost(**scheme) / (volume_m3_year * float(factor))


def _rank_of(code: str, codes: tuple[str, ...]) -> int:
    return codes.index(code) + 1


def _productivity_rank(yield_l_s: float) -> int:
    return _rank_of(str(aquifer.productivity_class(yield_l_s)), ("VL", "L", "LM", "M", "H", "VH"))


def _depth_rank(depth_m: float) -> int:
    return _rank_of(str(aquifer.depth_class(depth_m)), ("VS", "S", "SM", "M", "D", "VD"))


QUANTITIES: dict[str, Callable[..., Any]] = {
    "extraterrestrial_mj_m2": _extraterrestrial_mj_m2,
    "day_length_h": _day_length_h,
    "declination_deg": _declination_deg,
    "hour_share": lambda **given: _hour_share(sun.hour_fraction, **given),
    "diffuse_hour_share": lambda **given: _hour_share(sun.diffuse_hour_fraction, **given),
    "saunier_kind": lambda **given: _kind(sun.saunier_kinds, **given),
    "bendt_kind": lambda **given: _kind(sun.bendt_kinds, **given),
    "hour_spread": sky.hour_spread,
    "clear_hour_clearness": sky.clear_hour_clearness,
    "diffuse_fraction": sky.diffuse_fraction,
    "cell_temperature_c": sky.cell_temperature_c,
    "temperature_factor": photovoltaic.temperature_factor,
    "series_minimum": photovoltaic.series_minimum,
    "series_maximum": photovoltaic.series_maximum,
    "well_function": aquifer.well_function,
    "theis_drawdown_m": aquifer.theis_drawdown_m,
    "transmissivity_from_test": aquifer.transmissivity_from_test,
    "cooper_jacob_transmissivity_m2_d": aquifer.cooper_jacob_transmissivity_m2_d,
    "logan_transmissivity_m2_d": aquifer.logan_transmissivity_m2_d,
    "recovery_drawdown_m": aquifer.recovery_drawdown_m,
    "step_drawdown_m": aquifer.step_drawdown_m,
    "well_loss_s2_m5": aquifer.well_loss_s2_m5,
    "intermittent_drawdown_m": aquifer.intermittent_drawdown_m,
    "memory_coefficient_d_m2": aquifer.memory_coefficient_d_m2,
    "flow_at_level_m3_h": aquifer.flow_at_level_m3_h,
    "productivity_rank": _productivity_rank,
    "depth_rank": _depth_rank,
    "friction_factor": pipes.friction_factor,
    "friction_head_at_20_c_m": _friction_head_at_20_c_m,
    "minor_head_m": pipes.minor_head_m,
    "velocity_m_s": pipes.velocity_m_s,
    "hydraulic_power_w": pumps.hydraulic_power_w,
    "hydraulic_energy_kwh": _hydraulic_energy_kwh,
    "displacement_cm3": pumps.displacement_cm3,
    "helical_flow_m3_h": pumps.helical_flow_m3_h,
    "helical_torque_nm": _helical_torque_nm,
    "centrifugal_head_m": pumps.centrifugal_head_m,
    "suction_lift_m": _suction_lift_m,
    "atmospheric_pressure_kpa": water.atmospheric_pressure_kpa,
    "vapour_pressure_kpa": water.vapour_pressure_kpa,
    "density_kg_m3": water.density_kg_m3,
    "kinematic_viscosity_m2_s": water.kinematic_viscosity_m2_s,
    "conductor_resistance_ohm_km": cables.conductor_resistance_ohm_km,
    "dc_drop_v": _dc_drop_v,
    "three_phase_drop_v": cables.three_phase_drop_v,
    "reference_mm_day": _reference_mm_day,
    "saturation_pressure_kpa": evapotranspiration.saturation_pressure_kpa,
    "mean_saturation_pressure_kpa": evapotranspiration.mean_saturation_pressure_kpa,
    "saturation_slope_kpa_k": evapotranspiration.saturation_slope_kpa_k,
    "psychrometric_constant_kpa_k": evapotranspiration.psychrometric_constant_kpa_k,
    "field_air_pressure_kpa": evapotranspiration.field_air_pressure_kpa,
    "wind_at_2_m_m_s": evapotranspiration.wind_at_2_m_m_s,
    "field_clear_sky_mj_m2": evapotranspiration.field_clear_sky_mj_m2,
    "net_longwave_mj_m2": evapotranspiration.net_longwave_mj_m2,
    "net_radiation_mj_m2": evapotranspiration.net_radiation_mj_m2,
    "soil_heat_flux_mj_m2": evapotranspiration.soil_heat_flux_mj_m2,
    "reference_evapotranspiration_mm_day": evapotranspiration.reference_evapotranspiration_mm_day,
    "effective_rain_mm_month": evapotranspiration.effective_rain_mm_month,
    "gross_irrigation_m3_ha_day": evapotranspiration.gross_irrigation_m3_ha_day,
    "diesel_co2_kg_l": lifting.diesel_co2_kg_l,
    "generator_fuel_l_h": lifting.generator_fuel_l_h,
    "handpump_flow_m3_h": lifting.handpump_flow_m3_h,
    "loss_of_supply": _loss_of_supply,
    "capital_recovery_factor": money.capital_recovery_factor,
    "lifecycle_cost": _lifecycle_cost,
    "cost_per_m3": _cost_per_m3,
}
