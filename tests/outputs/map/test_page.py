"""map.html as text: nothing executes, the policy fits, the data are whole."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from importlib.resources import files
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from planner.errors import InternalError
from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.outputs.map.site_data import hundredths, safe_json

Sites = Callable[..., pd.DataFrame]
Run = Callable[[pd.DataFrame], dict[str, Any]]


class Elements(HTMLParser):
    """The elements of the page as a browser would cut them, with the text of scripts and styles."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {"script": [], "style": []}
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag in self.texts:
            self.texts[tag].append("")

    def handle_data(self, data: str) -> None:
        if self.elements and self.lasttag in self.texts and self.cdata_elem:
            self.texts[self.lasttag][-1] += data


def data_of(page: str) -> dict[str, Any]:
    return dict(json.loads(Elements(page).texts["script"][0]))


@pytest.fixture(scope="module")
def hostile_page(invented_sites: Sites, invented_run: Run, hostile_names: tuple[str, ...]) -> str:
    sites = invented_sites(60, hostile=True)
    run = invented_run(sites) | {"programme": "</title><script>x</script>", "cautions": list(hostile_names)}
    run["notes"], run["defaults_used"] = list(hostile_names), {name: name for name in hostile_names}
    area = {"type": "Polygon", "coordinates": [[[34, -4], [35, -4], [35, -3], [34, -4]]]}
    return map_page(sites, [{"name": name, "geometry": area} for name in hostile_names], run)


def test_hostile_text_makes_no_element(hostile_page: str) -> None:
    parsed = Elements(hostile_page)
    assert [tag for tag, _ in parsed.elements].count("script") == 3
    assert "img" not in [tag for tag, _ in parsed.elements]
    names = {name for _, attributes in parsed.elements for name in attributes}
    assert not [name for name in names if name == "style" or name.startswith("on")]


def test_hostile_text_arrives_unchanged(hostile_page: str, hostile_names: tuple[str, ...]) -> None:
    data = data_of(hostile_page)
    for texts in (
        data["sites"]["texts"]["site_name"],
        data["sites"]["texts"]["site_id"],
        data["run"]["notes"],
    ):
        assert tuple(texts[: len(hostile_names)]) == hostile_names
    assert tuple(area["name"] for area in data["areas"]) == hostile_names


def test_policy_names_the_very_scripts_and_styles(hostile_page: str) -> None:
    parsed = Elements(hostile_page)
    policy = next(a["content"] or "" for tag, a in parsed.elements if tag == "meta" and a.get("http-equiv"))
    written = {
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode()}'"
        for text in parsed.texts["script"][1:] + parsed.texts["style"]
    }
    assert set(re.findall(r"'sha256-[^']+'", policy)) == written
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy and "http" not in policy


def test_page_names_no_address_and_no_picture(hostile_page: str) -> None:
    parsed = Elements(hostile_page)
    assert not [a for _, a in parsed.elements if a.get("src") or (a.get("href") or "#")[0] != "#"]
    assert "url(" not in parsed.texts["style"][0]
    assert "sourceMappingURL" not in hostile_page
    assert "\r" not in hostile_page


def test_safe_json_escapes_what_html_reads_and_keeps_the_value() -> None:
    value = {"text": "<!--</script>&\u2028\u2029\ud800 \u202e é"}
    text = safe_json(value)
    assert not set("<>&\u2028\u2029\ud800") & set(text)
    assert json.loads(text) == value
    with pytest.raises(ValueError, match="not JSON compliant"):
        safe_json(float("nan"))


def test_every_row_is_in_the_data_with_its_numbers(invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(600)
    data = data_of(map_page(sites, None, invented_run(sites)))
    numbers, texts = data["sites"]["numbers"], data["sites"]["texts"]
    assert data["sites"]["count"] == 600
    assert numbers["inventory_row"] == list(range(1, 601))
    assert numbers["latitude"][-3:] == [None, None, None]
    shown = np.array(numbers["volume_used_m3_day"], dtype="float64")
    # Half of the last digit that the page keeps.
    np.testing.assert_allclose(shown, sites["volume_used_m3_day"], atol=0.05 + 1e-9)
    cost = np.array(numbers["cost_per_m3"], dtype="float64")
    np.testing.assert_allclose(cost, sites["cost_per_m3"], rtol=5.01e-4)
    decisions = [texts["decision"]["levels"][code] for code in texts["decision"]["codes"]]
    assert decisions == sites["decision"].tolist()


def test_shares_are_rounded_down() -> None:
    # Closed form; 0.29 × 100 is 28.999… in binary and must stay 0.29.
    shares = hundredths(pd.Series([0.9996, 1.0, 0.29, float("nan")]))
    np.testing.assert_array_equal(shares, [0.99, 1.0, 0.29, np.nan])


def test_page_is_the_same_twice(invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(50)
    before = sites.copy()
    assert map_page(sites, None, invented_run(sites)) == map_page(sites, None, invented_run(sites))
    pd.testing.assert_frame_equal(sites, before)


def test_counts_that_do_not_fit_are_refused(invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(50)
    run = invented_run(sites)
    run["counts"] = run["counts"] | {"equip": run["counts"]["equip"] + 1}
    with pytest.raises(InternalError, match="the run counts"):
        map_page(sites, None, run)


def test_missing_columns_are_all_named(invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(50)
    with pytest.raises(InternalError, match="volume_07"):
        map_page(sites.drop(columns="volume_07"), None, invented_run(sites))


def test_no_site_at_all(invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(5).iloc[:0]
    assert data_of(map_page(sites, None, invented_run(sites)))["cost"] == {
        "breaks": [],
        "colours": ["#1a1c57"],
    }


def test_size_of_the_page(
    invented_sites: Sites, invented_run: Run, invented_district: gpd.GeoDataFrame
) -> None:
    # Limit by judgement: a page of 600 sites must pass any mail box.
    sites = invented_sites(600)
    page = map_page(sites, simplify_areas(invented_district, "name"), invented_run(sites))
    assert len(page.encode("utf-8")) < 500_000


def test_vendored_files_are_the_ones_that_were_checked() -> None:
    folder = files("planner.outputs.map").joinpath("vendor/leaflet")
    lines = folder.joinpath("SHA256SUMS").read_text(encoding="utf-8").splitlines()
    assert [line.split()[1] for line in lines] == ["leaflet.js", "leaflet.css", "LICENSE"]
    for line in lines:
        digest, name = line.split()
        assert hashlib.sha256(folder.joinpath(name).read_bytes()).hexdigest() == digest, name
    assert "Leaflet 1.9.4" in folder.joinpath("leaflet.js").read_text(encoding="utf-8")[:60]
