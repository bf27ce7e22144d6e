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
from numpy.typing import NDArray

from planner.errors import InternalError
from planner.glossary import monthly
from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.block import DIGITS, digits, safe_json
from planner.outputs.map.pack import Presence, pack_flags, pack_numbers, pack_texts
from planner.outputs.map.page import SCRIPTS, map_page
from planner.outputs.map.site_data import hundredths

Sites = Callable[..., pd.DataFrame]
MakePage = Callable[..., str]
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


def unpacked_codes(codes: str, count: int) -> NDArray[np.int64]:
    letters = DIGITS.tobytes().decode("ascii")
    width = len(codes) // count if count else 0
    values = np.zeros(count, dtype=np.int64)
    for place in range(count):
        for letter in codes[place * width : (place + 1) * width]:
            values[place] = values[place] * 64 + letters.index(letter)
    return values


def unpacked(column: dict[str, Any], count: int, present: list[str] | None = None) -> NDArray[np.float64]:
    """The numbers of a column of a plain page, spread over those that have one."""
    if "present" in column:
        sixes = unpacked_codes((present or [])[column["present"]], -(-count // 6))
        flags = np.array([(six >> bit) & 1 for six in sixes for bit in range(5, -1, -1)][:count], dtype=bool)
        values = np.full(count, np.nan)
        values[flags] = unpacked({name: part for name, part in column.items() if name != "present"}, int(flags.sum()))
        return values
    codes = unpacked_codes(column["codes"], count)
    if "levels" in column:
        return np.array(column["levels"], dtype="float64")[codes]
    return np.where(codes == 0, np.nan, (codes - 1 + column["low"]) / 10 ** column["decimals"])


def in_json(packed: dict[str, Any]) -> dict[str, Any]:
    return dict(json.loads(safe_json(packed)))


@pytest.fixture(scope="module")
def make_page(invented_run: Run, invented_checks: Sites, invented_findings: Callable[..., Any]) -> MakePage:
    """The page of a frame of sites, with their checks and findings; `run` replaces parts of the run."""

    def make(sites: pd.DataFrame, areas: Any = None, **run: Any) -> str:
        checks, findings = invented_checks(sites), invented_findings(sites)
        return map_page(sites, areas, invented_run(sites) | run, checks=checks, findings=findings)

    return make


def data_of(page: str) -> dict[str, Any]:
    return dict(json.loads(Elements(page).texts["script"][0]))


@pytest.fixture(scope="module")
def hostile_page(make_page: MakePage, invented_sites: Sites, hostile_names: tuple[str, ...]) -> str:
    area = {"type": "Polygon", "coordinates": [[[34, -4], [35, -4], [35, -3], [34, -4]]]}
    return make_page(
        invented_sites(60, hostile=hostile_names),
        [{"name": name, "geometry": area} for name in hostile_names],
        programme="</title><script>x</script>",
        cautions=list(hostile_names),
        notes=list(hostile_names),
        defaults_used={name: name for name in hostile_names},
        plan={name: name for name in hostile_names},
    )


def test_hostile_text_makes_no_element(hostile_page: str) -> None:
    parsed = Elements(hostile_page)
    assert [tag for tag, _ in parsed.elements].count("script") == 3
    assert "img" not in [tag for tag, _ in parsed.elements]
    names = {name for _, attributes in parsed.elements for name in attributes}
    assert not [name for name in names if name == "style" or name.startswith("on")]


def test_hostile_text_arrives_unchanged(hostile_page: str, hostile_names: tuple[str, ...]) -> None:
    data = data_of(hostile_page)
    texts = data["sites"]["texts"]
    for told in (texts["site_name"]["texts"], texts["site_id"]["texts"], texts["sub_district"]["levels"]):
        assert set(hostile_names) <= set(told)
    assert tuple(data["run"]["notes"]) == hostile_names
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


def test_every_row_is_in_the_data_with_its_numbers(make_page: MakePage, invented_sites: Sites) -> None:
    sites = invented_sites(600)
    block = data_of(make_page(sites))["sites"]
    assert block["count"] == 600

    def numbers(name: str) -> NDArray[np.float64]:
        return unpacked(block["numbers"][name], 600, block["present"])

    rows = numbers("inventory_row").astype(int)
    assert sorted(rows) == list(range(1, 601))
    sites = sites.loc[rows]  # the page's order
    assert np.isnan(numbers("latitude")).sum() == 3
    # Half of the last digit that the page keeps.
    for name, digit in (("volume_used_m3_day", 0.1), ("cost_per_m3", 0.001), ("latitude", 1e-5), ("rank", 1)):
        np.testing.assert_allclose(numbers(name), sites[name], atol=digit / 2 + 1e-9)
    decision = block["texts"]["decision"]
    levels = np.array(decision["levels"])[unpacked_codes(decision["codes"], 600)]
    assert levels.tolist() == sites["decision"].tolist()


def test_demand_by_month_survives_as_a_pattern(make_page: MakePage, invented_sites: Sites) -> None:
    sites = invented_sites(300)
    block = data_of(make_page(sites))["sites"]
    season = block["season"]
    assert len(season["levels"]) == 2  # none, and the one pattern of all sites
    patterns = [season["levels"][code] for code in unpacked_codes(season["codes"], 300)]
    design = unpacked(block["numbers"]["design_demand_m3_day"], 300, block["present"])
    sites = sites.loc[unpacked(block["numbers"]["inventory_row"], 300).astype(int)]
    for place in np.flatnonzero(sites["design_month"].notna()):
        month = int(sites["design_month"].iloc[place]) - 1
        shares = np.array(patterns[place]) / patterns[place][month]
        demand = sites[list(monthly("demand"))].iloc[place].to_numpy(dtype="float64")
        # Half a thousandth of the largest month, and half a tenth of the design month.
        np.testing.assert_allclose(design[place] * shares, demand, rtol=0.0015, atol=0.06)


@pytest.mark.parametrize("size", [3, 80, 5000])
def test_packed_numbers_come_back(size: int) -> None:
    # Closed form: what is packed is what was given, to the decimals kept; negative and missing ones too.
    values = np.round(np.linspace(-7, 1e6, size), 2)
    values[1] = np.nan
    np.testing.assert_array_equal(unpacked(in_json(pack_numbers(values, 2)), size), values)
    presence = Presence()
    values[: size // 2 + 1] = np.nan
    packed = presence.pack_numbers(values, 2)
    present = [digits(codes) for codes in presence.packed]
    np.testing.assert_array_equal(unpacked(in_json(packed), size, present), values)


def test_packed_codes_by_hand() -> None:
    # By hand: 64 is digit 1 and digit 0, 4095 twice the last digit, and 4096 needs a third.
    assert digits(np.array([64, 4095])) == "BA__"
    assert digits(np.array([4096])) == "BAA"
    assert digits(np.array([0, 0])) == ""
    assert pack_flags(np.array([False] * 6 + [True])).tolist() == [0, 32]


def test_texts_that_differ_by_a_number_keep_what_is_alike_once() -> None:
    # By hand: one template and few numbers; texts without a number are a template of their own.
    texts = [f"demand below {amount / 10} m³: no pump fits" for amount in range(200)] + ["a clear case", ""]
    packed = pack_texts(pd.Series(texts * 3))
    assert packed["around"] == [["demand below ", " m³: no pump fits"], ["a clear case"], [""]]
    amounts = packed["amounts"]
    told = [amounts["levels"][code] for code in amounts["codes"]]
    joined = [told[at].join(packed["around"][code]) for at, code in enumerate(packed["codes"])]
    assert joined == texts * 3


def test_shares_are_rounded_down() -> None:
    # Closed form; 0.29 × 100 is 28.999… in binary and must stay 0.29.
    shares = hundredths(pd.Series([0.9996, 1.0, 0.29, float("nan")]))
    np.testing.assert_array_equal(shares, [0.99, 1.0, 0.29, np.nan])


def test_page_is_the_same_twice(make_page: MakePage, invented_sites: Sites) -> None:
    sites = invented_sites(50)
    before = sites.copy()
    assert make_page(sites) == make_page(sites)
    pd.testing.assert_frame_equal(sites, before)


def test_counts_that_do_not_fit_are_refused(make_page: MakePage, invented_sites: Sites, invented_run: Run) -> None:
    sites = invented_sites(50)
    counts = invented_run(sites)["counts"]
    with pytest.raises(InternalError, match="the run counts"):
        make_page(sites, counts=counts | {"equip": counts["equip"] + 1})


def test_missing_columns_are_all_named(make_page: MakePage, invented_sites: Sites) -> None:
    with pytest.raises(InternalError, match="drive_id, volume_07"):
        make_page(invented_sites(50).drop(columns=["volume_07", "drive_id"]))


def test_no_site_at_all(make_page: MakePage, invented_sites: Sites) -> None:
    data = data_of(make_page(invented_sites(5).iloc[:0]))
    assert data["cost"] == {"breaks": [], "colours": ["#1a1c57"]}
    assert data["sites"]["count"] == 0


def test_every_key_of_the_plan_is_told_and_defaults_are_marked(make_page: MakePage, invented_sites: Sites) -> None:
    rows = data_of(make_page(invented_sites(5)))["run"]["assumptions"]
    told = {key: (value, default) for key, value, default in rows}
    assert told["programme.discount_rate"] == ("0.08", True)
    assert told["demand.growth"] == ("0.025", False)
    assert told["area.boundary"] == ("district.gpkg", False)
    value, default = told["demand.season"]
    assert value["en"] == "1 in each of 12" and default


def test_size_of_the_page(make_page: MakePage, invented_sites: Sites, invented_district: gpd.GeoDataFrame) -> None:
    # Limit by judgement: a page of 600 sites, with its words in five languages, must pass any mail box. It was 600 kB
    # before comparison, calculation, links and papers came in (some 20 kB).
    page = make_page(invented_sites(600), simplify_areas(invented_district, "name"))
    assert len(page.encode("utf-8")) < 650_000


def test_vendored_files_are_the_ones_that_were_checked() -> None:
    folder = files("planner.outputs.map").joinpath("vendor/leaflet")
    lines = folder.joinpath("SHA256SUMS").read_text(encoding="utf-8").splitlines()
    assert [line.split()[1] for line in lines] == ["leaflet.js", "leaflet.css", "LICENSE"]
    for line in lines:
        digest, name = line.split()
        assert hashlib.sha256(folder.joinpath(name).read_bytes()).hexdigest() == digest, name
    assert "Leaflet 1.9.4" in folder.joinpath("leaflet.js").read_text(encoding="utf-8")[:60]


def test_no_name_stands_twice() -> None:
    """The scripts share one scope, where a second function of a name would silently take the place of the first."""
    folder = files("planner.outputs.map")
    names = [
        name
        for script in SCRIPTS
        for name in re.findall(
            r"(?m)^(?:async )?(?:function|const|let|class) (\w+)", folder.joinpath(script).read_text(encoding="utf-8")
        )
    ]
    assert sorted({name for name in names if names.count(name) > 1}) == []
