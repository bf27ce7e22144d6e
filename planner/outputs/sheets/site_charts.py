"""The two charts of a site: its duty point, and its months."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from babel.dates import get_month_names

from planner.catalogue.loader import Catalogue
from planner.outputs.sheets.chart import Axis, Chart, axis
from planner.outputs.sheets.duty import HIGHEST, POINTS, curves
from planner.plan import Plan
from planner.texts import decimal_text, month_names, number, say
from planner.texts.locales import locale

MONTHS = range(1, 13)
TALLEST = 2.4  # head of the chart over that of the duty point, by judgement
ABOVE = 1.0005  # speed over rated from which the set gives less than the peak in the design month


def duty_chart(row: pd.Series, catalogue: Catalogue, plan: Plan, language: str) -> dict[str, Any]:
    """The pump at rated speed and at the duty point's, the system's curve, and the duty point."""
    found = curves(row, catalogue, plan)
    peak, head = float(row["peak_flow_m3_h"]), float(row["total_head_m"])
    full = found.pump_flow[(found.pump_head >= 0) & (found.pump_head <= HIGHEST * head)]
    most = max([1.3 * peak, *(one for one in full if one <= 2.2 * peak)])
    safe = float(row["safe_rate_m3_h"])
    most = max(most, safe) if safe <= 1.8 * peak else most
    chart = Chart(
        axis(1.02 * most),
        axis(max(1.35 * head, min(float(np.max(found.pump_head)), TALLEST * head))),
        say("sheets_axis_flow", language),
        say("sheets_axis_head", language),
        language,
    )
    chart.line(found.pump_flow, found.pump_head, "thick", say("sheets_pump_rated", language))
    share = decimal_text(100 * found.speed, language)
    chart.line(found.slow_flow, found.slow_head, "dashed", say("sheets_pump_slow", language, share=share))
    flow = np.linspace(0.0, chart.x.top, POINTS)
    chart.line(flow, found.static_m + found.friction.rise_m(flow), "solid", say("sheets_system", language))
    if safe <= chart.x.top:
        words = say("sheets_safe_rate", language)
        chart.line([safe, safe], [0.0, chart.y.top], "dotted", words)
    words = say("sheets_duty_point", language, flow=number(peak, language), head=number(head, language))
    key = "sheets_duty_peak" if found.speed <= ABOVE else "sheets_duty_above"
    chart.mark(peak, head, "disc", words, say(key, language))
    return chart.data()


def months_chart(row: pd.Series, losses: float, language: str) -> dict[str, Any]:
    """Water of each month: used as bars, wanted and pumpable as lines; `rows` holds the numbers."""
    pumped, used = (_months(row, name) for name in ("volume", "used"))
    wanted = (1.0 - losses) * _months(row, "demand")
    chart = Chart(Axis(12.0, 1.0), axis(1.05 * float(np.nanmax([pumped, wanted]))), "", "", language)
    chart.y_label = say("sheets_axis_water", language)
    words = [say(f"sheets_month_{name}", language) for name in ("used", "wanted", "pumped")]
    for month, value in enumerate(used):
        place = {"x": round((month + 0.18) / 12, 4), "w": round(0.64 / 12, 4)}
        chart.bars.append({**place, "y": chart.y.place(value), "fill": "grey"})
    chart.legend.append({"fill": "grey", "words": words[0]})
    edges = [float(edge) for month in range(12) for edge in (month, month + 1)]
    chart.line(edges, np.repeat(wanted, 2), "solid", words[1])
    chart.line([month + 0.5 for month in range(12)], pumped, "dashed", words[2])
    letters = get_month_names("narrow", "stand-alone", locale(language))
    ticks = [[round((month - 0.5) / 12, 4), letters[month]] for month in MONTHS]
    decimals = 1 if np.nanmax(pumped) < 100 else 0
    rows = [
        [label, *(decimal_text(float(value), language, decimals) for value in values)]
        for label, values in zip(words, (used, wanted, pumped), strict=True)
    ]
    design = int(row["design_month"])
    return {
        **chart.data(ticks),
        "rows": [["", *(letters[month] for month in MONTHS)], *rows],
        "design": say("sheets_design_month", language, month=month_names(language, short=False)[design - 1]),
    }


def _months(row: pd.Series, name: str) -> np.ndarray:
    return np.array([float(row[f"{name}_{month:02d}"]) for month in MONTHS])
