"""One hour of the design month, worked from irradiation to watts; every value is held against the engine's step."""

from __future__ import annotations

import math

import numpy as np

from planner.commands.why.opened import Opened, Sized
from planner.commands.why.sheet import MONTH_NAMES, Sheet, agree, in_brackets, n
from planner.commands.why.watts import hour_of_file, to_watts
from planner.engine import sun as engine
from planner.engine.weather import weather_sky
from planner.physics.sky import (
    BINS,
    WIDEST_SPREAD,
    clear_hour_clearness,
    diffuse_fraction,
    hour_spread,
)
from planner.physics.sun import (
    KINDS,
    SOLAR_CONSTANT_KW_M2,
    bendt_kinds,
    daily_extraterrestrial_kwh_m2,
    declination_rad,
    eccentricity_factor,
    extraterrestrial_kwh_m2,
    hour_fraction,
    kinds_with_spread,
    saunier_kinds,
    sunset_hour_angle_rad,
)

KINDS_SHOWN = (6, 7, 8, 9, 5, 4, 3, 2, 1, 0)  # the first of these, with the first of these hours, that has sun
HOURS_SHOWN = (9, 10, 11)
SKY_SHOWN = 2
ORDINALS = ("first", "second", "third", "fourth", "fifth")
ANGLES = 2.0 * math.pi * (np.arange(engine.HOURS) + 0.5 - 12.0) / engine.HOURS


def one_hour(sheet: Sheet, opened: Opened, sized: Sized) -> None:
    """An hour from the month's irradiation to the power of a watt of array."""
    assert sized.chosen is not None
    weather, climate = opened.context.weather, sized.climate
    sky = engine.monthly_sky(climate) if weather is None else weather_sky(weather, climate.ghi)
    m = sized.chosen.done.design_month
    sheet.section(f"One hour of {MONTH_NAMES[m]}, from irradiation to watts")
    if sky.steps[m] == 0:
        sheet.text("The month is dark.")
        return
    sheet.text("One step of the many, worked by hand. Angles are in radians where no ° stands.")
    step = _made_of_means(sheet, sized, sky, m) if weather is None else hour_of_file(sheet, sized, weather, sky, m)
    to_watts(sheet, opened, sized, sky, m, step)


def _made_of_means(sheet: Sheet, sized: Sized, sky: engine.Sky, m: int) -> int:
    """From the month's irradiation to global, diffuse and beam light of one sky; returns its step."""
    climate = sized.climate
    latitude = climate.latitude_deg
    days = engine.DAY_NUMBERS[m]
    sunsets = np.asarray(sunset_hour_angle_rad(latitude, declination_rad(days)))
    shares = np.array([_shares(float(sunset)) for sunset in sunsets])
    kind, hour = next((i, h) for i in KINDS_SHOWN for h in (*HOURS_SHOWN, *range(24)) if shares[i, h] > 0)
    step = BINS * int((shares[:kind] > 0).sum() + (shares[kind, :hour] > 0).sum()) + SKY_SHOWN
    sheet.text(
        f"Kind of day {kind + 1} of {KINDS}, from {hour} to {hour + 1} o'clock of solar time, the "
        f"{ORDINALS[SKY_SHOWN]} of its {BINS} skies."
    )
    day_kwh, clearness = _day(sheet, sized, m, kind, shares)
    declination, factor, sunset = _geometry(sheet, latitude, m, kind)
    angle = sheet.result(
        "omega, hour angle", "15° × (hour - 12)", f"15 × ({hour} + 0.5 - 12) × pi / 180", float(ANGLES[hour]), "rad"
    )
    a, b = _shape(sheet, sunset)
    share, at, end = float(hour_fraction(angle, sunset)), n(angle), n(sunset)
    sheet.result(
        "r, the hour's share of the day",
        "pi / 24 × (a + b cos omega) (cos omega - cos omega_s) / (sin omega_s - omega_s cos omega_s)",
        f"pi / 24 × max({in_brackets(a)} + {in_brackets(b)} × cos({at}), 0) × (cos({at}) - cos({end})) / (sin({end}) - "
        f"{end} × cos({end}))",
        share,
        "",
        "Collares-Pereira & Rabl 1979",
    )
    total = float(shares[kind].sum())
    sheet.value("sum of r over the day's hours", n(total), "scaled to 1")
    mean = 1000.0 * day_kwh * share / total
    sheet.result(
        "light of the hour on the horizontal",
        "1000 × irradiation of the day × r / sum of r",
        f"1000 × {n(day_kwh)} × {n(share)} / {n(total)}",
        mean,
        "W/m2",
    )
    up, _, _ = _sun_direction(sheet, latitude, declination, angle, sky, m, step)
    extra = 1000.0 * SOLAR_CONSTANT_KW_M2 * factor
    agree("light outside the atmosphere", extra, float(sky.extra[m, step]))
    sheet.result(
        "I_0, beam outside the atmosphere",
        "1000 × 1.3661 × E_0",
        f"1000 × {n(SOLAR_CONSTANT_KW_M2)} × {n(factor)}",
        extra,
        "W/m2",
        "ASTM E490",
    )
    k = sheet.result(
        "k, clearness of the hour",
        "light / (I_0 × up)",
        f"{n(mean)} / ({n(extra)} × {n(up)})",
        mean / (extra * up),
    )
    _skies(sheet, sky, m, step, hour, k, clearness, extra)
    _parts(sheet, sized, sky, m, step, extra)
    _air(sheet, sized, sky, m, step, hour)
    return step


