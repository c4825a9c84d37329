"""Two phones, a server and what stands between: whatever happens, nothing acknowledged is gone from any."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Playwright, expect

from humclick.jobs.fold import fold
from humclick.jobs.order import merge
from humclick.web.exchange import events_in
from humclick.web.store import Store
from tests.browser.bench import (
    PHONE,
    SLOW,
    Server,
    all_sent,
    begun,
    browser,
    kept_offline,
    next_screen,
    ready,
)
from tests.browser.proxy import ARRIVED, FAULTS, Proxy
from tests.web.bench import picture

_STORE = """
const opened = indexedDB.open("humclick");
await new Promise((resolve, reject) => { opened.onsuccess = resolve; opened.onerror = reject; });
const done = request => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result); request.onerror = () => reject(request.error);
});
const store = (name, mode) => opened.result.transaction(name, mode).objectStore(name);
"""


def in_store(page: Page, code: str, given: object) -> Any:
    """What comes of some code with this browser's store at hand."""
    whole = f"async given => {{ {_STORE} try {{ {code} }} finally {{ opened.result.close(); }} }}"
    return page.evaluate(whole, given)


def all_of(page: Page, store: str) -> list[dict[str, Any]]:
    """Everything in one store of this browser."""
    found: list[dict[str, Any]] = in_store(page, "return await done(store(given).getAll());", store)
    return found


def tables_of(page: Page, call: str) -> list[dict[str, Any]]:
    """The events of a call as this browser's store hands them out."""
    return [each["table"] for each in all_of(page, "events") if each["call"] == call]


def put(page: Page, call: str, table: dict[str, Any]) -> None:
    """An event in this browser's store and outbox, as a later version might have written it."""
    key = {"key": f"event {call} {table['id']}", "call": call, "id": table["id"]}
    for name, row in (("events", {"call": call, "id": table["id"], "table": table}), ("outbox", key)):
        in_store(page, "await done(store(given[0], 'readwrite').put(given[1]));", [name, row])


def syncs(page: Page) -> None:
    """Make the phone send and fetch now."""
    page.evaluate("dispatchEvent(new Event('online'))")


def notes(page: Page, text: str) -> None:
    """Write a note on the record page, and wait until it stands there; others' entries may come meanwhile."""
    page.locator("form[action$='/note'] [name=text]").fill(text)
    page.locator("form[action$='/note'] button").first.click()
    page.locator("main li.note .value").get_by_text(text, exact=True).wait_for(timeout=SLOW)


def texts(server: Server, call: str) -> list[str]:
    """Notes of a call on the server, in the order of its file; empty while there is no such call."""
    store = Store.at(server.folder)
    return [e.text for e in store.events(call) if e.kind == "note"] if store.has(call) else []  # type: ignore[attr-defined]


def comes(page: Page, arrived: Callable[[], bool]) -> None:
    """Wait until something is so; a busy machine takes its time."""
    for _ in range(300):
        if arrived():
            return
        page.wait_for_timeout(100)
    assert arrived()


def line(page: Page) -> str:
    """What the line says about sending."""
    return page.locator("#standing p").inner_text()


def waits(page: Page, **marks: object) -> None:
    """Wait for marks of the document."""
    chosen = "".join(f"[data-{name}='{value}']" for name, value in marks.items())
    page.wait_for_selector(f"html{chosen}", state="attached", timeout=SLOW)


def same_everywhere(server: Server, call: str, *pages: Page) -> None:
    """Every phone and the server hold the same events, and make the same of them."""
    there = Store.at(server.folder).events(call)
    for page in pages:
        here = events_in(tables_of(page, call))
        assert here == merge(there)
        assert fold(here) == fold(there)


@pytest.fixture
def proxy(server: Server) -> Iterator[Proxy]:
    """A proxy before the server."""
    made = Proxy(lambda: server.port)
    yield made
    made.stop()


