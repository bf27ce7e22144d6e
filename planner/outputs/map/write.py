"""map.html of a run: ground and areas for the page, and the file."""

from __future__ import annotations

from pathlib import Path

from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.outputs.map.relief import make_relief
from planner.outputs.map.tiles import tile_source
from planner.outputs.material import Material


def write_map(material: Material, path: Path) -> None:
    """Write the page; `material` as it may be handed on."""
    sites, plan, polygons = material.sites, material.plan, material.polygons
    area, elevation = plan.plan.area, plan.plan.rasters.elevation
    areas = None
    bounds = tuple(getattr(sites[name], side)() for side in ("min", "max") for name in ("longitude", "latitude"))
    if area is not None and polygons is not None:
        areas, bounds = simplify_areas(polygons, area.name_field), tuple(polygons.total_bounds)
    relief = None
    if elevation is not None:
        relief = make_relief(plan.resolve(elevation.names[0]), bounds, elevation.nodata)
    values = plan.plan.model_dump(mode="json", exclude_none=True)
    page = map_page(
        sites,
        areas,
        {
            **material.about,
            "scenarios": material.scenarios,
            "plan": values,
            "tiles": tile_source(plan.plan.output.tiles, plan.plan.output.tiles_attribution),
        },
        checks=material.checks,
        findings=material.findings,
        relief=relief,
        shown=material.shown,
    )
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(page)