def _shares(sunset: float) -> engine.Floats:
    """Shares of the hours of a day before they are scaled to 1."""
    if sunset <= 0.0:
        return np.zeros(engine.HOURS)
    return np.asarray(hour_fraction(ANGLES, sunset))


def _day(sheet: Sheet, sized: Sized, m: int, kind: int, shares: engine.Floats) -> tuple[float, float]:
    """The month's clearness, its kinds of day, and the irradiation of the one shown; returns it with its clearness."""
    climate, days = sized.climate, engine.DAY_NUMBERS[m]
    first, count = int(engine.FIRST_DAY[m]), int(engine.DAYS[m])
    dates = np.arange(first + 1.0, first + count + 1.0)
    outside = float(np.mean(daily_extraterrestrial_kwh_m2(climate.latitude_deg, dates)))
    ghi, spread = float(climate.ghi[m]), float(climate.clearness_spread[m])
    sheet.value(
        f"H_0, outside the atmosphere on the horizontal, mean of {MONTH_NAMES[m]}'s days",
        f"{n(outside)} kWh/m2/d",
        "Allen et al. 1998, FAO-56, equation 21",
    )
    low, high = engine.CLEARNESS_RANGE
    clearness = sheet.result(
        "K, clearness of the month",
        "irradiation / H_0, held to the range of the laws",
        f"min(max({n(ghi)} / {n(outside)}, {n(low)}), {n(high)})",
        min(max(ghi / outside, low), high),
    )
    kinds = (saunier_kinds if climate.tropical else bendt_kinds)(clearness)
    if not math.isnan(spread):
        kinds = kinds_with_spread(kinds, spread)
    sheet.text(
        f"The {KINDS} kinds of day by the law of days"
        + ("" if math.isnan(spread) else f", moved to the month's spread, {n(spread)} (got: {n(float(kinds.std()))})")
        + "; each stands at its place in the month, with H_i of that day:"
    )
    each = np.asarray(
        extraterrestrial_kwh_m2(climate.latitude_deg, declination_rad(days), eccentricity_factor(days)),
    )
    products = np.where(shares.sum(axis=1) > 0, kinds * each, 0.0)  # a day without an hour of sun has nothing
    rows = zip(range(1, KINDS + 1), kinds, days, each, products, strict=True)
    sheet.table(("kind", "K_i", "day", "H_i", "K_i × H_i"), [(str(i), *(n(float(one)) for one in r)) for i, *r in rows])
    sheet.result(
        "mean of K_i", "sum / 10", f"({' + '.join(n(float(one)) for one in kinds)}) / {KINDS}", float(kinds.mean())
    )
    total = float(products.sum())
    scale = sheet.result(
        "scale to the month's irradiation",
        "10 × irradiation / sum of K_i × H_i",
        f"{KINDS} × {n(ghi)} / {n(total)}",
        KINDS * ghi / total,
    )
    day = sheet.result(
        f"irradiation of the day of kind {kind + 1}",
        "scale × K_i × H_i",
        f"{n(scale)} × {n(float(kinds[kind]))} × {n(float(each[kind]))}",
        scale * float(products[kind]),
        "kWh/m2",
    )
    scaled = sheet.result(
        "K_d, its clearness",
        "scale × K_i, at most 0.9",
        f"min({n(scale)} × {n(float(kinds[kind]))}, 0.9)",
        min(scale * float(kinds[kind]), 0.9),
    )
    return day, scaled


