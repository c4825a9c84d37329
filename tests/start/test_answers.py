"""Answers of a start: ranges, least volts, weak capacitors, protector, and what rules them."""

from __future__ import annotations

import math
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import OutOfRange, Unknown
from humclick.sourced import Spread
from humclick.start.answers import Answers, answers, best_run
from humclick.start.at_hand import at_hand
from humclick.start.attempts import attempts, possible_of, typical_attempt, weakened
from humclick.start.batch import simulate_many
from humclick.start.conditions import StartConditions, pressure_of, pressures
from humclick.start.estimate import Estimate, estimate
from humclick.start.machine import steady
from humclick.start.run import simulate
from tests.start.machines import KRAUSE
from tests.start.test_estimate import seen, true_machine

PLATE = Nameplate(115.0, 60.0, 12.0, 1.8)
FEW = 16


def known(arrangement: str, plate: Nameplate = PLATE) -> tuple[Machine, Estimate]:
    """An invented machine with its windings measured, and what is known of its motor."""
    machine = Machine.of(arrangement, nameplate=plate)
    return machine, estimate(at_hand(machine, run_ohms=3.4, start_ohms=11.2))


@pytest.fixture(scope="module")
def healthy() -> Answers:
    """A PTC machine on its plate's volts, pressures equal."""
    return answers(*known("rsir-ptc"), StartConditions(volts=115.0), n=FEW)


def test_a_sound_machine_starts(healthy: Answers) -> None:
    """On its own volts with equal pressures nearly every possible machine starts, in under two seconds."""
    assert healthy.starts > 0.85
    assert healthy.speed_time.middle < 1.0
    assert healthy.release_time is not None
    assert healthy.release_time.middle < 3.0
    assert sum(healthy.happenings.values()) == pytest.approx(1.0)


def test_amps_are_those_of_the_plate(healthy: Answers) -> None:
    """The locked-rotor amps of the attempt lie about the plate's, the momentary peak above them."""
    assert healthy.locked_amps.low < 12.0 * 1.05
    assert healthy.locked_amps.high > 12.0 * 0.9
    assert healthy.peak_amps.middle > healthy.locked_amps.middle
    assert healthy.running_amps is not None
    assert healthy.running_amps.holds(1.8) or healthy.running_amps.middle == pytest.approx(1.8, rel=0.4)


def test_a_held_rotor_trips_the_protector(healthy: Answers) -> None:
    """With the rotor held the protector opens within half a minute and closes again after longer."""
    assert healthy.trip_time is not None
    assert healthy.open_time is not None
    assert 1.0 < healthy.trip_time.middle < 40.0
    assert healthy.open_time.middle > healthy.trip_time.middle / 2


def test_margin_belongs_to_the_least_volts(healthy: Answers) -> None:
    """The torque margin is the square of the volts over the least volts."""
    assert healthy.torque_margin.middle == pytest.approx((115 / healthy.least_volts.middle) ** 2, rel=0.05)
    assert healthy.least_volts.low < healthy.least_volts.middle < healthy.least_volts.high


def test_least_volts_divide_starting_from_not(healthy: Answers) -> None:
    """Well above the range of least volts nearly all start, well below it nearly none."""
    machine, found = known("rsir-ptc")
    above = answers(machine, found, StartConditions(volts=healthy.least_volts.high * 1.08), n=FEW)
    below = answers(machine, found, StartConditions(volts=healthy.least_volts.low * 0.92), n=FEW)
    assert above.starts > 0.85
    assert below.starts < 0.15
    assert below.speed_time.middle == math.inf


def test_pressure_makes_it_harder(healthy: Answers) -> None:
    """Against the running pressures more volts are needed than against equal ones."""
    against = answers(
        *known("rsir-ptc"), StartConditions(volts=115.0, difference=pressure_of("running")), n=FEW
    )
    assert against.least_volts.middle > healthy.least_volts.middle
    assert against.torque_margin.middle < healthy.torque_margin.middle
    assert against.starts <= healthy.starts


