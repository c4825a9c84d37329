"""Machines that are no single-phase ones: healthy ones are called so, and every fault is reached."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import findings
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.level import expected
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.observations.own_try import OwnTry
from humclick.diagnosis.power import bars
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.situation import Observation, Situation
from humclick.errors import OutOfRange
from humclick.meters import Quantity
from humclick.physics.supply import unbalance, unbalance_derating
from humclick.readings import PartTemperature, parse_reading
from humclick.safety import gates_for
from tests.kinds_of_machine import Faulty, played
from tests.published import published
from tests.sample import sampled

KINDS = [
    (name, guard)
    for name in arrangements()
    if arrangement(name).judged and not arrangement(name).started
    for guard in arrangement(name).protectors
]
FAULTS = [
    (name, guard, part.id, mode.name)
    for name, guard in KINDS
    for part in Machine.of(name, guard).parts
    for mode in part.family.listed[1:]
]
COLD = PartTemperature("cold")


def read(machine: Machine, values: dict[str, str]) -> Situation:
    """A call in which some probes of a machine, cold, showed this."""
    seen = tuple(
        Observation(
            name, reading=parse_reading(text, Quantity(probe_of(machine, name).quantity)), temperature=COLD
        )
        for name, text in values.items()
    )
    return Situation(machine, None, seen, hot=False)


def pairs(machine: Machine) -> list[str]:
    """The three probes between its pins."""
    return [name for name, probe in probes_of(machine).items() if probe.pins_named]


def test_there_are_such_machines() -> None:
    """Three kinds at least are judged without simulated starts, each with a caution."""
    assert len({arrangement(name).set_in for name, _ in KINDS}) >= 3
    assert all(arrangement(name).caution for name, _ in KINDS)


@pytest.mark.parametrize(("name", "guard"), KINDS)
def test_a_sound_one_is_left_as_it_is(name: str, guard: str) -> None:
    """Whoever follows the advice on a sound machine ends with nothing replaced."""
    advice, _ = played(Faulty(Machine.of(name, guard), {}))
    assert advice.verdict is not None
    assert advice.verdict.remedies == ("wait",)


@pytest.mark.parametrize(("name", "guard", "part", "mode"), sampled(FAULTS, FAULTS[::6]))
def test_every_fault_is_reached(name: str, guard: str, part: str, mode: str) -> None:
    """The readings that a fault gives, taken as advised, end in its remedy."""
    machine = Machine.of(name, guard)
    advice, _ = played(Faulty(machine, {part: mode}))
    assert advice.verdict is not None
    assert machine.part(part).remedy(mode) in advice.verdict.remedies


@pytest.mark.parametrize(("name", "guard"), sampled(KINDS, KINDS[:1]))
@settings(max_examples=30)
@given(ohms=st.floats(0.3, 60.0), off=st.tuples(*[st.floats(-0.006, 0.006)] * 3))
def test_balanced_windings_of_every_size_are_sound(
    name: str, guard: str, ohms: float, off: tuple[float, float, float]
) -> None:
    """Three readings alike are good whatever their size, and speak against no winding."""
    machine = Machine.of(name, guard)
    texts = [f"{ohms * (1.0 + each):.1f}" for each in off]
    situation = read(machine, dict(zip(pairs(machine), texts, strict=True)))
    before = judge(Situation(machine, hot=False)).post.of_part("windings")
    assert judge(situation).post.of_part("windings") < max(before, 0.05) * 1.05
    assert {finding.says for finding in findings(situation)} == {Says.GOOD}
    assert contradictions(situation) == ()
    assert bars(situation) == ()


@pytest.mark.parametrize(("name", "guard"), sampled(KINDS, KINDS[:1]))
@settings(max_examples=30)
@given(ohms=st.floats(2.0, 60.0), lost=st.floats(0.3, 0.97))
def test_no_unbalance_falls_between_two_modes(name: str, guard: str, ohms: float, lost: float) -> None:
    """One winding with fewer turns, in any degree, read twice: the windings are what is likely wrong."""
    machine = Machine.of(name, guard)
    assume(ohms * lost / 2.0 > 1.0)  # more than the last digits of a usual meter may be off
    low, high = f"{ohms * (1.0 - lost / 2.0):.1f}", f"{ohms:.1f}"
    values = dict(zip(pairs(machine), (low, high, low), strict=True))
    one = read(machine, values).observations
    situation = Situation(machine, None, (*one, *one), hot=False)
    assert judge(situation).post.of_part("windings") > 0.6


@pytest.mark.parametrize(("name", "guard"), KINDS)
def test_the_order_of_the_three_does_not_matter(name: str, guard: str) -> None:
    """Which pair reads low says nothing: three windings are alike."""
    machine = Machine.of(name, guard)
    names = pairs(machine)
    found = []
    for order in (("3.2", "4.2", "3.2"), ("4.2", "3.2", "3.2"), ("3.2", "3.2", "4.2")):
        found.append(judge(read(machine, dict(zip(names, order, strict=True)))).post.of_part("windings"))
    assert max(found) == pytest.approx(min(found), rel=1e-6)


@pytest.mark.parametrize(("name", "guard"), KINDS)
def test_no_probe_puts_it_on_the_line(name: str, guard: str) -> None:
    """No known-good start gear, no amps of a start on the line: those probes do not exist here."""
    machine = Machine.of(name, guard)
    assert not {"attempt.known_good", "attempt.amps", "feed.volts", "supply.volts_start"} & set(
        probes_of(machine)
    )


def test_a_board_is_proved_dead_before_it_is_touched() -> None:
    """Every probe with hands inside an inverter-driven machine wants its DC link proved dead."""
    machine = Machine.of("inverter-driven")
    inside = [p for p in probes_of(machine).values() if p.inside and "power-off-proved-dead" in p.gates]
    assert len(inside) > 8
    for probe in inside:
        named = [gate.name for gate in gates_for(probe.gates, machine)]
        assert named[0] == "inverter-caution" or "flammable-caution" in named
        assert "dc-link-discharged" in named, probe.id


@pytest.mark.parametrize(("name", "volts"), [("psc", 400.0), ("three-phase", 115.5), ("dc-unit", 230.0)])
def test_volts_of_another_kind_of_machine_are_refused(name: str, volts: float) -> None:
    """Each kind is made for its own volts, and a plate that does not fit is refused with those that do."""
    with pytest.raises(OutOfRange, match="nominal volts must be"):
        Machine.of(name, None, Nameplate(volts))


@published(source="NEMA MG 1, 14.36 (from memory)", where="460, 467 and 450 V", printed_to="2 digits")
def test_line_unbalance_is_that_of_the_standard() -> None:
    """Percent unbalance is 100 times the largest deviation from the mean over the mean."""
    assert round(100.0 * unbalance(460.0, 467.0, 450.0), 1) == 2.0
    assert round(100.0 * unbalance(462.0, 463.0, 455.0), 2) == 1.09


@published(
    source="NEMA MG 1, 14.36 and figure 14-1 (from memory)", where="1 to 5 % unbalance", printed_to="2 digits"
)
def test_unbalance_takes_power_away() -> None:
    """Up to 1 % nothing is lost, at 3 % 0.88 is left, at 5 % 0.75; above that it must not run."""
    assert [round(unbalance_derating(x / 100), 2) for x in (1, 2, 3, 4, 5)] == [1.0, 0.95, 0.88, 0.82, 0.75]
    with pytest.raises(OutOfRange):
        unbalance_derating(0.051)


@published(source="NEMA MG 1, 14.36; IEC 60034-26 (from memory)", where="above 5 % a motor is not run")
def test_lines_above_five_percent_unbalance_are_what_is_wrong() -> None:
    """Three lines six percent apart are put right before anything else; one percent is no fault."""
    machine = Machine.of("three-phase")
    names = ["supply.l1-l2", "supply.l2-l3", "supply.l1-l3"]
    unlike = judge(read(machine, dict(zip(names, ("230", "222", "204"), strict=True)))).post
    assert unlike.of_mode("supply", "unbalanced", "low", "lost_phase") > 0.9
    alike = judge(read(machine, dict(zip(names, ("230", "231", "229"), strict=True)))).post
    assert alike.of_part("supply") < 0.05


@published(source="NEMA MG 1, 14.36 and figure 14-1 (from memory)", where="derating of an unbalanced supply")
def test_what_unbalance_costs_is_said_with_the_readings() -> None:
    """Beside the three line volts stands how unlike they are, and what power a motor may give on them."""
    machine = Machine.of("three-phase", None, Nameplate(460.0))
    names = ["supply.l1-l2", "supply.l2-l3", "supply.l1-l3"]
    told = findings(read(machine, dict(zip(names, ("460", "467", "450"), strict=True))))
    assert all("2.0 %" in finding.text and "95 % of its power" in finding.text for finding in told)
    told = findings(read(machine, dict(zip(names, ("460", "430", "405"), strict=True))))
    assert all("must not run" in finding.text for finding in told)


def test_a_lost_line_is_not_low_volts() -> None:
    """One pair full and two with half or nothing is a line missing, fed back or not."""
    machine = Machine.of("three-phase", None, Nameplate(400.0))
    names = ["supply.l1-l2", "supply.l2-l3", "supply.l1-l3"]
    for texts in (("402", "0.3", "1.2"), ("402", "203", "199"), ("402", "310", "120")):
        post = judge(read(machine, dict(zip(names, texts, strict=True)))).post
        assert post.of_mode("supply", "lost_phase") > 0.7, texts


def test_a_hot_protector_at_the_star_is_waited_for() -> None:
    """All pairs open while hot is no verdict on a three-phase compressor; cold it is one."""
    machine = Machine.of("three-phase", "internal")
    seen = [
        Observation(
            name, reading=parse_reading("OL", Quantity.RESISTANCE), temperature=PartTemperature("hot")
        )
        for name in pairs(machine)
    ]
    hot = judge(Situation(machine, None, tuple(seen), hot=True)).post
    assert hot.of_mode("star_protector", "open") + hot.of_part("windings") < 0.3
    cold = judge(read(machine, dict.fromkeys(pairs(machine), "OL"))).post
    assert cold.of_mode("star_protector", "open") + cold.of_part("windings") > 0.5


def test_a_level_follows_its_own_part_and_others() -> None:
    """The DC link falls with the line, and is gone with the board's rectifier or the line."""
    machine = Machine.of("inverter-driven", None, Nameplate(230.0))
    sound, _ = expected(machine, "board", "link")
    assert 300.0 < sound < 400.0
    assert expected(machine, "board", "feed")[0] == 230.0
    dead = judge(read(machine, {"board.dc_link": "0.2 V"})).post
    assert dead.of_mode("board", "dead") + dead.of_part("supply") > 0.8
    there = judge(read(machine, {"board.dc_link": "325 V"})).post
    assert there.of_mode("board", "dead") < 0.02


