"""
How fast the pages are: ``python -m benchmarks.pages_speed [--runs 5] [--only full|quarter]``.

Headless Chromium on loopback, medians of five, each with a profile of its own. Times in milliseconds from the
start of the navigation, or from the tap to the next screen painted. Processor time is that of the whole
browser, counted by the kernel, so it says what a machine does that is busy with other work too. The same
again with the browser held to a quarter of one processor (`benchmarks.slowed`). Results go into
``benchmarks/results/pages.json``.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

import httpx
from playwright.sync_api import Page, sync_playwright
from tests.browser.bench import (
    CHROMIUM,
    EXAMPLE,
    PHONE,
    ROOT,
    Server,
    Technician,
    begun,
    browser,
    kept_offline,
    next_screen,
    ready,
)

from benchmarks.slowed import NotPossible, Slowed, slowed
from humclick.jobs.call_file import read_call
from humclick.jobs.events import ReadingTaken
from humclick.web.assets import assets
from humclick.web.offline.build import BUILT

RUNS = 5
RESULTS = Path(__file__).parent / "results" / "pages.json"
#: Between a reading and the tap that enters it: as quick as a thumb. [s]
THUMB = 1.0
#: Name, unit, and the most it may be; None where nothing is promised.
BUDGETS: dict[str, tuple[str, float | None]] = {
    "first visit: painted": ("ms", 300),
    "first visit: ready to take a reading": ("ms", 2500),
    "first visit: machine weighed on the phone": ("ms", None),
    "first visit: processor time until ready": ("ms", None),
    "later visit, server stopped: painted": ("ms", 300),
    "later visit, server stopped: ready": ("ms", 1500),
    "later visit, server stopped: machine weighed": ("ms", None),
    "later visit, server stopped: processor time until weighed": ("ms", None),
    "next screen after an entry, in the browser": ("ms", 150),
    "next screen after an entry without a pause, in the browser": ("ms", 150),
    "processor time of an entry, in the browser": ("ms", None),
    "next screen after a probe was left out, in the browser": ("ms", 150),
    "next screen after a safety step, in the browser": ("ms", 150),
    "a call's page after a tap in the list, in the browser": ("ms", 150),
    "a call's page after a tap in the list without a pause, in the browser": ("ms", None),
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
            weighed: performance.getEntriesByName("weighed")[0]?.startTime ?? NaN,
            block: Math.max(...window.blocks),
        })"""
    )
    return found


def last_screen(page: Page, asked: str = "POST") -> float:
    """From the last tap on a form, or on a link, to the next screen painted. [ms]"""
    page.wait_for_timeout(100)
    found: float = page.evaluate(
        "asked => performance.getEntriesByName(`screen after ${asked}`).at(-1).duration", asked
    )
    return found


def one_visit(
    play: Any, server: Server, profile: Path, kept: dict[str, list[float]], chromium: Slowed, thumb: float
) -> None:
    """A first visit, a later one with the server stopped, and a call worked on there."""
    if server.stopped:
        server.start()
    path = begun(server)
    httpx.get(server.address + path).raise_for_status()  # a server that has worked before
    with browser(play, profile, PHONE, executable=chromium.program) as context:
        context.add_init_script(_WATCH)
        page = context.new_page()
        before = chromium.processor()
        page.goto(server.address + path)
        page.wait_for_selector("html[data-python=here]", state="attached", timeout=120_000)
        kept["first visit: processor time until ready"].append(chromium.processor() - before)
        ready(page)
        first = times(page)
        kept["first visit: painted"].append(first["painted"])
        kept["first visit: ready to take a reading"].append(first["ready"])
        kept["first visit: machine weighed on the phone"].append(first["weighed"])
        kept_offline(page)
        blocks = [times(page)["block"]]
        server.stop()
        before = chromium.processor()
        page.reload()
        ready(page)
        later, name = times(page), "later visit, server stopped"
        kept[f"{name}: processor time until weighed"].append(chromium.processor() - before)
        kept[f"{name}: painted"].append(later["painted"])
        kept[f"{name}: ready"].append(later["ready"])
        kept[f"{name}: machine weighed"].append(later["weighed"])
        page.wait_for_timeout(3000)
        technician, entries = Technician(page, pause=thumb), 0
        while technician.kind() in ("gate", "probe", "wait") and entries < 7:
            before, what = chromium.processor(), technician.does_one()
            if technician.left_out:
                what = "left out"
            entries += what in ("probe", "left out")
            if what == "gate":
                kept["next screen after a safety step, in the browser"].append(last_screen(page))
            elif what == "probe":
                how = "" if thumb else " without a pause"
                kept[f"next screen after an entry{how}, in the browser"].append(last_screen(page))
                if not thumb:
                    kept["processor time of an entry, in the browser"].append(chromium.processor() - before)
            elif what == "left out" and thumb:
                kept["next screen after a probe was left out, in the browser"].append(last_screen(page))
        kept["longest block of the page"].append(max(*blocks, times(page)["block"]))
        page.goto(server.address)
        ready(page)
        page.wait_for_timeout(3000 * thumb)
        with next_screen(page):
            page.locator(f"main a[href='{path}']").click()
        how = "" if thumb else " without a pause"
        kept[f"a call's page after a tap in the list{how}, in the browser"].append(last_screen(page, "GET"))


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


