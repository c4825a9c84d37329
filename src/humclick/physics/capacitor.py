"""
Capacitors on alternating current, and what they do to the start winding.

Farads, volts and amperes rms, hertz; impedances in ohms as complex numbers R + jX.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.messages import N_, Message
from humclick.physics.bounds import not_negative, positive

__all__ = [
    "StartCurrents",
    "amps_through",
    "farads_from",
    "greatest_torque_farads",
    "in_parallel",
    "in_series",
    "quadrature_farads",
    "reactance",
    "start_currents",
]


def reactance(farads: float, hertz: float) -> float:
    """
    Reactance of a capacitor, as a positive number. [Ω]

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    hertz : float
        Frequency. [Hz]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    Xc = 1 / (2 π f C): Fitzgerald, *Electric Machinery*, chapter 9.

    Examples
    --------
    >>> round(reactance(5e-6, 60), 1)
    530.5
    """
    omega = 2 * math.pi * positive(hertz, "frequency", "Hz")
    return 1 / (omega * positive(farads, "capacitance", "F"))


def farads_from(volts: float, amps: float, hertz: float) -> float:
    """
    Capacitance of a working capacitor from the volts across it and the amperes through it. [F]

    Parameters
    ----------
    volts : float
        Across the capacitor, not the supply voltage. [V]
    amps : float
        Through the capacitor: its own lead, usually the start-winding lead. [A]
    hertz : float
        Frequency. [Hz]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    C = I / (2 π f V): definition of reactance.

    Examples
    --------
    >>> round(farads_from(370, 3.2, 60) * 1e6, 2)
    22.94
    """
    omega = 2 * math.pi * positive(hertz, "frequency", "Hz")
    current = positive(amps, "current through the capacitor", "A")
    return current / (omega * positive(volts, "voltage across the capacitor", "V"))


def amps_through(farads: float, volts: float, hertz: float) -> float:
    """
    Current through a capacitor. [A]

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    volts : float
        Across the capacitor. [V]
    hertz : float
        Frequency. [Hz]

    Raises
    ------
    OutOfRange
        If a number is not usable.

    Notes
    -----
    I = 2 π f C V: definition of reactance.

    Examples
    --------
    >>> round(amps_through(10e-6, 370, 60), 3)
    1.395
    """
    return not_negative(volts, "voltage across the capacitor", "V") / reactance(farads, hertz)


def in_series(*farads: float) -> float:
    """
    Capacitance of capacitors one behind the other. [F]

    Voltage ratings add only with matched parts and a bleeder across each.

    Raises
    ------
    OutOfRange
        If none is given or one is not above zero.

    Notes
    -----
    1/C = Σ 1/Cᵢ: elementary circuit law.

    Examples
    --------
    >>> round(in_series(100e-6, 100e-6) * 1e6, 6)
    50.0
    """
    if not farads:
        raise OutOfRange(Message("give at least one capacitance in F"))
    return 1 / math.fsum(1 / positive(c, "capacitance", "F") for c in farads)


def in_parallel(*farads: float) -> float:
    """
    Capacitance of capacitors side by side. [F]

    The voltage rating is that of the lowest.

    Raises
    ------
    OutOfRange
        If none is given or one is not above zero.

    Notes
    -----
    C = Σ Cᵢ: elementary circuit law.

    Examples
    --------
    >>> round(in_parallel(5e-6, 7.5e-6) * 1e6, 6)
    12.5
    """
    if not farads:
        raise OutOfRange(Message("give at least one capacitance in F"))
    return math.fsum(positive(c, "capacitance", "F") for c in farads)


def _winding(impedance: complex, name: str) -> complex:
    z = complex(impedance)
    if not (math.isfinite(z.real) and math.isfinite(z.imag) and z.real > 0 and z.imag > 0):
        raise OutOfRange(
            Message(
                "impedance of the {name} winding must have resistance and reactance above zero, got {z}",
                name=Message.of(name),
                z=str(z),
            )
        )
    return z


def quadrature_farads(main: complex, auxiliary: complex, hertz: float) -> float:
    """
    Start capacitor that puts the two winding currents a quarter period apart at standstill. [F]

    Parameters
    ----------
    main, auxiliary : complex
        Standstill impedance of the main and of the start winding. [Ω]
    hertz : float
        Frequency. [Hz]

    Raises
    ------
    OutOfRange
        If an impedance has no resistance or no reactance, or the frequency is not above zero.

    Notes
    -----
    Xc = Xa + Ra Rm / Xm: Fitzgerald, Kingsley and Umans, *Electric Machinery*, Ex. 9.1; Kothari and Nagrath,
    *Electric Machines*, Ex. 10.4.

    Examples
    --------
    >>> round(quadrature_farads(4.5 + 3.7j, 9.5 + 3.5j, 60) * 1e6, 1)
    176.2
    """
    m, a = _winding(main, N_("main")), _winding(auxiliary, N_("start"))
    ohms = a.imag + a.real * m.real / m.imag
    return 1 / (2 * math.pi * positive(hertz, "frequency", "Hz") * ohms)


def greatest_torque_farads(main: complex, auxiliary: complex, hertz: float) -> float:
    """
    Start capacitor that gives the greatest torque at standstill. [F]

    Parameters
    ----------
    main, auxiliary : complex
        Standstill impedance of the main and of the start winding. [Ω]
    hertz : float
        Frequency. [Hz]

    Raises
    ------
    OutOfRange
        If an impedance has no resistance or no reactance, or the frequency is not above zero.

    Notes
    -----
    Xc = Xa + Ra Rm / (Xm + |Zm|): Kothari and Nagrath, *Electric Machines*, Ex. 10.4.

    Examples
    --------
    >>> round(greatest_torque_farads(4.5 + 3.7j, 9.5 + 3.5j, 60) * 1e6, 1)
    332.1
    """
    m, a = _winding(main, N_("main")), _winding(auxiliary, N_("start"))
    ohms = a.imag + a.real * m.real / (m.imag + abs(m))
    return 1 / (2 * math.pi * positive(hertz, "frequency", "Hz") * ohms)


@dataclass(frozen=True, slots=True)
class StartCurrents:
    """
    Currents at standstill, against the supply voltage at angle 0.

    Attributes
    ----------
    main, auxiliary : complex
        Through the main and the start winding. [A]
    capacitor_volts : float
        Across the capacitor; 0 without one. [V]
    """

    main: complex
    auxiliary: complex
    capacitor_volts: float

    @property
    def line(self) -> complex:
        """Current drawn from the supply. [A]"""
        return self.main + self.auxiliary

    @property
    def angle_between(self) -> float:
        """Angle by which the start-winding current leads the main-winding current. [°]"""
        return math.degrees(cmath.phase(self.auxiliary / self.main))

    @property
    def torque_index(self) -> float:
        """
        What the starting torque is proportional to: Im Ia sin(angle between them). [A²]

        Kosow, *Electric Machinery and Transformers*, Ex. 10-3.
        """
        return (self.auxiliary * self.main.conjugate()).imag


def start_currents(
    volts: float,
    main: complex,
    auxiliary: complex,
    *,
    farads: float | None = None,
    hertz: float = 60.0,
    series_ohms: float = 0.0,
) -> StartCurrents:
    """
    Winding currents with the rotor at rest and the start circuit closed.

    Parameters
    ----------
    volts : float
        Supply. [V]
    main, auxiliary : complex
        Standstill impedance of the main and of the start winding at `hertz`. [Ω]
    farads : float, optional
        Start capacitor; none if left out. [F]
    hertz : float
        Frequency. [Hz]
    series_ohms : float
        Resistance in series with the start winding. [Ω]

    Raises
    ------
    OutOfRange
        If a number is not usable.

    Notes
    -----
    Two impedances side by side on the supply: Fitzgerald, *Electric Machinery*, Ex. 9.1.

    Examples
    --------
    >>> with_capacitor = start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j, farads=176.2e-6)
    >>> round(with_capacitor.angle_between, 1)
    90.0
    """
    source = positive(volts, "supply voltage", "V")
    m, a = _winding(main, N_("main")), _winding(auxiliary, N_("start"))
    a += not_negative(series_ohms, "series resistance", "Ω")
    x = 0.0 if farads is None else reactance(farads, hertz)
    through_auxiliary = source / (a - 1j * x)
    return StartCurrents(source / m, through_auxiliary, abs(through_auxiliary) * x)
