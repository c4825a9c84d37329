"""Nothing is lost: a browser killed in mid-call, a new version in mid-call, two tabs on one call, a photo."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, Playwright

from humclick.web.store import Store
from tests.browser.bench import (
    PHONE,
    Server,
    Technician,
    all_sent,
    begun,
    browser,
    kept_offline,
    next_screen,
    ready,
)
from tests.web.bench import picture


def kept_events(page: Page, call: str) -> list[str]:
    """Kinds of the events this browser keeps of a call, in order of time."""
    found: list[str] = page.evaluate(
        """async id => {
            const opened = indexedDB.open("humclick");
            await new Promise((resolve, reject) => { opened.onsuccess = resolve; opened.onerror = reject; });
            const all = opened.result.transaction("events").objectStore("events").getAll();
            await new Promise(resolve => { all.onsuccess = resolve; });
            opened.result.close();
            return all.result.filter(each => each.call === id)
                .sort((a, b) => Date.parse(a.table.at) - Date.parse(b.table.at)).map(each => each.table.kind);
        }""",
        call,
    )
    return found


def killed(context: BrowserContext, profile: Path) -> None:
    """End every process of this browser at once, as when the battery dies."""
    listed = subprocess.run(["ps", "-eo", "pid,args"], capture_output=True, text=True, check=True).stdout
    for line in listed.splitlines():
        pid, _, command = line.strip().partition(" ")
        if f"--user-data-dir={profile}" in command:
            try:
                os.kill(int(pid), signal.SIGKILL)
            except ProcessLookupError:
                continue
    context.close()


def test_a_browser_killed_in_mid_call_has_lost_nothing(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """With the server away and the browser killed, the call goes on where it stood, half-typed text too."""
    profile, path = tmp_path / "profile", begun(server)
    with browser(play, profile, PHONE) as context:
        page = context.new_page()
        page.goto(server.address + path)
        kept_offline(page)
        server.stop()
        technician = Technician(page)
        for _ in range(3):
            technician.does_one()
        before = kept_events(page, path[6:])
        page.goto(f"{server.address}{path}/record")
        ready(page)
        page.locator("form[action$='/note'] [name=text]").fill("half a thou")
        killed(context, profile)
    with browser(play, profile, PHONE) as context:
        page = context.new_page()
        page.goto(f"{server.address}{path}/record")
        ready(page)
        assert page.locator("form[action$='/note'] [name=text]").input_value() == "half a thou"
        assert kept_events(page, path[6:]) == before
        page.goto(server.address + path)
        ready(page)
        Technician(page).does_one()
        assert len(kept_events(page, path[6:])) == len(before) + 1
        server.start()
        page.evaluate("dispatchEvent(new Event('online'))")
        all_sent(page)
    assert len(Store.at(server.folder).events(path[6:])) == len(before) + 1


def test_a_new_version_in_mid_call_disturbs_nothing(play: Playwright, tmp_path: Path) -> None:
    """The server is brought to a new version during a call: it is said, the call goes on, nothing is lost."""
    root = Path(__file__).resolve().parents[2]
    shutil.copytree(root / "src" / "humclick" / "web" / "static", tmp_path / "static")
    server = Server(tmp_path / "shop", "--empty", static=tmp_path / "static")
    try:
        with browser(play, tmp_path / "profile", PHONE) as context:
            page, path = context.new_page(), begun(server)
            page.goto(server.address + path)
            kept_offline(page)
            technician = Technician(page)
            technician.does_one()
            first = page.locator("script[type=module]").get_attribute("src")
            server.stop()
            with (tmp_path / "static" / "app.js").open("a") as script:
                script.write("\n// a later version\n")
            server.start()
            page.evaluate("navigator.serviceWorker.getRegistration().then(found => { found.update(); })")
            page.wait_for_selector("#notices [data-notice=updated]", timeout=60_000)
            technician.does_one()
            before = kept_events(page, path[6:])
            page.reload()
            ready(page)
            assert page.locator("script[type=module]").get_attribute("src") != first
            assert kept_events(page, path[6:]) == before
            assert len(page.evaluate("caches.keys()")) == 1
            server.stop()
            page.reload()
            ready(page)
            technician.does_one()
            after = kept_events(page, path[6:])  # one step: a reading, and what had to be shown before it
            assert after[: len(before)] == before
            assert len(after) > len(before)
    finally:
        server.stop()


def test_two_tabs_on_one_call_make_one_record(play: Playwright, server: Server, tmp_path: Path) -> None:
    """What one tab enters the other shows by itself, and both together are on record."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        one, path = context.new_page(), begun(server)
        one.goto(server.address + path + "/record")
        kept_offline(one)
        two = context.new_page()
        two.goto(server.address + path + "/record")
        ready(two)
        before = len(kept_events(one, path[6:]))
        for page, text in ((one, "from the first"), (two, "from the second")):
            page.locator("form[action$='/note'] [name=text]").fill(text)
            page.locator("form[action$='/note'] button").first.click()
        for page in (one, two):
            for text in ("from the first", "from the second"):
                page.get_by_text(text).first.wait_for(timeout=30_000)
        assert len(kept_events(one, path[6:])) == before + 2
        all_sent(one)
    assert len(Store.at(server.folder).events(path[6:])) == before + 2