def _geometry(sheet: Sheet, latitude: float, m: int, kind: int) -> tuple[float, float, float]:
    """Declination, factor of distance and sunset of the day of a kind."""
    day = float(engine.DAY_NUMBERS[m, kind])
    sheet.result(
        "day of the year",
        "days before the month + place × its days + 0.5",
        f"{n(engine.FIRST_DAY[m])} + {n(engine.PLACE_IN_MONTH[kind])} × {n(engine.DAYS[m])} + 0.5",
        day,
        "",
        "kinds stand scattered over the month",
    )
    angle = 2.0 * math.pi * (day - 1.0) / 365.0
    sheet.result("B, angle of the day", "2 pi (day - 1) / 365", f"2 × pi × ({n(day)} - 1) / 365", angle, "rad")
    at = n(angle)
    declination = sheet.result(
        "delta, declination",
        "six terms of B",
        f"0.006918 - 0.399912 × cos({at}) + 0.070257 × sin({at}) - 0.006758 × cos(2 × {at}) + 0.000907 × sin(2 × "
        f"{at}) - 0.002697 × cos(3 × {at}) + 0.00148 × sin(3 × {at})",
        float(declination_rad(day)),
        "rad",
        "Spencer 1971",
    )
    factor = sheet.result(
        "E_0, factor of the sun's distance",
        "four terms of B",
        f"1.00011 + 0.034221 × cos({at}) + 0.00128 × sin({at}) + 0.000719 × cos(2 × {at}) + 0.000077 × sin(2 × {at})",
        float(eccentricity_factor(day)),
        "",
        "Spencer 1971",
    )
    phi, delta = f"{n(latitude)} × pi / 180", n(declination)
    sunset = sheet.result(
        "omega_s, hour angle of sunset",
        "acos(-tan latitude × tan delta)",
        f"acos(min(max(0 - tan({phi}) × tan({delta}), -1), 1))",
        float(sunset_hour_angle_rad(latitude, declination)),
        "rad",
    )
    sheet.result(
        "H_i of this day",
        "24 / pi × 1.3661 × E_0 × (omega_s sin latitude sin delta + cos latitude cos delta sin omega_s)",
        f"24 / pi × {n(SOLAR_CONSTANT_KW_M2)} × {n(factor)} × ({n(sunset)} × sin({phi}) × sin({delta}) + cos({phi}) × "
        f"cos({delta}) × sin({n(sunset)}))",
        float(extraterrestrial_kwh_m2(latitude, declination, factor)),
        "kWh/m2",
    )
    return declination, factor, sunset


def _shape(sheet: Sheet, sunset: float) -> tuple[float, float]:
    """The two numbers of the law of hours."""
    shift = math.sin(sunset - math.pi / 3.0)
    turned = f"sin({n(sunset)} - pi / 3)"
    return (
        sheet.result("a", "0.409 + 0.5016 sin(omega_s - 60°)", f"0.409 + 0.5016 × {turned}", 0.409 + 0.5016 * shift),
        sheet.result("b", "0.6609 - 0.4767 sin(omega_s - 60°)", f"0.6609 - 0.4767 × {turned}", 0.6609 - 0.4767 * shift),
    )


