"""The end of the worked hour: from light and air of a step to the power of a watt of array; and an hour of a file."""

from __future__ import annotations

import math

import numpy as np

from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import Sheet, agree, in_brackets, n
from planner.engine.light import TRACKER_MOST_RAD, power
from planner.engine.sun import Sky
from planner.engine.weather import Weather
from planner.physics.photovoltaic import temperature_factor
from planner.physics.sky import LOWEST_SIN, cell_temperature_c, sky_irradiance_w_m2, tracker_rotation_rad


def to_watts(sheet: Sheet, opened: Opened, sized: Sized, sky: Sky, m: int, step: int) -> None:
    """Light on the plane, cell temperature and power of one step, held against the engine's."""
    assert sized.chosen is not None
    plan, w = opened.plan.array, sized.chosen.design.module
    gamma = float(opened.catalogue.modules.gamma_per_k[w])
    plane = _on_the_plane(sheet, sized, sky, m, step, plan.albedo)
    air, wind = float(sky.air_c[m, step]), float(sky.wind_m_s[m, step])
    cell = sheet.result(
        "cell temperature",
        "air + light on the plane / (25 + 6.84 × wind)",
        f"{n(air)} + {n(plane)} / (25 + 6.84 × {n(wind)})",
        float(cell_temperature_c(plane, air, wind)),
        "°C",
        "Faiman 2008; wind in m/s",
    )
    soiling, shade, other = plan.soiling[m], plan.shade[m], plan.other_losses
    clean = (1 - soiling) * (1 - shade) * (1 - other)
    gross = sheet.result(
        "power before wiring",
        "light on the plane / 1000 × (1 - soiling) (1 - shade) (1 - other losses) × (1 + gamma (cell - 25))",
        f"{n(plane)} / 1000 × (1 - {n(soiling)}) × (1 - {n(shade)}) × (1 - {n(other)}) × (1 + {in_brackets(gamma)} × "
        f"({n(cell)} - 25))",
        plane / 1000.0 * clean * float(temperature_factor(cell, gamma)),
        "W/Wp",
        f"gamma of {opened.catalogue.module_ids[w]}; array.soiling, shade, other_losses",
    )
    net = max(gross * (1.0 - plan.wiring_loss * gross), 0.0)
    steps = power(sky, [sized.plane], np.array([gamma]), plan)[0, 0, m]
    agree("power of the step", net, float(steps[step]))
    agree(
        "energy of the month's steps", float(steps.sum() * sky.hours[m]), float(sized.light.steps[w, m, -1]["energy"])
    )
    sheet.result(
        "power of a watt of array",
        "power × (1 - wiring × power)",
        f"{n(gross)} × (1 - {n(plan.wiring_loss)} × {n(gross)})",
        net,
        "W/Wp",
        "array.wiring_loss",
    )
    sheet.value(
        "the step",
        f"one of {sky.steps[m]} with sun; each stands for {n(float(sky.hours[m]))} h of the mean day",
        "their sum is the Wh/Wp of the month, and sorted they are its hours above x",
    )


def _on_the_plane(sheet: Sheet, sized: Sized, sky: Sky, m: int, step: int, albedo: float) -> float:
    """Beam, sky and ground on the plane of the array, W/m2."""
    up, east, north, ghi, dhi, dni, extra = (float(part[m, step]) for part in sky[4:11])
    tilt, facing = _facing(sheet, sized, up, east, north)
    beam = sheet.result("beam on the plane", "B_n × facing", f"{n(dni)} × {n(facing)}", dni * facing, "W/m2")
    bright = sheet.result("A, brightness around the sun", "B_n / I_0", f"{n(dni)} / {n(extra)}", dni / extra)
    gain = sheet.result(
        "R, the beam's gain on the plane",
        "facing / up",
        f"{n(facing)} / max({n(up)}, {n(LOWEST_SIN)})",
        facing / max(up, LOWEST_SIN),
    )
    diffuse = sheet.result(
        "diffuse light on the plane",
        "D × (A R + (1 - A) (1 + cos tilt) / 2)",
        f"{n(dhi)} × ({n(bright)} × {n(gain)} + (1 - {n(bright)}) × (1 + cos({n(tilt)})) / 2)",
        float(sky_irradiance_w_m2(dhi, dni, extra, facing, up, math.cos(tilt))),
        "W/m2",
        "Hay & Davies 1980",
    )
    ground = sheet.result(
        "light from the ground",
        "G × albedo × (1 - cos tilt) / 2",
        f"{n(ghi)} × {n(albedo)} × (1 - cos({n(tilt)})) / 2",
        ghi * albedo * 0.5 * (1.0 - math.cos(tilt)),
        "W/m2",
        "array.albedo",
    )
    return sheet.result(
        "light on the plane",
        "beam + diffuse + ground",
        f"{n(beam)} + {n(diffuse)} + {n(ground)}",
        beam + diffuse + ground,
        "W/m2",
    )