def test_a_level_read_after_a_repair_is_of_the_machine_as_it_is_then() -> None:
    """No volts before the cord is new and the right ones after it do not contradict each other."""
    machine = Machine.of("inverter-driven", None, Nameplate(230.0))
    before = read(machine, {"supply.volts": "231 V", "board.supply": "0.3 V"}).observations
    after = read(machine, {"board.supply": "229 V", "board.dc_link": "322 V"}).observations
    new = frozenset({"supply"})
    situation = Situation(
        machine,
        None,
        (*before, *(replace(o, renewed=new, repairs=1) for o in after)),
        hot=False,
        renewed=new,
        repairs=1,
        fitted={"supply": 1},
    )
    assert not any("does not fit" in each for each in contradictions(situation))
    assert judge(situation).post.of_mode("board", "dead") < 0.05
    assert judge(situation).post.none < 0.1


def test_a_try_that_hums_is_no_dead_board() -> None:
    """What a try sounds like counts roughly: a hum speaks for a rotor that stands, silence for no current."""
    machine = Machine.of("inverter-driven")
    seen = dict.fromkeys(("hum", "silent"), OwnTry.name)
    assert set(seen.values()) == {"own_try"}
    posts = {
        each: judge(
            Situation(machine, None, (Observation("attempt.as_found", answer=each, temperature=COLD),))
        )
        for each in seen
    }
    assert posts["hum"].post.of_part("mechanism") > posts["silent"].post.of_part("mechanism")
    assert posts["hum"].post.of_mode("board", "dead") < posts["silent"].post.of_mode("board", "dead")


def test_a_try_of_a_kind_without_a_table_is_no_verdict_by_itself() -> None:
    """What is heard of it moves little but whether it runs."""
    machine = Machine.of("inverter-driven")
    for heard in ("silent", "hum"):
        situation = Situation(
            machine, None, (Observation("attempt.as_found", answer=heard, temperature=COLD),), hot=False
        )
        assert max(judge(situation).post.by_remedy.values()) < 0.6
    assert math.isclose(sum(judge(Situation(machine)).post.by_class.values()), 1.0, rel_tol=1e-6)