def visits(runs: int, share: float | None) -> dict[str, list[float]]:
    """Every measure, each so many times, with the browser held to a share of a processor."""
    kept: dict[str, list[float]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        scratch = Path(folder)
        with slowed(CHROMIUM, share, scratch) as chromium:
            server = Server(scratch / "shop", "--empty")
            try:
                if share is None:
                    from_the_server(server, kept)
                for run in range(2 * runs):
                    thumb = THUMB if run % 2 else 0.0
                    one_visit(play, server, scratch / f"profile-{run}", kept, chromium, thumb)
            finally:
                server.stop()
    return kept


def shown(title: str, kept: dict[str, list[float]]) -> dict[str, dict[str, float | str | None]]:
    """Print the measures against their budgets; they come back for the file."""
    print(title)
    table: dict[str, dict[str, float | str | None]] = {}
    for name, (unit, budget) in BUDGETS.items():
        if not kept.get(name):
            continue
        median, low, high = statistics.median(kept[name]), min(kept[name]), max(kept[name])
        mark = "" if budget is None else "ok" if median <= budget else "OVER"
        print(f"{name:60} {median:8.1f} {unit}  {mark:4} of {budget or '-'}   {low:.0f} to {high:.0f}")
        table[name] = {"median": round(median, 1), "least": round(low, 1), "most": round(high, 1)}
        table[name] |= {"times": len(kept[name]), "unit": unit, "budget": budget}
    return table


def main() -> None:
    """Measure, print the tables and write the file."""
    asked = argparse.ArgumentParser(description="How fast the pages are.")
    asked.add_argument("--runs", type=int, default=RUNS)
    asked.add_argument("--only", choices=("full", "quarter"))
    given = asked.parse_args()
    found = assets(ROOT / "src" / "humclick" / "web" / "static", BUILT)
    total = sum(len(each.encoded("br, gzip")[1]) for each in found.files.values())
    written = json.loads(RESULTS.read_text("utf-8")) if RESULTS.exists() else {}
    for name, share in (("full", None), ("quarter", 0.25)):
        if given.only not in (None, name):
            continue
        load = os.getloadavg()[0]
        try:
            kept = visits(given.runs, share)
        except NotPossible as error:
            print(f"not measured at {name} speed: {error}")
            continue
        if share is None:
            kept["first download"] = [total / 1e6]
        load = max(load, os.getloadavg()[0])
        title = f"{name} speed, {given.runs} visits of each kind, load of the machine {load:.1f}"
        about = {"runs": given.runs, "load": round(load, 1), "processors": os.cpu_count()}
        about |= {"python": platform.python_version(), "share of one processor": share}
        written[name] = {"about": about, "measures": shown(title, kept)}
    RESULTS.write_text(json.dumps(written, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    main()
