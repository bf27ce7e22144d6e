"""The four pictures of a run as files."""

from __future__ import annotations

from pathlib import Path

from planner.outputs.charts.funnel import funnel_svg
from planner.outputs.charts.head_flow import head_flow_svg
from planner.outputs.charts.months import months_svg
from planner.outputs.charts.supply_curve import supply_curve_svg
from planner.outputs.material import Material

CHARTS = ("chart_supply_curve.svg", "chart_head_flow.svg", "chart_months.svg", "chart_funnel.svg")


def chart_texts(material: Material) -> dict[str, str]:
    """File name → SVG of each picture. They hold sums and points without names: no position, no person."""
    sites, about, language = material.sites, material.about, material.plan.plan.programme.language
    drawn = (
        supply_curve_svg(sites, about, language),
        head_flow_svg(sites, material.catalogue.pumps, about, language),
        months_svg(sites, material.plan.plan.demand.losses, about, language),
        funnel_svg(sites, about, language),
    )
    return dict(zip(CHARTS, drawn, strict=True))


def write_charts(material: Material, folder: Path) -> None:
    """Write CHARTS into a folder."""
    for name, text in chart_texts(material).items():
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            file.write(text)
