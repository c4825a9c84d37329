"""The machine and the splitting of its phase, against worked examples of the textbooks."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import pytest

from humclick.physics.capacitor import (
    StartCurrents,
    amps_through,
    greatest_torque_farads,
    quadrature_farads,
    start_currents,
)
from humclick.start.case import Capacitor, Load, SpeedSwitch, StartCase, Supply
from humclick.start.machine import Steady, steady
from humclick.start.run import simulate
from tests.published import published
from tests.start.machines import KRAUSE, KRAUSE_CAPACITOR, main_only

FITZGERALD = "Fitzgerald, Kingsley and Umans, Electric Machinery"
CHAPMAN = "Chapman, Electric Machinery Fundamentals"
KOSOW = "Kosow, Electric Machinery and Transformers"
KOTHARI = "Kothari and Nagrath, Electric Machines"


def polar(value: complex) -> tuple[float, float]:
    """Magnitude and angle in degrees."""
    return abs(value), math.degrees(cmath.phase(value))


def at(amps: float, degrees: float) -> complex:
    """A phasor from its magnitude and angle."""
    return cmath.rect(amps, math.radians(degrees))


def power(volts: float, amps: complex) -> float:
    """Power drawn at a voltage of angle 0. [W]"""
    return volts * amps.real


def power_factor(amps: complex) -> float:
    """Power factor of a current at a voltage of angle 0. [-]"""
    return amps.real / abs(amps)


def shaft_torque(state: Steady, lost: float, synchronous: float, slip: float) -> float:
    """Torque left at the shaft after rotational losses. [N m]"""
    return (state.power_out - lost) / (synchronous * (1 - slip))


@published(
    source=FITZGERALD, where="Example 9.2: core 24 W, friction and windage 13 W", printed_to="3 figures, 1 %"
)
def test_quarter_horsepower_motor_runs_on_its_main_winding() -> None:
    """At slip 0.05 the fractional-horsepower motor takes the printed amps and gives the printed watts."""
    motor = main_only(2.02, 2.79, 4.12, 2.12, 66.8)
    state = steady(motor, 110, 0.05)
    assert abs(state.line) == pytest.approx(3.59, rel=0.01)
    assert state.power_in / (110 * abs(state.line)) == pytest.approx(0.620, rel=0.01)
    assert state.power_in == pytest.approx(244, rel=0.01)
    shaft = state.power_out - 24 - 13
    assert shaft == pytest.approx(147, rel=0.01)
    assert shaft_torque(state, 37, motor.synchronous, 0.05) == pytest.approx(0.821, rel=0.01)
    assert shaft / state.power_in == pytest.approx(0.602, rel=0.01)


@published(source=FITZGERALD, where="Example 9.1", printed_to="177 µF, 1 %")
def test_capacitor_for_a_quarter_period() -> None:
    """The capacitor that sets the currents a quarter period apart is the printed one."""
    farads = quadrature_farads(4.5 + 3.7j, 9.5 + 3.5j, 60)
    assert farads == pytest.approx(177e-6, rel=0.01)
    with_it = start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j, farads=farads)
    assert math.degrees(cmath.phase(with_it.main)) == pytest.approx(-39.6, abs=0.3)
    assert with_it.angle_between == pytest.approx(90, abs=1e-9)


@published(source=FITZGERALD, where="problem with main winding 4.82 + j7.25 Ω", printed_to="0.1°")
def test_windings_without_a_capacitor_are_hardly_apart() -> None:
    """The two currents lie seven degrees apart; the capacitor makes ten times the torque."""
    bare = start_currents(120, 4.82 + 7.25j, 7.95 + 9.21j)
    assert polar(bare.main) == pytest.approx((13.78, -56.4), abs=0.05)
    assert polar(bare.auxiliary) == pytest.approx((9.86, -49.2), abs=0.05)
    farads = quadrature_farads(4.82 + 7.25j, 7.95 + 9.21j, 60)
    assert farads == pytest.approx(183.0e-6, rel=1e-3)
    best = start_currents(120, 4.82 + 7.25j, 7.95 + 9.21j, farads=farads)
    assert best.capacitor_volts > 180 > 120
    assert best.torque_index / bare.torque_index == pytest.approx(10.2, abs=0.05)


@published(
    source=FITZGERALD, where="problem of the 500 W four-pole motor", printed_to="inputs; results recomputed"
)
def test_half_kilowatt_motor_at_its_rated_slip() -> None:
    """Current, power factor, speed and shaft power of the 115 V motor follow from its circuit."""
    state = steady(main_only(1.68, 1.87, 2.96, 1.72, 60.6), 115, 0.042)
    assert polar(state.line) == pytest.approx((4.368, -49.7), abs=0.05)
    assert state.torque == pytest.approx(1.407, rel=1e-3)
    assert state.power_out - 38 - 11.8 == pytest.approx(204.3, rel=1e-3)


@published(source=FITZGERALD, where="problem of the 120 V capacitor motor", printed_to="0.1°")
def test_run_capacitor_stands_more_than_the_supply() -> None:
    """Line current and power follow from the two currents, and the capacitor sees 1.8 times the supply."""
    motor = StartCurrents(at(4.89, -55.8), at(3.32, 34.2), 0.0)
    assert polar(motor.line) == pytest.approx((5.911, -21.6), abs=0.05)
    assert power(120, motor.line) == pytest.approx(659.3, rel=1e-3)
    assert power_factor(motor.line) == pytest.approx(0.930, abs=5e-4)
    assert 3.32 / amps_through(41.3e-6, 1.0, 60.0) == pytest.approx(213.2, rel=1e-3)


@published(source=CHAPMAN, where="Problem 9-1", printed_to="3 figures")
def test_third_horsepower_motor_at_five_percent_slip() -> None:
    """Current, powers, torques and efficiency are those of the solution."""
    motor = main_only(2.00, 2.56, 2.80, 2.56, 60.5)
    state = steady(motor, 120, 0.05)
    assert polar(state.line) == pytest.approx((4.86, -46.2), abs=0.05)
    assert state.power_in == pytest.approx(403.5, rel=1e-3)
    assert state.forward == pytest.approx(340.6, rel=1e-3)
    assert state.backward == pytest.approx(15.61, rel=1e-3)
    assert state.power_out == pytest.approx(309, abs=0.5)
    assert state.power_out - 51 == pytest.approx(258, abs=0.5)
    assert state.torque == pytest.approx(1.72, abs=0.005)
    assert shaft_torque(state, 51, motor.synchronous, 0.05) == pytest.approx(1.44, abs=0.005)
    assert (state.power_out - 51) / state.power_in == pytest.approx(0.639, abs=5e-4)


@published(source=CHAPMAN, where="Problem 9-2", printed_to="inputs; results recomputed")
def test_third_horsepower_motor_at_half_that_slip() -> None:
    """Half the slip gives the current, torque and output that follow from the same circuit."""
    state = steady(main_only(2.00, 2.56, 2.80, 2.56, 60.5), 120, 0.025)
    assert polar(state.line) == pytest.approx((3.874, -60.9), abs=0.05)
    assert state.power_in == pytest.approx(226.0, rel=1e-3)
    assert state.power_out - 51 == pytest.approx(121.0, rel=2e-3)
    assert state.torque == pytest.approx(0.936, rel=1e-3)


@published(source=CHAPMAN, where="Problem 9-3, auxiliary opened at 400 r/min", printed_to="the verdict")
def test_motor_whose_auxiliary_opens_too_early_slows_down() -> None:
    """At 400 r/min the main winding alone converts less than the rotational losses: it does not start."""
    state = steady(main_only(2.00, 2.56, 2.80, 2.56, 60.5), 120, (1800 - 400) / 1800)
    assert polar(state.line) == pytest.approx((17.21, -47.6), abs=0.05)
    assert state.torque == pytest.approx(0.940, rel=1e-3)
    assert 0 < state.power_out < 51


@published(source=CHAPMAN, where="Problem 9-3 in time, its start winding assumed", printed_to="the verdict")
@pytest.mark.parametrize(("opens_at", "starts"), [(400 / 1800, False), (0.75, True)])
def test_the_motor_that_fails_to_start_does_so_in_time(opens_at: float, starts: bool) -> None:
    """Released at 400 r/min against 51 W of losses the motor stops again; released later it starts."""
    motor = replace(main_only(2.00, 2.56, 2.80, 2.56, 60.5), start_ohms=7.0)
    case = StartCase(
        motor=motor,
        supply=Supply(volts=120, ohms=0.0, henries=0.0),
        gear=SpeedSwitch(opens_at=opens_at, closes_at=0.0),
        start_capacitor=Capacitor(200e-6),
        load=Load(friction=51 / (400 / 60 * 2 * math.pi)),
    )
    run = simulate(case, 2.0)
    assert run.when("start contact opens") < 0.5
    assert (abs(run.speed[-1]) > 0.9 * motor.synchronous) == starts
    if not starts:
        assert run.speed[-1] == pytest.approx(0, abs=1e-6)
        assert run.line[-1] == pytest.approx(17.46, rel=0.01)


@published(source=CHAPMAN, where="Problem 9-5", printed_to="inputs; results recomputed")
def test_six_pole_motor_on_fifty_hertz() -> None:
    """The 220 V, 50 Hz motor takes 11.6 A and gives 18.8 N m."""
    state = steady(main_only(1.30, 2.01, 1.73, 2.01, 105, poles=6, hertz=50), 220, 0.05)
    assert polar(state.line) == pytest.approx((11.58, -27.8), abs=0.05)
    assert state.power_in == pytest.approx(2253, rel=1e-3)
    assert state.power_out - 291 == pytest.approx(1575, rel=1e-3)
    assert state.torque == pytest.approx(18.76, rel=1e-3)


@published(source=CHAPMAN, where="Problem 9-6", printed_to="inputs; results recomputed")
@pytest.mark.parametrize(("volts", "torque"), [(190, 13.99), (208, 16.77), (230, 20.50)])
def test_torque_follows_the_square_of_the_volts(volts: float, torque: float) -> None:
    """At the same slip the torque goes as the voltage squared."""
    state = steady(main_only(1.30, 2.01, 1.73, 2.01, 105, poles=6, hertz=50), volts, 0.05)
    assert state.torque == pytest.approx(torque, rel=1e-3)


@published(source=KOSOW, where="Example 10-1", printed_to="3 figures")
def test_split_phase_currents_add_to_the_line() -> None:
    """4 A at -15° and 6 A at -40° make 9.77 A at -30°, with a power factor of 0.866."""
    motor = StartCurrents(at(6, -40), at(4, -15), 0.0)
    assert polar(motor.line) == pytest.approx((9.77, -30.0), abs=0.05)
    assert power_factor(motor.line) == pytest.approx(0.866, abs=5e-4)
    assert motor.auxiliary.real == pytest.approx(3.86, abs=0.005)
    assert motor.main.imag == pytest.approx(-3.86, abs=0.005)
    assert motor.angle_between == pytest.approx(25)


@published(source=KOSOW, where="Example 10-2", printed_to="3 figures")
def test_split_phase_powers() -> None:
    """The start winding takes 425 W and the run winding 506 W while it starts."""
    motor = StartCurrents(at(6, -40), at(4, -15), 0.0)
    assert power(110, motor.line) == pytest.approx(930.6, rel=1e-3)
    assert power(110, motor.auxiliary) == pytest.approx(425.0, rel=1e-3)
    assert 0.25 * 746 / power(110, motor.main) == pytest.approx(0.369, abs=5e-4)


@published(source=KOSOW, where="Example 10-3", printed_to="3 figures")
def test_capacitor_start_more_than_doubles_the_torque() -> None:
    """With the start current 42° ahead, the line sees 7.66 A and the torque is 2.343 times as large."""
    bare, motor = (StartCurrents(at(6, -40), at(4, ahead), 0.0) for ahead in (-15, 42))
    assert polar(motor.line) == pytest.approx((7.66, -8.9), abs=0.05)
    assert power_factor(motor.line) == pytest.approx(0.988, abs=5e-4)
    assert motor.torque_index / bare.torque_index == pytest.approx(2.343, abs=5e-4)


@published(source=KOTHARI, where="Example 10.4", printed_to="295.5 µF, 0.2 %")
def test_capacitors_for_quadrature_and_for_most_torque() -> None:
    """At 50 Hz, 295 µF give quadrature and 520 µF give the most torque."""
    run, start = 3 + 2.7j, 7 + 3j
    assert quadrature_farads(run, start, 50) == pytest.approx(295.3e-6, rel=1e-3)
    assert greatest_torque_farads(run, start, 50) == pytest.approx(520.3e-6, rel=1e-3)


@published(
    source="Krause, Wasynczuk and Sudhoff, Analysis of Electric Machinery",
    where="single-phase machines: 1/4 hp capacitor-start motor (parameters; results recomputed)",
    printed_to="inputs; results recomputed",
)
@pytest.mark.parametrize(
    ("outside", "start", "line", "torque"),
    [
        (None, 0.0, 14.17, 0.0),
        (0j, 7.83, 21.85, 1.271),
        (KRAUSE_CAPACITOR, 6.29, 17.49, 3.999),
        (18 - 1j / (2 * math.pi * 60 * 21.1e-6), 0.893, 13.79, 0.547),
    ],
)
def test_quarter_horsepower_motor_at_standstill(
    outside: complex | None, start: float, line: float, torque: float
) -> None:
    """Open, shorted, with its capacitor and with a far smaller one, the motor pulls as computed elsewhere."""
    state = steady(KRAUSE, 110, 1.0, start_impedance=outside)
    assert abs(state.run) == pytest.approx(14.17, abs=0.005)
    assert abs(state.start) == pytest.approx(start, abs=0.006)
    assert abs(state.line) == pytest.approx(line, abs=0.006)
    assert state.torque == pytest.approx(torque, abs=0.001)
