"""map.html of many sites: packed data, and sites beyond the number that a page lists. The limits are lowered here."""

from __future__ import annotations

import base64
import json
import re
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from planner.errors import InternalError
from planner.outputs.map.block import packed_block, safe_json
from planner.outputs.map.order import reading_order, rest_data
from planner.outputs.map.page import map_page
from planner.outputs.map.site_data import site_frame

Sites = Callable[..., pd.DataFrame]
COUNT, LISTED = 400, 150
# Text of what a reader sees of a site: the pop-up, and the row's line in the table.
SEEN = """() => [document.getElementById("popup").innerText, document.getElementById("status").innerText]"""


@pytest.fixture(scope="module")
def write(
    invented_run: Callable[..., Any],
    invented_checks: Sites,
    invented_findings: Callable[..., Any],
    tmp_path_factory: Any,
) -> Callable[..., Path]:
    """Write the page of a frame of sites with some limits."""

    def make(sites: pd.DataFrame, **limits: int) -> Path:
        checks, findings = invented_checks(sites), invented_findings(sites)
        page = map_page(sites, None, invented_run(sites), checks=checks, findings=findings, **limits)
        path: Path = tmp_path_factory.mktemp("many") / "map.html"
        path.write_text(page, encoding="utf-8", newline="")
        return path

    return make


def unpacked_planes(block: dict[str, Any], planes: bytes, codes: list[int], count: int) -> list[int]:
    begin, width = codes
    parts = [planes[begin + plane * count : begin + (plane + 1) * count] for plane in range(width)]
    return [sum(part[at] << 8 * plane for plane, part in enumerate(parts)) for at in range(count)]


def test_packed_block_comes_back() -> None:
    # Closed form: what is packed is what was given, in JSON and in planes of bytes, whatever the width.
    arrays = {"none": [0, 0, 0], "one": [1, 2, 255], "two": [0, 256, 65535], "four": [7, 1 << 24, (1 << 32) - 1]}
    value = {"text": "</script> é \u2028\ud800", **{name: np.array(codes) for name, codes in arrays.items()}}
    text = packed_block(value)
    assert re.fullmatch(r"[A-Za-z0-9+/=]+", text)
    raw = zlib.decompress(base64.b64decode(text))
    length = int.from_bytes(raw[:4], "little")
    block, planes = json.loads(raw[4 : 4 + length]), raw[4 + length :]
    assert block["text"] == value["text"]
    for name, codes in arrays.items():
        assert unpacked_planes(block, planes, block[name], 3) == codes
    assert [block[name][1] for name in arrays] == [0, 1, 2, 4]
    assert packed_block(value) == text


def test_reading_order_is_rank_then_decision_then_cost_then_row(invented_sites: Sites) -> None:
    frame = reading_order(site_frame(invented_sites(COUNT)))
    decisions = ["equip", "test_first", "hold", "unsuitable", "not_assessed"]
    group = frame["decision"].map(decisions.index)
    assert group.is_monotonic_increasing
    assert frame["rank"].dropna().tolist() == list(range(1, int((group == 0).sum()) + 1))
    for _, part in frame[group > 0].groupby(group):
        assert part["cost_per_m3"].round(3).dropna().is_monotonic_increasing
        known = part["cost_per_m3"].notna().to_numpy()
        assert not known[int(known.sum()) :].any()
        assert part.loc[~known, "inventory_row"].is_monotonic_increasing
    rows = invented_sites(COUNT).index.to_numpy()
    assert (rows[frame["place"]] == frame["inventory_row"]).all()


def test_no_site_is_silently_missing(invented_sites: Sites) -> None:
    frame = reading_order(site_frame(invented_sites(COUNT)))
    rest = rest_data(frame.iloc[LISTED:], LISTED)
    assert rest is not None
    assert rest["count"] == COUNT - LISTED
    assert rest["off_map"] == 3  # all three without a position are not assessed, and come last
    assert sum(count for *_, count in rest["cells"]) + rest["off_map"] == rest["count"]
    for south, west, count in rest["cells"]:  # each cell counted anew
        inside = frame.iloc[LISTED:]
        for name, low in (("latitude", south), ("longitude", west)):
            inside = inside[(inside[name] >= low - 1e-9) & (inside[name] < low + rest["size"] - 1e-9)]
        assert len(inside) == count
    assert rest["kept"] == LISTED
    assert rest_data(frame.iloc[:0], COUNT) is None