def test_a_long_cord_takes_volts_away(healthy: Answers) -> None:
    """An ohm and a half ahead of the motor lowers its amps and raises the volts needed at the outlet."""
    cord = answers(*known("rsir-ptc"), StartConditions(volts=115.0, supply_ohms=1.8), n=FEW)
    assert cord.locked_amps.middle < healthy.locked_amps.middle
    assert cord.least_volts.middle > healthy.least_volts.middle


def test_a_weak_capacitor_is_told(healthy: Answers) -> None:
    """A capacitor machine is answered twice, a machine without one once."""
    assert healthy.weak is None
    told = answers(*known("csir-current-relay"), StartConditions(volts=115.0), n=FEW)
    assert told.weak is not None
    assert told.weak.part == "start capacitor"
    assert told.weak.share == pytest.approx(0.8)
    assert told.weak.least_volts.middle < math.inf
    assert told.least_volts.low >= told.searched_from > 30


def test_a_weak_capacitor_is_weaker_by_phasors() -> None:
    """Where the capacitor lies below that of most torque, 20 % less of it gives less starting torque."""
    machine, found = known("csir-current-relay")
    case = typical_attempt(machine, found.best, StartConditions(volts=115.0, start_farads=60e-6))
    assert case.start_capacitor is not None
    assert case.start_capacitor.farads == pytest.approx(60e-6)
    weak = weakened(case, 0.8)
    assert weak.start_capacitor is not None
    assert weak.start_capacitor.farads == pytest.approx(48e-6)

    def torque(farads: float) -> float:
        outside = 0.5 - 1j / (2 * math.pi * 60 * farads)
        return steady(found.motor, 115, start_impedance=outside).torque

    assert torque(48e-6) < torque(60e-6)


def test_a_dead_starter_never_starts() -> None:
    """With the PTC open nothing starts at any volts, and the margin is nothing."""
    told = answers(*known("rsir-ptc"), StartConditions(volts=115.0), modes={"ptc": "open"}, n=FEW)
    assert told.starts == 0
    assert told.least_volts.low == math.inf
    assert told.torque_margin.high == 0
    assert told.running_amps is None


def test_a_hot_pill_does_not_start_against_pressure() -> None:
    """With pressures half equalised most machines start rested, and hardly any right after an attempt."""
    machine, found = known("rsir-ptc")
    partly = pressure_of("partly")
    hot = answers(machine, found, StartConditions(volts=115.0, hot=True, difference=partly), n=FEW)
    rested = answers(machine, found, StartConditions(volts=115.0, difference=partly), n=FEW)
    assert hot.starts < 0.2
    assert rested.starts > 0.5


@pytest.mark.parametrize("arrangement", ["csr-potential-relay", "psc", "rscr-ptc", "timed-starter"])
def test_other_start_circuits_are_answered(arrangement: str) -> None:
    """Every kind of start circuit gets amps, times and least volts."""
    plate = Nameplate(230.0, 50.0, 6.0)
    machine = Machine.of(arrangement, nameplate=plate)
    told = answers(machine, estimate(at_hand(machine)), StartConditions(volts=230.0), n=FEW)
    assert told.locked_amps.middle == pytest.approx(6.0, rel=0.6)
    assert told.weak is not None
    assert (told.release_time is None) == (arrangement == "psc")


def test_what_is_missing_widens_the_answer() -> None:
    """Without amps and ohms the answer's range is wider."""
    machine, found = known("rsir-ptc")
    bare = Machine.of("rsir-ptc")
    wide = answers(bare, estimate(at_hand(bare)), StartConditions(volts=115.0), n=FEW).locked_amps
    narrow = answers(machine, found, StartConditions(volts=115.0), n=FEW).locked_amps
    assert wide.high / wide.low > 1.5 * narrow.high / narrow.low


def test_a_known_motor_still_has_unknown_surroundings() -> None:
    """For a motor given exactly, protector and load still make ranges, and nothing is called unknowable."""
    machine = Machine.of("csir-current-relay", nameplate=Nameplate(110.0, 60.0, 17.5))
    told = answers(machine, KRAUSE, StartConditions(volts=110.0), n=FEW)
    assert told.unknowable == ()
    assert told.locked_amps.high / told.locked_amps.low < 1.2
    assert told.trip_time is not None
    assert told.trip_time.high > told.trip_time.low
    assert possible_of(KRAUSE, machine).shaft_watts > 100


