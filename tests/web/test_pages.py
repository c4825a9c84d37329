"""Every page of every invented call, in both languages, is a sound document that says what it has to."""

from __future__ import annotations

from typing import Any

import pytest

from humclick.web.engine import answer
from humclick.web.exchange import Reply
from humclick.web.pages.frame import document
from tests.sample import sampled
from tests.web.pages_asked import NAMES, PAGES, SLOW_PAGES, Bench, Page

LANGUAGES = ("en", "es")
#: Invented calls whose slow pages (every reading weighed with and without) are rendered too.
WEIGHED = ("broken-starter", "hot-protector-still-hot", "timed-starter-by-elimination")


def checked(reply: dict[str, Any], status: int = 200) -> Page:
    """The page of a reply, once it is found sound."""
    assert reply["status"] == status, reply["html"][:400]
    page = Page(reply["html"])
    assert page.faults == []
    assert page.tags["h1"] == 1
    assert reply["title"]
    return page


@pytest.mark.parametrize("name", sampled(NAMES, NAMES[::3]))
def test_pages_of_every_example_are_sound_in_both_languages(name: str) -> None:
    """Tags match, every field has a label, ids are unique, there is one heading, and nothing inline."""
    for language in LANGUAGES:
        bench = Bench(language)
        path = bench.load(name)
        for behind in PAGES:
            if behind == "probes" and name in ("inverter-driven", "three-phase"):
                continue
            page = checked(bench.ask(f"{path}/{behind}".rstrip("/")))
            if behind not in ("identify", "plate"):
                assert path in page.links or path == f"/call/{name}"


@pytest.mark.parametrize("name", WEIGHED)
def test_reasons_and_sheet_are_sound_in_both_languages(name: str) -> None:
    """Why, what if and the job sheet are sound documents, and the sheet holds the customer's headline."""
    for language in LANGUAGES:
        bench = Bench(language)
        path = bench.load(name)
        for behind in SLOW_PAGES:
            checked(bench.ask(f"{path}/{behind}"))


@pytest.mark.parametrize("language", LANGUAGES)
def test_pages_without_a_call_are_sound(language: str) -> None:
    """List, new call, settings and the page on working without a network are sound documents."""
    bench = Bench(language)
    for path in ("/", "/new", "/settings", "/about-offline", "/?q=nothing"):
        checked(bench.ask(path))


def test_list_shows_and_finds_calls_in_both_languages() -> None:
    """The list shows a call's state and verdict, and search finds it by either language's words."""
    for language, word, other in (("en", "starter", "zebra"), ("es", "arrancador", "cebra")):
        bench = Bench(language)
        path = bench.load("broken-starter")
        bench.post(f"{path}/note", text="seen again")
        assert "/call/broken-starter" in checked(bench.ask("/")).links
        assert "/call/broken-starter" in checked(bench.ask(f"/?q={word}")).links
        assert "/call/broken-starter" not in checked(bench.ask(f"/?q={other}")).links


def test_whole_document_stands_around_a_page() -> None:
    """The shell is a whole document with its language, its landmarks and a way to the content."""
    html = document(
        Reply(title="Calls", html="<h1>Calls</h1>", header="<nav></nav>", language="es"), theme="dark"
    )
    assert html.startswith("<!doctype html>")
    assert '<html lang="es" data-theme="dark">' in html
    for landmark in ("<header", "<main", 'href="#main"', 'aria-live="polite"'):
        assert landmark in html


def test_spanish_pages_show_a_decimal_comma_and_no_english() -> None:
    """In Spanish a reading, its finding have a decimal comma, and nothing is left in English."""
    bench = Bench("es")
    html = bench.ask(bench.load("broken-starter"))["html"]
    assert "11,2 Ω" in html
    assert "11.2" not in Page(html).text
    assert 'lang="en"' not in html


def test_unknown_path_or_call_is_not_there() -> None:
    """A path that is no page and a call that is not kept give 404 and a way back."""
    bench = Bench()
    for path in ("/nothing", "/call/none", "/call/none/why", "/call"):
        reply = bench.ask(path)
        assert reply["status"] == 404
        assert "/" in Page(reply["html"]).links


@pytest.mark.parametrize("request_", ["", "{}", "[]", '{"path": 3}', '{"path": "/", "now": "yesterday"}'])
def test_request_of_the_wrong_shape_is_refused(request_: str) -> None:
    """The engine refuses what is no request, and says so."""
    with pytest.raises(ValueError, match=r"request|now"):
        answer(request_)


HOSTILE = "\"><script>alert(1)</script><img src=x onerror=alert(2)>'"


def test_hostile_text_is_escaped_wherever_it_is_shown() -> None:
    """What somebody types as markup is shown as letters on every page that shows it."""
    bench = Bench()
    bench.post("/new", heard="hum", equipment=HOSTILE, customer=HOSTILE, words=HOSTILE)
    (name,) = bench.calls
    path = f"/call/{name}"
    bench.post(f"{path}/identify", arrangement="rsir-ptc")
    bench.post(f"{path}/plate", refrigerant=HOSTILE)
    bench.post(f"{path}/note", text=HOSTILE)
    bench.post(f"{path}/photos", sha256="a" * 64, caption=HOSTILE)
    bench.post(f"{path}/mark", sha256="a" * 64, x="10", y="20", words=HOSTILE)
    bench.post(f"{path}/skip", probe="leads.short", reason=HOSTILE)
    bench.photos = [{"hash": "a" * 64, "caption": HOSTILE, "width": 40, "height": 30}]
    pages = [f"{path}/{behind}".rstrip("/") for behind in (*PAGES, *SLOW_PAGES)]
    for each in (*pages, "/", f"/?q={HOSTILE.replace('=', '')}", f"{path}?probe={HOSTILE.replace('=', '')}"):
        html = bench.ask(each)["html"]
        assert "<script" not in html
        assert "<img src=x" not in html
        assert not [fault for fault in Page(html).faults if "policy" in fault or "script" in fault]
    shown = bench.post(f"{path}/reading", probe="leads.short", value=HOSTILE)
    assert shown["status"] == 422
    assert "<script" not in shown["html"]
