"""The page of a whole run: the demo's inventory, plan and boundary with hostile names in all of them."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest

from planner.outputs.folder import chunk_folder
from planner.pipeline import run
from tests.quick_demo import quick_demo

pytestmark = pytest.mark.browser
PROGRAMME = "</title><script>window.hurt=1</script> ${window.hurt=2} \u202eplan"


@pytest.fixture(scope="module")
def demo(
    hostile_names: tuple[str, ...], quick_run: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, pd.DataFrame]:
    """The map and the table of a run with hostile villages, wards, polygons and programme."""
    folder = tmp_path_factory.mktemp("demo") / "data"
    quick_demo(folder)
    path = folder / "boreholes.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    for row, name in zip(rows[1:], hostile_names, strict=False):
        row[rows[0].index("village")] = row[rows[0].index("ward")] = name
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    district = gpd.read_file(folder / "district.gpkg", layer="sub_districts")
    district["name"] = [*hostile_names, *district["name"]][: len(district)]
    (folder / "district.gpkg").unlink()
    district.to_file(folder / "district.gpkg", layer="sub_districts")
    plan = (folder / "plan.toml").read_text(encoding="utf-8")
    plan = plan.replace('name = "Demo district"', f"name = {json.dumps(PROGRAMME)}")
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    out = folder.parent / "out"
    shutil.copytree(chunk_folder(quick_run / "out"), chunk_folder(out))  # other names, the same sites
    run(folder / "plan.toml", out)
    return out / "map.html", pd.read_parquet(out / "sites.parquet")


@pytest.mark.parametrize("size", [(1366, 768), (390, 844)], ids=["wide", "narrow"])
def test_hostile_names_of_every_source_are_text(
    open_page: Callable[..., Any],
    demo: tuple[Path, pd.DataFrame],
    size: tuple[int, int],
    hostile_names: tuple[str, ...],
) -> None:
    file, sites = demo
    visit = open_page(file, size)
    page = visit.page
    assert page.locator("#programme").text_content() == PROGRAMME
    assert page.locator(".area-name").first.text_content() == hostile_names[0]
    for place in range(len(hostile_names)):
        name, ward = sites["site_name"].iloc[place], sites["sub_district_used"].iloc[place]
        page.fill("#search", name)
        row = page.locator("#rows .name bdi", has_text=name[:30].split("\u2028")[0]).first
        assert row.text_content() == name
        assert ward in page.locator("#filter-area option").all_text_contents()
    page.click("#tab-findings")
    for toggle in page.locator("#finding-groups .rule-toggle").all():
        toggle.click()
    page.click("#tab-assumptions")
    assert PROGRAMME in page.locator("#assumptions").text_content()
    assert page.evaluate("window.hurt") is None
    assert page.locator("img, .page script, .page [onmouseover], .page [onerror]").count() == 0
    visit.close()


def test_reasons_and_numbers_are_those_of_the_run(
    open_page: Callable[..., Any], demo: tuple[Path, pd.DataFrame]
) -> None:
    file, sites = demo
    visit = open_page(file)
    page = visit.page
    ids = sites["site_id"].value_counts()
    once = sites[sites["site_id"].isin(ids[ids == 1].index)]
    chosen = once.groupby("reason_codes").head(1).iloc[:60]
    for _, site in chosen.iterrows():
        page.fill("#search", site["site_id"])
        page.keyboard.press("Enter")
        if f"row {site['inventory_row']}" not in page.locator(".place").inner_text():
            continue  # the search found the identifier inside another one's
        told = page.locator("#popup .reasons li").all_text_contents()
        assert " ".join(told) == site["reason_text"]
        page.keyboard.press("Escape")
    first = sites[sites["rank"] == 1].iloc[0]
    page.fill("#search", "")
    page.locator("#rows .site").first.click()
    assert page.locator("#popup-title").text_content() == first["site_name"]
    words = page.locator("#popup").inner_text()
    assert f"{first['cost_per_m3']:.3f}" in words
    for name in ("pump_id", "drive_id", "module_id", "riser_id"):
        assert first[name] in words
    visit.close()
