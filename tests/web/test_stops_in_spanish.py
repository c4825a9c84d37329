"""What stops a call, forbids power or comes before it is said in Spanish: no English is left on a page."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.checks import checks
from humclick.diagnosis.probes import Probe, probes_of
from humclick.messages import Message
from humclick.safety import gates, stops, stops_at
from humclick.sourced import read_data
from humclick.web.catalogue import catalogue_of
from humclick.web.language import language
from tests.web.pages_asked import Bench, Page

#: Sources are not translated, and the description of a drawing is not.
_SOURCE = re.compile(r'<span class="source" lang="en">.*?</span>|<desc .*?</desc>', re.DOTALL)
#: A machine with every kind of part a safety step is about, and a refrigerant that burns.
_MACHINE = {"arrangement": "csr-potential-relay", "protector": "external", "refrigerant": "R290"}
_GUARDS = read_data("humclick.diagnosis", "guards.toml")["guard"]
_SILENT = {"kind": "complaint", "heard": "silent"}
_TRIPPED = {"kind": "complaint", "heard": "breaker"}


@cache
def english() -> tuple[str, ...]:
    """Sentences of the catalogue that are not the same in Spanish."""
    pairs = ((str(m.id), str(m.string)) for m in catalogue_of("es") if m.id and isinstance(m.id, str))
    return tuple(text for text, said in pairs if len(text.split()) > 2 and text != said and "{" not in text)


def left_in_english(html: str) -> list[str]:
    """What a page says in English: marked so, or word for word as a sentence of the catalogue; no sources."""
    html = _SOURCE.sub("", html)
    attributes = " ".join(re.findall(r'(?:aria-label|title|placeholder|data-over)="([^"]*)"', html))
    shown = f"{Page(html).text} {attributes}"
    return [*re.findall(r'lang="en">([^<]*)', html), *(text for text in english() if text in shown)]


def bench_with(*events: dict[str, Any], machine: dict[str, Any] | None = None) -> Bench:
    """A Spanish bench with one call on a machine, and what happened on it."""
    bench = Bench("es")
    told = [{"kind": "opened"}, {"kind": "machine", **(machine or _MACHINE)}, *events]
    bench.calls["one"] = [
        {"id": f"e{k}", "at": f"2026-11-25T09:{k:02}:00+00:00", **event} for k, event in enumerate(told)
    ]
    return bench


def reading(probe: str, value: str, temperature: str = "") -> dict[str, Any]:
    """A reading taken."""
    return {"kind": "reading", "probe": probe, "value": value, "temperature": temperature}


def sweep(bench: Bench, *behind: str) -> list[str]:
    """What is left in English on pages of the call."""
    found = []
    for each in behind:
        reply = bench.ask(f"/call/one{each}")
        assert reply["status"] == 200, each
        page = Page(reply["html"])
        assert page.faults == [], each
        assert page.tags["h1"] == 1, each
        found += [f"{each}: {text}" for text in left_in_english(reply["html"])]
    return found


def machines() -> Iterator[Machine]:
    """Every machine that can be tested."""
    for name in arrangements():
        kind = arrangement(name)
        yield from (Machine.of(name, protector) for protector in kind.protectors if not kind.recognised_only)


def damaging() -> dict[str, tuple[dict[str, Any], Probe]]:
    """Every look that may forbid power or end the call, with a machine that has it."""
    found: dict[str, tuple[dict[str, Any], Probe]] = {}
    for machine in machines():
        for probe in probes_of(machine).values():
            if probe.bars or probe.stops:
                described = {"arrangement": machine.arrangement.id, "protector": machine.protector}
                found.setdefault(probe.id, (described, probe))
    return found


@pytest.mark.parametrize("name", stops())
def test_every_stop_is_said_in_spanish(name: str) -> None:
    """A stop at each gate that offers it: the call, the record, the sheet, and a reading taken already."""
    for gate in stops()[name].gates:
        bench = bench_with({"kind": "hazard", "hazard": name, "gate": gate, "words": "visto"})
        known = probes_of(Machine.of(_MACHINE["arrangement"], _MACHINE["protector"]))
        needing = [each.id for each in known.values() if gate in each.gates][:1]
        asked = [f"?probe={each}{more}" for each in needing for more in ("", "&taken=1")]
        assert sweep(bench, "", "/record", *asked) == []
    assert sweep(bench, "/sheet", "/probes") == []


def test_a_stop_fills_the_page_and_its_answer_is_folded() -> None:
    """One heading says stop; nothing is offered to test; the form that reopens the call is folded away."""
    html = bench_with({"kind": "hazard", "hazard": "leak"}).ask("/call/one")["html"]
    assert re.search(r'<h1[^>]*class="halt".*ALTO</h1>', html)
    assert re.search(r'<details class="more"><summary>Para reabrir: Fuga de refrigerante', html)
    assert "?probe=" not in html
    assert 'class="suspects"' not in html
    refused = bench_with({"kind": "hazard", "hazard": "leak"}).ask("/call/one/undo", "POST", {"of": "e2"})
    assert "un peligro no se deshace" in refused["html"]
    assert refused["append"] == []
    for event in ("hazard", "machine"):
        own = re.search(rf'<li class="{event}">.*?</li>', html, re.DOTALL)
        assert own is not None
        assert ("/undo" in own[0]) == (event != "hazard")  # a hazard is not taken back


@pytest.mark.parametrize("gate", gates())
def test_what_is_in_the_way_of_every_gate_is_said_in_spanish(gate: str) -> None:
    """Each answer of the list of what is in the way has its Spanish."""
    for stop in stops_at(gate):
        texts = [stop.title, stop.said, *stop.steps, stop.customer, stop.answer]
        assert [text for text in texts if language("es").plain(text) == text] == []


@pytest.mark.parametrize("name", damaging())
def test_every_look_that_bars_is_said_in_spanish(name: str) -> None:
    """Each answer that forbids power or ends the call: the advice, and a start that is barred."""
    machine, probe = damaging()[name]
    for answer in sorted({*probe.bars, *probe.stops}):
        bench = bench_with(reading(name, answer), machine=machine)
        assert sweep(bench, "", "?probe=attempt.as_found", f"?probe={name}&taken=1", "/record") == []
    assert sweep(bench, "/sheet") == []


#: Readings that forbid power.
BARS: dict[str, Sequence[dict[str, Any]]] = {
    "insulation": [reading("pins.shell", "0.4 MΩ")],
    "ground": [reading("earth.continuity", "OL")],
    "three-equal": [reading(f"pins.{pair}", "2.1 Ω") for pair in ("C-R", "C-S", "S-R")],
    "volts": [reading("supply.volts_ground", "20 V"), reading("supply.volts_neutral", "30 V")],
    "leak": [reading("proof.ground_current", "9 mA"), reading("proof.touch_current", "2 mA")],
}


@pytest.mark.parametrize("name", BARS)
def test_every_bar_of_a_reading_is_said_in_spanish(name: str) -> None:
    """The advice, a start that is barred, and its reading taken already."""
    bench = bench_with(*BARS[name])
    asked = ("", "?probe=attempt.as_found", "?probe=attempt.known_good", "?probe=pins.C-R&taken=1")
    assert sweep(bench, *asked, "/record", "/sheet") == []
    refused = bench.ask("/call/one/reading", "POST", {"probe": "attempt.as_found", "value": "hum"})
    assert "no es seguro ahora" in refused["html"]
    assert left_in_english(refused["html"]) == []


_EARTHED = reading("earth.continuity", "0.1 Ω")
#: What happened, and the probe that then has something to be shown before it.
NEEDS: dict[str, tuple[Sequence[dict[str, Any]], str]] = {
    "earth": ([], "attempt.as_found"),
    "ground-first": ([_EARTHED], "attempt.known_good"),
    "sight": ([_EARTHED, {"kind": "fitted", "part": "potential_relay"}], "attempt.as_found"),
    "tripped": ([_TRIPPED, _EARTHED], "attempt.as_found"),
    "range": ([_EARTHED, reading("pins.shell", ">2 MΩ")], "attempt.as_found"),
    "weak": ([_EARTHED, reading("shell.insulation", "2 MΩ")], "attempt.as_found"),
    "outside-first": ([_SILENT], "attempt.as_found"),
    "cooled": ([_EARTHED, reading("overload_protector.ohms", "OL", "hot")], "attempt.as_found"),
}


@pytest.mark.parametrize("name", NEEDS)
def test_every_need_is_said_in_spanish(name: str) -> None:
    """What has to be shown before a start stands on the page that is barred for it, in Spanish."""
    events, probe = NEEDS[name]
    bench = bench_with(*events)
    assert sweep(bench, "", f"?probe={probe}", "/probes") == []
    assert (
        language("es").plain(Message.of(_GUARDS[name]["title"]))
        in Page(bench.ask(f"/call/one?probe={probe}")["html"]).text
    )


@pytest.mark.parametrize("name", checks())
def test_every_check_is_said_in_spanish(name: str) -> None:
    """Each check's page, what a bad one means, and its line once it is in the record."""
    check = checks()[name]
    bad = "something is wrong" if check.outcomes else "OL"
    bench = bench_with(_EARTHED)
    assert sweep(bench, f"?probe={name}&taken=1", f"?probe={name}") == []
    assert sweep(bench_with(_EARTHED, reading(name, bad)), "", "/record") == []
    assert language("es").plain(check.bad) != check.bad