def test_counts_of_all_rows_are_checked_before_any_is_left_out(invented_sites: Sites, invented_run: Any) -> None:
    sites = invented_sites(COUNT)
    run = invented_run(sites.iloc[:LISTED])
    checks = pd.DataFrame(columns=["inventory_row", "rule", "subject", "value", "limit", "pass"])
    with pytest.raises(InternalError, match=f"the {COUNT} sites"):
        map_page(sites, None, run, checks=checks, findings=[], most_sites=LISTED)


def test_small_pages_stay_plain_and_large_ones_are_packed(write: Callable[..., Path], invented_sites: Sites) -> None:
    sites = invented_sites(60)
    plain, packed = (write(sites, packed_above=limit).read_text(encoding="utf-8") for limit in (60, 59))
    assert '<script type="application/json" id="data">{"texts"' in plain
    assert '<script type="application/octet-stream" id="data">eJ' in packed


@pytest.mark.browser
def test_packed_page_shows_what_the_plain_one_shows(
    write: Callable[..., Path], open_page: Callable[..., Any], invented_sites: Sites, hostile_names: tuple[str, ...]
) -> None:
    sites = invented_sites(COUNT, hostile=hostile_names)
    seen = []
    for limit in (COUNT, 0):
        visit = open_page(write(sites, packed_above=limit))
        told = []
        for site_id in [*sites["site_id"][:: COUNT // 25], sites["site_id"].iloc[-1]]:
            visit.page.fill("#search", site_id)
            visit.page.keyboard.press("Enter")
            told.append(visit.page.evaluate(SEEN))
        visit.page.click("#reset")
        visit.page.click("#tab-findings")
        told.append(visit.text("#finding-groups"))
        told.append(visit.page.locator("#facts").text_content())
        seen.append(told)
        visit.close()
    assert seen[0] == seen[1]


@pytest.mark.browser
@pytest.mark.parametrize("fault", ["old-browser", "damaged"])
def test_what_cannot_be_unpacked_says_so(
    browser: Any, write: Callable[..., Path], invented_sites: Sites, fault: str
) -> None:
    path = write(invented_sites(40), packed_above=0)
    if fault == "damaged":
        text = path.read_text(encoding="utf-8")
        path.write_text(re.sub(r'(id="data">.{400}).{40}', r"\1", text), encoding="utf-8", newline="")
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.add_init_script("delete window.DecompressionStream" if fault == "old-browser" else "")
    page.goto(path.as_uri())
    page.locator(f"#{fault}").wait_for(state="visible")
    assert page.locator(".noscript:visible").count() == 1
    context.close()


@pytest.mark.browser
def test_sites_beyond_the_limit_are_counted_on_the_map(
    write: Callable[..., Path], open_page: Callable[..., Any], invented_sites: Sites
) -> None:
    sites = invented_sites(COUNT)
    visit = open_page(write(sites, most_sites=LISTED))
    page = visit.page
    assert int(page.locator("#grid").get_attribute("aria-rowcount")) == LISTED + 1
    assert f"{COUNT - LISTED} more are counted in the squares" in visit.text("#status")
    assert f"{COUNT - LISTED} more rows, counted only" in page.locator(".note").first.inner_text()
    counts = [int(text) for text in page.locator("#decisions .count").all_text_contents()]
    assert sum(counts[:5]) == COUNT
    page.click("#tab-read")
    rows = [text.split("\t")[-1] for text in page.locator(".counts tr").all_inner_texts()]
    assert sum(map(int, rows[:5])) == int(rows[5]) == COUNT
    assert rows[6:] == ["3", str(COUNT - LISTED)]  # without a position; only counted
    # Findings of rows that are not listed are counted, and no finding takes them for the whole file.
    page.click("#tab-findings")
    total = 1 + len(range(0, COUNT, 3))
    assert page.locator("#finding-count").inner_text().startswith(f"{total} of {total} findings")
    page.locator(".rule-toggle", has_text="static_below_depth").click()
    assert "not in this page" in visit.text("#finding-groups")
    assert "The whole file" not in visit.text("#finding-groups")
    visit.close()


def test_json_is_as_safe_with_codes() -> None:
    assert safe_json({"codes": np.array([64, 0]), "text": "<"}) == '{"codes":"BAAA","text":"\\u003c"}'