def _sun_direction(
    sheet: Sheet, latitude: float, declination: float, angle: float, sky: engine.Sky, m: int, step: int
) -> tuple[float, float, float]:
    """Where the sun stands: parts of a unit vector up, east and north."""
    phi, delta, omega = f"{n(latitude)} × pi / 180", n(declination), n(angle)
    sin_lat, cos_lat = math.sin(math.radians(latitude)), math.cos(math.radians(latitude))
    up = sin_lat * math.sin(declination) + cos_lat * math.cos(declination) * math.cos(angle)
    north = math.sin(declination) * cos_lat - math.cos(declination) * sin_lat * math.cos(angle)
    found = (
        sheet.result(
            "up, sine of the sun's height",
            "sin latitude sin delta + cos latitude cos delta cos omega",
            f"sin({phi}) × sin({delta}) + cos({phi}) × cos({delta}) × cos({omega})",
            up,
        ),
        sheet.result(
            "east, part of the sun's direction",
            "-cos delta sin omega",
            f"0 - cos({delta}) × sin({omega})",
            -math.cos(declination) * math.sin(angle),
        ),
        sheet.result(
            "north, part of the sun's direction",
            "sin delta cos latitude - cos delta sin latitude cos omega",
            f"sin({delta}) × cos({phi}) - cos({delta}) × sin({phi}) × cos({omega})",
            north,
        ),
    )
    for name, value, written in zip(("up", "east", "north"), found, (sky.up, sky.east, sky.north), strict=True):
        agree(f"sun's direction, {name}", value, float(written[m, step]))
    return found


def _skies(
    sheet: Sheet, sky: engine.Sky, m: int, step: int, hour: int, k: float, clearness: float, extra: float
) -> None:
    """The five skies of the hour: spread, bound, law, and what each gives."""
    up = float(sky.up[m, step])
    spread = sheet.result(
        "sigma, spread of k inside the hour",
        "0.14 exp(-20 (K_d - 0.35)^2) exp((3 (K_d - 0.45)^2 + 16 K_d^5) (1 - up))",
        f"0.14 × exp(-20 × ({n(clearness)} - 0.35)^2) × exp((3 × ({n(clearness)} - 0.45)^2 + 16 × "
        f"{n(clearness)}^5) × (1 - {n(up)}))",
        float(hour_spread(clearness, up)),
        "",
        "Aguiar & Collares-Pereira 1992",
    )
    bound = sheet.result(
        "k_c, most that k reaches",
        "larger of 0.88 cos(pi (hour - 12) / 30) and k + 0.01",
        f"max(0.88 × cos(pi × ({hour} + 0.5 - 12) / 30), {n(k)} + 0.01)",
        max(float(clear_hour_clearness(hour + 0.5)), k + 0.01),
        "",
        "clear sky, the same",
    )
    x = sheet.result("x, mean over the most", "k / k_c", f"{n(k)} / {n(bound)}", k / bound)
    s = sheet.result(
        "s, spread over the widest there is",
        "sigma / (k_c × sqrt(x (1 - x)))",
        f"min({n(spread)} / ({n(bound)} × sqrt({n(x)} × (1 - {n(x)}))), {n(WIDEST_SPREAD)})",
        min(spread / (bound * math.sqrt(x * (1.0 - x))), WIDEST_SPREAD),
    )
    both = 1.0 / max(s, 1e-3) ** 2 - 1.0
    sheet.value(
        "skies",
        f"means of the five equal parts of a beta law between 0 and k_c with a = x (1 / s^2 - 1) = {n(x * both)} and b "
        f"= (1 - x) (1 / s^2 - 1) = {n((1.0 - x) * both)}, from a table, scaled to the mean k",
    )
    first = step - SKY_SHOWN
    light = sky.ghi[m, first : first + BINS]
    bins = [float(one) for one in light / (extra * up)]
    rows = [(str(b + 1), n(bins[b]), n(float(light[b])), n(float(sky.dhi[m, first + b]))) for b in range(BINS)]
    sheet.table(("sky", "k", "light W/m2", "diffuse W/m2"), rows)
    agree("mean of the skies", sum(bins) / BINS, k)
    sheet.result("mean of the skies", "sum / 5", f"({' + '.join(n(one) for one in bins)}) / {BINS}", sum(bins) / BINS)


