"""
A start in instants: two axes in the stator's frame, iron that saturates, bars that crowd the current.

Krause, Analysis of Electric Machinery, chapter on unsymmetrical two-phase machines: fluxes as states, all
of the start winding seen from the main winding (from memory). Main flux follows a saturation curve; the
rotor's ohms rise and its leakage falls with the root of the slip's frequency (deep bars; Levi and others,
from memory). Pill: ohms jump with temperature alone, another rule than in `revolving`. Integrated by
scipy.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, exp, hypot, nan, pi, sqrt

import numpy as np
from scipy.integrate import solve_ivp

from benchmarks.worlds.starts.motor import Start, Windings

GEARS = ("rsir-ptc", "csir-ptc", "psc")
"""Arrangements played here: those without a relay."""


@dataclass(frozen=True)
class Axes:
    """
    The machine as the integrator wants it.

    Parameters
    ----------
    motor : Windings
        The machine.
    volts : float
        Effective. [V]
    held : bool
        Whether the rotor is held.
    """

    motor: Windings
    volts: float
    held: bool = False

    def bars(self, speed: float) -> tuple[float, float]:
        """Rotor ohms and leakage at an electrical speed. [Ω] [H]"""
        motor, omega = self.motor, 2 * pi * self.motor.hertz
        crowd = sqrt(min(1.5, abs(1 - speed / omega)))
        return motor.r2 * (0.8 + 0.2 * crowd), motor.x2 / omega * (1.12 - 0.12 * crowd)

    def main_flux(self, q: float, d: float, qr: float, dr: float, rotor: float) -> tuple[float, float]:
        """
        Flux of the main path by both axes. [Wb]

        Saturation by two rounds from the unsaturated answer.
        """
        motor, omega = self.motor, 2 * pi * self.motor.hertz
        lq, ld = motor.x1 / omega, motor.xa / omega / motor.turns**2
        inverse = omega / motor.xm
        usual = sqrt(2) * motor.volts / omega
        flux_q = flux_d = 0.0
        for _ in range(3):
            flux_q = (q / lq + qr / rotor) / (inverse + 1 / lq + 1 / rotor)
            flux_d = (d / ld + dr / rotor) / (inverse + 1 / ld + 1 / rotor)
            over = max(0.0, hypot(flux_q, flux_d) / usual - 0.85)
            inverse = omega / motor.xm * (1 + 2.2 * over**2)
        return flux_q, flux_d

    def slope(self, now: float, state: np.ndarray) -> list[float]:
        """Time derivatives: four fluxes, speed, angle, the capacitor's charge, the pill's temperature."""
        motor = self.motor
        q, d, qr, dr, speed, angle, charge, celsius = (float(value) for value in state)
        omega = 2 * pi * motor.hertz
        ohms, rotor = self.bars(speed)
        flux_q, flux_d = self.main_flux(q, d, qr, dr, rotor)
        a = motor.turns
        iq = (q - flux_q) * omega / motor.x1
        id_ = (d - flux_d) * omega * a**2 / motor.xa
        iqr, idr = (qr - flux_q) / rotor, (dr - flux_d) / rotor
        start = id_ / a
        line = sqrt(2) * self.volts * cos(omega * now)
        pill = pill_ohms(motor.pill, celsius) if "ptc" in motor.gear else 0.0
        across = charge / motor.farads if motor.farads else 0.0
        torque = motor.poles / 2 * (flux_d * iq - flux_q * id_)
        turn = 0.0 if self.held else self._push(torque, speed, angle, now) * motor.poles / 2 / motor.inertia
        heat = (start**2 * pill - 0.02 * (celsius - 25.0)) / heat_of(motor)
        return [
            line - motor.r1 * iq,
            (line - across - (motor.ra + pill) * start) / a,
            -ohms * iqr + speed * dr,
            -ohms * idr - speed * qr,
            turn,
            0.0 if self.held else speed * 2 / motor.poles,
            start,
            heat,
        ]

    def _push(self, torque: float, speed: float, angle: float, now: float) -> float:
        """Torque left after the load. [N m]"""
        motor = self.motor
        way = 1.0 if speed > 0 else -1.0 if speed < 0 else (1.0 if torque > 0 else -1.0)
        rubs = 0.15 * motor.load
        still = max(0.0, motor.breakaway - rubs) * exp(-((speed / 8.0) ** 2))
        gas = motor.load * 0.9 * min(1.0, now / 15.0) * (1 - cos(angle * way)) * 0.5
        limit = rubs + still + gas
        if abs(speed) < 0.3 and abs(torque) < limit:
            return -speed * motor.inertia * 50
        return torque - way * limit

    def line_amps(self, states: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Line and start current in instants. [A]"""
        motor, omega = self.motor, 2 * pi * self.motor.hertz
        main, start = [], []
        for q, d, qr, dr, speed, *_ in states.T:
            flux_q, flux_d = self.main_flux(q, d, qr, dr, self.bars(speed)[1])
            main.append((q - flux_q) * omega / motor.x1)
            start.append((d - flux_d) * omega * motor.turns / motor.xa)
        return np.array(main) + np.array(start), np.array(start)


