"""Every text a page shows passes through the catalogue: shown by a language made of the ids."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.jobs.call_file import load_call
from humclick.jobs.fold import fold
from humclick.jobs.sheet.render import sheet_of, typeset
from humclick.web.exchange import Reply, events_in
from humclick.web.language import language
from humclick.web.pages import frame
from tests.pseudo import CLOSE, OPEN, Shown, in_own_words, pseudo, spoken, unsaid, write_catalogue
from tests.sample import sampled
from tests.web.pages_asked import EXAMPLES, NAMES, PAGES, SLOW_PAGES, Bench

#: Invented calls whose slow pages are rendered too.
WEIGHED = ("broken-starter", "hot-protector-still-hot", "two-faults", "swapped-leads")


@pytest.fixture(scope="module")
def code() -> Iterator[str]:
    """The code of the made language."""
    with spoken() as made:
        yield made


def loaded(code: str, name: str) -> tuple[Bench, str]:
    """A desk in the made language with one of the invented calls, its people's words marked."""
    bench = Bench(code)
    path = bench.load(name)
    bench.calls[name] = [in_own_words(table) for table in bench.calls[name]]
    return bench, path


def english(html: str, bench: Bench | None = None) -> dict[str, list[str]]:
    """Texts of a page with words that did not pass through the catalogue, and that nobody typed."""
    tables = [table for tables in (bench.calls.values() if bench else ()) for table in tables]
    typed = [
        str(table[key])
        for table in tables
        for key in ("text", "value", "reason")
        if " " in str(table.get(key, ""))
    ]
    return {text: words for text in Shown(html).texts if (words := unsaid(text, typed))}


@given(st.text(st.sampled_from("abc ei{}x.:"), max_size=30))
def test_made_texts_keep_their_places(text: str) -> None:
    """What is bracketed leaves nothing outside but places."""
    assert unsaid(pseudo("open {value} to {part:or}")) == ["value", "part", "or"] or OPEN in pseudo("open")
    assert pseudo(text).count(OPEN) == pseudo(text).count(CLOSE)


@pytest.mark.parametrize("name", sampled(NAMES, NAMES[::3]))
def test_every_page_of_a_call_is_said(code: str, name: str) -> None:
    """No page of any invented call shows a word that is not in the catalogue."""
    bench, path = loaded(code, name)
    for behind in (*PAGES, *(SLOW_PAGES if name in WEIGHED else ())):
        reply = bench.ask(f"{path}/{behind}".rstrip("/"))
        assert english(reply["html"], bench) == {}, behind
        assert unsaid(reply["title"]) == []
        assert unsaid(reply["announce"]) == []


def test_every_probe_of_a_machine_is_said(code: str) -> None:
    """Each probe's screen: where the tips go, the answers, the safety steps, what is in the way."""
    for name in ("just-begun", "broken-starter", "open-start-capacitor", "relay-contacts"):
        bench, path = loaded(code, name)
        for link in bench.ask(f"{path}/probes")["html"].split("?probe=")[1:]:
            probe = link.partition('"')[0]
            for more in ("", "&taken=1"):
                assert english(bench.ask(f"{path}?probe={probe}{more}")["html"], bench) == {}, probe


def test_pages_without_a_call_and_the_document_are_said(code: str) -> None:
    """List, new call, settings, the page on working offline, and what stands around a page."""
    bench, path = loaded(code, "broken-starter")
    bench.post(f"{path}/note", text=f"{OPEN}seen{CLOSE}")
    for page in ("/", "/new", "/settings", "/about-offline", "/nowhere"):
        assert english(bench.ask(page)["html"], bench) == {}, page
    whole = frame.document(Reply(title=pseudo("Calls"), html="", language=code))
    assert english(whole) == {}


@pytest.mark.parametrize(
    ("page", "form"),
    [
        ("reading", {"probe": "ptc.ohms", "value": "", "taken": "1"}),
        ("reading", {"probe": "ptc.ohms", "value": f"{OPEN}short{CLOSE}", "taken": "1"}),
        ("reading", {"probe": "ptc.ohms", "value": "115 V", "taken": "1"}),
        ("reading", {"probe": "ptc.ohms", "value": "1.2.3", "taken": "1"}),
        ("reading", {"probe": "ptc.shake", "value": f"{OPEN}ratles{CLOSE}", "taken": "1"}),
        ("decide", {}),
        ("wait", {"minutes": f"{OPEN}long{CLOSE}"}),
        ("timer", {"seconds": "x"}),
        ("undo", {"of": f"{OPEN}x{CLOSE}"}),
        ("plate", {"volts": "9000 V"}),
        ("plate", {"volts": "OL"}),
        ("stamp", {"part": "ptc", "stamp": ""}),
        ("note", {"text": ""}),
        ("photos", {}),
    ],
)
def test_refusals_of_forms_are_said(code: str, page: str, form: dict[str, str]) -> None:
    """What is refused is said in the language of the page."""
    bench, path = loaded(code, "broken-starter")
    reply = bench.ask(f"{path}/{page}", "POST", dict(form))
    assert english(reply["html"], bench) == {}
    assert unsaid(reply["announce"]) == []


@pytest.mark.parametrize("name", WEIGHED)
def test_the_sheet_is_said(code: str, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sheet as the server and the terminal typeset it."""
    monkeypatch.setattr("humclick.jobs.sheet.render.translator", lambda _code: language(code).words)
    bench, _ = loaded(code, name)
    call = fold(events_in(bench.calls[name], []))
    assert english(typeset(sheet_of(call), language=code), bench) == {}


def test_a_language_is_a_catalogue_and_nothing_else(tmp_path: Path) -> None:
    """A catalogue in a folder makes its language: offered in the settings, and every page in it."""
    write_catalogue(tmp_path, "eo")
    script = (
        "from tests.web.pages_asked import Bench\n"
        "bench = Bench('eo')\n"
        "print(bench.ask('/settings')['html'])\n"
        "print(bench.ask(bench.load('broken-starter'))['html'])\n"
    )
    root = Path(__file__).resolve().parents[2]
    shown = subprocess.run(
        [sys.executable, "-c", script],
        env={**os.environ, "HUMCLICK_LOCALES": str(tmp_path), "PYTHONPATH": f"{root}/src:{root}"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert pseudo("Settings") in shown
    assert 'value="eo"' in shown
    assert pseudo("Still suspected") in shown


def test_an_older_call_says_that_its_arrangement_is_taken_for_now() -> None:
    """A note of an older file that said so is still read; a new one says it by a field."""
    from humclick.jobs.standing import provisional

    events = load_call(EXAMPLES / "broken-starter" / "call.toml").events
    assert not provisional(events, fold(events))
