"""What is typed into one form is never lost in silence when another form is sent or a link is followed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, Playwright

from humclick.jobs.call_file import read_call
from humclick.jobs.event_tables import new_event, table_of
from humclick.web.store import Store
from tests.browser.bench import PHONE, ROOT, Server, browser, next_screen, ready
from tests.sample import sampled
from tests.web.bench import picture

#: Text fields that can be filled, of forms that keep something.
_FIELDS = "main form[method=post] :is(input:not([type]), input[type=text], textarea)"
#: Links followed from each page, beside every button of another form.
_LINKS = 5


def began(server: Server, name: str, *kinds: str, example: str = "broken-starter") -> str:
    """A call with those events of an example that are of some kinds; the machine was last tried just now."""
    now = datetime.now().astimezone()
    events = [event for event in read_call(ROOT / "examples" / example / "call.toml") if event.kind in kinds]
    tables = [{**table_of(event), "at": now - timedelta(seconds=90 - n)} for n, event in enumerate(events)]
    Store.at(server.folder).append(name, tables)
    return f"/call/{name}"


def also(server: Server, name: str, kind: str, **given: Any) -> None:
    """One more event of a call."""
    at = datetime.now().astimezone()
    Store.at(server.folder).append(name, [table_of(new_event(kind, at=at, **given))])


def _at_a_probe(server: Server) -> str:
    path = began(server, "probe", "opened", "machine", "complaint")
    return f"{path}?probe=ptc.ohms&taken=1&now=1"


def _at_a_wait(server: Server) -> str:
    return f"{began(server, 'wait', 'opened', 'machine', 'complaint')}?probe=ptc.ohms&taken=1"


def _at_the_verdict(server: Server) -> str:
    return began(server, "verdict", "opened", "machine", "complaint", "gate", "reading", "wait", "meter")


def _decided(server: Server) -> str:
    path = began(server, "decided", "opened", "machine", "complaint", "gate", "reading", "wait", "meter")
    also(server, "decided", "decision", remedies=["replace starter"])
    return path


def _at_the_plate(server: Server) -> str:
    return f"{began(server, 'plate', 'opened', 'machine', 'complaint')}/plate"


def _at_the_record(server: Server) -> str:
    return f"{began(server, 'record', 'opened', 'machine', 'complaint', 'reading')}/record"


def _at_the_photos(server: Server) -> str:
    path = began(server, "photos", "opened", "machine", "complaint")
    kept = Store.at(server.folder).keep_photo(picture())
    also(server, "photos", "photo", sha256=kept.sha256, caption="the pins")
    return f"{path}/photos"


PAGES: dict[str, Callable[[Server], str]] = {
    "a probe": _at_a_probe,
    "a wait": _at_a_wait,
    "the verdict": _at_the_verdict,
    "decided": _decided,
    "the plate": _at_the_plate,
    "the record": _at_the_record,
    "the photos": _at_the_photos,
    "a new call": lambda _server: "/new",
    "the settings": lambda _server: "/settings",
}


@pytest.fixture
def context(play: Playwright, tmp_path: Path) -> Iterator[BrowserContext]:
    """A phone."""
    with browser(play, tmp_path / "profile", PHONE) as made:
        yield made


def opened(page: Page, address: str) -> None:
    """A page, every part of it unfolded."""
    page.goto(address)
    page.wait_for_selector("html.js", state="attached")
    page.evaluate("for (const each of document.querySelectorAll('main details')) each.open = true")


def filled(page: Page, apart_from: int) -> dict[str, str]:
    """Something typed into every text field of every form but one; what, by the place of the field."""
    found = {}
    forms = page.locator("main form[method=post]")
    for number in range(forms.count()):
        if number == apart_from:
            continue
        fields = forms.nth(number).locator(_FIELDS.replace("main form[method=post] ", "")).all()
        for place, field in enumerate(fields):
            text = f"7{number}{place}1"
            field.fill(text)
            found[f"{number}.{place}"] = text
    return found


def actions(page: Page) -> list[tuple[int, str, int]]:
    """Buttons that send a form, by the form, and some links: (form, selector, place)."""
    forms = page.locator("main form[method=post]")
    found = []
    for number in range(forms.count()):
        buttons = forms.nth(number).locator("button:not([type=button], [name=press], .unseen):visible")
        found += [
            (number, "button:not([type=button], [name=press], .unseen):visible", n)
            for n in range(min(2, buttons.count()))
        ]
    links = page.locator("main a[href^='/']:not([href^='/api/']):visible")
    return found + [
        (-1, "main a[href^='/']:not([href^='/api/']):visible", n) for n in range(min(_LINKS, links.count()))
    ]


def act(page: Page, action: tuple[int, str, int]) -> None:
    """One tap, and the screen after it."""
    form, selector, place = action
    inside: Page | Locator = page.locator("main form[method=post]").nth(form) if form >= 0 else page
    with next_screen(page):
        inside.locator(selector).nth(place).click()


def unseen(page: Page, typed: dict[str, str]) -> list[str]:
    """What was typed and stands neither in a field, nor in the notice, nor in what is shown."""
    held = page.evaluate(
        "[...document.querySelectorAll('main input, main textarea')].map(each => each.value)"
    )
    shown = page.locator("body").inner_text()
    return [text for text in typed.values() if text not in held and text not in shown]


@pytest.mark.parametrize("name", sampled(PAGES, list(PAGES)[::3]))
def test_nothing_typed_is_lost_in_silence(context: BrowserContext, server: Server, name: str) -> None:
    """Whatever is tapped, what stood typed in the other forms is still there, or is said and led back to."""
    path = PAGES[name](server)
    context.route("**/offline/**", lambda route: route.abort())  # the server answers; the script is the same
    page = context.new_page()
    opened(page, server.address + path)
    assert page.locator(_FIELDS).count() > 0
    for action in actions(page):
        opened(page, server.address + path)
        page.evaluate("localStorage.clear()")
        opened(page, server.address + path)
        if action not in actions(page):  # what was done before has changed the page
            continue
        typed = filled(page, action[0])
        act(page, action)
        assert unseen(page, typed) == [], action
        back = page.locator("#notices [data-notice=typed-not-kept] [data-go]")
        if typed and back.count():
            with next_screen(page):
                back.click()
            assert unseen(page, typed) == [], action


def test_going_back_says_what_was_typed(context: BrowserContext, server: Server) -> None:
    """The browser's own way back loses nothing either, and a reload finds it where it was typed."""
    path = PAGES["the record"](server)
    context.route("**/offline/**", lambda route: route.abort())
    page = context.new_page()
    opened(page, f"{server.address}{path.removesuffix('/record')}")
    with next_screen(page):
        page.locator("a.button[href$='/record']:visible").first.click()
    page.locator("#text").fill("oil at the lowest pin")
    with next_screen(page):
        page.go_back()
    assert "oil at the lowest pin" in page.locator("#notices").inner_text()
    opened(page, server.address + path)
    assert page.locator("#text").input_value() == "oil at the lowest pin"


def test_plate_and_stamp_are_kept_together(context: BrowserContext, server: Server) -> None:
    """On the phone itself: a stamp typed beside the plate is kept by either button, and the plate with it."""
    path = PAGES["the plate"](server)
    page = context.new_page()
    page.goto(server.address + path)
    ready(page)
    page.locator("#part").select_option("ptc")
    page.locator("#stamp").fill("7-041")
    page.locator("#locked_rotor_amps").fill("11.5")
    with next_screen(page):
        page.locator("form[action$='/plate'] button.main").click()
    assert page.locator("#notices [data-notice=typed-not-kept]").count() == 0
    shown = page.locator("aside.side").text_content() or ""
    assert "7-041" in shown
    assert "LRA 11.5 A" in shown
    page.goto(server.address + path)
    ready(page)
    page.locator("#stamp").fill("160 V")
    page.locator("#rated_load_amps").fill("1.4")
    with next_screen(page):
        page.locator("form[action$='/plate'] button[formaction]").click()
    assert page.locator("#stamp").input_value() == ""
    assert page.locator("#rated_load_amps").input_value() == "1.4"
    assert "160 V" in page.locator("main").inner_text()
