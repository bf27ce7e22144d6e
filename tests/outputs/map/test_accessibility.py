"""No serious fault of accessibility, found by axe-core (Mozilla Public License 2.0, vendored for the tests only)."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

VENDOR = Path(__file__).parent / "vendor/axe"
WIDE = (1366, 768)
NARROW = (390, 844)
STATES: dict[str, tuple[str, ...]] = {
    "opened": (),
    "filters": ("#filter-toggle",),
    "popup": ("#rows .site >> nth=1",),
    "calculation": ("#rows .site >> nth=1", ".calculation summary"),
    "compare": (
        *("#rows .site >> nth=1", ".compare-button", "#popup .close"),
        *("#rows .site >> nth=2", ".compare-button"),
    ),
    "read": ("#tab-read",),
    "findings": ("#tab-findings", "#finding-groups .rule-toggle >> nth=0"),
    "assumptions": ("#tab-assumptions",),
    "charts": ("#tab-charts", "#charts summary >> nth=0", "#charts summary >> nth=1"),
    "volume used": ("#layer=volume_used",),
    "evidence": ("#layer=evidence_grade", "#grey"),
    "funded probability": ("#layer=funded_probability",),
}


def test_vendored_files_are_the_ones_that_were_checked() -> None:
    for line in (VENDOR / "SHA256SUMS").read_text(encoding="utf-8").splitlines():
        digest, name = line.split()
        assert hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() == digest, name


@pytest.mark.browser
@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
@pytest.mark.parametrize("state", STATES)
def test_nothing_serious(
    open_page: Callable[..., Any], page_file: Path, pictures: Path, size: tuple[int, int], state: str
) -> None:
    visit = open_page(page_file, size, bypass_csp=True)
    for selector in STATES[state]:
        if selector.startswith("#layer="):
            visit.page.select_option("#layer", selector.removeprefix("#layer="))
        else:
            visit.page.locator(selector).click()
    visit.page.screenshot(path=pictures / f"page_{state.replace(' ', '_')}_{size[0]}.png")
    visit.page.add_script_tag(content=(VENDOR / "axe.min.js").read_text(encoding="utf-8"))
    found = visit.page.evaluate("axe.run().then((result) => result.violations)")
    grave = [
        (fault["id"], fault["help"], [node["html"][:120] for node in fault["nodes"][:3]])
        for fault in found
        if fault["impact"] in {"serious", "critical"}
    ]
    assert grave == []
    visit.close()
