"""Parameters from what is at hand: ranges that hold the truth, and honesty about what is missing."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import OutOfRange, Refused
from humclick.sourced import Spread
from humclick.start.at_hand import AtHand, at_hand
from humclick.start.estimate import Estimate, Possible, estimate
from humclick.start.machine import Motor
from humclick.start.ranges import Range, range_of
from tests.published import published
from tests.start.machines import KRAUSE
from tests.start.revolving import revolving

FULL = AtHand(
    volts=115,
    locked_rotor_amps=12.0,
    rated_load_amps=1.6,
    horsepower=1 / 6,
    run_ohms=3.4,
    start_ohms=11.2,
    gear=Spread(6.0, 2.2),
)


def locked_amps(each: Possible) -> float:
    """Line current at standstill with the start circuit closed. [A]"""
    return abs(each.locked(115).line)


def starting_torque(each: Possible) -> float:
    """At standstill. [N m]"""
    return each.locked(115).torque


def least_volts(each: Possible) -> float:
    """Volts at which the starting torque falls to half the rated torque. [V]"""
    rated = each.shaft_watts / (each.motor.synchronous * (1 - each.slip))
    return 115 * math.sqrt(0.5 * rated / max(each.locked(115).torque, 1e-9))


def true_machine(rng: np.random.Generator) -> Possible:
    """A motor with ratios drawn evenly from a box of its own, not from the estimate's prior."""
    ohms = math.exp(rng.uniform(math.log(1.8), math.log(6.5)))
    rotor = rng.uniform(1.25, 2.3) * ohms
    leakage = rng.uniform(0.7, 1.4) * (ohms + rotor)
    stator = leakage * rng.uniform(0.45, 0.62)
    turns = rng.uniform(0.9, 1.5)
    magnetizing = leakage * rng.uniform(11, 27)
    motor = Motor(
        run_ohms=ohms,
        run_leakage=stator,
        run_magnetizing=magnetizing,
        start_ohms=ohms * rng.uniform(2.4, 5.2),
        start_leakage=stator * turns**2 * rng.uniform(0.6, 1.2),
        start_magnetizing=magnetizing * turns**2,
        rotor_ohms=rotor,
        rotor_leakage=leakage - stator,
        turns_ratio=turns,
        inertia=6e-4,
        poles=2,
        hertz=60.0,
    )
    gear = math.exp(rng.uniform(math.log(3.5), math.log(10.0)))
    slip = rng.uniform(0.032, 0.065)
    running = Possible(motor, slip, 0.0, gear, None, None)
    return replace(running, shaft_watts=running.running(115).power_out)


def seen(truth: Possible, rng: np.random.Generator) -> AtHand:
    """What a technician would have at hand of it: plate figures with allowance, readings with error."""
    locked = truth.locked(115) if rng.random() < 0.5 else truth.locked_released(115)
    return replace(
        FULL,
        locked_rotor_amps=round(abs(locked.line) * rng.uniform(0.92, 1.08), 1),
        rated_load_amps=round(abs(truth.running(115).line) * rng.uniform(0.95, 1.4), 2),
        horsepower=truth.shaft_watts / 746 * rng.uniform(0.75, 1.35),
        run_ohms=round(truth.motor.run_ohms * rng.normal(1, 0.02), 1),
        start_ohms=round(truth.motor.start_ohms * rng.normal(1, 0.02), 1),
    )


def test_ranges_hold_the_truth_nine_times_in_ten() -> None:
    """Of motors made otherwise than the prior, the 90 % ranges of amps, torque and volts hold about 90 %."""
    rng = np.random.default_rng(20260301)
    held = np.zeros(3)
    motors = 45
    for _ in range(motors):
        truth = true_machine(rng)
        drawn = estimate(seen(truth, rng)).possible(40, seed=1)
        for i, of in enumerate((locked_amps, starting_torque, least_volts)):
            held[i] += range_of([of(each) for each in drawn]).holds(of(truth))
    share = held / motors
    assert np.all(share >= 0.85), share
    assert share.mean() <= 0.985, share


def width(found: Range) -> float:
    """Upper over lower limit. [-]"""
    return found.high / found.low


def test_ranges_are_of_use() -> None:
    """With everything at hand the locked-rotor current is known within a factor of 1.5, torque within 4."""
    found = estimate(FULL)
    assert width(found.range(locked_amps)) < 1.5
    assert width(found.range(starting_torque)) < 4


@pytest.mark.parametrize("amps", [5.0, 8.4, 15.0, 30.0])
def test_locked_rotor_amps_of_the_plate_come_back(amps: float) -> None:
    """The plate's locked-rotor amps lie between those with the start winding out and in, and in the range."""
    found = estimate(AtHand(volts=115, locked_rotor_amps=amps, gear=Spread(0.05, 2.0)))
    inside, outside = locked_amps(found.best), abs(found.best.locked_released(115).line)
    assert outside < amps * 1.05
    assert inside > amps / 1.05
    whole = range_of(
        [v for each in found.possible(200) for v in (locked_amps(each), abs(each.locked_released(115).line))]
    )
    assert whole.holds(amps)


@pytest.mark.parametrize(
    ("names", "of"),
    [
        (("locked_rotor_amps",), locked_amps),
        (("run_ohms",), lambda each: each.motor.run_ohms),
        (("start_ohms",), lambda each: each.motor.start_ohms),
        (("horsepower", "rated_load_amps"), lambda each: each.shaft_watts),
    ],
)
def test_what_is_missing_widens(names: tuple[str, ...], of: Callable[[Possible], float]) -> None:
    """Without an item at hand the range of what rests on it is wider, and a sentence says so."""
    absent: dict[str, Any] = dict.fromkeys(names)
    whole, less = estimate(FULL), estimate(replace(FULL, **absent))
    assert width(less.range(of, n=150)) > 1.03 * width(whole.range(of, n=150))
    assert set(less.unknowable) - set(whole.unknowable)


