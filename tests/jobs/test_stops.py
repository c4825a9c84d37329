"""
A stop is a stop: a hazard ends the call on every face until that very hazard is answered.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.diagnosis.advice import advise
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.errors import HumclickError
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event, Undone
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of
from humclick.jobs.result import as_json, result_of
from humclick.jobs.sheet.render import sheet_html
from humclick.jobs.standing import to_undo
from humclick.parts.family import families, family
from humclick.safety import gates, gates_for, stop, stop_at, stops, stops_at
from tests.visit import MACHINES, Visit

WHOLE = [name for name, each in stops().items() if each.whole]
#: Looks that end a call, with the answers that do.
LOOKS = [
    (f"{name}.{look.name}", answer, found)
    for name in families()
    if name != "three_wires"  # called wiring in its machines, with the same look
    for look in family(name).looks
    for answer, found in look.stops.items()
]


def stopped_by(visit: Visit, name: str) -> Event:
    """A hazard found at the first gate where it is offered."""
    return visit.does("hazard", hazard=name, gate=stop(name).gates[0], words="as seen")


def answered(visit: Visit, of: str, name: str, device: str = "bench") -> None:
    """What answers a hazard: its proof anew, where it has one, and how it was cleared."""
    if stop(name).proof:
        visit.does("gate", device, gate=stop(name).proof)
    if any(each.event == of for each in visit.call.stoppages):
        visit.does("cleared", device, of=of, words="clear after airing")


def assert_stopped(visit: Visit) -> None:
    """Nothing is offered, and every face hands over."""
    call = visit.call
    assert call.stopped
    if call.machine is None or not visit.probes:
        return
    advice = visit.advice
    assert advice.kind == "stop"
    assert advice.next is None
    assert advice.alternatives == ()
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    assert advice.verdict.sentence.startswith("Stop: ")
    assert visit.onward(advice).kind == "stop"
    assert state_of(call, advice).name == "stopped"


def test_the_looks_that_end_a_call_are_the_worst_at_the_pins() -> None:
    """Burnt pins, oil and cracked glass end a call by what is seen alone."""
    assert {found for _, _, found in LOOKS} == {"burnt-terminals", "terminal-leak"}
    assert {probe for probe, _, _ in LOOKS} == {"wiring.pins"}
    for name, guard in MACHINES:
        assert "wiring.pins" in Visit(name, guard).probes


def test_a_gate_that_the_machine_adds_is_barred_by_stops_of_the_whole_call() -> None:
    """Gates no probe names, for a gas or a board, cannot be barred probe by probe."""
    named = {gate for name, guard in MACHINES for p in Visit(name, guard).probes.values() for gate in p.gates}
    for gate in set(gates()) - named:
        assert stops_at(gate)
        assert all(each.whole for each in stops_at(gate)), gate


def test_a_plain_cannot_stops_something_at_every_gate() -> None:
    """Whatever gate cannot be passed, every probe that needs it is barred from then on."""
    for gas in ("R134a", "R600a", "R717"):
        for name, guard in MACHINES[::11]:
            for gate in gates():
                visit = Visit(name, guard, gas=gas)
                visit.does("hazard", gate=gate, words="no")
                known = visit.probes
                needing = (
                    [
                        p
                        for p in known.values()
                        if gate in {g.name for g in gates_for(p.gates, visit.call.machine)}
                    ]
                    if visit.call.machine
                    else []
                )
                advice = visit.advice
                offered = {p.id for p in visit.offered(advice)}
                assert not offered & {p.id for p in needing}, (gas, gate)


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.parametrize("gas", ["R134a", "R600a"])
def test_a_stop_says_so_on_every_face_and_offers_nothing(name: str, gas: str) -> None:
    """Advice, JSON, sheet and customer page; no probe is named on any of them."""
    visit = Visit("csir-current-relay", "external", gas=gas)
    stopped_by(visit, name)
    assert_stopped(visit)
    shop = default_shop()
    table = result_of(visit.call, shop)
    assert table.kind == "stop"
    assert table.next is None
    assert table.alternatives == ()
    assert table.before == ()
    text = as_json(table)
    html = re.sub(r"\s+", " ", sheet_html(visit.call, shop=shop))
    for probe in visit.probes.values():
        assert f'"{probe.id}"' not in text
        if probe.energises:
            assert probe.title not in html, probe.id
    assert stop(name).title in html
    for step in stop(name).steps:
        assert step.split("'")[0] in html
    assert stop(name).customer.split("'")[0] in html
    assert "Hand over" in html or "hand over" in html


#: What may follow a hazard: kind and what is given.
FOLLOWS: list[tuple[str, dict[str, Any]]] = [
    *(("skip", {"probe": name, "reason": "x"}) for name in ("wiring.pins", "pins.shell", "attempt.as_found")),
    *(
        ("reading", {"probe": name, "value": value})
        for name, value in (
            ("wiring.pins", "clean and tight"),
            ("attempt.as_found", "runs"),
            ("shell.insulation", ">550 M"),
            ("earth.continuity", "0.1"),
            ("fit.ptc", "runs"),
        )
    ),
    *(("gate", {"gate": name}) for name in gates()),
    ("fitted", {"part": "wiring"}),
    ("fitted", {"part": "compressor"}),
    ("machine", {"arrangement": "psc", "refrigerant": "R134a"}),
    ("machine", {"arrangement": "inverter-driven"}),
    ("machine", {"arrangement": "rsir-ptc", "refrigerant": "R744"}),
    ("meter", {"name": "basic"}),
    ("complaint", {"heard": "silent"}),
    ("decision", {"remedies": ["wait"]}),
    ("wait", {"minutes": 600.0}),
    ("note", {"text": "leak is cleared"}),
]
hazards = st.one_of(st.sampled_from(WHOLE), st.sampled_from(LOOKS))


@settings(max_examples=80, deadline=None)
@given(found=hazards, follows=st.lists(st.integers(0, 10_000), max_size=8), data=st.data())
def test_nothing_but_its_answer_reopens_a_call(
    found: str | tuple[str, str, str], follows: list[int], data: st.DataObject
) -> None:
    """No skip, reading, gate, part, nameplate or note, nor taking back any of it or the hazard itself."""
    visit = Visit("rsir-ptc", "external", gas="R600a")
    if isinstance(found, str):
        name, hazard = found, stopped_by(visit, found)
    else:
        name, hazard = found[2], visit.reads(found[0], found[1])
    for number in follows:
        try:
            if number % 3 == 0:
                visit.does("undo", of=visit.events[number % len(visit.events)].id)
            else:
                kind, given_ = FOLLOWS[number % len(FOLLOWS)]
                visit.does(kind, data.draw(st.sampled_from(["bench", "phone-b"])), **given_)
        except HumclickError:
            continue
        assert hazard.id in {each.event for each in visit.call.stopped}
    assert_stopped(visit)
    shuffled = data.draw(st.permutations(visit.events))
    assert fold([*shuffled, *shuffled], device="bench") == fold(visit.events, device="bench")
    # the answer of another hazard is none
    other = stopped_by(visit, data.draw(st.sampled_from(WHOLE)))
    answered(visit, other.id, other.hazard)  # type: ignore[attr-defined]
    assert [stoppage.event for stoppage in visit.call.stopped] == [hazard.id]
    answered(visit, hazard.id, name)
    assert not visit.call.stopped
    # taking back the answer stops it again
    visit.does("undo", of=visit.events[-1].id)
    assert [stoppage.event for stoppage in visit.call.stopped] == [hazard.id]


@pytest.mark.parametrize("name", [n for n, each in stops().items() if each.proof and each.whole])
def test_a_proof_has_to_be_passed_after_the_hazard(name: str) -> None:
    """Passed before, or by a device that had not heard of it, it proves nothing."""
    visit = Visit("rsir-ptc", "external", gas="R600a")
    proof = stop(name).proof
    visit.does("gate", gate=proof)
    unheard = list(visit.events)
    hazard = stopped_by(visit, name)
    with pytest.raises(HumclickError, match="first pass"):
        visit.does("cleared", of=hazard.id, words="fine")
    other = Visit("rsir-ptc", "external")
    other.events, other.call = unheard, fold(unheard, device="phone-b")
    other.does("note", "phone-b", text="offline")
    other.does("gate", "phone-b", gate=proof)
    visit.events += [e for e in other.events if e not in visit.events]
    visit.call = fold(visit.events, device="bench")
    with pytest.raises(HumclickError, match="first pass"):
        visit.does("cleared", of=hazard.id, words="fine")
    visit.does("gate", gate=proof)
    visit.does("cleared", of=hazard.id, words="proved")
    assert visit.call.stopped == ()


def test_each_hazard_needs_its_own_answer_also_on_two_devices() -> None:
    """The same hazard found twice at once by two phones is answered twice."""
    base = Visit("rsir-ptc", "external", gas="R600a")
    turn = base.events[-1].turn + 1
    two = [
        new_event("hazard", id=f"h-{device}", at=base.events[-1].at, device=device, turn=turn, hazard="leak")
        for device in ("phone-a", "phone-b")
    ]
    base.events += two
    base.call = fold(base.events, device="bench")
    answered(base, "h-phone-b", "leak")
    assert [each.event for each in base.call.stopped] == ["h-phone-a"]
    again = stopped_by(base, "leak")
    answered(base, "h-phone-a", "leak")
    assert [each.event for each in base.call.stopped] == [again.id]


def test_after_a_stop_no_gate_holds_on_any_device() -> None:
    """What was passed before is passed anew once the call goes on."""
    visit = Visit("csir-current-relay", "external", gas="R600a")
    for device in ("bench", "phone-b"):
        for gate in ("flammable-caution", "power-off-proved-dead", "capacitors-discharged"):
            visit.does("gate", device, gate=gate)
    hazard = stopped_by(visit, "leak")
    visit.does("cleared", of=hazard.id, words="detector clear after airing")
    assert visit.call.stopped == ()
    assert all(not visit.call.on(device).proved for device in ("bench", "phone-b"))


def test_a_part_stop_is_lifted_by_its_own_gate_of_a_device_that_knew_of_it() -> None:
    """A cover that could not be closed bars power until somebody who knows of it closes it."""
    visit = Visit("rsir-ptc", "external")
    visit.reads("earth.continuity")
    before = list(visit.events)
    visit.does("hazard", hazard="no-cover", gate="cover-on", words="")
    live = [p.id for p in visit.probes.values() if "cover-on" in p.gates]
    advice = visit.advice
    assert not {p.id for p in visit.offered(advice)} & set(live)
    other = Visit("rsir-ptc", "external")
    other.events, other.call = before, fold(before, device="phone-b")
    other.does("note", "phone-b", text="offline")
    other.does("gate", "phone-b", gate="cover-on")
    visit.events += [e for e in other.events if e not in visit.events]
    visit.call = fold(visit.events, device="bench")
    assert visit.call.stoppages
    visit.does("gate", gate="cover-on")
    assert visit.call.stoppages == ()


def test_a_hazard_is_not_the_last_thing_to_undo() -> None:
    """Undo at it is refused, and an undo by its id does nothing to it."""
    visit = Visit("rsir-ptc", "external")
    hazard = stopped_by(visit, "water")
    with pytest.raises(HumclickError, match="not undone"):
        to_undo(visit.events, visit.call)
    visit.does("undo", of=hazard.id)
    assert isinstance(visit.events[-1], Undone)
    assert visit.call.stopped
    assert hazard in visit.call.hazards


@pytest.mark.parametrize("name", list(stops()))
def test_what_is_done_against_a_stop_is_kept_and_marked(name: str) -> None:
    """Readings, tries and recordings that were made all the same."""
    visit = Visit("csir-current-relay", "external")
    stopped_by(visit, name)
    barred = stop(name)
    for probe in ("attempt.as_found", "pins.C-R", "supply.volts"):
        visit.reads(probe, "runs" if "runs" in visit.probes[probe].outcomes else "")
        kept = visit.call.readings[-1]
        hit = barred.whole or set(barred.gates) & set(visit.probes[probe].gates)
        assert (barred.title in kept.against) == bool(hit)
        if hit:
            table = result_of(visit.call, default_shop())
            assert barred.title in table.unproved[kept.event]
            assert barred.title in sheet_html(visit.call, shop=default_shop())
    visit.does("recording", of="current", heard=["hum"])
    assert visit.call.readings[-1].probe == "attempt.recorded"
    assert visit.call.readings[-1].against


@pytest.mark.parametrize(("name", "guard"), MACHINES)
def test_every_machine_stops(name: str, guard: str) -> None:
    """Every hazard of the whole call, on every machine."""
    visit = Visit(name, guard)
    hazard = stopped_by(visit, WHOLE[len(name) % len(WHOLE)])
    assert_stopped(visit)
    assert probes_of(visit.situation.machine)
    other = replace(visit.situation, observations=())
    assert advise(other).kind == "stop"
    assert stop_at("", hazard.hazard).whole  # type: ignore[attr-defined]
