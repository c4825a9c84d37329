"""
Faults in every degree: no reading falls between two modes, and each of the graded ones is found.
"""

from __future__ import annotations

import random

import pytest

import humclick as hc
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.findings import findings
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.parts.family import families, family
from humclick.parts.mode import NO_CHANGE
from humclick.readings import PartTemperature, parse_reading
from humclick.start.rows import OUTCOMES
from tests.sample import sampled

JUDGED = [name for name in arrangements() if not arrangement(name).recognised_only]
COLD = PartTemperature("cold")
#: What is said of a reading, the less alarming first; not knowing any condition is no less than bad.
ALARM = {Says.GOOD: 0, Says.UNCLEAR: 1, Says.BAD: 2, Says.UNKNOWN: 2}
#: Tests of a closed contact or a joint: sound near nothing, and worse the more ohms.
CONTACTS = (
    "overload_protector.ohms", "potential_relay.at_rest", "current_relay.turned_over", "control.ohms",
    "wiring.to_common", "wiring.to_run", "wiring.to_start", "earth.continuity",
)  # fmt: skip


def says(name: str, probe: str, text: str) -> Says:
    machine = Machine.of(name, None, Nameplate(locked_rotor_amps=8.4))
    quantity = Quantity(probes_of(machine)[probe].quantity)
    seen = Observation(probe, parse_reading(text, quantity), temperature=COLD)
    return findings(Situation(machine, Heard.HUM_CLICK, (seen,)))[0].says


@pytest.mark.parametrize("name", sampled(JUDGED, JUDGED[::3]))
def test_a_contact_of_any_ohms_is_never_called_sound(name: str) -> None:
    """From 1.2 Ω to 2 kΩ it is bad, and up to megohms at least doubted, on every machine that has one."""
    known = probes_of(Machine.of(name, None, Nameplate(locked_rotor_amps=8.4)))
    draw = random.Random(name)
    for probe in (probe for probe in CONTACTS if probe in known):
        for text in (f"{draw.uniform(1.2, 9.9):.1f}", "14.0", "38.0", f"{draw.randint(100, 900)}", "2.00k"):
            if probe == "earth.continuity" or float(text.rstrip("k")) > 2.9 or "k" in text:
                assert says(name, probe, text) is Says.BAD, (probe, text)
        for text in ("30.0k", "80k", "680k", "5.0M", "OL"):
            assert ALARM[says(name, probe, text)] > 0, (probe, text)


@pytest.mark.parametrize(
    ("name", "probe", "texts"),
    [
        ("rsir-ptc", "overload_protector.ohms", ("1.5", "38.0", "2.00k")),
        ("csr-potential-relay", "potential_relay.at_rest", ("14.0",)),
        ("rsir-ptc", "control.ohms", ("600",)),
        ("rsir-ptc", "ptc.ohms", ("680k", "0.3")),
        ("csir-current-relay", "start_capacitor.farads", ("3.1 uF",)),
        ("rsir-ptc", "earth.continuity", ("40.0", "1.20k")),
        ("rsir-ptc", "pins.C-S", ("6.8k",)),
    ],
)
def test_readings_between_two_modes_are_bad_or_doubted(name: str, probe: str, texts: tuple[str, ...]) -> None:
    """None of them reads as healthy."""
    for text in texts:
        assert ALARM[says(name, probe, text)] >= ALARM[Says.BAD], text


def test_a_protector_that_reads_exactly_nothing_wants_a_second_look() -> None:
    """Is the disc there, are the leads nulled? Nothing is condemned on it."""
    machine = Machine.of("rsir-ptc", None, Nameplate(115.0, 60.0))
    seen = Observation("overload_protector.ohms", parse_reading("0.0", Quantity.RESISTANCE), temperature=COLD)
    finding = findings(Situation(machine, Heard.HUM_CLICK, (seen,)))[0]
    assert finding.says is Says.UNCLEAR
    assert "disc" in finding.text
    assert "nulled" in finding.text


def test_a_relay_that_reads_ohms_turned_over_is_worked_and_read_again() -> None:
    """And why: its own pull makes better contact than a hand does."""
    machine = Machine.of("csir-current-relay", None, Nameplate(115.0, 60.0))
    reading = parse_reading("4.0", Quantity.RESISTANCE)
    seen = Observation("current_relay.turned_over", reading, temperature=COLD)
    finding = findings(Situation(machine, Heard.HUM_CLICK, (seen,)))[0]
    assert finding.says is Says.BAD
    assert "Work the plunger" in finding.text


def test_what_starts_as_another_mode_names_one_that_is_simulated() -> None:
    """Each is a mode of a part that stands by itself in the tables."""
    for kind in map(family, families()):
        for mode in kind.listed:
            if mode.starts_as not in ("", NO_CHANGE):
                part, _, name = mode.starts_as.partition(".")
                assert not family(part).mode(name).starts_as, (kind.name, mode.name)
                assert not family(part).apart