def test_nothing_but_the_volts_still_gives_an_answer() -> None:
    """With no plate and no meter there is an answer, several times as wide."""
    bare = estimate(AtHand(volts=115, gear=Spread(6.0, 2.2)))
    assert width(bare.range(locked_amps)) > 3
    assert len(bare.unknowable) > len(estimate(FULL).unknowable)


def test_measured_ohms_are_met() -> None:
    """Measured windings come back within the reading's own error."""
    motor = estimate(FULL).motor
    assert motor.run_ohms == pytest.approx(3.4, rel=0.03)
    assert motor.start_ohms == pytest.approx(11.2, rel=0.03)


@published(
    source="Krause, Wasynczuk and Sudhoff, Analysis of Electric Machinery",
    where="single-phase machines: 1/4 hp capacitor-start motor (parameters)",
    printed_to="within the 90 % range",
)
def test_a_textbook_motor_lies_within_its_ranges() -> None:
    """From plate, ohms and capacitor of the 1/4 hp motor, its cage, leakage and torque are bracketed."""
    given = AtHand(
        volts=110,
        locked_rotor_amps=17.5,
        horsepower=0.25,
        run_ohms=2.02,
        start_ohms=7.14,
        gear=Spread(3.0, 1.1),
        start_capacitor=Spread(183e-6, 1.1),
        poles=4,
    )
    drawn = estimate(given).possible(120)
    assert range_of(p.motor.rotor_ohms for p in drawn).holds(KRAUSE.rotor_ohms)
    assert range_of(p.motor.run_leakage + p.motor.rotor_leakage for p in drawn).holds(2.79 + 2.12)
    assert range_of(p.locked(110).torque for p in drawn).holds(3.999)
    assert range_of(abs(p.locked(110).line) for p in drawn).holds(17.49)


def test_the_second_theory_agrees_on_drawn_motors() -> None:
    """Every drawn motor gives the same torque by the double revolving field."""
    for each in estimate(FULL).possible(20):
        _, _, torque = revolving(each.motor, 115, 1.0, start_impedance=complex(each.gear_ohms or 0))
        assert starting_torque(each) == pytest.approx(torque, rel=1e-9)


def test_same_seed_same_motors() -> None:
    """Draws repeat with their seed and differ without."""
    found = estimate(FULL)
    assert found.possible(5, 3) == found.possible(5, 3) != found.possible(5, 4)


def test_contradicting_readings_are_called_so() -> None:
    """Three times the amps the ohms allow is not fitted in silence."""
    assert not estimate(FULL).strained
    odd = estimate(replace(FULL, locked_rotor_amps=45.0))
    assert odd.strained
    assert "hardly belong" in odd.unknowable[0]


def test_known_factor_shrinks_with_a_reading() -> None:
    """A measured start winding is known within a few percent, an unmeasured one within its prior."""
    assert estimate(FULL).known_factor("start_ohms") < 1.2
    assert estimate(replace(FULL, start_ohms=None)).known_factor("start_ohms") > 1.6
    with pytest.raises(OutOfRange, match="no parameter"):
        estimate(FULL).known_factor("colour")


@pytest.mark.parametrize(
    "name",
    [
        "rsir-ptc",
        "csir-current-relay",
        "csr-potential-relay",
        "psc",
        "psc-ptc-assist",
        "rscr-ptc",
        "timed-starter",
    ],
)
def test_every_start_circuit_can_be_estimated(name: str) -> None:
    """From a machine on the bench alone there is a motor that pulls, in either voltage class."""
    for volts, hertz in ((115.0, 60.0), (230.0, 50.0)):
        found = estimate(at_hand(Machine.of(name, nameplate=Nameplate(volts, hertz, 9.0))))
        assert found.best.locked(volts).torque > 0
        assert found.best.shaft_watts > 0


def test_windings_known_to_the_machine_are_used() -> None:
    """A winding's data in the machine stands in for a reading."""
    known = {"run_winding.winding": Spread(4.0, 1.1, "Ω", "data sheet (invented)")}
    given = at_hand(Machine.of("rsir-ptc", known=known))
    assert given.run_ohms == 4.0
    assert given.ohms_factor == pytest.approx(1.1)


def test_three_phase_is_refused() -> None:
    """A machine without run and start winding is refused in words."""
    with pytest.raises(Refused, match="single-phase"):
        at_hand(Machine.of("three-phase"))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"volts": 60.0}, "100–127"),
        ({"locked_rotor_amps": 1.0}, "swapped"),
        ({"run_ohms": 0.0}, "run_ohms"),
        ({"poles": 5}, "poles"),
        ({"horsepower": -1.0}, "horsepower"),
        ({"gear": None}, "start gear"),
    ],
)
def test_impossible_entries_are_refused(change: dict[str, Any], says: str) -> None:
    """What cannot belong to such a motor is refused with what would be right."""
    with pytest.raises(OutOfRange, match=says):
        replace(FULL, **change)


def test_draws_need_a_number() -> None:
    """No draw at all is refused."""
    found: Estimate = estimate(FULL)
    with pytest.raises(OutOfRange, match="draws"):
        found.possible(0)


def test_a_range_may_be_open_above() -> None:
    """What never happens in some of the motors leaves the range open at that end."""
    found = range_of([1.0, 2.0, math.inf, math.inf])
    assert found.low < 2
    assert found.high == math.inf
    with pytest.raises(OutOfRange):
        range_of([])
    with pytest.raises(OutOfRange):
        range_of([1.0], level=1.0)
