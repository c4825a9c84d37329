"""The start in time comes to rest in the phasor solution."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from humclick.start.case import Capacitor, ClosedCircuit, Heat, Load, StartCase, Supply
from humclick.start.machine import steady
from humclick.start.run import Run, simulate
from tests.published import published
from tests.start.machines import KRAUSE

#: Windings so heavy that they stay cold. [J/K]
COLD = Heat(run_capacity=1e8, start_capacity=1e8)
FARADS = 1 / (2 * math.pi * 60 * 14.5)


def case(slip: float, start: bool) -> StartCase:
    """Krause's machine behind a supply with impedance, held at a slip."""
    speed = KRAUSE.synchronous * (1 - slip)
    return StartCase(
        motor=replace(KRAUSE, inertia=1e7),
        supply=Supply(110.0, 60.0, 0.3, 3e-4),
        gear=ClosedCircuit(0.5) if start else None,
        start_capacitor=Capacitor(FARADS, 2.5) if start else None,
        load=Load(seized=slip == 1.0, speed=speed),
        heat=COLD,
    )


def mean_square(values: np.ndarray) -> float:
    """Root of the mean square of the last cycles."""
    return float(np.sqrt(np.mean(values[-24:] ** 2)))


def check(run: Run, slip: float, start: bool) -> None:
    """Compare the last cycles with the phasor solution."""
    found = steady(
        KRAUSE,
        110.0,
        slip,
        start_impedance=3.0 - 14.5j if start else None,
        supply_impedance=0.3 + 2j * math.pi * 60 * 3e-4,
    )
    assert mean_square(run.line) == pytest.approx(abs(found.line), rel=1e-3)
    assert mean_square(run.run) == pytest.approx(abs(found.run), rel=1e-3)
    if start:
        assert mean_square(run.start) == pytest.approx(abs(found.start), rel=1e-3)
    assert float(np.mean(run.torque[-24:])) == pytest.approx(found.torque, rel=1e-3, abs=1e-3)


@pytest.mark.parametrize("start", [True, False])
@pytest.mark.parametrize("slip", [1.0, 0.25, 0.05])
def test_currents_and_torque_settle_in_the_phasor_solution(slip: float, start: bool) -> None:
    """At locked rotor and at a fixed slip, currents and mean torque are those of the phasors to 0.1 %."""
    check(simulate(case(slip, start), 1.5, step=5e-5), slip, start)


@published(
    source="Krause, Wasynczuk and Sudhoff, Analysis of Electric Machinery",
    where="parameters of the 1/4 hp capacitor-start motor; currents from phasors of the same model",
    printed_to="0.1 %",
)
def test_locked_rotor_of_the_textbook_motor() -> None:
    """The textbook motor at 110 V draws 17.49 A locked with its start capacitor, 3.998 N m on the mean."""
    still = case(1.0, True).with_(supply__ohms=0.0, supply__henries=0.0)
    run = simulate(still, 1.0, step=5e-5)
    assert mean_square(run.line) == pytest.approx(17.488, rel=1e-3)
    assert float(np.mean(run.torque[-24:])) == pytest.approx(3.998, rel=1e-3)


def test_no_torque_at_twice_the_line_frequency_at_standstill() -> None:
    """With a round cage the torque of a locked rotor is steady: its wave has no 120 Hz."""
    still = case(1.0, True).with_(motor=replace(KRAUSE, inertia=1e7, rotor_ohms_d=None, rotor_leakage_d=None))
    run = simulate(still, 1.0, step=5e-5, record="wave")
    last = run.torque[run.time > 0.8]
    assert np.ptp(last) < 0.02 * np.mean(last)