def test_an_entry_leaves_the_outbox_only_for_an_answer_that_names_it(
    play: Playwright, server: Server, proxy: Proxy, tmp_path: Path
) -> None:
    """Whatever answers instead, or however the answer is lost, the entry waits, and arrives once."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        call = path[6:]
        page.goto(f"{proxy.address}{path}/record")
        kept_offline(page)
        all_sent(page)
        for fault in FAULTS:
            proxy.goes_wrong(fault)
            before = len(proxy.seen)
            notes(page, fault)
            if fault == "doubled":
                comes(page, lambda: "doubled" in texts(server, call))
                all_sent(page)
            else:
                waits(page, waiting=1, server="away")
                assert "1 entry to send" in line(page), fault
                assert len(proxy.seen) > before
                assert [entry["call"] for entry in all_of(page, "outbox")] == [call], fault
            assert (fault in texts(server, call)) == (fault in ARRIVED), fault
            assert page.locator("#notices .notice").count() == 0
            proxy.goes_wrong("")
            syncs(page)
            all_sent(page)
            assert texts(server, call).count(fault) == 1
            assert "All entries are on the server" in line(page)
        assert [*texts(server, call)] == [*FAULTS]
        proxy.goes_wrong("", "")
        same_everywhere(server, call, page)


def test_two_phones_and_a_bad_network_end_with_one_call(
    play: Playwright, server: Server, proxy: Proxy, tmp_path: Path
) -> None:
    """Entries of two phones, offline and on, over a network that loses, doubles and delays, all arrive."""
    path = begun(server)
    call = path[6:]
    with browser(play, tmp_path / "one", PHONE) as first, browser(play, tmp_path / "two", PHONE) as second:
        pages = [first.new_page(), second.new_page()]
        for page in pages:
            page.goto(f"{proxy.address}{path}/record")
            kept_offline(page)
        said = []
        for number, fault in enumerate(
            ("lost", "lost reply", "late", "doubled", "unavailable", "sign-in", "late")
        ):
            proxy.goes_wrong(fault)
            for name, page in zip("ab", pages, strict=True):
                notes(page, f"{name}{number}")
                said.append(f"{name}{number}")
        proxy.goes_wrong("late")
        for _ in range(3):
            for page in pages:
                syncs(page)
                all_sent(page)
        assert sorted(texts(server, call)) == sorted(said)
        for page in pages:
            page.wait_for_function(
                "n => document.querySelectorAll('main li.note').length === n", arg=len(said), timeout=SLOW
            )
        same_everywhere(server, call, *pages)
        rows = [page.locator("main ol li .kind").all_inner_texts() for page in pages]
        assert rows[0] == rows[1]


def test_what_the_server_lost_is_sent_again(play: Playwright, server: Server, tmp_path: Path) -> None:
    """A damaged file, an older copy, a deleted call, a lost photo: mended by what the phone holds."""
    file = tmp_path / "cover.jpg"
    file.write_bytes(picture(900, 600))
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        call, kept = path[6:], server.folder / "calls" / f"{path[6:]}.toml"
        page.goto(f"{server.address}{path}/photos")
        kept_offline(page)
        old = kept.read_bytes()
        page.locator("input[type=file]").set_input_files(file)
        with next_screen(page):
            page.locator("form[action$='/photos'] button").click()
        page.goto(f"{server.address}{path}/record")
        ready(page)
        all_sent(page)
        photos = list((server.folder / "photos").iterdir())
        assert len(photos) == 1
        # damaged: the entry waits, is not refused, and goes once the file is mended
        sound = kept.read_bytes()
        for trouble in ("damaged", "in the way"):
            kept.unlink()
            if trouble == "damaged":
                kept.write_text("humclick_call = nonsense")
            else:
                kept.mkdir()
            notes(page, trouble)
            waits(page, waiting=1, refused=0)
            expect(page.locator("#standing p")).to_contain_text("the server can't store now")
            shutil.rmtree(kept) if kept.is_dir() else kept.unlink()
            kept.write_bytes(sound)
            syncs(page)
            all_sent(page)
            assert trouble in texts(server, call)
            sound = kept.read_bytes()
        # an older copy is put back, photo and all
        kept.write_bytes(old)
        photos[0].unlink()
        syncs(page)
        comes(page, photos[0].is_file)
        comes(page, lambda: texts(server, call) == ["damaged", "in the way"])
        all_sent(page)
        assert texts(server, call) == ["damaged", "in the way"]
        assert photos[0].is_file()
        same_everywhere(server, call, page)
        # the call is gone, and so is everything else
        for lost in (kept, *photos):
            lost.unlink()
        server.stop()
        server.start()
        syncs(page)
        comes(page, photos[0].is_file)
        comes(page, lambda: texts(server, call) == ["damaged", "in the way"])
        all_sent(page)
        assert photos[0].is_file()
        same_everywhere(server, call, page)
        assert {event.kind for event in Store.at(server.folder).events(call)} >= {
            "opened",
            "machine",
            "photo",
        }


def test_one_refused_entry_holds_up_no_other_and_stays_in_sight(
    play: Playwright, server: Server, proxy: Proxy, tmp_path: Path
) -> None:
    """It is named with its reason, also after a reload; it can be sent again, or set aside and handed out."""
    later = {"kind": "later", "id": "later1", "at": "2026-03-02T09:10:00Z", "text": "from a later version"}
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        call = path[6:]
        page.goto(f"{proxy.address}{path}/record")
        kept_offline(page)
        proxy.goes_wrong("lost")
        notes(page, "before")
        put(page, call, later)
        notes(page, "after")
        proxy.goes_wrong("")
        syncs(page)
        waits(page, waiting=0, refused=1, server="reached")
        assert texts(server, call) == ["before", "after"]
        refused = page.locator("#notices [data-notice=refused]")
        for _ in range(2):
            expect(refused).to_contain_text("from a later version")
            expect(refused).to_contain_text("kind must be one of")
            assert "1 entry not taken" in line(page)
            page.reload()
            ready(page)
        refused.get_by_role("button", name="Send again").click()
        waits(page, waiting=0, refused=1, server="reached")
        expect(refused).to_be_visible()
        refused.get_by_role("button", name="Set aside").click()
        waits(page, waiting=0, refused=0, aside=1)
        expect(refused).to_have_count(0)
        page.reload()
        ready(page)
        waits(page, waiting=0, refused=0, aside=1)
        with page.expect_download() as caught:
            page.locator("a[href$='/parcel']").click()
        caught.value.save_as(tmp_path / "call.zip")
        with zipfile.ZipFile(tmp_path / "call.zip") as packed:
            assert "from a later version" in packed.read("unread.json").decode()
        page.locator("#standing button").click()
        box = page.locator("#notices [data-notice=aside]")
        expect(box).to_contain_text("from a later version")
        box.get_by_role("button", name="Send again").click()
        waits(page, refused=1, aside=0)
        # a server that takes it after all
        row = {"call": call, "id": "later1", "table": {**later, "kind": "note"}}
        in_store(page, "await done(store('events', 'readwrite').put(given));", row)
        page.reload()
        ready(page)
        all_sent(page)
        waits(page, refused=0, aside=0)
        assert "from a later version" in texts(server, call)
        expect(refused).to_have_count(0)


def test_what_is_too_large_for_the_way_goes_in_pieces(
    play: Playwright, server: Server, proxy: Proxy, tmp_path: Path
) -> None:
    """Entries that are too much at once arrive in parts; the one too large by itself is named and stays."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{proxy.address}{path}/record")
        kept_offline(page)
        proxy.goes_wrong("lost")
        for text in ("one", "two", "x" * 900, "three", "four"):
            notes(page, text)
        proxy.goes_wrong("too large", "POST /api/calls")
        syncs(page)
        waits(page, waiting=0, refused=1, server="reached")
        assert sorted(texts(server, path[6:])) == ["four", "one", "three", "two"]
        expect(page.locator("#notices [data-notice=refused]")).to_contain_text("too large for the server")
        proxy.goes_wrong("")
        page.locator("#notices [data-notice=refused]").get_by_role("button", name="Send again").click()
        waits(page, waiting=0, refused=0, server="reached")
        assert len(texts(server, path[6:])) == 5


