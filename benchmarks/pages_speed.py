"""
How fast the pages are: ``python -m benchmarks.pages_speed``.

Headless Chromium on loopback, medians of five, each with a profile of its own. Times in milliseconds from the
start of the navigation, or from the tap to the next screen painted.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Page, sync_playwright
from tests.browser.bench import EXAMPLE, PHONE, ROOT, Server, Technician, begun, browser, kept_offline, ready

from humclick.jobs.call_file import read_call
from humclick.jobs.events import ReadingTaken
from humclick.web.assets import assets
from humclick.web.offline.build import BUILT

RUNS = 5
#: Name, unit, and the most it may be.
BUDGETS = {
    "first visit: painted": ("ms", 300),
    "first visit: ready to take a reading": ("ms", 2500),
    "later visit, server stopped: painted": ("ms", 300),
    "later visit, server stopped: ready": ("ms", 1500),
    "next screen after an entry, in the browser": ("ms", 150),
    "next screen after a safety step, in the browser": ("ms", 150),
    "next screen after an entry, from the server": ("ms", 80),
    "next screen after a safety step, from the server": ("ms", 80),
    "first download": ("MB", 9),
    "longest block of the page": ("ms", 50),
}
_WATCH = """
window.blocks = [0];
new PerformanceObserver(list => { for (const each of list.getEntries()) window.blocks.push(each.duration); })
    .observe({ type: "longtask", buffered: true });
"""


def times(page: Page) -> dict[str, float]:
    """First paint and readiness of a page, and its longest block. [ms]"""
    found: dict[str, float] = page.evaluate(
        """() => ({
            painted: performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN,
            ready: performance.getEntriesByName("ready")[0]?.startTime ?? NaN,
            block: Math.max(...window.blocks),
        })"""
    )
    return found


def last_screen(page: Page) -> float:
    """From the last tap on a form to the next screen painted. [ms]"""
    page.wait_for_timeout(100)
    found: float = page.evaluate('() => performance.getEntriesByName("screen after POST").at(-1).duration')
    return found


def one_visit(play: Any, server: Server, profile: Path, kept: dict[str, list[float]]) -> None:
    """A first visit, a later one with the server stopped, and a call worked on there."""
    if server.stopped:
        server.start()
    path = begun(server)
    httpx.get(server.address + path).raise_for_status()  # a server that has worked before
    with browser(play, profile, PHONE) as context:
        context.add_init_script(_WATCH)
        page = context.new_page()
        page.goto(server.address + path)
        ready(page)
        first = times(page)
        kept["first visit: painted"].append(first["painted"])
        kept["first visit: ready to take a reading"].append(first["ready"])
        kept_offline(page)
        blocks = [times(page)["block"]]
        server.stop()
        page.reload()
        ready(page)
        later = times(page)
        kept["later visit, server stopped: painted"].append(later["painted"])
        kept["later visit, server stopped: ready"].append(later["ready"])
        page.wait_for_timeout(3000)
        technician, entries = Technician(page), 0
        while technician.kind() in ("gate", "probe", "wait") and entries < 4:
            what = technician.does_one()
            name = "an entry" if what == "probe" else "a safety step"
            entries += what == "probe"
            if what != "wait":
                kept[f"next screen after {name}, in the browser"].append(last_screen(page))
        kept["longest block of the page"].append(max(*blocks, times(page)["block"]))


def from_the_server(server: Server, kept: dict[str, list[float]]) -> None:
    """Form posts and the pages they lead to, without any script."""
    events = read_call(ROOT / "examples" / EXAMPLE / "call.toml")
    readings = [event for event in events if isinstance(event, ReadingTaken)]
    with httpx.Client(base_url=server.address) as asked:
        for _ in range(RUNS):
            where = asked.post("/new", data={"heard": "hum_click"}).headers["location"]
            call = "/".join(where.split("/")[:3])
            asked.post(f"{call}/identify", data={"arrangement": "rsir-ptc"})
            asked.get(call)
            gate = posted(asked, f"{call}/gate", {"gate": "power-off-proved-dead"})
            kept["next screen after a safety step, from the server"].append(gate)
            for reading in readings[:3]:
                form = {"probe": reading.probe, "value": reading.value, "taken": "1"}
                kept["next screen after an entry, from the server"].append(
                    posted(asked, f"{call}/reading", form)
                )


def posted(asked: httpx.Client, path: str, data: dict[str, str]) -> float:
    """A form sent and the page it leads to fetched. [ms]"""
    began = time.perf_counter()
    answer = asked.post(path, data=data)
    assert answer.status_code == 303, answer.text
    assert asked.get(answer.headers["location"]).status_code == 200
    return 1000 * (time.perf_counter() - began)


def main() -> None:
    """Measure, and print a table with the budgets."""
    kept: dict[str, list[float]] = defaultdict(list)
    found = assets(ROOT / "src" / "humclick" / "web" / "static", BUILT)
    total = sum(len(each.encoded("br, gzip")[1]) for each in found.files.values())
    kept["first download"].append(total / 1e6)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as play:
        server = Server(Path(scratch) / "shop", "--empty")
        try:
            from_the_server(server, kept)
            for run in range(RUNS):
                one_visit(play, server, Path(scratch) / f"profile-{run}", kept)
        finally:
            server.stop()
    print(f"medians of {RUNS} visits; smallest and largest beside")
    for name, (unit, budget) in BUDGETS.items():
        median = statistics.median(kept[name]) if kept[name] else float("nan")
        mark = "ok" if median <= budget else "OVER"
        spread = f"{min(kept[name]):.0f} to {max(kept[name]):.0f}" if len(kept[name]) > 1 else ""
        print(f"{name:52} {median:8.1f} {unit}  budget {budget:5} {unit}  {mark:4}  {spread}")


if __name__ == "__main__":
    main()