def test_locked_amps_are_those_of_the_phasors() -> None:
    """With the rotor held the attempt's amps are the phasor solution's behind the same supply."""
    machine, found = known("rsir-ptc")
    case = typical_attempt(machine, found.best, StartConditions(volts=115.0)).with_(
        load__seized=True, protector=None
    )
    run = simulate(case, 0.2)
    supply = complex(case.supply.ohms, 2 * math.pi * 60 * case.supply.henries)
    pill = complex(found.best.gear_ohms or 0.0)
    state = steady(case.motor, 115, start_impedance=pill, supply_impedance=supply)
    assert float(np.max(run.line[4:])) == pytest.approx(abs(state.line), rel=0.02)


def test_the_same_seed_gives_the_same_answer() -> None:
    """Answers repeat with their seed."""
    machine, found = known("rsir-ptc")
    first, second, third = (
        answers(machine, found, StartConditions(volts=105.0), n=8, seed=seed) for seed in (1, 1, 2)
    )
    assert first == second != third


def test_attempts_keep_load_and_motor_together() -> None:
    """Each attempt asks for the power its motor is rated for, within the load's own spread."""
    machine, found = known("rsir-ptc")
    drawn = found.possible(10)
    for case, each in zip(attempts(machine, drawn, StartConditions(volts=115.0), {}), drawn, strict=True):
        speed = each.motor.synchronous * (1 - each.slip)
        load = case.load
        watts = (load.gas_torque + load.friction + load.viscous * speed + load.fan * speed**2) * speed
        assert 0.6 < watts / each.shaft_watts < 1.7
        assert case.motor == each.motor


def test_answers_hold_for_strangers() -> None:
    """For machines made otherwise than the prior, played with surroundings of their own, the ranges hold."""
    rng, held = np.random.default_rng(11), []
    asked = StartConditions(volts=115.0)
    for k in range(8):
        truth = true_machine(rng)
        given = seen(truth, rng)
        plate = Nameplate(115.0, 60.0, given.locked_rotor_amps, given.rated_load_amps)
        machine = Machine.of("rsir-ptc", nameplate=plate)
        told = answers(machine, estimate(given), asked, n=24, seed=k)
        (case,) = attempts(machine, [truth], asked, {}, seed=1000 + k)
        shown = simulate_many([case], 3.0)
        stalled = simulate_many([case.with_(load__seized=True)], 60.0)
        assert told.trip_time is not None
        held += [
            told.locked_amps.holds(float(shown.locked[0])),
            told.peak_amps.holds(float(shown.peak[0])),
            told.speed_time.holds(float(shown.speed_time[0])),
            told.trip_time.holds(float(stalled.trip_time[0])),
        ]
        up, down = (
            simulate_many([case.with_(supply__volts=volts)], 3.0).speed_time[0]
            for volts in (told.least_volts.high + 1, told.least_volts.low - 1)
        )
        held.append(bool(np.isfinite(up) and np.isnan(down)))
    assert np.mean(held) > 0.8


def test_answers_come_while_the_thumb_is_on_the_glass(healthy: Answers) -> None:
    """Forty machines, all answers with their ranges, take about a second on one core."""
    machine, found = known("rsir-ptc")
    begun = time.process_time()
    told = answers(machine, found, StartConditions(volts=115.0))
    spent = time.process_time() - begun
    assert told.machines == 40
    assert spent < 2.0
    assert healthy.machines == FEW


def test_the_best_run_has_a_curve() -> None:
    """The most probable motor's attempt comes half cycle by half cycle."""
    run = best_run(*known("rsir-ptc"), StartConditions(volts=115.0), 1.0)
    assert len(run.time) == pytest.approx(120, abs=3)
    assert run.speed[-1] > 300


