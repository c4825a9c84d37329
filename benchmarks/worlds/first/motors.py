"""
A single-phase compressor motor from its horsepower, by the relations of motor handbooks.

Efficiency and power factor rise with size (order of size as in small-motor handbooks, from memory);
locked-rotor current is a multiple of running current (NEC table 430.7(B) code letters H to R, from
memory); the auxiliary winding has finer wire and its own turns (Veinott, Fractional and Subfractional
Horsepower Electric Motors, from memory); start and run capacitors by Veinott's conditions of greatest
starting torque and of balance, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, log, pi, sin

import numpy as np

WATTS = 745.7
"""A horsepower. [W]"""

SIZES = (1 / 20, 1 / 12, 1 / 8, 1 / 6, 1 / 5, 1 / 4, 1 / 3, 1 / 2, 3 / 4, 1.0, 1.5, 2.0, 3.0, 5.0)
"""Catalogue sizes. [hp]"""

_AT = (1 / 20, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 5.0)
_EFFICIENCY = (0.36, 0.48, 0.57, 0.65, 0.72, 0.77, 0.82)
_POWER_FACTOR = (0.57, 0.60, 0.63, 0.69, 0.76, 0.83, 0.89)
_LOCKED_POWER_FACTOR = (0.80, 0.74, 0.70, 0.65, 0.60, 0.54, 0.46)


@dataclass(frozen=True)
class Motor:
    """
    A motor at 25 °C.

    Parameters
    ----------
    horsepower, volts, hertz : float
        [hp] [V] [Hz]
    running, locked : float
        Plate amps. [A]
    run_ohms, start_ohms : float
        Windings by direct current. [Ω]
    run_locked, start_locked : complex
        Their impedances at standstill. [Ω]
    turns : float
        Of the start winding over the run winding. [-]
    start_farads, run_farads : float
        Capacitors that fit; zero where there is none. [F]
    """

    horsepower: float
    volts: float
    hertz: float
    running: float
    locked: float
    run_ohms: float
    start_ohms: float
    run_locked: complex
    start_locked: complex
    turns: float
    start_farads: float
    run_farads: float


def running_amps(horsepower: float, volts: float) -> float:
    """
    Full-load amps of a single-phase motor of usual make. [A]

    Examples
    --------
    >>> [round(running_amps(hp, 230), 1) for hp in (0.25, 1.0, 5.0)]  # NEC table 430.248 has 2.9, 8, 28
    [2.3, 5.9, 22.2]
    """
    efficiency = _of_size(horsepower, _EFFICIENCY)
    return horsepower * WATTS / (efficiency * _of_size(horsepower, _POWER_FACTOR) * volts)


def _of_size(horsepower: float, values: tuple[float, ...]) -> float:
    return float(np.interp(log(horsepower), [log(each) for each in _AT], values))


def motor(rng: np.random.Generator, horsepower: float, volts: float, hertz: float, gear: str) -> Motor:
    """
    A motor of that size, as one maker might wind it.

    Parameters
    ----------
    gear : str
        ``split``, ``capacitor start`` or ``permanent capacitor``: what it is wound for.
    """
    running = running_amps(horsepower, volts) * float(rng.lognormal(0.0, 0.12))
    locked = running * float(np.clip(rng.lognormal(log(4.7), 0.2), 3.3, 7.2))
    angle = np.arccos(np.clip(_of_size(horsepower, _LOCKED_POWER_FACTOR) + rng.normal(0, 0.04), 0.35, 0.92))
    size = volts / (locked / 1.18)
    run_locked = complex(size * cos(angle), size * sin(angle))
    run_ohms = run_locked.real * float(rng.uniform(0.42, 0.56))
    rotor = run_locked.real - run_ohms
    low, high = {"split": (0.75, 1.05), "capacitor start": (1.0, 1.4)}.get(gear, (1.1, 1.6))
    turns = float(rng.uniform(low, high))
    wire = float(rng.uniform(2.6, 4.6) if gear == "split" else rng.uniform(1.7, 3.6))
    start_ohms = run_ohms * wire
    start_locked = complex(start_ohms + turns**2 * rotor, turns**2 * run_locked.imag)
    if gear == "split":
        start_locked = complex(start_locked.real, start_locked.imag * 0.75)
    return Motor(
        horsepower,
        volts,
        hertz,
        running,
        locked,
        run_ohms,
        start_ohms,
        run_locked,
        start_locked,
        turns,
        start_farads(run_locked, start_locked, hertz) * float(rng.uniform(0.5, 0.8)),
        run_farads(horsepower, volts, hertz, turns),
    )


def start_farads(run: complex, start: complex, hertz: float) -> float:
    """
    Start capacitor of greatest torque: reactance ``Xa + Ra Rm / (Zm + Xm)``. [F]

    Veinott, from memory. Makers fit half to four fifths of it, nearer to the greatest torque for the amps.
    """
    reactance = start.imag + start.real * run.real / (abs(run) + run.imag)
    return 1.0 / (2 * pi * hertz * reactance)


def run_farads(horsepower: float, volts: float, hertz: float, turns: float) -> float:
    """Run capacitor that carries about half the input through the start winding. [F]"""
    watts = horsepower * WATTS / _of_size(horsepower, _EFFICIENCY)
    share = float(np.interp(horsepower, [0.1, 1.0], [0.35, 0.8]))
    return share * watts / (2 * pi * hertz * turns**2 * volts**2 * 1.15)


def locked_torque(run: complex, start: complex, turns: float) -> float:
    """
    Starting torque from the two currents, in units of its own: ``a |Im| |Is| sin(angle between)``. [A²]

    Fitzgerald, Kingsley and Umans, Electric Machinery, section on single-phase motors, from memory.

    Examples
    --------
    >>> locked_torque(1 + 0j, 1j, 1.0), locked_torque(1 + 0j, 2 + 0j, 1.0)
    (1.0, 0.0)
    """
    return abs(turns * (run.conjugate() * start).imag)
