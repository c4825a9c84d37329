"""
What stands before power holds on every machine: insulation, ground, the checks after a repair, and no skip.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import advise
from humclick.diagnosis.guards import (
    as_guards,
    askable,
    forbidden,
    guards_for_no_repair,
    insulation_needs,
    met_next,
    needs_before,
)
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import Earth, bars, bars_on, earth, insulation, owed, three_equal
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.jobs.fold import COMPRESSOR
from humclick.meters import Quantity, meters
from humclick.physics.insulation import InsulationStanding, standing
from humclick.physics.insulation import judge_insulation as work_insulation
from humclick.readings import PartTemperature, parse_reading
from tests.sample import sampled
from tests.visit import MACHINES, Visit

NAMED = pytest.mark.parametrize(("name", "guard"), sampled(MACHINES, MACHINES[::3]))
#: What needs no more than it can get: a silent unit is looked at from outside where that can be done.
WAIVED = {"outside-first"}
TOP = {
    name: each.highest(Quantity.RESISTANCE) if each.measures(Quantity.RESISTANCE) else 0.0
    for name, each in meters().items()
}
TESTERS = {name for name, each in meters().items() if each.test_voltage}


def shell(text: str, meter: str, warmth: PartTemperature | None = None) -> Observation:
    """A reading to the shell with a class of meter."""
    return Observation(
        "shell.insulation" if meter in TESTERS else "pins.shell",
        parse_reading(text, Quantity.RESISTANCE),
        temperature=warmth or PartTemperature(),
        tester=meter in TESTERS,
        top=TOP[meter],
    )


def powered(situation: Situation) -> list[str]:
    """Probes under power that nothing bars and before which nothing has to be shown."""
    every = bars(situation)
    return [
        name
        for name, probe in probes_of(situation.machine).items()
        if probe.energises
        and not bars_on(probe, every, situation)
        and not {need.name for need in needs_before(situation, probe)} - WAIVED
    ]


def ready(name: str, guard: str, heard: str = "hum_click") -> Visit:
    """A call on which nothing stands before power."""
    visit = Visit(name, guard, heard)
    for probe in ("supply.signs", "supply.neighbor", "earth.continuity", "shell.insulation"):
        visit.reads(probe)
    return visit


megohms = st.floats(math.log10(0.01), math.log10(900.0)).map(lambda x: f"{10**x:.4g} M")
shells = st.tuples(
    st.one_of(megohms, st.sampled_from(["OL", "0.999 M", "1 M", "4.99 M", "5 M"])),
    st.sampled_from([name for name in sorted(TOP) if TOP[name] > 0]),
    st.one_of(st.just(PartTemperature()), st.floats(-40, 150).map(lambda c: PartTemperature("measured", c))),
)


@settings(max_examples=150, deadline=None)
@given(which=st.sampled_from(MACHINES), seen=st.lists(shells, max_size=6), tripped=st.booleans())
@example(which=("rsir-ptc", "external"), seen=[("OL", "basic", PartTemperature())], tripped=False)
def test_insulation_decides_before_power(
    which: tuple[str, str], seen: list[tuple[str, str, PartTemperature]], tripped: bool
) -> None:
    """Below 1 MΩ only a tester lifts it; 1 to 5 MΩ two of its readings; OL counts as its range's end."""
    readings = tuple(shell(*each) for each in seen)
    earthed = Observation("earth.continuity", parse_reading("0.1", Quantity.RESISTANCE))
    situation = Situation(
        Machine.of(*which), Heard.BREAKER if tripped else Heard.HUM_CLICK, (earthed, *readings)
    )
    values = [o.reading.value for o in readings if o.reading is not None]
    last_low = max((i for i, v in enumerate(values) if v is not None and v < 1e6), default=-1)
    tests = [(o, v) for o, v in list(zip(readings, values, strict=True))[last_low + 1 :] if o.tester]
    free = powered(situation)
    if last_low >= 0 and not tests:
        assert free == []
        assert insulation(situation).standing is InsulationStanding.NEVER
    if tripped and not any(o.tester for o in readings):
        assert free == []
    if free and readings:
        sure = [
            o
            for o, v in zip(readings, values, strict=True)
            if ((TOP["insulation tester"] if o.tester else o.top or 0.0) >= 5e6 and (v is None or v >= 5e6))
            or (o.tester and o.temperature.celsius is not None and (v or 0) >= 1e6)
        ]
        twice = [o for o, v in tests if v is not None and v >= 1e6]
        assert sure or len(twice) >= 2
    assert bool(free) == (
        insulation(situation).standing is not InsulationStanding.NEVER and not insulation_needs(situation)
    )