@pytest.mark.parametrize(
    ("word", "share"), [("equal", 0.0), (" Running ", 1.0), ("50 %", 0.5), ("0,4", 0.4), ("1.2", 1.2)]
)
def test_pressures_have_words_and_figures(word: str, share: float) -> None:
    """A pressure is given by a word, a share or a percentage."""
    assert pressure_of(word) == pytest.approx(share)
    assert set(pressures()) >= {"equal", "partly", "running", "high"}


@pytest.mark.parametrize(("word", "error"), [("full", Unknown), ("-1", OutOfRange), ("nan", OutOfRange)])
def test_wrong_pressures_are_refused(word: str, error: type[Exception]) -> None:
    """What is neither a known word nor a possible share is refused."""
    with pytest.raises(error):
        pressure_of(word)


@pytest.mark.parametrize("change", [{"volts": 5.0}, {"ambient": 200.0}, {"supply_ohms": -1.0}])
def test_impossible_conditions_are_refused(change: dict[str, Any]) -> None:
    """Conditions that cannot be are refused."""
    with pytest.raises(OutOfRange):
        replace(StartConditions(volts=115.0), **change)
    with pytest.raises(OutOfRange, match="capacitor"):
        StartConditions(volts=115.0, start_farads=3.0)


def test_only_machines_that_work_when_sound_are_counted() -> None:
    """A sound machine with a current relay, on its plate's volts, starts and lets its start winding go."""
    machine = Machine.of("rsir-current-relay", nameplate=Nameplate(115.0, 60.0, 14.0, 1.6))
    found = estimate(at_hand(machine, run_ohms=2.9, start_ohms=9.5))
    told = answers(machine, found, StartConditions(volts=115.0), n=FEW)
    assert told.starts == 1.0
    assert told.happenings == {"runs": 1.0}
    assert told.release_time is not None
    assert told.release_time.high < math.inf
    assert 2 <= told.machines <= FEW


def test_a_machine_that_starts_has_least_volts() -> None:
    """A relay that holds on at far too many volts leaves the least volts below those it starts at."""
    machine = Machine.of("rsir-current-relay", nameplate=Nameplate(115.0, 60.0, 14.0, 1.6))
    found = estimate(at_hand(machine, run_ohms=2.9, start_ohms=9.5))
    told = answers(machine, found, StartConditions(volts=115.0), n=FEW)
    assert told.least_volts.high <= 115.0
    assert told.torque_margin.low >= 1.0


def test_an_attempt_strays_alike_whatever_is_wrong() -> None:
    """The same machine has the same load, line and protector with a part broken, or hot, as when sound."""
    machine, found = known("rsir-ptc")
    motors = found.possible(3, 0)
    sound = attempts(machine, motors, StartConditions(volts=115.0), {})
    broken = attempts(machine, motors, StartConditions(volts=98.0, hot=True), {"ptc": "open"})
    for one, other in zip(sound, broken, strict=True):
        assert one.protector == other.protector
        assert one.load == other.load
        assert one.supply.ohms == other.supply.ohms
        assert one.heat == other.heat


def test_the_smallest_motors_are_tried_too() -> None:
    """Of motors of which nothing was read, even the smallest makes an attempt."""
    machine = Machine.of("rsir-ptc")
    cases = attempts(machine, estimate(at_hand(machine)).possible(300, 0), StartConditions(volts=115.0), {})
    assert len(cases) == 300
    assert min(case.heat.start_conductance for case in cases) < 2e-3


def test_a_range_needs_machines() -> None:
    """One machine makes no range."""
    with pytest.raises(OutOfRange, match="2 machines"):
        answers(*known("rsir-ptc"), StartConditions(volts=115.0), n=1)


def test_ptc_strays_about_what_the_machine_knows() -> None:
    """A pill's stamp in the machine is what its cold ohms stray about."""
    machine = Machine.of("rsir-ptc", nameplate=PLATE, known={"ptc.cold": Spread(12.0, 1.05, "Ω", "stamp")})
    found = estimate(at_hand(machine))
    ohms = [each.gear_ohms or 0.0 for each in found.possible(20)]
    assert 11 < min(ohms) < max(ohms) < 13
