"""The machine's steady state: two theories, conservation of energy, limits."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from humclick.errors import OutOfRange
from humclick.physics.copper import resistance_at
from humclick.start.machine import Motor, steady
from tests.start.machines import KRAUSE, KRAUSE_CAPACITOR, ROUND
from tests.start.revolving import inductances, revolving

slips = st.floats(0.01, 1.9)
outsides = st.one_of(
    st.none(), st.builds(complex, st.floats(0.0, 80.0), st.floats(-150.0, 0.0)).filter(lambda z: abs(z) > 1)
)


@given(slips, outsides)
def test_two_theories_agree(slip: float, outside: complex | None) -> None:
    """The q-d form and the double revolving field give the same currents and torque at any slip."""
    state = steady(ROUND, 110, slip, start_impedance=outside)
    run, start, torque = revolving(ROUND, 110, slip, start_impedance=outside)
    assert state.run == pytest.approx(run, rel=1e-9, abs=1e-9)
    assert state.start == pytest.approx(start, rel=1e-9, abs=1e-9)
    assert state.torque == pytest.approx(torque, rel=1e-8, abs=1e-9)


@given(slips, outsides, st.floats(0.0, 3.0), st.one_of(st.none(), st.floats(5e-6, 50e-6)))
def test_no_watt_is_lost(slip: float, outside: complex | None, ahead: float, farads: float | None) -> None:
    """What comes from the supply goes into copper, cage, start gear and shaft."""
    run_capacitor = None if farads is None else 2 - 1j / (2 * math.pi * 60 * farads)
    state = steady(
        KRAUSE,
        110,
        slip,
        start_impedance=outside,
        run_capacitor=run_capacitor,
        supply_impedance=ahead * (1 + 0.3j),
    )
    spent = state.stator_loss + state.rotor_loss + state.outside_loss + state.power_out
    assert state.power_in == pytest.approx(spent, rel=1e-9, abs=1e-9)
    assert state.through_gear + state.through_capacitor == pytest.approx(state.start, rel=1e-9, abs=1e-12)
    if outside is None:
        assert abs(state.through_gear) < 1e-9


@pytest.mark.parametrize("slip", [1.0, 0.25])
def test_time_integration_reaches_the_phasors(slip: float) -> None:
    """Flux equations integrated at a tight tolerance settle on the phasor solution within 0.1 %."""
    lengths = inductances(KRAUSE)
    back, w, n = np.linalg.inv(lengths), 2 * math.pi * 60, KRAUSE.turns_ratio
    ohms = np.array([KRAUSE.run_ohms, KRAUSE.start_ohms + 3.0, KRAUSE.rotor_ohms, KRAUSE.rotor_ohms_start])
    speed = (1 - slip) * w

    def rates(t: float, y: Any) -> Any:
        i = back @ y[:4]
        v = 110 * math.sqrt(2) * math.cos(w * t)
        turning = np.array([0, 0, speed * y[3] / n, -n * speed * y[2]])
        return np.append(np.array([v, v - y[4], 0, 0]) - ohms * i + turning, i[1] * 14.5 * w)

    periods, points = 60, 400
    times = np.linspace((periods - 1) / 60, periods / 60, points, endpoint=False)
    found = solve_ivp(rates, (0, periods / 60), np.zeros(5), "DOP853", t_eval=times, rtol=1e-9, atol=1e-10)
    i = back @ found.y[:4]
    torque = np.mean(KRAUSE.poles / 2 * (n * found.y[2] * i[3] - found.y[3] * i[2] / n))
    turn = np.exp(-1j * w * times) * math.sqrt(2) / points
    state = steady(KRAUSE, 110, slip, start_impedance=KRAUSE_CAPACITOR)
    assert i[0] @ turn == pytest.approx(state.run, rel=1e-3)
    assert i[1] @ turn == pytest.approx(state.start, rel=1e-3)
    assert torque == pytest.approx(state.torque, rel=1e-3)


def test_no_torque_without_a_start_winding() -> None:
    """With its start circuit open a motor at rest draws current and pulls in neither direction."""
    state = steady(KRAUSE, 110)
    assert abs(state.line) > 14
    assert state.torque == pytest.approx(0, abs=1e-12)
    assert state.forward == pytest.approx(state.backward)


def test_a_round_cage_has_no_ripple_at_rest() -> None:
    """At standstill a cage that is the same on both axes gives no torque at twice the line frequency."""
    assert steady(ROUND, 110, start_impedance=KRAUSE_CAPACITOR).torque_ripple < 1e-9
    assert steady(ROUND, 110, 0.05).torque_ripple > 1


@given(st.floats(0.0, 3.0))
def test_synchronous_speed_needs_no_care(ahead: float) -> None:
    """At slip zero nothing divides by zero, and the backward field leaves a small braking torque."""
    state = steady(KRAUSE, 110, 0.0, supply_impedance=ahead)
    assert state.torque < 0
    assert state.backward > 0


def test_start_winding_is_a_generator_once_it_is_released() -> None:
    """Near speed the open start winding shows more volts than at rest: what a potential relay lives on."""
    at_rest, running = steady(KRAUSE, 110, 1.0), steady(KRAUSE, 110, 0.05)
    assert abs(at_rest.start_volts) == pytest.approx(0, abs=1e-9)
    assert abs(running.start_volts) > 90


def test_frequency_scales_reactance_only() -> None:
    """At half the frequency and half the volts a motor without resistance would draw the same current."""
    bare = replace(KRAUSE, run_ohms=1e-9, rotor_ohms=1e-9, rotor_ohms_d=1e-9)
    assert abs(steady(bare, 55, hertz=30).run) == pytest.approx(abs(steady(bare, 110).run), rel=1e-6)


def test_warm_copper_draws_less() -> None:
    """A motor whose windings are at 95 °C draws less."""
    more = resistance_at(95, 1.0, KRAUSE.celsius)
    hot = replace(KRAUSE, run_ohms=KRAUSE.run_ohms * more, start_ohms=KRAUSE.start_ohms * more)
    assert abs(steady(hot, 110).line) < abs(steady(KRAUSE, 110).line)


def test_short_across_run_capacitor_takes_all_of_the_current() -> None:
    """A shorted run capacitor puts the start winding straight across the line."""
    shorted = steady(KRAUSE, 110, start_impedance=5 + 0j, run_capacitor=0j)
    assert shorted.start == pytest.approx(steady(KRAUSE, 110, start_impedance=0j).start)
    assert shorted.through_capacitor == shorted.start


def test_inductances_are_positive_and_coupled_within_an_axis_only() -> None:
    """The matrix is symmetric, positive definite, and at rest does not couple the axes."""
    whole = inductances(KRAUSE)
    assert np.allclose(whole, whole.T)
    assert np.linalg.eigvalsh(whole).min() > 0
    assert whole[0, 1] == whole[0, 3] == whole[2, 1] == 0
    assert whole[0, 2] * 2 * math.pi * 60 == pytest.approx(66.8)


@pytest.mark.parametrize(
    ("field", "value", "right"),
    [
        ("run_ohms", 0.0, "above zero"),
        ("run_ohms", math.nan, "above zero"),
        ("rotor_leakage", -1.0, "zero or"),
        ("turns_ratio", 9.0, "from 0.2 to 5"),
        ("poles", 3, "2, 4, 6 or 8"),
        ("hertz", 400.0, "from 5 to 120"),
        ("inertia", -1e-3, "kg m²"),
        ("rotor_ohms_d", 0.0, "above zero"),
    ],
)
def test_impossible_motors_are_refused(field: str, value: Any, right: str) -> None:
    """A motor that cannot be is refused with what would be right."""
    with pytest.raises(OutOfRange, match=right):
        replace(KRAUSE, **{field: value})


def test_a_motor_without_leakage_is_refused() -> None:
    """No leakage anywhere leaves no inductance to limit a change of current."""
    with pytest.raises(OutOfRange, match="leakage"):
        Motor(**{**_fields(KRAUSE), "run_leakage": 0.0, "rotor_leakage": 0.0})


def _fields(motor: Motor) -> dict[str, Any]:
    return {name: getattr(motor, name) for name in Motor.__dataclass_fields__}


@pytest.mark.parametrize(("volts", "slip", "hertz"), [(-1, 1, 60), (110, 9, 60), (110, 1, 1000)])
def test_impossible_states_are_refused(volts: float, slip: float, hertz: float) -> None:
    """Volts below zero, a slip or a frequency out of range are refused."""
    with pytest.raises(OutOfRange):
        steady(KRAUSE, volts, slip, hertz=hertz)


def test_lossless_resonance_is_refused() -> None:
    """A start reactor and a run capacitor without any loss side by side are refused, not divided by zero."""
    with pytest.raises(OutOfRange, match="resonate"):
        steady(KRAUSE, 110, start_impedance=10j, run_capacitor=-10j)


def test_phasors_have_the_supply_as_reference() -> None:
    """With nothing ahead of the motor the terminals see the supply, and the current lags."""
    state = steady(KRAUSE, 110)
    assert state.terminal_volts == 110
    assert cmath.phase(state.run) < 0
