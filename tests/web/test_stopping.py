"""On the pages a stop is a stop, and what is barred is neither offered nor taken."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from humclick.arrangements.machine import Machine
from humclick.diagnosis.probes import probes_of
from humclick.jobs.event_tables import new_event
from humclick.safety import stop, stops
from humclick.web.exchange import plain_table
from tests.web.pages_asked import PAGES, SLOW_PAGES, Bench, Page

WHOLE = [name for name, each in stops().items() if each.whole]
LIVE = [probe for probe in probes_of(Machine.of("rsir-ptc", "external")).values() if probe.energises]


def begun(*more: tuple[str, dict[str, Any]], gas: str = "R600a") -> Bench:
    """A desk with one call."""
    bench = Bench()
    facts: list[tuple[str, dict[str, Any]]] = [
        ("opened", {"invented": True}),
        ("machine", {"arrangement": "rsir-ptc", "protector": "external", "refrigerant": gas}),
        ("complaint", {"heard": "hum_click"}),
        *more,
    ]
    bench.calls["one"] = [
        plain_table(
            new_event(
                kind,
                id=f"e{n}",
                at=datetime(2026, 11, 25, 9, 0, n, tzinfo=UTC),
                device="test",
                turn=n + 1,
                **given,
            )
        )
        for n, (kind, given) in enumerate(facts)
    ]
    return bench


def readings(bench: Bench) -> int:
    """How many readings the call holds."""
    return sum(each["kind"] == "reading" for each in bench.calls["one"])


@pytest.mark.parametrize("name", WHOLE)
def test_no_page_of_a_stopped_call_offers_a_probe(name: str) -> None:
    """Steps, customer and hand-over are said; no page names a start, whatever the address asks for."""
    bench = begun(("hazard", {"hazard": name, "gate": stop(name).gates[0]}))
    asked = [
        *PAGES,
        *SLOW_PAGES,
        "?probe=attempt.as_found",
        "?probe=attempt.as_found&now=1",
        "whatif?probe=fit.ptc",
    ]
    for behind in asked:
        path = f"/call/one{'' if behind.startswith('?') else '/'}{behind}".rstrip("/")
        page = Page(bench.ask(path)["html"])
        assert not [probe.id for probe in LIVE if probe.title in page.text], behind
        assert not [link for link in page.links if "probe=attempt" in link], behind
    shown = Page(bench.ask("/call/one")["html"]).text
    assert stop(name).title in shown
    assert " STOP " in shown


def test_nothing_sent_reopens_it_but_its_answer() -> None:
    """Readings are refused; skips, gates and undo change nothing; how it was cleared does."""
    bench = begun(("hazard", {"hazard": "leak", "gate": "flammable-caution"}))
    assert (
        bench.ask("/call/one/reading", "POST", {"probe": "attempt.as_found", "value": "runs"})["status"]
        >= 400
    )
    assert readings(bench) == 0
    for behind, form in (
        ("skip", {"probe": "pins.shell"}),
        ("gate", {"gate": "flammable-caution"}),
        ("undo", {"of": "e3"}),
        ("fitted", {"part": "compressor"}),
        ("decide", {"remedy": "wait"}),
        ("cleared", {"of": "e2", "words": "fine"}),
        ("cleared", {"of": "e3", "words": ""}),
    ):
        bench.ask(f"/call/one/{behind}", "POST", form)
        assert " STOP " in Page(bench.ask("/call/one")["html"]).text, behind
    bench.ask("/call/one/cleared", "POST", {"of": "e3", "words": "detector reads 0 after airing"})
    assert " STOP " not in Page(bench.ask("/call/one")["html"]).text


@pytest.mark.parametrize(
    ("probe", "value"),
    [
        ("supply.look", "burnt or damaged"),
        ("ptc.shake", "rattles"),
        ("pins.shell", "700 k"),
        ("earth.continuity", "OL"),
        ("shell.insulation", "2 M"),
    ],
)
def test_a_start_chosen_by_hand_is_refused_on_the_page(probe: str, value: str) -> None:
    """The screen says what forbids it; one that is sent is refused, unless it was taken already."""
    bench = begun(("reading", {"probe": probe, "value": value}), gas="R134a")
    asked = bench.ask("/call/one?probe=attempt.as_found")["html"]
    assert "Not now:" in Page(asked).text
    sent = {"probe": "attempt.as_found", "value": "runs", "chosen": "attempt.as_found"}
    before = readings(bench)
    assert bench.ask("/call/one/reading", "POST", sent)["status"] >= 400
    assert readings(bench) == before
    bench.ask("/call/one/reading", "POST", {**sent, "taken": "1"})
    assert readings(bench) == before + 1
    assert "taken without a record of" in Page(bench.ask("/call/one")["html"]).text


def test_what_proves_a_repair_begins_with_what_comes_before_power() -> None:
    """After a new part the first way is the look, and no way leads to a start that is barred."""
    bench = begun(("fitted", {"part": "ptc"}), gas="R134a")
    links = Page(bench.ask("/call/one")["html"]).links
    assert [link for link in links if "probe=proof.sight" in link]
    assert not [link for link in links if "probe=attempt" in link]
    barred = begun(("reading", {"probe": "shell.insulation", "value": "300 k"}), ("fitted", {"part": "ptc"}))
    for behind in ("", "/sheet", "/record"):
        page = Page(barred.ask(f"/call/one{behind}")["html"])
        assert not [link for link in page.links if "probe=attempt" in link]
