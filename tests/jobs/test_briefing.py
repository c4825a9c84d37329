"""Which safety texts are shown in full, which in a line, and that no gate is held less for it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.probes import Probe, probe_of, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.jobs.briefing import Briefing, briefed, briefed_on, spoken_with
from humclick.jobs.events import UNTIMED, Event
from humclick.jobs.fold import fold
from humclick.safety import gate
from humclick.safety.facts import met_by
from tests.visit import accepted

SHOP = default_shop()
JUDGED = [name for name in arrangements() if arrangement(name).started]
SHOWN = {"resistance": "4.7", "capacitance": "15 uF", "voltage": "115 V", "current": "9 A"}


class Bench:
    """A call as it grows, a second for each event."""

    def __init__(self, name: str = "rscr-ptc", gas: str = "R134a") -> None:
        self.events: tuple[Event, ...] = ()
        self.does("machine", arrangement=name, refrigerant=gas)

    def does(self, kind: str, device: str = "", **given: Any) -> None:
        """Add an event."""
        at: datetime = UNTIMED + timedelta(days=20000, seconds=len(self.events))
        event, _ = accepted(self.events, kind, at, {"id": f"e{len(self.events)}", **given}, device)
        self.events += (event,)

    def probe(self, name: str) -> Probe:
        """A probe of the machine as it is described now."""
        machine = fold(self.events).machine
        assert machine is not None
        return probe_of(machine, name, SHOP)

    def briefing(self, name: str, device: str = "") -> Briefing:
        """What is said before a probe."""
        return briefed(self.events, fold(self.events, device=device), self.probe(name), SHOP, device)

    def passes(self, name: str, device: str = "") -> int:
        """Confirm what stands before a probe; how many gates there were."""
        shown = self.briefing(name, device).gates
        for each in shown:
            self.does("gate", device, gate=each.gate.name, matter=each.gate.matter)
        return len(shown)

    def reads(self, name: str, device: str = "") -> None:
        """Take a probe."""
        probe = self.probe(name)
        self.does("reading", device, probe=name, value=SHOWN.get(probe.quantity) or probe.outcomes[0])


def test_a_gate_is_read_in_full_once_and_then_in_a_line() -> None:
    """After power was on the same gates stand again, each in one line; a hazard is spoken in full once."""
    bench = Bench()
    first = bench.briefing("pins.C-R")
    assert [each.full for each in first.gates] == [True, True]
    assert first.defer
    assert first.cautions
    assert {each.hazard.name for each in first.hazards if each.full} >= {"gas-behind-pins", "hot-pill"}
    bench.passes("pins.C-R")
    bench.reads("pins.C-R")
    assert bench.briefing("pins.C-S").hazards == ()
    bench.passes("attempt.as_found")
    bench.reads("attempt.as_found")
    again = bench.briefing("pins.C-S")
    assert [(each.full, each.new) for each in again.gates] == [(False, False)] * 2
    assert not again.defer
    assert not again.cautions
    assert again.hazards
    assert not any(each.full for each in again.hazards)


def test_another_device_reads_in_full() -> None:
    """What one phone has shown is not taken as read by whoever holds another."""
    bench = Bench()
    bench.passes("pins.C-R", "phone-a")
    bench.reads("pins.C-R", "phone-a")
    bench.passes("attempt.as_found", "phone-a")
    bench.reads("attempt.as_found", "phone-a")
    assert not any(each.full for each in bench.briefing("pins.C-S", "phone-a").gates)
    there = bench.briefing("pins.C-S", "phone-b")
    assert all(each.full for each in there.gates)
    assert there.defer
    assert all(each.full for each in there.hazards)


@pytest.mark.parametrize(("before", "after"), [("", "R290"), ("R290", "R717"), ("R32", "R600a")])
def test_another_refrigerant_asks_anew(before: str, after: str) -> None:
    """A caution that held for the whole call is asked again, in full, for another gas."""
    bench = Bench(gas=before)
    bench.passes("pins.C-R")
    assert bench.briefing("pins.C-R").gates == ()
    bench.does("machine", arrangement="rscr-ptc", refrigerant=after)
    shown = bench.briefing("pins.C-R").gates
    assert shown[0].gate.name == "flammable-caution"
    assert all(each.full for each in shown)
    bench.passes("pins.C-R")
    assert bench.briefing("pins.C-R").gates == ()


def test_another_charge_is_read_in_full() -> None:
    """Once a capacitor's marks are read, its discharge is shown anew the next time it is asked for."""
    bench = Bench()
    bench.passes("pins.C-R")
    bench.reads("pins.C-R")
    bench.does("stamp", part="run_capacitor", text="30 uF 440 VAC")
    bench.passes("attempt.as_found")
    bench.reads("attempt.as_found")
    shown = {each.gate.name: each.full for each in bench.briefing("pins.C-R").gates}
    assert shown == {"power-off-proved-dead": False, "capacitors-discharged": True}


