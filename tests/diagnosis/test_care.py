"""
What must not be powered, what is waited for, and what stands before a compressor is condemned.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.checks import checks
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import findings
from humclick.diagnosis.guards import guards_for
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import breaker_tripped, three_equal
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.reasons import explain
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.start.rows import OUTCOMES
from tests.diagnosis.test_posterior import seen

CONDENSER = "mechanism.condenser"
PLATE = Nameplate(115.0, 60.0, locked_rotor_amps=15.0)


def of(name: str, protector: str, heard: Heard | None, *observations: Observation) -> Situation:
    """A machine with its plate read, and what was seen."""
    return Situation(Machine.of(name, protector, PLATE), heard, observations)


def offered(advice: Advice) -> list[str]:
    """The probe advised and the others shown beside it."""
    return [v.probe for v in (advice.next, *advice.alternatives) if v is not None]


def test_three_equal_readings_are_never_put_across_the_mains() -> None:
    """Three equal readings end in handing over, with no probe that powers the machine beside it."""
    readings = [seen("pins.C-R", "3.1"), seen("pins.C-S", "3.0"), seen("pins.S-R", "3.1")]
    situation = of("rsir-ptc", "external", Heard.HUM_CLICK, *readings)
    advice = advise(situation)
    assert three_equal(situation)
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    assert "across the line" in advice.verdict.sentence
    assert offered(advice) == []
    assert not three_equal(of("rsir-ptc", "external", None, *readings[:2]))


@pytest.mark.parametrize("volts", ["74", "82", "90", "94"])
def test_low_volts_while_starting_point_at_the_supply(volts: str) -> None:
    """Right at rest and more than a tenth low under load is a cord or circuit, not a burnt compressor."""
    situation = of(
        "rsir-current-relay",
        "external",
        Heard.HUM_CLICK,
        seen("supply.volts", "118.4 V"),
        seen("supply.volts_start", f"{volts} V"),
    )
    remedies = judge(situation).post.by_remedy
    assert remedies["restore supply"] > 0.8
    assert remedies["replace compressor"] < 0.1


def test_an_internal_protector_open_cold_is_judged_on_the_cold_reading() -> None:
    """Open hot says little; open again after it has cooled says that it stays open."""
    hot = [seen("pins.C-R", "OL", "hot"), seen("pins.C-S", "OL", "hot"), seen("pins.S-R", "12.9", "hot")]
    cold = [seen("pins.C-R", "OL", "cold"), seen("pins.C-S", "OL", "cold")]
    closed = [seen("pins.C-R", "2.9", "cold"), seen("pins.C-S", "10.1", "cold")]
    stays = judge(of("psc", "internal", Heard.SILENT, *hot, *cold)).post
    resets = judge(of("psc", "internal", Heard.SILENT, *hot, *closed)).post
    assert stays.of_mode("internal_protector", "open") > 0.6
    assert resets.of_mode("internal_protector", "open") < 0.01
    assert resets.of_mode("internal_protector", "tripped") > 0.1


def test_open_while_hot_leads_to_a_wait_and_the_same_reading_again() -> None:
    """With both pairs at C open and hot nothing is powered: a time to cool, then C to R once more."""
    hot = [seen("pins.C-R", "OL", "hot"), seen("pins.C-S", "OL", "hot"), seen("pins.S-R", "12.9", "hot")]
    situation = Situation(Machine.of("psc", "internal", PLATE), Heard.SILENT, tuple(hot), hot=True)
    advice = advise(situation)
    assert advice.next is not None
    assert advice.kind == "wait" or not probe_of(situation.machine, advice.next.probe).live
    if advice.kind == "wait":
        assert advice.next.waits > 20


def test_after_a_breaker_nothing_is_powered_until_the_shell_is_tested_anew() -> None:
    """A test from before the trip does not count, nor OL of an ohmmeter; a tester's from after it does."""
    test, trip = seen("shell.insulation", "800M"), Observation("attempt.as_found", answer="breaker")
    before = of("rsir-ptc", "external", Heard.HUM_CLICK, test, trip)
    after = of("rsir-ptc", "external", Heard.HUM_CLICK, trip, test)
    assert breaker_tripped(before)
    assert not breaker_tripped(after)
    assert breaker_tripped(of("rsir-ptc", "external", Heard.HUM_CLICK, trip, seen("pins.shell", "OL")))
    live = [p for p in offered(advise(before)) if probe_of(before.machine, p).live and p != "supply.volts"]
    assert live == []