def test_how_graded_faults_fail_is_a_share_of_known_outcomes() -> None:
    """The shares sum to one and none is of running."""
    for kind in map(family, families()):
        for mode in kind.listed:
            if mode.fails:
                assert mode.degrees
                assert set(mode.fails) <= set(OUTCOMES) - {"runs"}
                assert sum(mode.fails.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("name", JUDGED)
def test_attempts_under_any_two_faults_are_probabilities(name: str) -> None:
    """Faults that start as modes of one part too: burnt contacts twice in one line start as the worst."""
    machine = Machine.of(name)
    if not machine.started:  # its own board or unit turns it
        assert machine.arrangement.caution
        return
    starts = attempts_of(machine)
    faults = [(p.id, mode) for p in machine.parts for mode in p.family.modes if mode != "healthy"]
    draw = random.Random(name)
    for _ in range(300):
        chosen = dict(draw.sample(faults, 2))
        for hot in (False, True):
            outcomes = starts.of(chosen, hot=hot).outcomes
            assert sum(outcomes) == pytest.approx(1.0)
            assert min(outcomes) >= 0.0
    both = starts.of({"control": "burnt", "wiring": "burnt_c"}).outcomes
    assert both == pytest.approx(starts.of({"wiring": "burnt_c"}).outcomes)


def test_a_blocked_condenser_trips_it_some_minutes_after_a_rest() -> None:
    """After a rest it starts as a sound one, and trips the later while somebody stands there."""
    starts = attempts_of(Machine.of("rsir-ptc"))
    trips = OUTCOMES.index("starts_then_trips")
    for fault in ({"mechanism": "high_head"}, {"condenser_fan": "open"}, {"condenser_fan": "stuck"}):
        assert starts.of(fault, hot=False).outcomes[trips] > 0.3
        assert starts.of(fault, hot=True).outcomes[trips] > 0.1
    assert starts.of({}, hot=False).outcomes[trips] < 0.02


def call(name: str, heard: str) -> hc.Call:
    return hc.Call(hc.machine(name, volts=115, hertz=60, lra=8.4), heard=heard)


#: By machine and what is heard: what was read, and the remedy that must lead.
PLAYED: list[tuple[str, str, tuple[str, ...]]] = [
    (
        "rsir-ptc hum_click",
        "repair terminals",
        ("wiring.pins: connector burnt or loose", "wiring.tug: a connector is loose"),
    ),
    ("csir-current-relay hum_click", "repair terminals", ("wiring.to_start: 24.0", "wiring.to_start: 17.0")),
    (
        "rsir-ptc silent",
        "correct wiring",
        ("supply.volts: 118 V", "wiring.tug: a wire is off or broken"),
    ),
    ("rsir-ptc starts_then_trips", "replace condenser fan", ("condenser_fan.ohms: OL",) * 2),
    ("rsir-ptc starts_then_trips", "replace condenser fan", ("condenser_fan.blade: stiff or stuck",)),
    ("rsir-ptc breaker", "restore supply", ("supply.cord: 0.4", "supply.cord: 0.5")),
    (
        "rsir-ptc breaker",
        "repair other load",
        (
            "supply.reset: had opened; stays in with the unit unplugged",
            "other_loads.ohms: 0.6",
            "other_loads.ohms: 0.6",
        ),
    ),
    (
        "rsir-ptc silent",
        "replace control",
        ("supply.volts: 118 V", "control.timer: the timer stands still"),
    ),
    (
        "rsir-ptc silent",
        "wait",
        ("supply.volts: 118 V", "control.timer: it calls now that the delay has run out"),
    ),
    (
        "csr-potential-relay hum_click",
        "replace relay",
        ("potential_relay.at_rest: 14.0", "potential_relay.at_rest: 9.0"),
    ),
    (
        "rsir-ptc hum",
        "replace overload protector",
        ("overload_protector.ohms: 38.0", "overload_protector.ohms: 120"),
    ),
    ("rsir-ptc hum", "replace control", ("control.ohms: 600", "control.ohms: 350")),
]


@pytest.mark.parametrize(("opened", "remedy", "readings"), PLAYED)
def test_each_graded_fault_leads_once_it_is_read(opened: str, remedy: str, readings: tuple[str, ...]) -> None:
    """What would put it right is the likeliest remedy, half as likely again as any other."""
    made = call(*opened.split())
    for line in readings:
        probe, _, value = line.partition(": ")
        made = made.seen(probe, value, temperature="cold")
    (best, likely), (_, next_best), *_ = made.advice.remedies
    assert (best, likely > 1.5 * next_best) == (remedy, True), made.advice.remedies[:4]


def test_a_doubted_reading_is_read_again_before_anything_rests_on_it() -> None:
    """No known condition reads it: the next step is that probe, once; a repeat stands."""
    made = (
        call("rsir-ptc", "hum_click")
        .seen("earth.continuity", "0.1")
        .seen("pins.C-S", "2.0M", temperature="cold")
    )
    advice = made.advice
    assert advice.next is not None
    assert advice.next.probe == "pins.C-S"
    assert "no known condition" in advice.next.reason
    again = made.seen("pins.C-S", "2.0M", temperature="cold").advice
    assert again.next is None or "no known condition" not in again.next.reason


def test_microfarads_are_not_taken_of_a_meter_without_that_range() -> None:
    """Nor asked of it; ohms are offered in their place, and another meter is named to enter them."""
    made = hc.Call(hc.machine("csir-current-relay", volts=115, hertz=60), heard="hum", meter="basic")
    offered = {value.probe for value in (made.advice.next, *made.advice.alternatives) if value is not None}
    assert "start_capacitor.farads" not in offered
    with pytest.raises(hc.Refused, match="shows no microfarads"):
        made.seen("start_capacitor.farads", "80 uF")


def test_while_something_cools_the_dead_probes_come_first() -> None:
    """What is offered beside a wait begins with what needs neither power nor cooling."""
    made = call("rsir-ptc", "hum_click").seen("earth.continuity", "0.1").seen("attempt.as_found", "hum_click")
    advice = made.advice
    known = probes_of(made.machine)
    for _ in range(12):
        if advice.kind == "wait" or advice.next is None:
            break
        made = made.skipped(advice.next.probe)
        advice = made.advice
    assert advice.kind == "wait"
    later = [value.waits > 0 or known[value.probe].energises for value in advice.alternatives]
    assert later == sorted(later)