def heat_of(motor: Windings) -> float:
    """Heat capacity of the pill: sized so that its own start takes some tenths of a second. [J/K]"""
    return 1.9 * motor.volts**2 / motor.pill / 1900.0 * 1.1


def pill_ohms(cold: float, celsius: float) -> float:
    """Ohms by temperature: a gentle fall, then three and a half decades. [Ω]"""
    if celsius < 110.0:
        return cold * (1 - 0.002 * (celsius - 25.0))
    return cold * 0.83 * 10 ** min(3.6, 0.09 * (celsius - 110.0))


def effective(values: np.ndarray, a_cycle: int) -> np.ndarray:
    """Over a sliding cycle. [A]"""
    return np.sqrt(np.convolve(values**2, np.ones(a_cycle) / a_cycle, mode="valid"))


def play(motor: Windings, volts: float, *, seconds: float = 1.6, celsius: float = 25.0) -> Start:
    """
    One start from rest at equal pressures.

    Raises
    ------
    ValueError
        If the arrangement has a relay, or the integrator gives up.
    """
    if motor.gear not in GEARS:
        raise ValueError(f"{motor.gear}: played here are {', '.join(GEARS)}")
    per_cycle = 40
    locked = _integrated(Axes(motor, volts, held=True), 0.1, per_cycle, celsius)
    held, held_start = Axes(motor, volts, held=True).line_amps(locked)
    free = Axes(motor, volts)
    states = _integrated(free, seconds, per_cycle, celsius)
    line, start = free.line_amps(states)
    line_rms, start_rms = effective(line, per_cycle), effective(start, per_cycle)
    speed = np.abs(states[4]) / (2 * pi * motor.hertz)
    runs = bool(speed[-per_cycle:].mean() > 0.75)
    first = float(effective(held_start, per_cycle)[-1])
    times = np.arange(len(start_rms)) / per_cycle / motor.hertz + 1 / motor.hertz
    out = np.flatnonzero(start_rms < 0.2 * first)
    let_go = float(times[out[0]]) if len(out) and "ptc" in motor.gear else nan
    return Start(
        runs,
        float(effective(held, per_cycle)[-1]),
        float(line_rms[-1]) if runs else nan,
        let_go,
        nan,
        tuple(map(float, times[::10])),
        tuple(map(float, start_rms[::10])),
    )


def _integrated(axes: Axes, seconds: float, per_cycle: int, celsius: float) -> np.ndarray:
    begin = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.4, 0.0, celsius])
    times = np.arange(0.0, seconds, 1 / per_cycle / axes.motor.hertz)
    solved = solve_ivp(
        axes.slope, (0.0, seconds), begin, t_eval=times, method="LSODA", rtol=1e-4, atol=1e-6, max_step=1e-3
    )
    if not solved.success:
        raise ValueError(f"the integrator gave up: {solved.message}")
    return np.asarray(solved.y)
