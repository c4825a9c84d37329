"""The start against an independent integration: other equations, other method, tight tolerances."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from humclick.start.case import Capacitor, Heat, Load, Protector, Ptc, SpeedSwitch, StartCase, Supply
from humclick.start.run import simulate
from tests.start.machines import KRAUSE

Vector = NDArray[np.float64]
COLD = Heat(run_capacity=1e8, start_capacity=1e8)
W0 = 2 * math.pi * 60
GAS = (0.35, 0.25, 0.15, 0.05), (-0.30, -0.20, -0.05, 0.02)
LOAD = Load(
    gas_torque=0.6, cosines=GAS[0], sines=GAS[1], difference=1.0, pull_apart=1e6, equalise=1e6,
    friction=0.15, breakaway=0.2, viscous=5e-4, angle=2.0,
)  # fmt: skip


def brake(load: Load, angle: float, shaft: float) -> float:
    """Load torque, from the case's own words: gas along or against the turning, friction against it."""
    gas = 1.0 + sum(c * math.cos((k + 1) * angle) for k, c in enumerate(load.cosines))
    sway = sum(s * math.sin((k + 1) * angle) for k, s in enumerate(load.sines))
    along = min(max(shaft * KRAUSE.poles / 2 / (0.01 * W0), -1.0), 1.0)
    return along * (load.gas_torque * gas + load.friction) + load.gas_torque * sway + load.viscous * shaft


class Circuit:
    """
    The machine in currents: x = (i_q, i_d, i_qr, i_dr, v_s, v_r, shaft speed, crank angle, pill, disc).

    Start branch (gear, ohms of the pill, start capacitor) and run capacitor side by side before the start
    winding; the node between is solved for from the two branch currents.
    """

    def __init__(self, case: StartCase) -> None:
        self.case = case
        m, s = case.motor, case.supply
        L = np.zeros((4, 4))
        L[0, 0] = (m.run_leakage + m.run_magnetizing) / W0 + s.henries
        L[1, 1] = (m.start_leakage + m.start_magnetizing) / W0 + s.henries
        L[0, 1] = L[1, 0] = s.henries
        L[2, 2] = (m.rotor_leakage + m.run_magnetizing) / W0
        L[3, 3] = (m.rotor_leakage_start + m.start_magnetizing) / W0
        L[0, 2] = L[2, 0] = m.run_magnetizing / W0
        L[1, 3] = L[3, 1] = m.start_magnetizing / W0
        self.L = L
        self.open = False

    def pill(self, celsius: float) -> float:
        """Resistance of the pill."""
        gear = self.case.gear
        if not isinstance(gear, Ptc):
            return 0.0
        z = min(max((celsius - gear.knee) / gear.span, 0.0), 1.0)
        return float(gear.cold_ohms * 10.0 ** (gear.decades * z * z * (3 - 2 * z)))

    def drop(self, x: Vector) -> tuple[float, float]:
        """Voltage across the start circuit and current through the gear."""
        case = self.case
        ohms = self.pill(x[8]) + 1e-3
        if isinstance(case.gear, SpeedSwitch):
            ohms = case.gear.contact_ohms
        if case.start_capacitor:
            ohms += case.start_capacitor.loss_ohms
        if case.run_capacitor is None:
            return x[1] * ohms + x[4], x[1]
        other = case.run_capacitor.loss_ohms
        if self.open:
            return x[1] * other + x[5], 0.0
        # node: i_d = (u - v_s)/ohms + (u - v_r)/other
        u = (x[1] + x[4] / ohms + x[5] / other) / (1 / ohms + 1 / other)
        return u, (u - x[4]) / ohms

    def __call__(self, t: float, x: Vector) -> Vector:
        """Rate of change of everything."""
        m, case = self.case.motor, self.case
        n, w = m.turns_ratio, x[6] * m.poles / 2
        guard = case.protector
        Rs = case.supply.ohms + (guard.heater_ohms if guard else 0.0)
        v = math.sqrt(2) * case.supply.volts * math.sin(W0 * t + case.supply.angle) - Rs * (x[0] + x[1])
        u, gear = self.drop(x)
        flux_q = self.L[2, 0] * x[0] + self.L[2, 2] * x[2]
        flux_d = self.L[3, 1] * x[1] + self.L[3, 3] * x[3]
        volts = np.array(
            [
                v - m.run_ohms * x[0],
                v - m.start_ohms * x[1] - u,
                w * flux_d / n - m.rotor_ohms * x[2],
                -n * w * flux_q - m.rotor_ohms_start * x[3],
            ]
        )
        rates = np.zeros(10)
        if self.open and case.run_capacitor is None:
            kept = [0, 2, 3]
            rates[kept] = np.linalg.solve(self.L[np.ix_(kept, kept)], volts[kept])
        else:
            rates[:4] = np.linalg.solve(self.L, volts)
        if case.start_capacitor and not self.open:
            rates[4] = gear / case.start_capacitor.farads
        if case.run_capacitor:
            rates[5] = (x[1] - gear) / case.run_capacitor.farads
        torque = m.poles / 2 * (n * flux_q * x[3] - flux_d * x[2] / n)
        rates[6] = (torque - brake(case.load, x[7], x[6])) / m.inertia
        rates[7] = x[6]
        if isinstance(case.gear, Ptc):
            loss = gear**2 * self.pill(x[8]) - case.gear.conductance * (x[8] - 25.0)
            rates[8] = loss / case.gear.capacity
        if guard:
            rates[9] = (
                (x[0] + x[1]) ** 2 * guard.heater_ohms - guard.conductance * (x[9] - 25.0)
            ) / guard.capacity
        return rates


