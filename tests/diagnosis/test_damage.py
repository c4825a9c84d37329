"""
What was seen binds: on every machine, every look that shows damage bars power until it is put right.
"""

from __future__ import annotations

import pytest

from humclick.arrangements.machine import Machine
from humclick.diagnosis.checks import checks
from humclick.diagnosis.damage import damage, remedies_due, remedy_of
from humclick.diagnosis.guards import met_next
from humclick.diagnosis.power import bars, bars_on
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.remedies import work_on
from humclick.jobs.fold import COMPRESSOR
from tests.sample import sampled
from tests.visit import MACHINES, Visit

NAMED = pytest.mark.parametrize(("name", "guard"), MACHINES)


def harm(name: str, guard: str) -> list[tuple[Probe, str]]:
    """Every look of a machine with every answer that bars power; checks are tested by themselves."""
    return [
        (probe, answer)
        for probe in probes_of(Machine.of(name, guard)).values()
        if probe.id not in checks()
        for answer in probe.outcomes
        if answer in probe.bars
    ]


def free(visit: Visit, *, fits: bool = False) -> list[str]:
    """Probes under power that nothing bars; those that mend something only where asked for."""
    every = bars(visit.situation)
    return [
        p.id
        for p in visit.probes.values()
        if p.energises and (fits or not p.repairs) and not bars_on(p, every, visit.situation)
    ]


def good(probe: Probe) -> str:
    """An answer of a look that shows nothing wrong."""
    return next(a for a in probe.outcomes if a not in probe.due and a not in probe.stops)


def test_every_answer_that_shows_damage_says_what_it_asks_for() -> None:
    """Answers in words of damage bar power or end the call, and what bars has a remedy."""
    words = (
        "burnt",
        "bulged",
        "wet",
        "rattles",
        "upside down",
        "does not",
        "not as drawn",
        "cracked",
        "cut off",
    )
    seen = set()
    for name, guard in MACHINES:
        for probe in probes_of(Machine.of(name, guard)).values():
            for answer in probe.outcomes:
                if probe.look is not None and any(word in answer for word in words):
                    seen.add((probe.id, answer))
                    assert answer in probe.bars or answer in probe.stops, (probe.id, answer)
                if probe.look is not None and answer in probe.bars:
                    assert answer in probe.due
    assert {p for p, _ in seen} >= {
        "supply.look",
        "overload_protector.look",
        "start_capacitor.look",
        "run_capacitor.look",
        "ptc.shake",
        "current_relay.position",
        "wiring.pins",
        "wiring.look",
        "earth.look",
        "timed_starter.look",
    }


@pytest.mark.parametrize(("name", "guard"), sampled(MACHINES, MACHINES[::8]))
def test_nothing_is_powered_on_damage_whatever_the_meter_says(name: str, guard: str) -> None:
    """Sound readings everywhere, a sound look at the same thing, another part: none lifts it."""
    for probe, answer in harm(name, guard):
        visit = Visit(name, guard)
        for each in visit.probes.values():
            if each.kind not in ("fit", "known_good", "check") and each.id != "pins.1-2":
                visit.reads(each.id, "runs" if "runs" in each.outcomes else "")
        visit.reads(probe.id, answer)
        visit.reads("attempt.as_found", "runs")
        assert visit.call.readings[-1].against, (probe.id, answer)
        assert free(visit) == [], (probe.id, answer)
        other = next(p.id for p in visit.situation.machine.parts if p.id not in (probe.part, "wiring"))
        visit.does("fitted", part=other)
        assert free(visit) == [], (probe.id, answer, other)
        if not probe.again:
            seen = Visit(name, guard)
            seen.reads(probe.id, answer)
            seen.reads(probe.id, good(probe))
            assert free(seen) == [], (probe.id, answer)


@NAMED
def test_it_goes_on_once_it_is_put_right(name: str, guard: str) -> None:
    """A new part, or a look again where that decides, lifts it; a new one that is broken bars again."""
    for probe, answer in harm(name, guard):
        visit = Visit(name, guard)
        for _ in range(3):
            visit.reads(probe.id, answer)
            assert damage(visit.situation)
            assert remedies_due(visit.situation) == {probe.due[answer]}
            visit.does("fitted", part=probe.part)
            assert damage(visit.situation) == (), (probe.id, answer)
            assert "attempt.as_found" in free(visit)
        if probe.again:
            visit.reads(probe.id, answer)
            visit.reads(probe.id, good(probe))
            assert damage(visit.situation) == ()


@NAMED
def test_only_the_try_that_mends_it_is_open(name: str, guard: str) -> None:
    """Wires put as drawn mend no burnt connector, and a new part mends its own damage alone."""
    for probe, answer in harm(name, guard):
        visit = Visit(name, guard)
        visit.reads(probe.id, answer)
        for each in visit.probes.values():
            if not each.repairs:
                continue
            mends = remedy_of(visit.situation.machine, each.part) == probe.due[answer]
            assert (each.id in free(visit, fits=True)) == mends, (probe.id, answer, each.id)
            tried = Visit(name, guard)
            tried.reads(probe.id, answer)
            tried.reads(each.id, "hum_click")
            new = each.part == probe.part and not work_on(visit.situation.machine, each.part)
            assert (damage(tried.situation) == ()) == (mends or new), (probe.id, answer, each.id)


def one_machine_each() -> list[tuple[str, str, str, str]]:
    """Every damage once, on machines that differ."""
    found: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for name, guard in MACHINES:
        for probe, answer in harm(name, guard):
            found.setdefault((probe.id, answer), []).append((name, guard))
    rows = enumerate(sorted(found.items()))
    return [(*which[k * 7 % len(which)], *seen) for k, (seen, which) in rows]


@pytest.mark.parametrize(("name", "guard", "look", "answer"), one_machine_each())
def test_its_remedy_is_the_verdict_within_eight_probes(name: str, guard: str, look: str, answer: str) -> None:
    """All else sound: a verdict soon, with the remedy in it, and nothing under power before it is done."""
    visit = Visit(name, guard)
    visit.reads(look, answer)
    remedy = visit.probes[look].due[answer]
    for k in range(9):
        advice = visit.advice
        live = [p.id for p in visit.offered(advice) if p.energises and not p.repairs]
        tried = any(r.probe.startswith("fit.") for r in visit.call.readings)
        assert tried or live == []
        if advice.next is None or tried:
            break
        assert k < 8
        visit.reads(advice.next.probe, "runs" if advice.next.probe.startswith("fit.") else "")
    if not tried:
        assert advice.verdict is not None
        assert remedy in advice.verdict.due
        visit.does("fitted", part=visit.probes[look].part)
    first = met_next(visit.situation, visit.probes["attempt.as_found"])
    assert first is not None
    assert first.id == ("attempt.as_found" if tried else "proof.sight")


def test_a_new_compressor_leaves_the_burnt_plug_burnt() -> None:
    """Damage of one part is not lifted by another one, be it the dearest."""
    visit = Visit("rsir-ptc", "external")
    visit.reads("supply.look", "burnt or damaged")
    visit.does("fitted", part=COMPRESSOR)
    assert [entry.probe.id for entry in damage(visit.situation)] == ["supply.look"]
    assert free(visit, fits=True) == ["fit.supply"]
