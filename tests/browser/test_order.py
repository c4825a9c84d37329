"""Phone, server and terminal agree after every step, though the ids of events sort backwards against time."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Playwright

from humclick.cli.session import Session
from humclick.diagnosis.shop import default_shop
from humclick.errors import HumclickError
from humclick.jobs.standing import to_undo
from tests.browser.bench import (
    PHONE,
    ROOT,
    Server,
    all_sent,
    begun,
    browser,
    kept_offline,
    next_screen,
    ready,
)

#: Every random number in the worker is smaller than all before, and so is every id made of them.
BACKWARDS = """
let left = Infinity;
Object.defineProperty(Crypto.prototype, "getRandomValues", {
  value(into) {
    left = Math.min(left - 1, 2 ** 52 - 256 * Date.now());
    into.fill(0).set([6, 5, 4, 3, 2, 1, 0].map(n => Math.floor(left / 256 ** n) % 256).slice(0, into.length));
    return into;
  },
});
"""


@pytest.fixture
def backwards(tmp_path: Path) -> Any:
    """A server whose pages make ids that sort backwards."""
    shutil.copytree(ROOT / "src" / "humclick" / "web" / "static", tmp_path / "static")
    worker = tmp_path / "static" / "worker.js"
    worker.write_text(BACKWARDS + worker.read_text("utf-8"), "utf-8")
    server = Server(tmp_path / "shop", "--empty", static=tmp_path / "static")
    yield server
    server.stop()


def shown(page: Page, address: str, script: bool) -> dict[str, Any]:
    """What a page offers to take back, the record in its order, and the plate's form as filled in."""

    def opened(where: str) -> Page:
        page.goto(address + where)
        if script:
            ready(page)
        return page

    call = opened("")
    undo = call.locator("form[action$='/undo'] input[name=of]").first
    offered = undo.get_attribute("value") if undo.count() else ""
    record = opened("/record")
    rows = record.locator("main ol li").all_inner_texts()
    undos = record.locator("main ol form[action$='/undo'] input[name=of]")
    ids = undos.evaluate_all("all => all.map(each => each.value)")
    form = opened("/plate").locator("form[action$='/plate']")
    fields = form.evaluate("form => [...new FormData(form)].map(String).sort()")
    return {"undo": offered, "rows": rows, "ids": ids, "plate": fields}


def entry(page: Page) -> bool:
    """Whether a reading can be entered here, for the safety steps before it are passed."""
    ready(page)
    return page.locator("form.entry").count() > 0


def terminal(server: Server, call: str) -> Session:
    """The same call, resumed at the terminal."""
    session = Session(server.folder / "calls" / f"{call}.toml", default_shop())
    session.open()
    return session


def test_every_face_agrees_after_every_step(
    play: Playwright, backwards: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Plate read thrice, safety steps, a reading, a note, undos: offered undo, record, plate are the same."""
    server, desk = backwards, play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(server.address + path)
        kept_offline(page)
        page.goto(server.address + path)
        ready(page)
        name = next(c["value"] for c in context.cookies() if c["name"] == "humclick-device")
        monkeypatch.setenv("HUMCLICK_DEVICE", name)
        plain = desk.new_context(java_script_enabled=False)
        plain.add_cookies([{"name": "humclick-device", "value": name, "url": server.address}])
        other = plain.new_page()

        def goes(where: str, form: str, button: str = "button", **fields: str) -> None:
            page.goto(server.address + path + where)
            ready(page)
            for field, value in fields.items():
                page.locator(f"form[action$='{form}'] [name={field}]").first.fill(value)
            with next_screen(page):
                page.locator(f"form[action$='{form}'] {button}").first.click()

        def agree() -> None:
            all_sent(page)
            here, there = (shown(p, server.address + path, p is page) for p in (page, other))
            assert here == there
            session = terminal(server, path[6:])
            events = {event.id: event for event in session.flow.events}
            assert here["ids"][::-1] == [n for n, e in events.items() if e.kind not in ("opened", "undo")]
            turns = [events[each].turn for each in here["ids"][::-1]]
            assert turns == sorted(turns)
            made = [each for each in here["ids"][::-1] if events[each].device == name]
            assert made == sorted(made, reverse=True)
            try:
                last = to_undo(session.flow.events, session.call).id
            except HumclickError:
                last = ""
            assert here["undo"] == last

        agree()
        goes("/plate", "/plate", "button.main", refrigerant="R290")
        agree()
        goes("/plate", "/plate", "button.main", locked_rotor_amps="12")
        agree()
        goes("/record", "/note", text="label is under the tape")
        agree()
        steps = 0
        while page.goto(f"{server.address}{path}?probe=pins.C-R") and not entry(page):
            goes("?probe=pins.C-R", "/gate")
            steps += 1
            assert steps < 8
        agree()
        goes("?probe=pins.C-R", "/reading", "button.enter", value="4.7")
        agree()
        goes("", "/undo")
        agree()
        goes("", "/undo")
        agree()
        goes("/plate", "/plate", "button.main", rated_load_amps="2")
        agree()
        plate = dict(pair.split(",", 1) for pair in shown(page, server.address + path, True)["plate"])
        assert (plate["refrigerant"], plate["rated_load_amps"]) == ("R290", "2")
    desk.close()
