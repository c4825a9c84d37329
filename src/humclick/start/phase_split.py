"""
Splitting the phase at standstill: two windings, each an impedance, on one supply.

The coupling of the two windings vanishes at standstill (Fitzgerald, Kingsley and Umans, Electric Machinery,
chapter 9), so two impedances say everything about the currents. Phasors are rms, the supply is the reference.
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.physics.bounds import positive

__all__ = ["Split", "farads_of", "most_torque_reactance", "quadrature_reactance", "split_phase"]


@dataclass(frozen=True, slots=True)
class Split:
    """
    The two currents of a motor at standstill.

    Attributes
    ----------
    volts : float
        At the terminals. [V]
    run, start : complex
        Currents of the two windings. [A]
    """

    volts: float
    run: complex
    start: complex

    @property
    def line(self) -> complex:
        """Both together. [A]"""
        return self.run + self.start

    @property
    def angle(self) -> float:
        """By how much the start current leads the run current. [rad]"""
        return cmath.phase(self.start * self.run.conjugate())

    @property
    def torque_measure(self) -> float:
        """|I_m| |I_a| sin(angle): the starting torque is proportional to it. [A²]"""
        return (self.start * self.run.conjugate()).imag

    @property
    def power(self) -> float:
        """From the supply. [W]"""
        return self.volts * self.line.real

    @property
    def power_factor(self) -> float:
        """Of the line current. [-]"""
        return self.line.real / abs(self.line)


def split_phase(volts: float, run: complex, start: complex, outside: complex = 0j) -> Split:
    """
    Currents of a motor at standstill.

    Parameters
    ----------
    volts : float
        At its terminals. [V]
    run, start : complex
        Impedance of each winding with the rotor blocked. [Ω]
    outside : complex
        In series with the start winding: capacitor, start gear. [Ω]

    Raises
    ------
    OutOfRange
        If volts are not above zero, or a branch has no impedance.

    Examples
    --------
    >>> found = split_phase(120, 4.5 + 3.7j, 9.5 + 3.5j)
    >>> round(abs(found.run), 2), round(abs(found.start), 2)
    (20.6, 11.85)
    """
    positive(volts, "volts", "V")
    if run == 0 or start + outside == 0:
        raise OutOfRange("a winding with nothing but resonance or nothing at all has no bounded current")
    return Split(volts, volts / run, volts / (start + outside))


def _ohmic(run: complex, start: complex) -> None:
    positive(run.real, "resistance of the run winding", "Ω")
    positive(start.real, "resistance of the start winding", "Ω")
    if run.imag <= 0:
        raise OutOfRange(f"a winding at standstill is inductive, got {run.imag:g} Ω of reactance")


def quadrature_reactance(run: complex, start: complex) -> float:
    """
    Capacitive reactance that puts the start current a quarter period ahead of the run current. [Ω]

    Parameters
    ----------
    run, start : complex
        Impedance of each winding with the rotor blocked. [Ω]

    Raises
    ------
    OutOfRange
        If a winding has no resistance or the run winding is not inductive.

    Notes
    -----
    X_c = X_a + R_a R_m / X_m: Fitzgerald, Kingsley and Umans, Electric Machinery, Example 9.1.

    Examples
    --------
    >>> round(quadrature_reactance(4.5 + 3.7j, 9.5 + 3.5j), 3)
    15.054
    """
    _ohmic(run, start)
    return start.imag + start.real * run.real / run.imag


def most_torque_reactance(run: complex, start: complex) -> float:
    """
    Capacitive reactance that gives the greatest starting torque at fixed volts. [Ω]

    Parameters
    ----------
    run, start : complex
        Impedance of each winding with the rotor blocked. [Ω]

    Raises
    ------
    OutOfRange
        If a winding has no resistance or the run winding is not inductive.

    Notes
    -----
    X_c = X_a + R_a R_m / (X_m + |Z_m|): where the derivative of Im(I_a I*_m) by X_c vanishes.

    Examples
    --------
    >>> round(most_torque_reactance(4.5 + 3.7j, 9.5 + 3.5j), 3)
    7.988
    """
    _ohmic(run, start)
    return start.imag + start.real * run.real / (run.imag + abs(run))


def farads_of(reactance: float, hertz: float) -> float:
    """
    Capacitance of a capacitive reactance. [F]

    Parameters
    ----------
    reactance : float
        Above zero. [Ω]
    hertz : float
        Of the supply. [Hz]

    Raises
    ------
    OutOfRange
        If either is not above zero.

    Examples
    --------
    >>> round(farads_of(15.054, 60) * 1e6, 1)
    176.2
    """
    return 1 / (2 * cmath.pi * positive(hertz, "frequency", "Hz") * positive(reactance, "reactance", "Ω"))
