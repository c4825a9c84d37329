"""
Machines for both simulators, and what a start gives.

Figures by size follow the equivalent circuits that textbooks print for fractional-horsepower motors
(Fitzgerald, Kingsley and Umans, Electric Machinery, example 9.2: a quarter horsepower at 110 V; Krause,
Analysis of Electric Machinery, chapter on single-phase machines: the same size), scaled by volts squared
over power; from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

import numpy as np

QUARTER = {"volts": 110.0, "watts": 186.0, "r1": 2.02, "x1": 2.79, "r2": 4.12, "x2": 2.12, "xm": 66.8}
"""Fitzgerald, example 9.2, main winding at 60 Hz. [V] [W] [Ω]"""


@dataclass(frozen=True)
class Windings:
    """
    A two-winding motor and its load; everything of the rotor seen from the main winding.

    Parameters
    ----------
    gear : str
        ``rsir-ptc``, ``csir-ptc``, ``csir-current-relay`` or ``psc``.
    volts, hertz : float
        Of the plate. [V] [Hz]
    poles : int
        Two or four.
    r1, x1, r2, x2, xm : float
        Main winding, rotor at standstill, magnetising. [Ω]
    ra, xa, turns : float
        Start winding [Ω], and its turns over those of the main winding [-].
    farads : float
        In series with the start winding; zero for none. [F]
    pill : float
        Of the thermistor at 25 °C. [Ω]
    inertia : float
        [kg m²]
    breakaway, load : float
        Torque to break away, and mean torque of the gas once pressures stand. [N m]
    """

    gear: str
    volts: float
    hertz: float
    poles: int
    r1: float
    x1: float
    r2: float
    x2: float
    xm: float
    ra: float
    xa: float
    turns: float
    farads: float
    pill: float
    inertia: float
    breakaway: float
    load: float

    @property
    def synchronous(self) -> float:
        """[rad/s]"""
        return 4 * pi * self.hertz / self.poles

    @property
    def in_series(self) -> complex:
        """Capacitor in the start winding's way at line frequency. [Ω]"""
        return 1 / (2j * pi * self.hertz * self.farads) if self.farads else 0j


@dataclass(frozen=True)
class Start:
    """
    One start.

    Parameters
    ----------
    starts : bool
        Whether it comes near its speed within the time played.
    locked, running : float
        Amps of the line at standstill, and at the end; NaN where it does not run. [A]
    let_go : float
        Until the start winding is out; NaN if it stays. [s]
    trips : float
        Until the protector opens with the rotor held; NaN where not asked. [s]
    times, start_amps : tuple of float
        The start winding's current, effective over a cycle. [s] [A]
    """

    starts: bool
    locked: float
    running: float
    let_go: float
    trips: float
    times: tuple[float, ...]
    start_amps: tuple[float, ...]


def drawn(rng: np.random.Generator, gear: str) -> Windings:
    """A machine of 1/15 to 1/2 hp (to 2 hp with a run capacitor), as one maker might build it."""
    watts = 745.7 * float(np.exp(rng.uniform(np.log(1 / 15), np.log(2.0 if gear == "psc" else 0.5))))
    volts = 115.0 if watts < 500 and rng.random() < 0.6 else 230.0
    hertz = 50.0 if volts > 200 and rng.random() < 0.4 else 60.0
    scale = (volts / QUARTER["volts"]) ** 2 * (QUARTER["watts"] / watts) ** 0.9

    def about(middle: float, spread: float = 0.12) -> float:
        return float(middle * np.exp(spread * rng.normal()))

    reactance = scale * hertz / 60.0
    turns = about({"rsir-ptc": 0.9, "psc": 1.35}.get(gear, 1.15), 0.08)
    r1, x1, x2 = about(2.02 * scale), about(2.79 * reactance), about(2.12 * reactance)
    r2, xm = about(4.12 * scale), about(60.0 * reactance)
    ra, xa = r1 * about({"rsir-ptc": 3.8}.get(gear, 2.6), 0.2), x1 * turns**2 * about(0.9)
    xl = xa + turns**2 * x2
    if gear == "psc":
        farads = 0.42 * watts / 0.7 / (2 * pi * hertz * turns**2 * volts**2) * about(1.6)
    else:
        farads = 0.0 if gear == "rsir-ptc" else 1 / (2 * pi * hertz * (xl + 0.6 * ra) * about(1.1))
    poles = 2 if rng.random() < 0.75 else 4
    torque = watts / (4 * pi * hertz / poles * 0.96)
    made = Windings(
        gear,
        volts,
        hertz,
        poles,
        r1,
        x1,
        r2,
        x2,
        xm,
        ra,
        xa,
        turns,
        farads,
        about(0.9 * volts / 10, 0.3),
        about(3.8e-4 * (watts / 150) ** 1.3 * (poles / 2) ** 1.5, 0.2),
        0.0,
        about(0.75 * torque, 0.15),
    )
    start = abs(locked_torque(made))
    return replace(
        made, breakaway=start / max(1.05, about(1.7, 0.3)), load=min(made.load, 0.9 * start * about(1.0, 0.3))
    )


def locked_torque(motor: Windings) -> float:
    """
    At standstill and the plate's volts, all in. [N m]

    ``2 a R2' Im Ia sin(angle) / speed``, the rotor's ohms as the field sees them.
    """
    magnet, rotor = 0.5j * motor.xm, 0.5 * motor.r2 + 0.5j * motor.x2
    field = magnet * rotor / (magnet + rotor)
    pill = motor.pill if "ptc" in motor.gear else 0.0
    main = motor.volts / (motor.r1 + 1j * motor.x1 + 2 * field)
    way = motor.ra + pill + 1j * motor.xa + motor.in_series
    start = motor.volts / (way + 2 * motor.turns**2 * field)
    return float(4 * motor.turns * field.real * (main.conjugate() * start).imag / motor.synchronous)