@settings(max_examples=200, deadline=None)
@given(ohms=st.floats(1e3, 1e9), celsius=st.floats(-10, 110))
def test_one_rule_for_work_and_judgement(ohms: float, celsius: float) -> None:
    """What `work insulation` says of a reading is what stands before power, and no heat lifts the floor."""
    said = work_insulation(ohms, celsius)
    reading = parse_reading(f"{ohms:.0f} ohm", Quantity.RESISTANCE)
    seen = Observation(
        "shell.insulation", reading, temperature=PartTemperature("measured", celsius), tester=True
    )
    found = insulation(Situation(Machine.of("rsir-ptc"), observations=(seen,))).standing
    exact = reading.value or 0.0
    assert found is standing(exact, tester=True, celsius=celsius)
    if abs(exact - ohms) < 1e-9:
        assert found is said.standing
    assert (ohms < 1e6) == (said.standing is InsulationStanding.NEVER)


@pytest.mark.parametrize("celsius", [-40.0, -11.0, 111.0, 200.0])
def test_a_temperature_that_cannot_be_corrected_lifts_nothing(celsius: float) -> None:
    """Beyond the range of the correction a hot reading stands as it is and a cold one as at the coldest."""
    seen = shell("2 M", "insulation tester", PartTemperature("measured", celsius))
    situation = Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK, (seen,))
    assert insulation(situation).standing is InsulationStanding.RETEST
    assert powered(situation) == []
    assert advise(situation).kind in ("probe", "wait", "verdict")


@NAMED
def test_no_skip_lifts_what_stands_before_power(name: str, guard: str) -> None:
    """Whatever has to be shown before a probe under power, leaving all of it out leaves the probe out."""
    kinds = {
        "fresh": Visit(name, guard),
        "silent": Visit(name, guard, "silent"),
        "breaker": Visit(name, guard, "breaker"),
    }
    weak = ready(name, guard)
    weak.reads("shell.insulation", "3 M")
    low = Visit(name, guard)
    low.does("meter", name="basic")
    low.reads("pins.shell", "OL")
    mended = ready(name, guard)
    mended.does("fitted", part=COMPRESSOR)
    met: set[str] = set()
    for visit in (*kinds.values(), weak, low, mended):
        situation = visit.situation
        for probe in visit.probes.values():
            if not probe.energises:
                continue
            needs = needs_before(situation, probe)
            assert needs
            for need in needs:
                left_out = Situation(
                    situation.machine,
                    situation.complaint,
                    situation.observations,
                    skipped=frozenset(need.probes),
                    renewed=situation.renewed,
                    repairs=situation.repairs,
                    fitted=situation.fitted,
                )
                met.add(need.name)
                assert forbidden(left_out, probe) or need.name in WAIVED, (probe.id, need.name)
                assert need.name in {each.name for each in needs_before(left_out, probe)} | WAIVED
    assert met == {"earth", "ground-first", "tripped", "weak", "range", "sight", "outside-first"}


