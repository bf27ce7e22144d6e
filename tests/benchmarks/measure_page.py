"""Build the map page of n invented sites and measure it in headless Chromium; run by hand.

    python tests/benchmarks/measure_page.py 10000

Prints the size of the file and milliseconds: ready (from the start of navigation until the page is built and has
painted), filter, sort and pan (from the act until the next frame, 16.7 ms at best; the worst of several; of a pan the
longest of its frames).
"""

from __future__ import annotations

import importlib.util
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.outputs.map.relief import make_relief

ROOT = Path(__file__).parents[2]
MAKER = ROOT / "tests/outputs/map/conftest.py"
READY = """() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()), 0)))"""
TIMED = """async (act) => {
  const frame = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 0)));
  const set = (id, value) => {
    const field = document.getElementById(id);
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const map = document.getElementById("map");
  const head = (place) => document.querySelectorAll("#columns button")[place];
  const areas = document.getElementById("filter-area").options;
  const acts = {
    cost: () => set("filter-cost", 0.2 + Math.random() / 10),
    area: () => set("filter-area", areas[1 + Math.floor(Math.random() * 4)].value),
    search: () => set("search", "lu" + "abc"[Math.floor(Math.random() * 3)]),
    sort: () => head(5).click(),
    "sort by name": () => head(1).click(),
    pan: () => map.dispatchEvent(new KeyboardEvent("keydown", { code: "ArrowLeft", keyCode: 37, bubbles: true })),
    scroll: () => { document.getElementById("grid").scrollTop += 3000; },
  };
  document.getElementById("reset").click();
  await frame();
  const times = [];
  for (let turn = 0; turn < 6; turn += 1) {
    await frame();
    let from = performance.now();
    acts[act]();
    for (let frames = act === "pan" ? 25 : 1; frames > 0; frames -= 1) {
      await frame();
      times.push(performance.now() - from);
      from = performance.now();
    }
  }
  return times;
}"""
ACTS = ("cost", "area", "search", "sort", "sort by name", "pan", "scroll")


def make_page(count: int) -> tuple[str, float]:
    """The page of so many invented sites, and the seconds that writing it took."""
    spec = importlib.util.spec_from_file_location("invented", MAKER)
    assert spec and spec.loader
    invented = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(invented)
    sites = invented.make_sites(count)
    checks, findings = invented.make_checks(sites), invented.make_findings(sites)
    district = invented.make_district()
    # The demo's mountains are brought under the invented district, so that the page carries a relief.
    relief = make_relief(ROOT / "data_demo/elevation.tif", (3.78, -13.42, 4.78, -12.62))
    started = time.perf_counter()
    areas = simplify_areas(district, "name")
    run = invented.make_run(sites)
    page = map_page(sites, areas, run, checks=checks, findings=findings, relief=relief)
    return page, time.perf_counter() - started


def measure(page: Page, file: Path) -> dict[str, Any]:
    page.goto(file.as_uri(), wait_until="load")
    found: dict[str, Any] = {"ready": page.evaluate(READY)}
    for act in ACTS:
        times = page.evaluate(TIMED, act)
        found[act] = max(times)
    return found


def main(count: int) -> None:
    text, seconds = make_page(count)
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        file = Path(folder) / "map.html"
        file.write_text(text, encoding="utf-8", newline="")
        print(f"{count} sites: {file.stat().st_size / 1e6:.2f} MB, written in {seconds:.2f} s")
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        for _ in range(3):
            context = browser.new_context(viewport={"width": 1366, "height": 768}, reduced_motion="reduce")
            found = measure(context.new_page(), file)
            print("  ".join(f"{name} {value:.0f}" for name, value in found.items()))
            context.close()
        browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