def play(circuit: Circuit, seconds: float, at: Vector) -> tuple[Vector, dict[str, float]]:
    """Integrate to the end; the speed switch opens at the first current zero after its speed."""
    x = np.zeros(10)
    x[7], x[8], x[9] = circuit.case.load.angle, 25.0, 25.0
    marks: dict[str, float] = {}

    def reached(_: float, y: Vector) -> float:
        return float(y[6] - 0.75 * KRAUSE.synchronous)

    def zero(_: float, y: Vector) -> float:
        return float(y[1])

    def leg(
        start: float, x: Vector, event: Callable[[float, Vector], float] | None
    ) -> tuple[float, Vector, Vector]:
        if event is not None:
            event.terminal = True  # type: ignore[attr-defined]
        here = at[at > start]
        done = solve_ivp(
            circuit, (start, seconds), x, method="LSODA", rtol=1e-10, atol=1e-11, t_eval=here, max_step=2e-4,
            events=event,
        )  # fmt: skip
        if event is not None and done.t_events[0].size:
            return float(done.t_events[0][0]), done.y_events[0][0], done.y.T
        return seconds, x, done.y.T

    # breaks away as soon as there is torque enough; the rotor is held till then
    held = circuit.case.load
    free, t = False, 0.0
    while not free:
        step = solve_ivp(
            lambda s, y: np.where(np.isin(np.arange(10), (6, 7)), 0.0, circuit(s, y)), (t, t + 2e-6), x,
            method="RK45", rtol=1e-10, atol=1e-12,
        )  # fmt: skip
        t, x = t + 2e-6, step.y[:, -1]
        q = circuit.L[2, 0] * x[0] + circuit.L[2, 2] * x[2]
        d = circuit.L[3, 1] * x[1] + circuit.L[3, 3] * x[3]
        n = KRAUSE.turns_ratio
        torque = KRAUSE.poles / 2 * (n * q * x[3] - d * x[2] / n)
        sway = sum(s * math.sin((k + 1) * x[7]) for k, s in enumerate(held.sines)) * held.gas_torque
        free = abs(torque - sway) > held.breakaway
    marks["moves"] = t
    first, x, rows = leg(t, x, reached)
    marks["speed"] = first
    if not isinstance(circuit.case.gear, SpeedSwitch):
        _, _, more = leg(first, x, None)
        return np.vstack([rows, more]), marks
    second, x, more = leg(first, x, zero)
    marks["opens"] = second
    x[1] = 0.0
    circuit.open = True
    _, _, last = leg(second, x, None)
    return np.vstack([rows, more, last]), marks


CASES = {
    "capacitor start, speed switch": StartCase(
        KRAUSE,
        Supply(110.0, 60.0, 0.3, 3e-4),
        SpeedSwitch(contact_ohms=0.5),
        Capacitor(1 / (W0 * 14.5), 2.5),
        load=LOAD,
        heat=COLD,
    ),
    "pill, run capacitor and protector": StartCase(
        replace(KRAUSE, inertia=0.004),
        Supply(115.0, 60.0, 0.4, 4e-4, angle=1.0),
        Ptc(5.0, capacity=1.1, conductance=0.022),
        run_capacitor=Capacitor(15e-6, 2.0),
        protector=Protector(0.05, trip=250.0, to_shell=0.0),
        load=LOAD,
        heat=COLD,
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_whole_start_agrees_with_an_independent_integration(name: str) -> None:
    """Currents, speed, torque path and temperatures of a start are those of other equations to 0.1 %."""
    case = CASES[name]
    ours = simulate(case, 1.0, step=1e-5, record="wave")
    at = np.arange(0.02, 0.9999, 0.001)
    theirs, marks = play(Circuit(case), 1.0, at)
    assert len(theirs) == len(at)
    peak = np.abs(theirs).max(axis=0)

    def here(values: Vector) -> Vector:
        found: Vector = np.interp(at, ours.time, values)
        return found

    for column, values in ((0, ours.run), (1, ours.start), (6, ours.speed)):
        assert np.abs(here(values) - theirs[:, column]).max() < 1e-3 * peak[column]
    if isinstance(case.gear, Ptc):
        assert np.abs(here(ours.ptc) - theirs[:, 8]).max() < 1e-3 * peak[8]
    if case.protector:
        assert np.abs(here(ours.protector) - theirs[:, 9]).max() < 1e-3 * peak[9]
    assert ours.when("rotor breaks away") == pytest.approx(marks["moves"], abs=1e-4)
    assert ours.when("three quarters of synchronous speed") == pytest.approx(marks["speed"], abs=1e-3)
    if "opens" in marks:
        assert ours.when("start contact opens") == pytest.approx(marks["opens"], abs=1e-3)
