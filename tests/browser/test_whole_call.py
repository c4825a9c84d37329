"""A whole call in a real browser: from complaint to sheet, with the server and without it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Playwright

from humclick.jobs.order import in_order
from humclick.web.store import Store
from tests.browser.bench import DESK, PHONE, Server, Technician, all_sent, browser, kept_offline, ready
from tests.sample import sampled


@pytest.mark.parametrize(
    ("size", "network"),
    sampled([(PHONE, True), (DESK, True), (PHONE, False)], [(PHONE, False)]),
    ids=["phone", "desk", "no network"],
)
def test_a_call_goes_from_complaint_to_sheet(
    play: Playwright, server: Server, tmp_path: Path, size: tuple[int, int], network: bool
) -> None:
    """Every step is taken on the page, the verdict is the example's, and the server gets every event."""
    complaints: list[str] = []
    with browser(play, tmp_path / "profile", size) as context:
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(server.address)
        kept_offline(page)
        if not network:
            server.stop()
            page.reload()
            ready(page)
        technician = Technician(page, "rattling-starter")
        path = technician.opens()
        steps = technician.works_to_the_verdict()
        assert "probe" in steps
        assert "starter" in page.locator("#verdict-title").inner_text().casefold()
        technician.decides()
        assert page.url.endswith("/sheet")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        if not network:
            server.start()
            page.reload()
        all_sent(page)
    events = in_order(Store.at(server.folder).events(path.removeprefix("/call/")))
    kinds = [event.kind for event in events]
    assert kinds.count("reading") + kinds.count("skip") == steps.count("probe")
    assert kinds.count("gate") >= 2  # proved dead and discharged: each its own event, confirmed together
    assert kinds[-1] == "decision"
    assert all(re.fullmatch(r"phone-\w+", event.device) for event in events)
    assert complaints == []
