"""Sound machines of every size are called sound, and no stamp is guessed into a verdict."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.findings import findings
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.observations.unread import PLATE, Unread
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.diagnosis.unread import sizes_unread
from humclick.diagnosis.winding_nodes import start_given
from humclick.parts.family import HEALTHY
from humclick.readings import Leads
from humclick.sizes.sound import HORSEPOWER, sound_machine
from humclick.sourced import Spread
from tests.diagnosis.test_posterior import seen
from tests.sample import sampled

KINDS = [name for name in arrangements() if arrangement(name).started]
#: What may be known of the plate beside volts and hertz.
KNOWN = ("locked_rotor_amps", "rated_load_amps", "horsepower")
MEASURED = {"run_farads": "run_capacitor", "start_farads": "start_capacitor"}

scatter = st.floats(-1.3, 1.3)
machines = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(KINDS),
        "horsepower": st.floats(math.log(0.05), math.log(5.0)).map(math.exp),
        "volts": st.sampled_from((115.0, 230.0)),
        "hertz": st.sampled_from((50.0, 60.0)),
        "known": st.sets(st.sampled_from(KNOWN)),
        "locked_rotor_amps": scatter,
        "rated_load_amps": scatter,
        "run_ohms": scatter,
        "start_ohms": scatter,
        "run_farads": scatter,
        "start_farads": scatter,
    }
)


def made(drawn: dict[str, object]) -> tuple[Machine, dict[str, float]]:
    """A machine as the technician sees it, and its true sizes: each somewhere in what 80 of 100 have."""
    volts, hertz = float(str(drawn["volts"])), float(str(drawn["hertz"]))
    bare = Machine.of(str(drawn["kind"]), None, Nameplate(volts, hertz))
    horsepower = float(str(drawn["horsepower"]))
    model = sound_machine(volts, hertz, bare.words, {HORSEPOWER: Spread(horsepower, 1.0)})
    true = {HORSEPOWER: horsepower}
    for name in ("locked_rotor_amps", "rated_load_amps", "run_ohms", "start_ohms", *MEASURED):
        size = model.size(name)
        true[name] = size.median * math.exp(size.sigma * float(str(drawn[name])))
        model = model.given(name, Spread(true[name], 1.0))
    known = drawn["known"]
    assert isinstance(known, set)
    told: dict[str, Any] = {name: min(true[name], 300.0) for name in known}
    return Machine.of(str(drawn["kind"]), None, Nameplate(volts, hertz, **told)), true


def ohms(value: float) -> str:
    """As an ordinary meter shows it."""
    return f"{value:.2f}" if value < 40.0 else f"{value:.1f}"


def call(machine: Machine, true: dict[str, float]) -> Situation:
    """The windings and the capacitors measured, the leads nulled."""
    run, start = true["run_ohms"], true["start_ohms"]
    rows = [seen("pins.C-R", ohms(run)), seen("pins.C-S", ohms(start)), seen("pins.S-R", ohms(run + start))]
    parts = {part.id for part in machine.parts}
    rows += [
        seen(f"{part}.farads", f"{true[name] * 1e6:.1f}u")
        for name, part in MEASURED.items()
        if part in parts and true[name] > 1e-6
    ]
    return Situation(machine, Heard.HUM_CLICK, tuple(rows), leads=Leads(nulled=True))


def faulty(judged: Judged, part: str, *modes: str) -> float:
    """Probability of some modes of a part; of all but the healthy one where none is named."""
    if part not in {p.id for p in judged.bench.machine.parts}:
        return 0.0
    names = modes or [m for m in judged.bench.machine.part(part).family.modes if m != HEALTHY]
    return math.fsum(judged.post.of_mode(part, name) for name in names)


@settings(max_examples=25, deadline=None)
@given(machines)
def test_a_sound_machine_of_any_size_is_called_sound(drawn: dict[str, object]) -> None:
    """From 1/20 to 5 hp, whatever is known of the plate: good findings, nothing condemned or handed over."""
    machine, true = made(drawn)
    if true["run_ohms"] < 0.2:  # beneath what an ordinary meter can tell
        return
    situation = call(machine, true)
    judged = judge(situation)
    said = [(f.probe, f.text) for f in findings(situation) if f.says is not Says.GOOD]
    assert said == []
    low = faulty(judged, "run_winding", "shorted_turns")
    low += faulty(judged, "start_winding", "shorted_turns", "bridged")
    assert low < 0.25
    assert all(faulty(judged, part) < 0.5 for part in MEASURED.values())
    assert judged.post.none < 0.1
    advice = advise(situation)
    assert advice.next is not None or advice.verdict is None or "hand over" not in advice.verdict.due


@pytest.mark.parametrize("kind", sampled(KINDS, KINDS[::3]))
@pytest.mark.parametrize("windings", [(0.9, 2.6), (1.6, 4.9), (0.9, 2.2)])
def test_windings_of_larger_machines_are_sound_without_a_plate(
    kind: str, windings: tuple[float, float]
) -> None:
    """On 230 V with nothing known but the volts."""
    machine = Machine.of(kind, None, Nameplate(230.0))
    rows = call(machine, {"run_ohms": windings[0], "start_ohms": windings[1]} | dict.fromkeys(MEASURED, 0.0))
    judged = judge(rows)
    assert {f.says for f in findings(rows)} == {Says.GOOD}
    assert faulty(judged, "run_winding", "shorted_turns") < 0.05
    assert judged.post.none < 0.05


def capacitor(kind: str, plate: Nameplate, probe: str, text: str, *more: Observation) -> Advice:
    """Advice after a capacitor was measured and its stamp not typed."""
    machine = Machine.of(kind, None, plate)
    return advise(Situation(machine, Heard.HUM_CLICK, (seen(probe, text), *more)))


@pytest.mark.parametrize(
    "kind", [k for k in KINDS if "start_capacitor" in {p.id for p in Machine.of(k).parts}]
)
@pytest.mark.parametrize("plate", [Nameplate(115.0), Nameplate(115.0, 60.0, 12.0)])
def test_a_good_capacitor_is_not_condemned_for_want_of_its_stamp(kind: str, plate: Nameplate) -> None:
    """14.8 µF, marked 15 and not typed: the stamp is asked for before anything else."""
    advice = capacitor(kind, plate, "start_capacitor.farads", "14.8u")
    assert advice.verdict is None
    assert advice.next is not None
    assert advice.next.probe == "start_capacitor.stamp"
    assert dict(advice.remedies).get("replace start capacitor", 0.0) < 0.5


def test_a_stamp_that_cannot_be_read_is_asked_for_once() -> None:
    """After that it is judged by what such machines have."""
    answer = Observation("start_capacitor.stamp", answer="cannot be read")
    advice = capacitor("csir-ptc", Nameplate(115.0), "start_capacitor.farads", "14.8u", answer)
    assert advice.next is not None
    assert advice.next.probe != "start_capacitor.stamp"


def test_the_plate_is_asked_for_where_windings_may_be_short_of_turns() -> None:
    """A run winding far from its start winding, and no amps known; not where the plate is read."""
    rows = (seen("pins.C-R", "0.3"), seen("pins.C-S", "9"), seen("pins.S-R", "9.4"))
    for plate, asked in ((Nameplate(115.0), True), (Nameplate(115.0, 60.0, 12.0), False)):
        judged = judge(Situation(Machine.of("rsir-ptc", None, plate), Heard.HUM_CLICK, rows))
        names = [name for guard in sizes_unread(judged) for name in guard.probes]
        assert (PLATE in names) == asked
    probe = probe_of(Machine.of("rsir-ptc"), PLATE)
    assert isinstance(probe.model, Unread)
    assert not probe.gates


@pytest.mark.parametrize(
    ("amps", "text", "says"),
    [
        (61.0, "45u", Says.GOOD),
        (61.0, "2u", Says.BAD),
        (118.0, "60u", Says.GOOD),
        (118.0, "5u", Says.BAD),
        (6.0, "4u", Says.GOOD),
    ],
)
def test_a_run_capacitor_is_judged_by_the_size_of_its_machine(amps: float, text: str, says: Says) -> None:
    """45 µF are usual on an air conditioner of 61 A, and 5 µF on one of 118 A are far too few."""
    machine = Machine.of("psc", None, Nameplate(230.0, 60.0, amps))
    situation = Situation(machine, Heard.HUM_CLICK, (seen("run_capacitor.farads", text),))
    assert [f.says for f in findings(situation)] == [says]


def test_a_start_winding_is_known_better_once_the_run_winding_is() -> None:
    """Both belong to one machine: half of a wide spread is common to them."""
    pair = ((2.5, 1.2), (8.5, 1.27))
    median, sigma = start_given(pair, 1.44, (5.0, math.log(5.0), 1.0))
    assert median == pytest.approx(17.0)
    assert sigma < 0.5
    assert start_given(pair, 1.44, (1.0, 0.0, 0.0)) == pair[1]
