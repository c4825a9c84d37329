"""
A motor by other roads than the program's: the double revolving field, and the inductances as a matrix.

Fitzgerald, Kingsley and Umans, Electric Machinery, chapter 9. Ohms, henries, amperes, newton metres.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from humclick.start.machine import Motor

__all__ = ["inductances", "revolving"]


def inductances(motor: Motor) -> NDArray[np.float64]:
    """L = X / (2π f) in the order run, start, rotor q, rotor d; at rest the axes are not coupled. [H]"""
    run, start = motor.run_magnetizing, motor.start_magnetizing
    found = np.zeros((4, 4))
    found[np.ix_((0, 2), (0, 2))] = [[motor.run_leakage + run, run], [run, motor.rotor_leakage + run]]
    found[np.ix_((1, 3), (1, 3))] = [
        [motor.start_leakage + start, start],
        [start, motor.rotor_leakage_start + start],
    ]
    return found / (2 * math.pi * motor.hertz)


def revolving(
    motor: Motor, volts: float, slip: float = 1.0, *, start_impedance: complex | None = None
) -> tuple[complex, complex, float]:
    """
    Run current, start current and torque by the double revolving field. [A] [A] [N m]

    A second opinion on `humclick.start.machine.steady`: another theory, another algebra. Rotor and
    magnetizing reactance of the start winding are taken as turns_ratio² times those of the run winding.

    Parameters
    ----------
    volts : float
        At its terminals. [V]
    slip : float
        1 at standstill; not 0 or 2, where a rotor branch is open. [-]
    start_impedance : complex or None
        In series with the start winding; None if open. [Ω]

    Notes
    -----
    Z_f = ½ (R₂/s + jX₂) ∥ jX_m, Z_b with 2 − s;
    V = (Z₁ + Z_f + Z_b) I_m − j a (Z_f − Z_b) I_a and
    V = j a (Z_f − Z_b) I_m + (Z_a + Z_c + a² (Z_f + Z_b)) I_a.
    """
    a, xm = motor.turns_ratio, 1j * motor.run_magnetizing
    forward, backward = (
        0.5 * xm * rotor / (xm + rotor)
        for rotor in (
            motor.rotor_ohms / slip + 1j * motor.rotor_leakage,
            motor.rotor_ohms / (2 - slip) + 1j * motor.rotor_leakage,
        )
    )
    main = motor.run_ohms + 1j * motor.run_leakage + forward + backward
    if start_impedance is None:
        run, start = volts / main, 0j
    else:
        other = motor.start_ohms + 1j * motor.start_leakage + start_impedance + a * a * (forward + backward)
        mutual = 1j * a * (forward - backward)
        whole = main * other - mutual * -mutual
        run, start = volts * (other + mutual) / whole, volts * (main - mutual) / whole
    ahead, against = abs(run - 1j * a * start) ** 2, abs(run + 1j * a * start) ** 2
    return run, start, (ahead * forward.real - against * backward.real) / motor.synchronous