def test_a_photo_that_cannot_be_taken_now_holds_up_no_entry(
    play: Playwright, server: Server, proxy: Proxy, tmp_path: Path
) -> None:
    """While photos are answered otherwise than by their hash, entries go; then the photo goes too."""
    file = tmp_path / "cover.jpg"
    file.write_bytes(picture(900, 600))
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(f"{proxy.address}{path}/photos")
        kept_offline(page)
        for number, fault in enumerate(("unavailable", "sign-in", "page", "other json", "bad gateway")):
            proxy.goes_wrong(fault, "PUT /api/photos")
            if number == 0:
                page.locator("input[type=file]").set_input_files(file)
                with next_screen(page):
                    page.locator("form[action$='/photos'] button").click()
            else:
                syncs(page)
                page.wait_for_timeout(400)
            waits(page, waiting=1, server="reached")
            assert [entry.get("call") for entry in all_of(page, "outbox")] == [None], fault
            assert "photo" in [event.kind for event in Store.at(server.folder).events(path[6:])]
            assert not list((server.folder / "photos").iterdir())
        proxy.goes_wrong("")
        syncs(page)
        all_sent(page)
        assert len(list((server.folder / "photos").iterdir())) == 1


def test_the_line_says_where_things_stand_in_both_languages(
    play: Playwright, server: Server, tmp_path: Path
) -> None:
    """On every page, as text, with one line's height whether there is something to say or not."""
    with browser(play, tmp_path / "profile", PHONE) as context:
        page, path = context.new_page(), begun(server)
        page.goto(server.address + path)
        kept_offline(page)
        all_sent(page)
        height = page.locator("#standing").bounding_box()
        assert height is not None
        server.stop()
        for text in ("one", "two", "three"):
            page.goto(f"{server.address}{path}/record")
            ready(page)
            notes(page, text)
        for where in ("/", "/settings", "/about-offline", path, f"{path}/sheet", f"{path}/why"):
            page.goto(server.address + where)
            ready(page)
            waits(page, waiting=3, server="away")
            said = page.locator("#standing [role=status]")
            expect(said).to_contain_text("3 entries to send · server last reached ")
            box = page.locator("#standing").bounding_box()
            assert box is not None
            assert box["height"] == height["height"]
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        context.set_offline(True)
        syncs(page)
        expect(said).to_contain_text("3 entries to send · offline")
        page.goto(f"{server.address}/settings")
        ready(page)
        page.locator("[name=language][value=es]").check()
        with next_screen(page):
            page.locator("main form button.main").click()
        expect(page.locator("#standing [role=status]")).to_contain_text("3 entradas por enviar")
