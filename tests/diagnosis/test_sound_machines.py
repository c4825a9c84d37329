"""A machine with nothing broken is not repaired: not on one look, not on a try before it has rested."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import humclick as hc
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.advice import Advice
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.damage import remedies_due
from humclick.diagnosis.decisions import NO_REPAIR
from humclick.diagnosis.judged import judge
from humclick.diagnosis.probes import Probe, probe_of, probes_of
from humclick.diagnosis.rested import rested_try
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import PartTemperature, parse_reading
from tests.sample import sampled

KINDS = [name for name in arrangements() if arrangement(name).started]
SHOP = default_shop()
#: Locked-rotor amps of machines of 1/20 to 5 hp, by volts.
SIZES = ((115.0, 6.0), (115.0, 20.0), (230.0, 4.0), (230.0, 40.0), (230.0, 110.0))


def sound_look(probe: Probe) -> str:
    """What is seen of a sound machine."""
    assert probe.look is not None
    row = probe.look.table["otherwise"]
    return probe.outcomes[max(range(len(row)), key=row.__getitem__)]


def sound_reading(call: hc.Call, probe: Probe) -> str:
    """What a sound machine of usual sizes shows; empty where nobody has what it takes."""
    machine = call.machine
    if probe.id in ("pins.shell", "shell.insulation"):
        return "OL"
    if probe.pins is not None:
        sizes = {pin: machine.size(part, "winding").median for pin, part in _BEHIND.items()}
        return f"{math.fsum(sizes.get(pin, 0.0) for pin in probe.pins):.1f} ohm"
    usual = probe.model.healthy(bench_for(machine, SHOP), probe)
    if probe.quantity == "voltage":
        under_load = probe.id in call.machine.arrangement.frame.loaded  # depends on a cord nobody knows here
        return "" if under_load else f"{machine.nameplate.volts:.0f} V"
    if usual is None:
        return ""
    median = usual[0]
    if probe.quantity == "capacitance":
        return f"{median * 1e6:.1f} uF"
    return f"{median:.1f} ohm" if median < 1e3 else "OL" if math.isinf(median) else f"{median / 1e3:.1f} kohm"


_BEHIND = {"R": "run_winding", "S": "start_winding"}


def played(call: hc.Call, eye: Callable[[Probe, int], str]) -> Advice:
    """The call to its verdict: all that is measured is sound, it runs once it has rested."""
    looks: dict[str, int] = {}
    for _ in range(50):
        advice = call.advice
        if advice.next is None:
            return advice
        step = advice.next
        probe = probe_of(call.machine, step.probe)
        for gate in step.gates:
            call = call.passed(gate)
        if advice.kind == "wait" and step.waits:
            call = call.waited(step.waits)
        if step.probe.endswith((".stamp", "plate.lra")) or probe.mends:
            call = call.skipped(step.probe, "not here")
            continue
        if probe.look is not None:
            looks[probe.id] = looks.get(probe.id, 0) + 1
            shown = eye(probe, looks[probe.id])
        elif probe.heard:
            shown = "runs"
        elif probe.outcomes:
            shown = probe.outcomes[0]
        else:
            shown = sound_reading(call, probe)
        call = call.seen(step.probe, shown) if shown else call.skipped(step.probe, "not here")
    raise AssertionError("no verdict")


@pytest.mark.parametrize("kind", sampled(KINDS, KINDS[::6]))
@pytest.mark.parametrize(("volts", "locked"), SIZES)
def test_a_sound_machine_of_any_size_is_called_sound(kind: str, volts: float, locked: float) -> None:
    """It hummed and clicked before anybody came, and runs after a rest: nothing is ordered."""
    call = hc.Call(hc.machine(kind, volts=volts, lra=locked), heard="hum_click", leads="nulled")
    advice = played(call, lambda probe, _: sound_look(probe))
    assert advice.verdict is not None
    assert frozenset(advice.verdict.remedies) <= NO_REPAIR, advice.verdict.sentence


def one_kind_each() -> list[tuple[str, str]]:
    """Every look there is, with the first arrangement that has it."""
    kinds: dict[str, str] = {}
    for kind in KINDS:
        for probe in probes_of(hc.machine(kind)).values():
            if probe.look is not None and not probe.stops and len(probe.look.table) > 1:
                kinds.setdefault(probe.id, kind)
    return [(kind, name) for name, kind in kinds.items()]


@pytest.mark.parametrize(("kind", "name"), one_kind_each())
def test_one_wrong_look_repairs_nothing_that_runs(kind: str, name: str) -> None:
    """It shows the worst there is, and never again: nothing is ordered."""

    def eye(probe: Probe, times: int) -> str:
        assert probe.look is not None
        row = probe.look.table["otherwise"]
        worst = probe.outcomes[min(range(len(row)), key=row.__getitem__)]
        return worst if probe.id == name and times == 1 else sound_look(probe)

    call = hc.Call(hc.machine(kind, volts=115.0), heard="hum_click", leads="nulled")
    for gate in probe_of(call.machine, "attempt.as_found").gates:
        call = call.passed(gate)
    call = call.seen("earth.continuity", "0.1 ohm").waited(120.0).seen("attempt.as_found", "runs")
    for gate in probe_of(call.machine, name).gates:
        call = call.passed(gate)
    advice = played(call.seen(name, eye(probe_of(call.machine, name), 1)), lambda probe, _: eye(probe, 2))
    assert advice.verdict is not None
    assert frozenset(advice.verdict.remedies) <= NO_REPAIR, (name, advice.verdict.sentence)


def looked(*answers: str, probe: str = "ptc.shake") -> Situation:
    seen = tuple(Observation(probe, answer=answer, id=str(k)) for k, answer in enumerate(answers))
    return Situation(hc.machine("rsir-ptc"), Heard.HUM_CLICK, seen)


def broken(*answers: str) -> float:
    return judge(looked(*answers)).post.of_mode("ptc", "rattles")


def test_a_second_look_says_less_than_the_first_and_more_than_nothing() -> None:
    """The same again hardens it a little; another answer takes most of it back, in whatever order."""
    once, twice = broken("rattles"), broken("rattles", "rattles")
    assert broken() < once < twice
    assert (1.0 - twice) > (1.0 - once) / 4.0
    assert broken("rattles", "quiet") == pytest.approx(broken("quiet", "rattles"))
    assert broken("rattles", "quiet", "quiet") < 0.2 * broken("rattles", "quiet") + 0.1 * once
    assert broken() > broken("quiet") > broken("quiet", "quiet")


def test_damage_seen_once_is_lifted_by_two_looks_and_not_by_one() -> None:
    """Where it runs, that is: two that agree are better than one. Where it does not, damage stands."""
    run = Observation("attempt.as_found", answer="runs", id="run")

    def due(*answers: str) -> frozenset[str]:
        situation = looked(*answers)
        return remedies_due(replace(situation, observations=(run, *situation.observations)))

    assert due("rattles") == {"replace starter"}
    assert due("rattles", "quiet") == {"replace starter"}
    assert due("rattles", "quiet", "quiet") == frozenset()
    assert due("rattles", "quiet", "rattles", "quiet") == {"replace starter"}
    assert remedies_due(looked("rattles", "quiet", "quiet")) == {"replace starter"}


@pytest.mark.parametrize("kind", KINDS)
def test_what_may_be_sound_is_tried_rested_before_anything_is_put_right(kind: str) -> None:
    """Until it ran, failed cold, or failed twice; a first failed try may be enough where little is sound."""
    machine, cold = hc.machine(kind, volts=115.0), PartTemperature("cold")
    hum = Observation("attempt.as_found", answer="hum_click", id="1")

    def asked(*seen: Observation) -> bool:
        return bool(rested_try(judge(Situation(machine, Heard.HUM_CLICK, seen))))

    assert asked()
    assert not asked(hum, Observation("attempt.as_found", answer="hum_click", id="2"))
    assert not asked(Observation("attempt.as_found", answer="runs", id="1"))
    assert not asked(Observation("attempt.as_found", answer="hum_click", id="1", temperature=cold))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.0, 55.0), min_size=2, max_size=4))
def test_stray_volts_that_differ_are_one_dead_wire(volts: list[float]) -> None:
    """A wire in the air shows another value each time: no reason to suspect what is not on the list."""
    seen = tuple(
        Observation("feed.volts", parse_reading(f"{v:.1f}", Quantity.VOLTAGE), id=str(k))
        for k, v in enumerate(volts)
    )
    post = judge(Situation(hc.machine("rsir-ptc", volts=115.0), Heard.SILENT, seen)).post
    assert post.none < 0.1


@pytest.mark.parametrize(
    "kind", [k for k in KINDS if "start_capacitor" in {p.id for p in hc.machine(k).parts}]
)
@pytest.mark.parametrize("text", ["OL", "30.0M", "15.0k"])
def test_a_bleed_resistor_that_was_never_there_is_no_fault(kind: str, text: str) -> None:
    """Open across the can is as good as fifteen kilohms; a leak is neither."""
    call = hc.Call(hc.machine(kind, volts=115.0), heard="hum_click")
    for gate in ("power-off-proved-dead", "capacitors-discharged"):
        call = call.passed(gate)
    assert str(call.seen("start_capacitor.ohms", text).findings[-1].says) == "good"
    assert str(call.seen("start_capacitor.ohms", "2.0k").findings[-1].says) == "bad"


def test_a_pill_that_has_cooled_is_not_condemned_for_a_hot_machine() -> None:
    """Said to be hot, it reads its cold ohms: the pill had cooled before the shell."""
    machine = hc.machine("rsir-ptc", volts=115.0)
    ohms = machine.size("ptc", "cold").median
    seen = Observation(
        "ptc.ohms", parse_reading(f"{ohms:.1f}", Quantity.RESISTANCE), temperature=PartTemperature("hot")
    )
    post = judge(Situation(machine, Heard.HUM_CLICK, (seen,))).post
    assert post.of_part("ptc") < 0.6
    assert machine.part("ptc").family.mode(HEALTHY).name == HEALTHY


@pytest.mark.parametrize("kind", sampled(KINDS, KINDS[::3]))
def test_a_verdict_is_no_surer_than_what_it_repairs(kind: str) -> None:
    """That a machine would run without it counts for no repair."""
    call = hc.Call(hc.machine(kind, volts=115.0), heard="hum_click", leads="nulled")
    for _ in range(40):
        advice = call.advice
        if advice.verdict is not None:
            repairs = frozenset(advice.verdict.remedies) - NO_REPAIR - {"hand over"}
            chances = dict(advice.remedies)
            if repairs:
                assert advice.verdict.probability <= math.fsum(chances.get(r, 0.0) for r in repairs) + 1e-9
            return
        assert advice.next is not None
        call = call.skipped(advice.next.probe, "not here")
    raise AssertionError("no verdict")
