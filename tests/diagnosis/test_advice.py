"""Advice: waits before verdicts, guards before compressors, elimination, arrays and plain Python alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.choices import choices
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import findings
from humclick.diagnosis.guards import guards_for_no_repair
from humclick.diagnosis.judged import judge
from humclick.diagnosis.reasons import explain, what_if
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Refused, Unknown
from tests.diagnosis.test_posterior import seen
from tests.published import published
from tests.sample import sampled

SOUND = {
    "leads.short": "0.2",
    "supply.volts": "118 V",
    "supply.volts_start": "111 V",
    "feed.volts": "117 V",
    "supply.look": "clean",
    "control.setting": "was calling all along",
    "control.ohms": "0.3",
    "overload_protector.ohms": "0.4",
    "overload_protector.look": "clean",
    "ptc.ohms": "6.1",
    "ptc.shake": "quiet",
    "current_relay.coil": "0.3",
    "current_relay.at_rest": "OL",
    "current_relay.turned_over": "0.3",
    "current_relay.position": "right way up",
    "current_relay.shake": "moves",
    "potential_relay.coil": "4.2k",
    "potential_relay.at_rest": "0.3",
    "potential_relay.number": "matches",
    "timed_starter.look": "clean",
    "start_capacitor.farads": "121 uF",
    "start_capacitor.ohms": "15.1k",
    "start_capacitor.look": "dry and straight",
    "run_capacitor.farads": "15.2 uF",
    "run_capacitor.ohms": "OL",
    "run_capacitor.look": "dry and straight",
    "wiring.look": "as drawn",
    "mechanism.condenser": "clean",
    "control.range": "near its setting",
    "mechanism.shell": "warm or at room temperature",
    "pins.C-R": "3.6",
    "pins.C-S": "10.9",
    "pins.S-R": "14.3",
    "pins.shell": "OL",
    "shell.insulation": "800M",
    "earth.continuity": "0.1",
    "plate.lra": "cannot be read",
    "start_capacitor.stamp": "cannot be read",
    "run_capacitor.stamp": "cannot be read",
    "earth.look": "ground pin in place",
    "supply.signs": "something is on",
    "supply.neighbor": "works",
    "wiring.pins": "clean and dry",
    "wiring.tug": "all tight",
    "wiring.to_common": "0.1",
    "wiring.to_run": "0.1",
    "wiring.to_start": "0.1",
    "supply.cord": "OL",
    "supply.reset": "it had not opened",
    "control.timer": "it has neither",
    "condenser_fan.blade": "turns freely",
    "condenser_fan.ohms": "48",
    "other_loads.ohms": "52",
    "proof.sight": "all as it should be",
    "proof.ground_current": "0.3 mA",
    "attempt.as_found": "hum_click",
    "attempt.known_good": "runs",
    "attempt.amps": "9.5 A",
    "fit.mechanism": "hum_click",
    "fit.wiring": "hum_click",
    "current_relay.number": "matches",
}


def call(
    name: str,
    heard: Heard | None,
    answers: Mapping[str, str],
    *,
    protector: str | None = None,
    skipped: frozenset[str] = frozenset(),
) -> tuple[list[str], Advice, Situation]:
    """Follow the advice, answering from a table, until a verdict; waits cool the machine."""
    situation = Situation(Machine.of(name, protector), heard, skipped=skipped)
    asked: list[str] = []
    for _ in range(30):
        advice = advise(situation)
        if advice.next is None:
            return asked, advice, situation
        probe = advice.next.probe
        asked.append(probe)
        hot = False if advice.next.waits else situation.hot
        if probe.startswith("fit."):
            situation = replace(situation, skipped=situation.skipped | {probe})
            continue
        shown = {**SOUND, **answers}[probe]
        if probe == "attempt.as_found" and "control.setting" in answers and "control.setting" not in asked:
            shown = "silent"  # it does not call yet
        observation = seen(probe, shown)
        situation = replace(situation, observations=(*situation.observations, observation), hot=hot)
    raise AssertionError(f"no verdict after 30 probes: {asked}")


CASES = [
    ("rsir-ptc", Heard.HUM_CLICK, {"ptc.ohms": "OL", "ptc.shake": "rattles"}, ("replace starter",)),
    ("rsir-current-relay", Heard.HUM_CLICK, {"current_relay.turned_over": "OL"}, ("replace relay",)),
    ("rsir-current-relay", Heard.TRIPS, {"current_relay.at_rest": "0.3"}, ("replace relay",)),
    (
        "csir-current-relay",
        Heard.HUM_CLICK,
        {"start_capacitor.farads": "0", "start_capacitor.ohms": "15.0k"},
        ("replace start capacitor",),
    ),
    (
        "psc",
        Heard.HUM_CLICK,
        {"run_capacitor.farads": "0", "run_capacitor.look": "bulged or wet"},
        ("replace run capacitor",),
    ),
    ("csr-potential-relay", Heard.HUM_CLICK, {"potential_relay.at_rest": "OL"}, ("replace relay",)),
    ("rsir-ptc", Heard.SILENT, {"overload_protector.ohms": "OL"}, ("replace overload protector",)),
    (
        "rsir-ptc",
        Heard.SILENT,
        {"feed.volts": "0", "control.setting": "never calls", "control.ohms": "OL"},
        ("replace control",),
    ),
    (
        "rsir-ptc",
        Heard.SILENT,
        {
            "feed.volts": "0",
            "control.setting": "was off, set warm or in defrost; calls now",
            "attempt.as_found": "runs",
        },
        ("set control",),
    ),
    (
        "rsir-ptc",
        Heard.SILENT,
        {"feed.volts": "0", "supply.volts": "0", "supply.volts_start": "0"},
        ("restore supply",),
    ),
    (
        "rsir-ptc",
        Heard.HUM_CLICK,
        {"supply.volts_start": "71 V", "supply.look": "extension cord", "attempt.known_good": "runs"},
        ("restore supply",),
    ),
    ("rsir-ptc", Heard.HUM_CLICK, {"attempt.as_found": "runs"}, ("wait",)),
]


@pytest.mark.parametrize(("name", "heard", "answers", "remedies"), CASES)
@published(source="common practice", where="single faults on the bench and their remedy")
def test_a_plain_fault_ends_in_its_remedy(
    name: str, heard: Heard, answers: dict[str, str], remedies: tuple[str, ...]
) -> None:
    """Following the advice on a machine with one plain fault ends in the remedy for it."""
    _, advice, _ = call(name, heard, answers)

    assert advice.verdict is not None
    assert advice.verdict.remedies == remedies


@pytest.mark.parametrize("protector", ["external", "internal"])
def test_a_compressor_is_condemned_only_behind_its_guards(protector: str) -> None:
    """A seized machine is condemned only with cold windings, ground test and bypass in the record."""
    asked, advice, _ = call(
        "rsir-ptc", Heard.HUM_CLICK, {"attempt.known_good": "hum_click"}, protector=protector
    )

    assert advice.verdict is not None
    assert advice.verdict.remedies == ("replace compressor",)
    assert advice.verdict.guards
    assert not any(g.open for g in advice.verdict.guards)
    assert {"pins.shell", "attempt.known_good"} <= set(asked)
    assert len({p for p in asked if p in ("pins.C-R", "pins.C-S", "pins.S-R")}) >= 2


def test_a_grounded_winding_is_never_powered_and_is_read_twice() -> None:
    """Once the shell reads low nothing live is asked any more, and the reading is repeated."""
    asked, advice, situation = call("psc", Heard.BREAKER, {"pins.shell": "1.2k"})

    first = asked.index("pins.shell")
    assert asked.count("pins.shell") >= 2
    assert not any(p.startswith(("attempt", "feed", "supply.volts_start")) for p in asked[first:])
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("replace compressor",)
    assert any(g.waived for g in advice.verdict.guards)
    assert situation.observations


def test_a_guard_that_cannot_be_met_hands_over() -> None:
    """Where the ground test cannot be done the compressor is not condemned but handed over."""
    answers = {"attempt.known_good": "hum_click"}
    out = frozenset({"pins.shell", "shell.insulation"})
    _, advice, _ = call("rsir-ptc", Heard.HUM_CLICK, answers, skipped=out)

    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    assert "shell" in advice.verdict.sentence


@published(source="common practice", where="a hot part leads to a wait and a re-test, not to a verdict")
def test_a_hot_open_protector_leads_to_a_wait() -> None:
    """OL at common while hot is followed by other tests and a wait, never by a verdict while hot."""
    hot = [("pins.C-R", "OL"), ("pins.C-S", "OL"), ("pins.S-R", "14.3")]
    first = (seen("feed.volts", "118 V"), *(seen(p, t, "hot") for p, t in hot))
    situation = Situation(Machine.of("rsir-ptc", "internal"), Heard.SILENT, first, hot=True)
    waited = 0.0
    for _ in range(15):
        advice = advise(situation)
        assert advice.next is not None, "a verdict was given while the machine was hot"
        if advice.next.waits >= 10:
            waited = advice.next.waits
            break
        answer = seen(advice.next.probe, SOUND[advice.next.probe], "hot")
        situation = replace(situation, observations=(*situation.observations, answer))

    assert waited >= 10


@pytest.mark.parametrize("name", ["psc", "rsir-ptc", "csir-current-relay"])
def test_wires_that_are_not_as_drawn_are_put_right_first(name: str) -> None:
    """Once it is seen it is due, and it leads."""
    situation = Situation(Machine.of(name), Heard.HUM_CLICK, (seen("wiring.look", "not as drawn"),))
    assert advise(situation).remedies[0][0] == "correct wiring"


@published(source="common practice", where="the timed starter is condemned when all around it is good")
def test_a_timed_starter_is_found_by_elimination() -> None:
    """With everything around it proved good the starter is replaced, and the text says by elimination."""
    _, advice, situation = call("timed-starter", Heard.HUM_CLICK, {})

    assert advice.verdict is not None
    assert advice.verdict.remedies == ("replace starter",)
    told = explain(situation)
    assert told.by_elimination
    assert "elimination" in told.sentence


def test_a_recognised_machine_is_refused_with_its_warning(recognised: str) -> None:
    """A machine that is only recognised gets its caution instead of advice."""
    with pytest.raises(Refused, match="Never put it across the mains"):
        advise(Situation(Machine.of(recognised)))


def test_a_second_fault_is_named_together_with_the_first() -> None:
    """A welded relay and an open start winding end in both remedies covered."""
    answers = {
        "current_relay.at_rest": "0.3",
        "pins.C-S": "OL",
        "pins.S-R": "OL",
        "attempt.as_found": "hum_click",
        "attempt.known_good": "hum_click",  # an open start winding does not start on any gear
    }
    _, advice, _ = call("rsir-current-relay", Heard.HUM_CLICK, answers)

    assert advice.verdict is not None
    assert "replace compressor" in advice.verdict.remedies  # which brings new start gear with it


STARTED = [name for name in arrangements() if arrangement(name).started]


@pytest.mark.parametrize("name", sampled(STARTED, STARTED[::8]))
@pytest.mark.parametrize("heard", [None, Heard.HUM_CLICK])
def test_advice_is_the_same_with_and_without_arrays(name: str, heard: Heard | None) -> None:
    """Pure Python and numpy choose the same probe with the same worth, step after step."""
    observations: tuple[Observation, ...] = ()
    for _ in range(3):
        situation = Situation(Machine.of(name), heard, observations)
        plain, arrays = advise(situation, arrays=False), advise(situation, arrays=True)
        assert plain.kind == arrays.kind
        assert plain.verdict == arrays.verdict
        if plain.next is None or arrays.next is None:
            break
        assert plain.next.probe == arrays.next.probe
        assert plain.next.worth == pytest.approx(arrays.next.worth, abs=1e-6)
        assert [v.probe for v in plain.alternatives] == [v.probe for v in arrays.alternatives]
        if plain.next.probe.startswith("fit."):
            break
        observations = (*observations, seen(plain.next.probe, SOUND[plain.next.probe]))


def test_every_finding_is_one_sentence_and_flags_what_is_wrong() -> None:
    """Each observation gets a sentence; a healthy reading does not warn, a broken part does."""
    situation = Situation(
        Machine.of("rsir-ptc"),
        Heard.HUM_CLICK,
        (
            seen("ptc.ohms", "OL"),
            seen("overload_protector.ohms", "0.3"),
            seen("ptc.shake", "rattles"),
            seen("pins.C-R", "3.6"),
            seen("attempt.as_found", "hum_click"),
            seen("supply.volts", "117 V"),
        ),
    )

    told = findings(situation)

    assert [f.warns for f in told] == [True, False, True, False, True, False]
    assert all(f.text.endswith(".") and len(f.text) < 260 for f in told)


def test_reasons_say_what_each_reading_did() -> None:
    """The reading that found the fault speaks strongly for the decision, which is weaker without it."""
    situation = Situation(
        Machine.of("rsir-ptc"),
        Heard.HUM_CLICK,
        (seen("ptc.ohms", "OL"), seen("overload_protector.ohms", "0.3")),
    )

    told = explain(situation)

    assert told.leader == ("replace starter",)
    found = {r.probe: r for r in told.reasons}
    assert found["ptc.ohms"].decibans > 10
    assert found["ptc.ohms"].without < 0.5 * told.probability
    assert abs(found["overload_protector.ohms"].decibans) < 3


def test_what_if_adds_up_and_shows_the_turn() -> None:
    """Outcomes of a probe not yet taken sum to one, and OL on the starter would decide for replacing it."""
    outcomes = what_if(Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK), "ptc.ohms")

    assert sum(o.probability for o in outcomes) == pytest.approx(1.0, abs=0.02)
    assert next(o for o in outcomes if o.outcome == "OL").decision == ("replace starter",)


def test_what_if_decides_as_advice_will() -> None:
    """What a look would make due belongs to the decision after it; what is fitted is not to be done again."""
    found = (seen("ptc.ohms", "OL"), seen("ptc.shake", "rattles"))
    situation = Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK, found)
    told = {o.outcome: o.decision for o in what_if(situation, "mechanism.condenser")}
    for answer, decision in told.items():
        looked = replace(situation, observations=(*found, seen("mechanism.condenser", answer)))
        verdict = advise(looked).verdict
        assert verdict is not None
        assert decision == verdict.remedies

    tried = {str(o.outcome): o.decision for o in what_if(situation, "fit.ptc")}
    assert tried["runs"] == ("wait",)
    assert all("replace starter" not in decision for decision in tried.values())


def test_readings_that_do_not_add_up_are_named() -> None:
    """Three pin readings that break the sum rule are a contradiction; three that keep it are not."""
    machine = Machine.of("rsir-ptc")
    names = ("pins.C-R", "pins.C-S", "pins.S-R")

    bad = Situation(
        machine, Heard.HUM_CLICK, tuple(seen(p, t) for p, t in zip(names, ("4.0", "11.0", "45"), strict=True))
    )
    good = Situation(
        machine,
        Heard.HUM_CLICK,
        tuple(seen(p, t) for p, t in zip(names, ("4.2", "11.2", "15.2"), strict=True)),
    )

    assert any("pins" in text for text in contradictions(bad))
    assert contradictions(good) == ()


def test_an_unknown_probe_is_refused_with_the_nearest() -> None:
    """A probe the machine does not have is refused with one it has."""
    with pytest.raises(Unknown, match=r"ptc\.ohms"):
        advise(Situation(Machine.of("rsir-ptc"), None, (Observation("ptc.ohm", answer="x"),)))


@published(
    source="29 CFR 1910.334(b)(2)",
    where="no reset before it is determined that the circuit is safe; from memory",
)
def test_after_a_breaker_nothing_is_powered_before_the_shell_is_tested() -> None:
    """After a tripped breaker no live probe on the machine is offered until the shell is read."""
    situation = Situation(Machine.of("csr-potential-relay"), Heard.BREAKER)
    for _ in range(12):
        advice = advise(situation)
        assert advice.next is not None
        offered = (advice.next, *advice.alternatives)
        assert not any(v.probe.startswith(("attempt", "fit", "feed", "supply.volts_start")) for v in offered)
        if advice.next.probe == "pins.shell":
            return
        answer = seen(advice.next.probe, SOUND[advice.next.probe])
        situation = replace(situation, observations=(*situation.observations, answer), hot=False)
    raise AssertionError("the windings were never tested to the shell")


def test_a_machine_that_ran_on_known_good_gear_is_not_condemned() -> None:
    """Open windings on the pins against a run on known-good gear condemn no compressor."""
    readings = [("pins.C-R", "OL"), ("pins.C-R", "OL"), ("pins.C-S", "10.9"), ("pins.S-R", "OL")]
    taken = tuple(seen(p, t) for p, t in [*readings, ("pins.shell", "OL"), ("mechanism.condenser", "clean")])
    ran = seen("attempt.known_good", "runs")
    situation = Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK, (*taken, ran), hot=False)

    for _ in range(25):
        advice = advise(situation)
        if advice.next is None:
            break
        probe = advice.next.probe
        answer = ran if probe == "attempt.known_good" else seen(probe, SOUND[probe])
        situation = replace(situation, observations=(*situation.observations, answer), hot=False)

    assert advice.verdict is not None
    assert "replace compressor" not in advice.verdict.remedies


def test_two_trial_fittings_are_not_planned_in_a_row() -> None:
    """After one part fitted on trial the plan starts afresh: no second fitting stands behind the first."""
    skipped = frozenset({"attempt.known_good"})
    situation = Situation(Machine.of("csr-potential-relay"), Heard.HUM_CLICK, skipped=skipped)
    problem, _, forecasts = choices(judge(situation))

    fits = [i for i, f in enumerate(forecasts) if f.probe.id.startswith("fit.")]

    assert len(fits) >= 2
    assert min(problem.second[t][u] for t in fits for u in fits) > 1e6


def test_a_cold_start_that_failed_is_not_asked_again() -> None:
    """A machine that failed to start cold cannot be left as it is, and the try is not repeated for that."""
    failed = seen("attempt.as_found", "hum_click")
    situation = Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK, (failed,), hot=False)

    (guard,) = guards_for_no_repair(judge(situation).bench, situation)

    assert guard.open
    assert guard.probes == ()