def test_a_photo_taken_without_a_network_is_scaled_marked_shown_and_sent_later(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """It is drawn anew on the phone, shown from its store, tapped, and reaches the server byte for byte."""
    file = tmp_path / "cover.jpg"
    file.write_bytes(picture(3000, 2000))
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{server.address}{path}/photos")
        kept_offline(page)
        server.stop()
        page.locator("input[type=file]").set_input_files(file)
        page.locator("#caption").fill("as found")
        with next_screen(page):
            page.locator("form[action$='/photos'] button").click()
        shown = page.locator("article.photo img")
        shown.scroll_into_view_if_needed()
        page.wait_for_timeout(300)
        assert shown.evaluate("picture => picture.complete && picture.naturalWidth") == 1600
        box = shown.bounding_box()
        assert box is not None
        shown.click(position={"x": box["width"] / 4, "y": box["height"] / 2})
        assert abs(float(page.locator("form[action$='/mark'] [name=x]").input_value()) - 25) < 1
        assert abs(float(page.locator("form[action$='/mark'] [name=y]").input_value()) - 50) < 1
        page.locator("form[action$='/mark'] input[name=label]").first.check()
        with next_screen(page):
            page.locator("form[action$='/mark'] button").click()
        source = shown.get_attribute("src") or ""
        server.start()
        page.evaluate("dispatchEvent(new Event('online'))")
        all_sent(page)
    found = re.search(r"[0-9a-f]{64}", source)
    assert found is not None
    assert Store.at(server.folder).photo_size(found[0]) == (1600, 1067)
    assert "photo" in [event.kind for event in Store.at(server.folder).events(path[6:])]


def test_a_call_goes_from_phone_to_phone_as_one_file(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """Exported and imported with no server in reach, by the same Python, the call is the same."""
    with browser(play, tmp_path / "one", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{server.address}{path}/record")
        kept_offline(page)
        events = kept_events(page, path[6:])
        server.stop()
        with page.expect_download() as caught:
            page.locator("a[href$='/parcel']").click()
        caught.value.save_as(tmp_path / "call.zip")
    for store in server.folder.glob("calls/*.toml"):
        store.unlink()
    server.start()
    with browser(play, tmp_path / "two", PHONE) as context:
        page = context.new_page()
        page.goto(server.address)
        kept_offline(page)
        server.stop()
        page.locator("form[action='/import'] summary").click()
        page.locator("#parcel").set_input_files(tmp_path / "call.zip")
        with next_screen(page):
            page.locator("form[action='/import'] button").click()
        assert page.url.endswith(path)
        assert kept_events(page, path[6:]) == events


def test_where_it_cannot_work_offline_the_page_says_why(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """Over plain http on a network address the call still works by the server, and the reason is shown."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.add_init_script("Object.defineProperty(window, 'isSecureContext', { get: () => false })")
        page.goto(server.address + path)
        page.wait_for_selector("#notices [data-notice=not-secure]")
        assert "http" in page.locator("#notices").inner_text()
        before = len(Store.at(server.folder).events(path[6:]))
        assert Technician(page).does_one() in ("gate", "probe", "wait")
        assert page.evaluate("indexedDB.databases()") == []
    assert len(Store.at(server.folder).events(path[6:])) == before + 1