@pytest.mark.parametrize(
    ("heard", "seen", "left_out"),
    [
        ("hum_click", [], ("earth.continuity",)),
        ("breaker", [("pins.shell", "OL")], ("shell.insulation",)),
        ("hum_click", [("pins.shell", "3 M")], ("shell.insulation",)),
        ("hum_click", [("pins.shell", "700 k")], ("shell.insulation",)),
        ("hum_click", [("pins.shell", "OL"), ("earth.continuity", "0.1")], ("attempt.as_found",)),
    ],
)
def test_what_cannot_be_shown_ends_in_handing_over(
    heard: str, seen: list[tuple[str, str]], left_out: tuple[str, ...]
) -> None:
    """A machine that seems sound is not left running, nor powered, on what was left out."""
    visit = Visit("rsir-ptc", "external", heard)
    for probe, value in seen:
        visit.reads(probe, value)
    sound = {"attempt.as_found": "runs", "attempt.known_good": "silent"}
    advice, taken = visit.goes_on(sound | dict.fromkeys(left_out, "skip"))
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    assert all(taken.count(name) == 1 for name in left_out if name in taken)


# -- after a repair -----------------------------------------------------------------------------------------


def asked_before(visit: Visit, probe: str) -> list[str]:
    """What is asked for before a probe, each shown in turn."""
    found: list[str] = []
    while (first := met_next(visit.situation, visit.probes[probe])) is not None and first.id != probe:
        found.append(first.id)
        visit.reads(first.id)
        assert len(found) < 9
    return found


@pytest.mark.parametrize(("name", "guard"), sampled(MACHINES, MACHINES[::4]))
def test_after_every_repair_sight_ground_and_insulation_come_before_power(name: str, guard: str) -> None:
    """Every part, and two repairs one after the other; nothing from before them counts."""
    order = ["proof.sight", "earth.continuity", "pins.shell"]
    visit = ready(name, guard)
    parts = [p.id for p in visit.situation.machine.parts if not p.family.sealed]
    for part in (*parts, COMPRESSOR, parts[-1], parts[-1]):
        visit.does("fitted", part=part)
        assert asked_before(visit, "attempt.as_found") == order, part
        runs = visit.reads("attempt.as_found", "runs")
        assert visit.call.readings[-1].event == runs.id
        assert visit.call.readings[-1].against == ()
        guards = guards_for_no_repair(judge(visit.situation).bench, visit.situation)
        assert [g.name for g in guards if g.open] == ["leakage"]
        assert guards[-1].probes == ("proof.ground_current",)


@NAMED
def test_a_part_that_is_tried_in_one_go_is_looked_over_first(name: str, guard: str) -> None:
    """The checks stand before the entry; one made before the look is made again."""
    order = ["proof.sight", "earth.continuity", "pins.shell"]
    tries = [p.id for p in Visit(name, guard).probes.values() if p.repairs]
    for probe in tries:
        visit = ready(name, guard)
        visit.reads("pins.shell")
        visit.reads("earth.continuity")
        assert asked_before(visit, probe) == order
        visit.reads(probe, "hum_click")
        assert visit.call.readings[-1].against == ()
        assert asked_before(visit, "attempt.as_found") == []
        visit.does("fitted", part=COMPRESSOR)
        assert asked_before(visit, "attempt.as_found") == order
        assert asked_before(visit, probe) == order  # that was about the compressor


@NAMED
def test_a_new_compressor_forgets_the_old_ones_insulation(name: str, guard: str) -> None:
    """Also a second new one; and a good test of the old one says nothing of the new one."""
    visit = ready(name, guard)
    for _ in range(2):
        visit.reads("shell.insulation", "200 k")
        assert "insulation" in [bar.name for bar in bars(visit.situation)]
        visit.does("fitted", part=COMPRESSOR)
        assert bars(visit.situation) == ()
        assert insulation(visit.situation).standing is None
        assert "pins.shell" in asked_before(visit, "attempt.as_found")


def test_a_bad_look_is_put_right_and_looked_at_again() -> None:
    """Sight is asked for again and again, then handed over; once it is right the checks go on."""
    visit = ready("rsir-ptc", "external")
    visit.does("fitted", part="ptc")
    visit.reads("proof.sight", "something is wrong")
    assert powered(visit.situation) == []
    assert visit.onward(visit.advice).probe == "proof.sight"
    advice, taken = visit.goes_on({"proof.sight": "something is wrong"})
    assert set(taken) == {"proof.sight"}
    assert len(taken) <= 3
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    visit.reads("proof.sight", "all as it should be")
    assert met_next(visit.situation, visit.probes["attempt.as_found"]) is not None


