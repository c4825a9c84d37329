"""A language two fifths longer than English fits on a phone: no page runs over its side, no button is cut."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import BrowserContext, Playwright

from tests.browser.bench import PHONE, Server, browser
from tests.browser.test_axe import PAGES
from tests.pseudo import OPEN, write_catalogue
from tests.sample import sampled

#: A code that has no catalogue of its own.
CODE = "eo"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server with the invented shop's calls, and a catalogue of the made language beside its own."""
    folder = tmp_path_factory.mktemp("locales")
    write_catalogue(folder, CODE)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HUMCLICK_LOCALES", str(folder))
        made = Server(tmp_path_factory.mktemp("shop"))
        yield made
        made.stop()


@pytest.fixture(scope="module")
def context(play: Playwright, tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrowserContext]:
    """A phone that asks for the made language; pages as the server sends them."""
    with browser(play, tmp_path_factory.mktemp("profile"), PHONE, bypass_csp=True) as made:
        made.set_extra_http_headers({"accept-language": CODE})
        made.route("**/app.js", lambda route: route.abort())
        yield made


@pytest.mark.parametrize("path", sampled(PAGES, PAGES[1::3]))
def test_nothing_runs_over_or_is_cut(shop: Server, context: BrowserContext, path: str) -> None:
    """No page is wider than the screen, and no button or link hides a part of its text."""
    page = context.new_page()
    page.goto(f"{shop.address}{path}")
    assert OPEN in page.inner_text("main")
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1]
    cut = page.evaluate(
        """() => [...document.querySelectorAll("button, a.button, summary, label, .tile, h1, h2")]
            .filter(each => each.offsetParent && getComputedStyle(each).overflow !== "visible")
            .filter(each => !each.matches(".unseen, .unseen *"))
            .filter(each => each.scrollWidth > each.clientWidth + 1 ||
                each.scrollHeight > each.clientHeight + 1)
            .map(each => each.innerText.slice(0, 80))"""
    )
    assert cut == []
    out = page.evaluate(
        """() => [...document.querySelectorAll("main button, main a.button, main .tile, header a")]
            .filter(each => each.offsetParent && !each.closest(".scroll"))
            .filter(each => each.getBoundingClientRect().right > innerWidth + 1)
            .map(each => each.innerText.slice(0, 80))"""
    )
    assert out == []
    page.close()
