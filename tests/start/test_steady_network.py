"""The second opinion on start attempts, itself set against textbooks."""

from __future__ import annotations

import cmath
import math

import pytest

from humclick.arrangements.machine import Machine
from humclick.circuit.standstill import Start
from humclick.parts.family import Condition, Regime
from humclick.start.rows import OUTCOMES
from tests.published import published
from tests.start.steady_network import SteadyNetwork, torque_of


@published(
    source="Kosow, Electric Machinery and Transformers", where="Examples 10-1 and 10-3", printed_to="0.001"
)
def test_starting_torque_goes_with_the_sine_between_the_currents() -> None:
    """A capacitor that turns 25° into 82° between the same currents gives 2.343 times the torque."""
    run = cmath.rect(6.0, math.radians(-40))
    split = Start(0j, run, cmath.rect(4.0, math.radians(-15)), 0.0)
    capacitor = Start(0j, run, cmath.rect(4.0, math.radians(42)), 0.0)

    assert torque_of(capacitor) / torque_of(split) == pytest.approx(2.343, abs=0.001)


@published(
    source="Chapman, Electric Machinery Fundamentals",
    where="Problem 9-3: the auxiliary winding opens at 400 r/min",
)
def test_a_motor_on_its_main_winding_alone_does_not_start() -> None:
    """With the start circuit open the torque is zero and the machine hums until the protector lets go."""
    power = SteadyNetwork(Machine.of("csir-current-relay"))

    start = power.core({"start_capacitor": "open"}, Condition(Regime.START))[0][1]
    assert power.torque(start) < 0.01  # what is left flows through the bleed resistor
    shares = power.outcomes({"start_capacitor": "open"})
    assert OUTCOMES[shares.index(max(shares))] == "hum_click"