@pytest.mark.parametrize("check", ["proof.ground_current", "proof.touch_current"])
def test_current_to_ground_over_its_limit_is_no_repair(check: str) -> None:
    """It ran, and is handed over; after the next repair it may be powered and is measured again."""
    visit = ready("rsir-ptc", "external")
    if check == "proof.touch_current":
        visit.reads("earth.look", "the outlet has no ground")
    visit.does("fitted", part="ptc")
    advice, taken = visit.goes_on({"attempt.as_found": "runs", check: "9 mA"})
    assert taken[-1] == check
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("hand over",)
    assert visit.onward(advice).kind == "verdict"
    assert powered(visit.situation) == []
    assert [p.id for p in visit.offered(advice) if p.energises] == []
    visit.does("fitted", part="overload_protector")
    advice, taken = visit.goes_on({"attempt.as_found": "runs"})
    assert taken[-1] == check
    assert "attempt.as_found" in taken
    assert advice.verdict is not None
    assert advice.verdict.due == ()


# -- ground -------------------------------------------------------------------------------------------------


@NAMED
def test_no_ground_is_left_unproved_before_power(name: str, guard: str) -> None:
    """Open, too high with leads not nulled, unproved: no power; its remedy is due until it is read again."""
    for reading in ("OL", "1.5", "40"):
        visit = ready(name, guard)
        visit.reads("earth.continuity", reading)
        assert earth(visit.situation) is Earth.OPEN
        assert powered(visit.situation) == []
        visit.does("skip", probe="earth.continuity", reason="no time")
        visit.reads("earth.look", "the outlet has no ground")
        assert powered(visit.situation) == []  # the unit's own wire is open all the same
        visit.does("fitted", part="earth")
        assert powered(visit.situation) == []
        visit.reads("earth.continuity")
        asked_before(visit, "attempt.as_found")
        assert "attempt.as_found" in powered(visit.situation)


@pytest.mark.parametrize(("probe", "bad"), [("earth.continuity", "1.5"), ("supply.volts_ground", "0.5 V")])
def test_an_open_ground_is_part_of_the_verdict_and_read_again(probe: str, bad: str) -> None:
    """Whatever else is wrong, the ground is restored first, and after it the same point is read once more."""
    visit = ready("rsir-ptc", "external")
    visit.reads(probe, bad)
    advice, taken = visit.goes_on({probe: bad})
    assert advice.verdict is not None
    assert "restore ground" in advice.verdict.due
    assert len(taken) <= 8
    visit.does("fitted", part="earth")
    advice, taken = visit.goes_on({"attempt.as_found": "runs"})
    assert probe in taken
    assert "attempt.as_found" in taken
    assert taken.index(probe) < taken.index("attempt.as_found")


@NAMED
def test_one_bad_touch_condemns_no_ground(name: str, guard: str) -> None:
    """Paint under the tip reads like an open ground: it is read once more before it has to be restored."""
    visit = ready(name, guard)
    visit.reads("earth.continuity", "3")
    assert powered(visit.situation) == []
    assert owed(visit.situation) == frozenset()
    advice = advise(visit.situation)
    assert advice.next is not None
    assert advice.next.probe == "earth.continuity"
    visit.reads("earth.continuity", "0.1")
    assert earth(visit.situation) is Earth.PROVED
    assert bars(visit.situation) == ()
    visit.reads("earth.continuity", "3")
    visit.reads("earth.continuity", "3")
    assert owed(visit.situation) == {"restore ground"}


def test_leads_that_are_nulled_count_and_a_unit_without_a_ground_is_told() -> None:
    """0.45 Ω with 0.3 Ω of leads is a ground; a double-insulated unit needs none."""
    visit = ready("rsir-ptc", "external")
    visit.does("meter", leads_nulled=False, lead_ohms=0.3)
    visit.reads("earth.continuity", "0.45")
    assert earth(visit.situation) is Earth.PROVED
    visit.reads("earth.look", "no ground pin, marked double-insulated")
    assert earth(visit.situation) is Earth.NONE
    visit.reads("earth.look", "ground pin in place")
    assert earth(visit.situation) is Earth.UNPROVED