def _parts(sheet: Sheet, sized: Sized, sky: engine.Sky, m: int, step: int, extra: float) -> None:
    """Diffuse and beam light of the sky shown."""
    up, light = float(sky.up[m, step]), float(sky.ghi[m, step])
    k = light / (extra * up)
    sheet.result(
        f"G, light of the {ORDINALS[SKY_SHOWN]} sky", "k × I_0 × up", f"{n(k)} × {n(extra)} × {n(up)}", light, "W/m2"
    )
    seen = k * up / max(up, engine.LOWEST_SIN_ERBS)
    if up < engine.LOWEST_SIN_ERBS:
        sheet.result(
            "k as under a sun at 3.7°",
            "k × up / 0.065",
            f"{n(k)} × {n(up)} / {n(engine.LOWEST_SIN_ERBS)}",
            seen,
        )
    at = n(seen)
    numbers, formula = "0.165 × 1", "0.165 above k = 0.8"
    if seen <= 0.22:
        numbers, formula = f"1 - 0.09 × {at}", "1 - 0.09 k, up to k = 0.22"
    elif seen <= 0.80:
        numbers = f"0.9511 - 0.1604 × {at} + 4.388 × {at}^2 - 16.638 × {at}^3 + 12.336 × {at}^4"
        formula = "0.9511 - 0.1604 k + 4.388 k^2 - 16.638 k^3 + 12.336 k^4, k from 0.22 to 0.8"
    share = sheet.result("diffuse share", formula, numbers, float(diffuse_fraction(seen)), "", "Erbs 1982")
    if up < engine.LOWEST_SIN_BEAM:
        beam = 0.0
        sheet.value("beam on the horizontal", "0 W/m2", "the sun stands below 3°")
    else:
        beam = sheet.result(
            "beam on the horizontal",
            "G × (1 - diffuse share)",
            f"{n(light)} × (1 - {n(share)})",
            light * (1.0 - share),
            "W/m2",
        )
    factor = _beam_factor(sized, sky, m)
    if factor is not None and beam > 0.0:
        beam = sheet.result(
            "beam, scaled to the month's diffuse light",
            "least of factor × beam and 0.95 G",
            f"min({n(factor)} × {n(beam)}, {n(engine.MOST_BEAM)} × {n(light)})",
            min(factor * beam, engine.MOST_BEAM * light),
            "W/m2",
            "one factor for the month, which makes its diffuse light that of rasters.diffuse",
        )
    agree("diffuse light", light - beam, float(sky.dhi[m, step]))
    sheet.result("D, diffuse light", "G - beam", f"{n(light)} - {n(beam)}", light - beam, "W/m2")
    agree("beam normal to its rays", beam / up, float(sky.dni[m, step]))
    sheet.result("B_n, beam normal to its rays", "beam / up", f"{n(beam)} / {n(up)}", beam / up, "W/m2")


def _beam_factor(sized: Sized, sky: engine.Sky, m: int) -> float | None:
    """What the month's beam is scaled by so that its diffuse light is the given one: the factor of every step that
    stays below the most; None where diffuse light is not given."""
    climate = sized.climate
    if math.isnan(climate.diffuse[m]):
        return None
    modelled = engine.monthly_sky(climate._replace(diffuse=np.full(12, np.nan)))
    beam = modelled.dni[m] > 0.0
    return float((sky.dni[m, beam] / modelled.dni[m, beam]).max()) if beam.any() else None


def _air(sheet: Sheet, sized: Sized, sky: engine.Sky, m: int, step: int, hour: int) -> None:
    """Air temperature of the hour: the month's mean and a wave over its daily range."""
    terms = [f"{n(size)} × cos({n(times)} × 2 × pi × ({hour} - 0.5) / 24 - {n(at)})" for size, times, at in engine.WAVE]
    turns = 2.0 * math.pi * (hour - 0.5) / engine.HOURS
    wave = sheet.result(
        "wave of the air temperature",
        "four terms of the hour, over the daily range",
        " + ".join(terms),
        float(sum(size * math.cos(times * turns - at) for size, times, at in engine.WAVE)),
        "",
        "Erbs, Klein & Beckman 1983",
    )
    mean, width = float(sized.climate.air_temperature_c[m]), float(sized.climate.temperature_range_k[m])
    agree("air temperature", mean + width * wave, float(sky.air_c[m, step]))
    sheet.result(
        "air temperature",
        "mean of the month + daily range × wave",
        f"{n(mean)} + {n(width)} × {in_brackets(wave)}",
        mean + width * wave,
        "°C",
    )
