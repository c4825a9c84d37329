"""Storage nearly full, storage full, and another language, all with no network."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Playwright

from tests.browser.bench import PHONE, Server, Technician, begun, browser, kept_offline, next_screen, ready
from tests.browser.test_keeping import kept_events

NEARLY_FULL = "navigator.storage.estimate = async () => ({ usage: 970e6, quota: 1000e6 });"
#: From the mark on, the browser keeps no more events.
FULL = """
const add = IDBObjectStore.prototype.add;
IDBObjectStore.prototype.add = function (...given) {
    if (document.documentElement.dataset.full) throw new DOMException("no room", "QuotaExceededError");
    return add.apply(this, given);
};
"""


def test_storage_nearly_full_is_said_and_storage_full_loses_nothing_unsaid(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """The room left is named; an entry that cannot be kept is said so, stays on the page, goes in later."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        context.add_init_script(NEARLY_FULL + FULL)
        page, path = context.new_page(), begun(server)
        page.goto(f"{server.address}{path}/record")
        kept_offline(page)
        server.stop()
        said = page.locator("#notices [data-notice=nearly-full]")
        said.wait_for()
        assert "30" in said.inner_text()
        before = kept_events(page, path[6:])
        page.evaluate("document.documentElement.dataset.full = '1'")
        page.locator("form[action$='/note'] [name=text]").fill("stamp is under the tape")
        page.locator("form[action$='/note'] button").first.click()
        page.locator("#notices [data-notice=not-kept-full]").wait_for()
        assert page.locator("form[action$='/note'] [name=text]").input_value() == "stamp is under the tape"
        assert kept_events(page, path[6:]) == before
        page.evaluate("delete document.documentElement.dataset.full")
        with next_screen(page):
            page.locator("form[action$='/note'] button").first.click()
        assert kept_events(page, path[6:]) == [*before, "note"]


def test_the_language_changes_without_a_network_and_stays(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """Chosen with the server away, Spanish is on every page at once, and after the browser was closed."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(server.address + path)
        kept_offline(page)
        server.stop()
        with next_screen(page):
            page.locator("header a[href='/settings']").click()
        page.locator("[name=language][value=es]").check()
        with next_screen(page):
            page.locator("main form button.main").click()
        assert page.locator("html").get_attribute("lang") == "es"
        assert "Ajustes" in page.locator("header").inner_text()
    with browser(play, tmp_path / "profile", PHONE) as context:
        page = context.new_page()
        page.goto(server.address + path)
        ready(page)
        assert page.locator("html").get_attribute("lang") == "es"
        assert (
            "Sospechas" in page.locator("main").inner_text() or "sospech" in page.locator("main").inner_text()
        )
        assert Technician(page).does_one() in ("gate", "probe", "wait")