def test_a_look_is_not_asked_for_twice() -> None:
    """Where the ground cannot be read, its plug is looked at once, and then somebody else must."""
    visit = Visit("rsir-ptc", "external")
    _, taken = visit.goes_on({"earth.continuity": "skip"})
    assert taken.count("earth.look") == 1


# -- no end without a verdict -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("always", "heard"),
    [
        ({"shell.insulation": "3 M", "pins.shell": "3 M", "attempt.as_found": "runs"}, "hum_click"),
        ({"shell.insulation": "300 k", "pins.shell": "300 k"}, "hum_click"),
        ({"shell.insulation": "2 M", "pins.shell": "700 k", "attempt.as_found": "hum"}, "breaker"),
        ({"earth.continuity": "OL"}, "silent"),
        ({"pins.C-R": "3.1", "pins.C-S": "3.1", "pins.S-R": "3.1"}, "hum"),
    ],
)
def test_the_same_bad_answer_again_and_again_ends_in_a_verdict(always: dict[str, str], heard: str) -> None:
    """No guard is asked for without end, and below the floor nothing ends in power."""
    visit = Visit("csir-current-relay", "external", heard)
    advice, taken = visit.goes_on(always)
    assert advice.verdict is not None
    assert all(taken.count(name) <= 4 for name in taken)
    if insulation(visit.situation).standing is InsulationStanding.NEVER:
        assert set(advice.verdict.remedies) <= {"hand over", "replace compressor"}
        assert powered(visit.situation) == []


@settings(max_examples=5, deadline=None)
@given(which=st.sampled_from(MACHINES), data=st.data())
def test_random_answers_end_in_a_verdict(which: tuple[str, str], data: st.DataObject) -> None:
    """Whatever is answered, forty probes are enough, and nothing under power is offered against a bar."""
    visit = Visit(*which, heard=data.draw(st.sampled_from(["silent", "hum", "breaker", ""])))
    for _ in range(40):
        advice = visit.advice
        assert not [p.id for p in visit.offered(advice) if bars_on(p, advice.bars, visit.situation)]
        if advice.next is None:
            break
        probe = visit.probes[advice.next.probe]
        ohms = st.sampled_from(["0.0", "0.4", "5", "30", "700 k", "3 M", "OL"])
        drawn = {
            "resistance": ohms,
            "capacitance": st.sampled_from(["0.1 uF", "15 uF", "90 uF"]),
            "voltage": st.sampled_from(["0.5 V", "90 V", "117 V"]),
            "current": st.sampled_from(["0.0 A", "2 mA", "9 A"]),
            "": st.sampled_from(probe.outcomes or ("?",)),
        }
        if data.draw(st.integers(0, 5)) == 0:
            visit.does("skip", probe=probe.id, reason="")
        else:
            visit.reads(probe.id, data.draw(drawn[probe.quantity]), "cold" if probe.heat else "")
        if visit.call.stopped:
            break
    assert visit.advice.verdict is not None


def test_three_equal_windings_of_an_old_compressor_are_not_the_new_ones() -> None:
    """Nothing is powered on three equal readings; a new compressor is read for itself."""
    visit = ready("rsir-ptc", "external")
    for pair in ("C-R", "C-S", "S-R"):
        visit.reads(f"pins.{pair}", "3.1", "cold")
    assert three_equal(visit.situation)
    assert powered(visit.situation) == []
    visit.does("fitted", part=COMPRESSOR)
    assert not three_equal(visit.situation)


def test_a_bar_that_a_reading_lifts_can_be_asked_for() -> None:
    """Every bar without a remedy names a reading that is not under power, or is lifted by a repair alone."""
    visit = ready("rsir-ptc", "external")
    visit.reads("shell.insulation", "300 k")
    for guard in as_guards(bars(visit.situation)):
        probe = askable(visit.situation, guard)
        assert probe is not None
        assert not probe.energises