def test_the_meter_is_looked_at_again_once_it_was_used_otherwise() -> None:
    """Two volts readings on end share the look at meter and leads; after ohms or a try it stands again."""
    bench = Bench()
    bench.passes("supply.volts")
    bench.reads("supply.volts")
    assert "meter-for-line" not in bench.briefing("supply.volts").names
    bench.reads("leads.short")
    assert "meter-for-line" in bench.briefing("supply.volts").names


def test_only_dead_work_is_confirmed_with_the_reading() -> None:
    """No gate about power being on may be confirmed by the reading itself."""
    for name in JUDGED:
        bench = Bench(name)
        for probe in probes_of(Machine.of(name), SHOP).values():
            shown = bench.briefing(probe.id)
            live = probe.live or any(each.gate.live for each in shown.gates)
            assert shown.dead == (bool(shown.gates) and not live), probe.id
    assert all(gate(name).live for name in ("cover-on", "stand-clear", "meter-for-line"))


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(JUDGED),
    gas=st.sampled_from(["R134a", "R600a", "R717", ""]),
    steps=st.lists(
        st.tuples(st.integers(0, 10_000), st.booleans(), st.sampled_from(["", "phone-b"])), max_size=12
    ),
)
def test_no_gate_is_held_less(name: str, gas: str, steps: list[tuple[int, bool, str]]) -> None:
    """In any order of probes, what is confirmed is recorded one by one, and what is not is marked."""
    bench = Bench(name, gas)
    known = probes_of(Machine.of(name), SHOP)
    probes = list(known)
    for number, confirmed, device in steps:
        probe = probes[number % len(probes)]
        briefing = bench.briefing(probe, device)
        wanted = briefing.names
        held_back = fold(bench.events, device=device).gates_before(known[probe].gates)
        before = len(fold(bench.events).gates)
        if confirmed:
            assert bench.passes(probe, device) == len(wanted)
            assert bench.briefing(probe, device).gates == ()
        bench.reads(probe, device)
        call = fold(bench.events)
        assert call.problems == ()
        assert len(call.gates) - before == (len(wanted) if confirmed else 0)
        assert not (briefing.barred and wanted)
        if briefing.barred:  # nothing is confirmed, and what was done all the same is marked
            assert call.readings[-1].unproved == tuple(each.name for each in held_back)
            assert call.readings[-1].against or not known[probe].energises
        else:
            assert call.readings[-1].unproved == (() if confirmed else wanted)


def test_what_forbids_a_probe_stands_in_place_of_its_gates() -> None:
    """Only what is to be powered needs anything shown first; the probe that shows it is named."""
    bench = Bench("rsir-ptc")
    bench.does("complaint", heard="breaker")
    held = bench.briefing("attempt.as_found")
    assert held.barred
    assert held.gates == ()
    assert held.first
    assert [str(t) for t in held.held_back] == [
        *(str(b.title) for b in held.bars),
        *(str(n.title) for n in held.needs),
    ]
    free = bench.briefing(held.first)
    assert not free.barred
    assert free.first == ""
    for probe in probes_of(Machine.of("rsir-ptc"), SHOP).values():
        own = bench.briefing(probe.id)
        assert own.barred <= (probe.energises or bool(own.bars))
        assert not own.needs or probe.energises


