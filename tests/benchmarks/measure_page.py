"""Write the page of many sites and measure it in headless Chromium, from a file and without a network; run by hand.

    python -m tests.benchmarks.measure_page 100000 --like maps/demo-district     # a finished run, drawn from anew
    python -m tests.benchmarks.measure_page --page map.html                      # a page that stands already

Prints the size of the file and medians of three visits, milliseconds: ready (from the start of navigation until the
page takes input and has painted), and of every act the time until the next frame (16.7 ms at best): the slowest of six.
Of a pan and a zoom the longest of their frames. Where other work runs, compare the processor time of the main thread
instead: until ready, and of an act in the mean. The load of the machine stands beside the figures.
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import statistics
import tempfile
import time
from pathlib import Path

import geopandas as gpd
from playwright.sync_api import Browser, sync_playwright

from planner.outputs.map.areas import simplify_areas
from planner.outputs.map.page import map_page
from planner.outputs.map.relief import make_relief
from tests.benchmarks.enlarged_run import enlarge

ROOT = Path(__file__).parents[2]
# The status line is filled last; what follows it is the first paint.
TURNS = 6
READY = """() => new Promise((done) => {
  const look = () => document.getElementById("status").textContent
    ? requestAnimationFrame(() => setTimeout(() => done(performance.now()), 0))
    : setTimeout(look, 1);
  look();
})"""
TIMED = """async (act) => {
  const frame = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 0)));
  const set = (id, value) => {
    const field = document.getElementById(id);
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const grid = document.getElementById("grid");
  let turn = 0;
  // Leaflet hears keys only while the map has the focus.
  const press = (place, key, keyCode) => {
    place.focus();
    place.dispatchEvent(new KeyboardEvent("keydown", { key, code: key, keyCode, bubbles: true }));
  };
  const map = document.getElementById("map");
  const head = (place) => document.querySelectorAll("#columns button")[place];
  const areas = document.getElementById("filter-area").options;
  const acts = {
    cost: () => set("filter-cost", 0.8 + turn / 10),
    area: () => set("filter-area", areas[1 + turn % 4].value),
    decision: () => document.querySelectorAll("#decisions input")[turn % 5].click(),
    search: () => set("search", "lu" + "mtpz"[turn % 4]),
    sort: () => head(6).click(),
    "sort by name": () => head(1).click(),
    pan: () => press(map, turn % 2 ? "ArrowLeft" : "ArrowRight", turn % 2 ? 37 : 39),
    zoom: () => document.querySelector(turn % 2 ? ".leaflet-control-zoom-out" : ".leaflet-control-zoom-in").click(),
    "pop-up": () => press(grid, turn % 2 ? "Enter" : "ArrowDown", 0),
    hover: () => map.dispatchEvent(new MouseEvent("mousemove", { clientX: 300 + 20 * turn, clientY: 300 })),
    scroll: () => { grid.scrollTop += 3000; },
    layer: () => {
      const field = document.getElementById("layer");
      field.selectedIndex = (turn + 1) % field.options.length;
      field.dispatchEvent(new Event("change", { bubbles: true }));
    },
    "open charts": () => document.getElementById(turn % 2 ? "tab-sites" : "tab-charts").click(),
    "cost, charts": () => {
      if (document.getElementById("charts").hidden) document.getElementById("tab-charts").click();
      set("filter-cost", turn % 2 ? 99 : 1 + turn / 10);
    },
  };
  document.getElementById("reset").click();
  await frame();
  const times = [];
  for (; turn < TURNS; turn += 1) {
    await frame();
    let from = performance.now();
    acts[act]();
    for (let frames = ["pan", "zoom"].includes(act) ? 25 : 1; frames > 0; frames -= 1) {
      await frame();
      times.push(performance.now() - from);
      from = performance.now();
    }
  }
  return times;
}""".replace("TURNS", str(TURNS))
ACTS = (
    *("cost", "area", "decision", "search", "sort", "sort by name"),
    *("pan", "zoom", "hover", "pop-up", "scroll"),
    *("layer", "open charts", "cost, charts"),
)


def make_page(count: int, folder: Path) -> tuple[str, float, float]:
    """The page of so many sites drawn from a run, the seconds that writing it took, and the peak of memory in GB."""
    large = enlarge(folder, count)
    # The demo's borders and mountains, so that the page carries both.
    areas = simplify_areas(gpd.read_file(ROOT / "data_demo/district.gpkg"), "name")
    bounds = tuple(getattr(large.sites[name], side)() for side in ("min", "max") for name in ("longitude", "latitude"))
    relief = make_relief(ROOT / "data_demo/elevation.tif", bounds)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.perf_counter()
    page = map_page(large.sites, areas, large.run, checks=large.checks, findings=large.findings, relief=relief)
    seconds = time.perf_counter() - started
    return page, seconds, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1e6


def measure(browser: Browser, file: Path) -> dict[str, float]:
    """Milliseconds of one visit; heap in MB after all acts."""
    context = browser.new_context(viewport={"width": 1366, "height": 768}, reduced_motion="reduce", offline=True)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def main_thread() -> float:
        metrics = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
        return float(1000 * metrics["TaskDuration"])

    page.goto(file.as_uri(), wait_until="commit")
    found: dict[str, float] = {"ready": page.evaluate(READY)}
    found["  processor"] = spent = main_thread()
    for act in ACTS:
        found[act] = max(page.evaluate(TIMED, act))
        found[f"{act}, cpu"], spent = (main_thread() - spent) / TURNS, main_thread()
    found["heap MB"] = page.evaluate("performance.memory.usedJSHeapSize / 1e6")
    context.close()
    return found


def measure_file(file: Path) -> None:
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))))
    print(f"{file.stat().st_size / 1e6:.2f} MB; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        visits = [measure(browser, file) for _ in range(3)]
        browser.close()
    for name in visits[0]:
        values = [visit[name] for visit in visits]
        print(f"{name:14}{statistics.median(values):7.0f}   of {', '.join(f'{value:.0f}' for value in values)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int, nargs="?", default=10_000)
    parser.add_argument("--like", type=Path, default=ROOT / "maps/demo-district", help="folder of a finished run")
    parser.add_argument("--page", type=Path, help="measure this page instead of writing one")
    wanted = parser.parse_args()
    if wanted.page:
        measure_file(wanted.page.resolve())
        return
    text, seconds, memory = make_page(wanted.count, wanted.like)
    print(f"{wanted.count} sites written in {seconds:.1f} s; {memory:.2f} GB above what the data take")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "map.html"
        file.write_text(text, encoding="utf-8", newline="")
        measure_file(file)


if __name__ == "__main__":
    main()