def test_silence_on_known_good_gear_clears_nothing() -> None:
    """Only a machine that draws current on known-good gear shows that what is left is its own."""
    quiet = Observation("attempt.known_good", answer="silent")
    situation = of("rsir-ptc", "external", Heard.HUM_CLICK, quiet)
    advice = advise(situation)
    assert advice.verdict is None or advice.verdict.remedies != ("replace compressor",)


def test_hands_at_the_terminals_of_a_capacitor_machine_ask_for_a_discharge() -> None:
    """Every probe inside that touches terminals, and every clip put on, stands behind the discharge."""
    known = probes_of(Machine.of("csr-potential-relay"))
    for name in ("overload_protector.ohms", "wiring.look", "attempt.amps", "supply.volts_start", "pins.C-R"):
        assert "capacitors-discharged" in known[name].gates
    assert "capacitors-discharged" not in probes_of(Machine.of("rsir-ptc"))["pins.C-R"].gates


def test_exchanged_names_of_pins_are_said() -> None:
    """Readings that add up with R and S, or C and another, exchanged are told so."""
    swapped = [seen("pins.C-R", "6.8"), seen("pins.C-S", "1.6"), seen("pins.S-R", "8.4")]
    wrong_common = [seen("pins.C-R", "2.0"), seen("pins.C-S", "10.0"), seen("pins.S-R", "8.0")]
    sound = [seen("pins.C-R", "2.0"), seen("pins.C-S", "8.0"), seen("pins.S-R", "10.0")]
    told = contradictions(of("rsir-ptc", "external", None, *swapped))
    assert any("called R is really S and the pin called S is really R" in text for text in told)
    assert any(
        "called R is really C" in t for t in contradictions(of("rsir-ptc", "external", None, *wrong_common))
    )
    assert not any("really" in t for t in contradictions(of("rsir-ptc", "external", None, *sound)))


def test_ohms_that_come_and_go_speak_for_dirty_contacts() -> None:
    """Near zero, ohms and nothing in turn on re-seating are what dirty contacts do."""
    readings = [seen("current_relay.turned_over", text) for text in ("14.3", "0.2", "OL")]
    before = judge(of("rsir-current-relay", "external", Heard.HUM_CLICK)).post
    after = judge(of("rsir-current-relay", "external", Heard.HUM_CLICK, *readings)).post
    assert after.of_mode("current_relay", "contacts_dirty") > 0.5
    assert after.of_mode("current_relay", "contacts_dirty") > before.of_mode(
        "current_relay", "contacts_dirty"
    )


def test_a_dead_short_to_the_shell_is_a_grounded_winding() -> None:
    """A breaker that went and next to nothing to the shell leave one cause."""
    situation = of(
        "rsir-ptc", "external", Heard.BREAKER, seen("pins.shell", "0.4"), seen("pins.shell", "0.3")
    )
    post = judge(situation).post
    assert post.of_mode("run_winding", "grounded") + post.of_mode("start_winding", "grounded") > 0.9


def test_a_low_insulation_value_says_nothing_of_an_open_winding() -> None:
    """Some megohms to the shell leave the odds between a sound and an open winding as they were."""
    before = judge(of("rsir-ptc", "external", Heard.HUM_CLICK)).post
    after = judge(of("rsir-ptc", "external", Heard.HUM_CLICK, seen("pins.shell", "2.0M"))).post
    ratio = after.of_mode("start_winding", "open") / before.of_mode("start_winding", "open")
    assert ratio < 1.6