def test_cautions_and_local_rules_are_said_once_and_beside_a_gate_only() -> None:
    """With the first gate of a call; a probe without gates says none of it."""
    bench = Bench("rsir-ptc", "R134a")
    bare = bench.briefing("leads.short")
    assert (bare.gates, bare.cautions, bare.defer, bare.live_work) == ((), (), "", None)
    first = bench.briefing("ptc.ohms")
    assert first.cautions
    assert first.defer
    assert first.live_work is not None
    bench.passes("ptc.ohms")
    again = bench.briefing("supply.volts")
    assert (again.defer, again.live_work) == ("", None)


@pytest.mark.parametrize("name", JUDGED)
def test_photograph_first_is_said_before_the_first_hand_inside_only(name: str) -> None:
    """Before a probe inside, gate or not passed already; no more once one was taken or a photo shows it."""

    def said(bench: Bench, probe: str) -> bool:
        return "photograph-first" in {fact.name for fact in bench.briefing(probe).cautions}

    inside = [p.id for p in probes_of(Machine.of(name), SHOP).values() if p.inside and not p.energises]
    shown, taken = Bench(name), Bench(name)
    assert all(said(shown, probe) == bool(shown.briefing(probe).gates) for probe in inside)
    assert any(said(shown, probe) for probe in inside)
    assert not said(shown, "feed.volts")
    shown.does("photo", sha256="0" * 64)
    taken.reads("pins.C-R")
    assert not any(said(bench, probe) for bench in (shown, taken) for probe in inside)


def test_hazards_of_a_remedy_are_read_by_each_device_and_after_an_undo_anew() -> None:
    """In full to whoever has not read them; what only the machine meets is not said with a remedy."""
    bench = Bench("csir-current-relay", "R600a")
    remedies = ["replace compressor", "replace start capacitor"]

    def told(device: str = "") -> dict[str, bool]:
        call = fold(bench.events, device=device)
        return {h.hazard.name: h.full for h in briefed_on(bench.events, call, remedies, SHOP, device).hazards}

    machine = Machine.of("csir-current-relay", None, Nameplate(refrigerant="R600a"))
    of_machine = {h.name for h in met_by("", machine)}
    wanted = {h.name for r in remedies for h in met_by(r, machine)} - of_machine
    assert set(told()) == wanted
    assert all(told().values())
    for name in ("start_capacitor.farads", "ptc.ohms"):
        if name in probes_of(machine, SHOP):
            bench.passes(name)
            bench.reads(name)
    after, other = told(), told("other")
    assert all(other.values())
    assert set(after) == wanted
    last = bench.events[-1].id
    bench.does("undo", of=last)
    anew = told()
    assert sum(anew.values()) >= sum(after.values())
    circuit = briefed_on(bench.events, fold(bench.events), remedies, SHOP)
    assert circuit.refrigerant is not None
    assert circuit.certificate is not None
    plain = briefed_on(bench.events, fold(bench.events), ["replace start capacitor"], SHOP)
    assert plain.refrigerant is None


def test_what_is_spoken_joins_the_probe_and_the_remedies_once_each() -> None:
    """Each hazard once; without a probe those of the remedies alone."""
    bench = Bench("csir-current-relay", "R600a")
    call = fold(bench.events)
    both = [h.hazard.name for h in spoken_with(call, "start_capacitor.farads", ["replace compressor"], SHOP)]
    probe = {h.hazard.name for h in briefed((), call, bench.probe("start_capacitor.farads"), SHOP).hazards}
    work = {h.hazard.name for h in briefed_on((), call, ["replace compressor"], SHOP).hazards}
    assert len(both) == len(set(both))
    assert set(both) == probe | work
    assert {h.hazard.name for h in spoken_with(call, "", ["replace compressor"], SHOP)} == work
    assert spoken_with(fold(()), "", ["replace compressor"], SHOP) == ()