def _facing(sheet: Sheet, sized: Sized, up: float, east: float, north: float) -> tuple[float, float]:
    """Tilt of the plane (rad) and the cosine of the sun's angle from its normal, 0 behind it."""
    plane = sized.plane
    if plane.tracking:
        most = n(math.degrees(TRACKER_MOST_RAD))
        turn = sheet.result(
            "turn of the array",
            f"atan(east / up), at most {most}° to either side",
            f"min(max(atan({n(east)} / {n(up)}), 0 - {most} × pi / 180), {most} × pi / 180)",
            float(tracker_rotation_rad(east, up, TRACKER_MOST_RAD)),
            "rad",
        )
        facing = sheet.result(
            "facing, cosine of the sun's angle on the plane",
            "up cos turn + east sin turn",
            f"max({n(up)} × cos({n(turn)}) + {in_brackets(east)} × sin({n(turn)}), 0)",
            max(up * math.cos(turn) + east * math.sin(turn), 0.0),
        )
        return abs(turn), facing
    tilt = sheet.result("tilt", "in radians", f"{n(plane.tilt_deg)} × pi / 180", math.radians(plane.tilt_deg), "rad")
    azimuth = sheet.result(
        "azimuth", "in radians", f"{n(plane.azimuth_deg)} × pi / 180", math.radians(plane.azimuth_deg), "rad"
    )
    level = north * math.cos(azimuth) + east * math.sin(azimuth)
    facing = sheet.result(
        "facing, cosine of the sun's angle on the plane",
        "up cos tilt + (north cos azimuth + east sin azimuth) sin tilt, 0 behind it",
        f"max({n(up)} × cos({n(tilt)}) + ({in_brackets(north)} × cos({n(azimuth)}) + {in_brackets(east)} × "
        f"sin({n(azimuth)})) × sin({n(tilt)}), 0)",
        max(up * math.cos(tilt) + level * math.sin(tilt), 0.0),
    )
    return tilt, facing


def hour_of_file(sheet: Sheet, sized: Sized, weather: Weather, sky: Sky, m: int) -> int:
    """The hour of the month with middling light: from the file's numbers to the engine's; returns its step."""
    up_all = np.cos(np.radians(weather.zenith_deg))
    lit = np.flatnonzero((weather.month == m) & (up_all > 0.0) & (weather.ghi_w_m2 > 0.0))
    step = int(np.argsort(weather.ghi_w_m2[lit], kind="stable")[lit.size // 2])
    hour = int(lit[step])
    hours = int((weather.month == m).sum())
    seen = float(weather.ghi_w_m2[lit].sum())
    sheet.text(
        f"Hour {hour + 1} of the file, on day {weather.day[hour]} of its year: half of the month's hours with light "
        "have more."
    )
    ghi = float(sized.climate.ghi[m])
    factor = sheet.result(
        "factor of the month",
        "1000 × irradiation × days / sum of the hours' global light",
        f"1000 × {n(ghi)} × {n(hours)} / 24 / {n(seen)}",
        1000.0 * ghi * hours / 24.0 / seen,
        "",
        "hours with light, W/m2",
    )
    for name, symbol, values, written in (
        ("global light on the horizontal", "G", weather.ghi_w_m2, sky.ghi),
        ("diffuse light", "D", weather.dhi_w_m2, sky.dhi),
        ("beam normal to its rays", "B_n", weather.dni_w_m2, sky.dni),
    ):
        value = float(values[hour])
        agree(name, value * factor, float(written[m, step]))
        sheet.result(f"{symbol}, {name}", "of the file × factor", f"{n(value)} × {n(factor)}", value * factor, "W/m2")
    zenith, azimuth = float(weather.zenith_deg[hour]), float(weather.azimuth_deg[hour])
    z, a = f"{n(zenith)} × pi / 180", f"{n(azimuth)} × pi / 180"
    level = math.sin(math.radians(zenith))
    sheet.value("sun", f"{n(zenith)}° from the zenith, azimuth {n(azimuth)}°", "its true place, middle of the hour")
    for name, formula, numbers, value, parts in (
        ("up", "cos zenith", f"cos({z})", math.cos(math.radians(zenith)), sky.up),
        ("east", "sin zenith sin azimuth", f"sin({z}) × sin({a})", level * math.sin(math.radians(azimuth)), sky.east),
        ("north", "sin zenith cos azimuth", f"sin({z}) × cos({a})", level * math.cos(math.radians(azimuth)), sky.north),
    ):
        agree(f"sun's direction, {name}", value, float(parts[m, step]))
        sheet.result(f"{name}, part of the sun's direction", formula, numbers, value)
    sheet.value("I_0, beam outside the atmosphere", f"{n(float(sky.extra[m, step]))} W/m2")
    sheet.value(
        "air and wind", f"{n(float(sky.air_c[m, step]))} °C, {n(float(sky.wind_m_s[m, step]))} m/s", "of the file"
    )
    return step