def test_a_blocked_condenser_keeps_only_a_machine_from_starting_that_has_not_rested() -> None:
    """After a rest it starts, so that the condenser is looked at before it is left as it was."""
    outcomes = attempts_of(Machine.of("rsir-ptc")).of({"mechanism": "high_head"}).outcomes
    trips_later, runs = outcomes[OUTCOMES.index("starts_then_trips")], outcomes[-1]
    assert trips_later + runs > 0.95
    assert runs > 0.5
    ran = of("rsir-ptc", "external", Heard.HUM_CLICK, seen("attempt.as_found", "runs"))
    advice = advise(ran)
    assert advice.verdict is None
    assert "mechanism.condenser" in offered(advice)
    walled_in = advise(replace(ran, skipped=frozenset({CONDENSER})))
    assert CONDENSER not in offered(walled_in)
    blocked = judge(replace(ran, observations=(*ran.observations, seen(CONDENSER, "blocked or fan stopped"))))
    assert blocked.post.by_remedy["clear condenser"] > 0.25


def test_no_condenser_is_cleaned_for_a_machine_that_stood_still_after_a_rest() -> None:
    """The condenser's guard is waived after a cold start on known-good gear failed, and only then."""
    guards = {}
    for heat in ("cold", "hot", "unknown"):
        tried = seen("attempt.known_good", "hum_click", heat)
        rested = of("rsir-ptc", "external", Heard.HUM_CLICK, seen("pins.shell", "OL"), tried)
        judged = judge(replace(rested, hot=False, waited=120.0))  # a rest since then changes nothing
        found = guards_for(judged.bench, judged.situation, judged.post)
        guards[heat] = next(guard for guard in found if guard.name == "condenser")
    assert "after a rest" in guards["cold"].waived
    assert guards["hot"].open
    assert guards["unknown"].open


def test_a_condenser_seen_blocked_is_cleaned_whatever_the_cause() -> None:
    """It stands beside the repair, costs no doubt of it, and once cleaned it is due no longer."""
    found = [seen("ptc.ohms", "OL"), seen("ptc.shake", "rattles"), seen(CONDENSER, "blocked or fan stopped")]
    situation = of("rsir-ptc", "external", Heard.HUM_CLICK, *found)
    verdict = advise(situation).verdict
    assert verdict is not None
    assert verdict.remedies == ("clear condenser", "replace starter")
    assert verdict.probability > 0.9
    said = explain(situation, leader=frozenset(verdict.remedies)).sentence
    assert "needed: clean the condenser and restore its fan and replace the starter; next best" in said
    cleaned = replace(situation, observations=(*found, seen("fit.mechanism", "hum_click")))
    after = advise(cleaned).verdict
    assert after is not None
    assert after.remedies == ("replace starter",)


def test_a_machine_that_runs_and_whose_condenser_was_seen_blocked_is_cleaned_and_it_is_said_why() -> None:
    """The reasons speak of the cleaning that is decided, not of leaving the machine as it is."""
    found = [seen("attempt.as_found", "runs"), seen(CONDENSER, "blocked or fan stopped")]
    found += [seen("ptc.ohms", "5.0"), seen("overload_protector.ohms", "0.3")]
    found += [seen("supply.volts_start", "114"), seen("pins.shell", "OL")]
    situation = of("rsir-ptc", "external", Heard.HUM_CLICK, *found)
    told = explain(situation, leader=frozenset({"clear condenser"}))
    assert "exactly this is needed: clean the condenser and restore its fan; next best" in told.sentence
    assert told.probability > 0.85


#: A right and a wrong answer of every check, on 115 V. Common practice.
CHECKED = {
    "supply.volts_ground": ("117 V", "20 V"),
    "supply.volts_neutral": ("0.8 V", "30 V"),
    "proof.sight": ("all as it should be", "something is wrong"),
    "proof.ground_current": ("0.4 mA", "9 mA"),
    "proof.touch_current": ("0.1 mA", "2 mA"),
}


@pytest.mark.parametrize("name", checks())
def test_a_check_says_whether_it_passed(name: str) -> None:
    """A check within its limit is as it should be; one beyond it warns, and says what is the matter."""
    right, wrong = CHECKED[name]
    good, bad = findings(of("rsir-ptc", "external", None, seen(name, right), seen(name, wrong)))
    assert (good.warns, good.text.endswith(": as it should be.")) == (False, True)
    assert (bad.warns, bad.text.endswith(f": {checks()[name].bad}")) == (True, True)
