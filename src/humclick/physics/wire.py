"""
Wire: gauge, resistance, and what is left at the motor after a long cord.

Lengths in metres, cross-sections in square millimetres, resistances in ohms.
"""

from __future__ import annotations

import math
import re

from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message
from humclick.physics.bounds import between, not_negative, positive
from humclick.physics.copper import resistance_at
from humclick.physics.supply import torque_fraction
from humclick.sourced import read_data, sourced

__all__ = [
    "area",
    "diameter",
    "longest_run",
    "loop_resistance",
    "resistance_per_metre",
    "smallest_gauge",
    "terminal_volts",
    "torque_fraction",
    "voltage_drop",
]

_AWG = re.compile(r"(?:AWG|#|NO\.?)?\s*(\d{1,2}|[1-4]/0|0{1,4})\s*(?:AWG|GAUGE)?", re.IGNORECASE)
_SQUARE = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:mm²|mm2|mm\^2|sq\.?\s?mm)", re.IGNORECASE)


def _number(table: str, name: str) -> float:
    return sourced(read_data("humclick.physics", "wire.toml")[table][name], f"wire.toml {table}.{name}").value


def _awg(gauge: int | str) -> int:
    """Read a gauge number; 0 is 1/0 and −3 is 4/0."""
    thickest, thinnest = int(_number("gauge", "thickest")), int(_number("gauge", "thinnest"))
    if isinstance(gauge, str):
        match = _AWG.fullmatch(gauge.strip())
        if match is None:
            raise Unknown(Message("wire gauge"), gauge, ("18 AWG", "14 AWG", "1/0 AWG", "1.5 mm²", "2.5 mm²"))
        text = match[1]
        if "/" in text:
            number = 1 - int(text[0])
        elif set(text) == {"0"}:
            number = 1 - len(text)
        else:
            number = int(text)
    else:
        number = gauge
    if isinstance(number, bool) or not isinstance(number, int) or not thickest <= number <= thinnest:
        known = ["4/0", "3/0", "2/0", "1/0", *(str(n) for n in range(1, thinnest + 1))]
        raise Unknown(Message("wire gauge"), str(gauge), known)
    return number


def diameter(gauge: int | str) -> float:
    """
    Diameter of a solid round conductor of an American wire gauge. [mm]

    Parameters
    ----------
    gauge : int or str
        ``14``, ``"14 AWG"``, ``"2/0"``; as an integer 0 is 1/0 and −3 is 4/0.

    Raises
    ------
    Unknown
        If the gauge is not 4/0 … 40.

    Notes
    -----
    d = 0.127 mm × 92^((36 − n) / 39): ASTM B258.

    Examples
    --------
    >>> round(diameter("18 AWG"), 4)
    1.0237
    """
    n = _awg(gauge)
    exponent = (36 - n) / _number("gauge", "steps")
    return _number("gauge", "diameter_at_36") * math.pow(_number("gauge", "ratio"), exponent)


def area(gauge: int | str) -> float:
    """
    Copper cross-section of a conductor. [mm²]

    Parameters
    ----------
    gauge : int or str
        An American wire gauge (``14``, ``"14 AWG"``) or a cross-section (``"2.5 mm²"``).

    Raises
    ------
    Unknown
        If the gauge is neither.
    OutOfRange
        If the cross-section is zero.

    Notes
    -----
    π d² / 4 with d from ASTM B258; a metric conductor (IEC 60228) is taken at its nominal cross-section.

    Examples
    --------
    >>> round(area(14), 3), area("2.5 mm2")
    (2.081, 2.5)
    """
    if isinstance(gauge, str) and (match := _SQUARE.fullmatch(gauge.strip())):
        return positive(float(match[1].replace(",", ".")), "cross-section", "mm²")
    return math.pi * diameter(gauge) ** 2 / 4


def resistance_per_metre(gauge: int | str, temperature: float = 20.0, *, stranded: bool = False) -> float:
    """
    Resistance of one metre of one copper conductor. [Ω/m]

    Parameters
    ----------
    gauge : int or str
        An American wire gauge or a cross-section, as in `area`.
    temperature : float
        Conductor temperature. [°C]
    stranded : bool
        Whether the conductor is stranded: 2.5 % more (NEC chapter 9, Table 8).

    Raises
    ------
    Unknown
        If the gauge is not known.
    OutOfRange
        If the temperature lies outside −60 … 250 °C.

    Notes
    -----
    ρ / A with ρ₂₀ = 0.017241 Ω·mm²/m (IEC 60028), carried to `temperature` by IEC 60034-1.

    Examples
    --------
    >>> round(resistance_per_metre("14 AWG", 75) * 304.8, 2)
    3.07
    """
    at_20 = _number("conductor", "resistivity") / area(gauge)
    if stranded:
        at_20 *= _number("conductor", "stranding")
    return resistance_at(temperature, at_20, _number("conductor", "reference_temperature"))


def loop_resistance(
    length: float, gauge: int | str, temperature: float = 20.0, *, stranded: bool = False
) -> float:
    """
    Resistance out and back of a two-wire run. [Ω]

    A branch circuit and an extension cord one behind the other add up.

    Parameters
    ----------
    length : float
        One way. [m]
    gauge, temperature, stranded
        As in `resistance_per_metre`.

    Raises
    ------
    OutOfRange
        If the length is negative or the temperature outside −60 … 250 °C.
    Unknown
        If the gauge is not known.

    Notes
    -----
    2 × length × resistance per metre (NEC chapter 9, Table 8, as used for voltage drop).

    Examples
    --------
    >>> round(loop_resistance(30.48, 14, 75), 3)
    0.614
    """
    one_way = not_negative(length, "length one way", "m")
    return 2 * one_way * resistance_per_metre(gauge, temperature, stranded=stranded)


def voltage_drop(
    length: float, gauge: int | str, amps: float, temperature: float = 20.0, *, stranded: bool = False
) -> float:
    """
    Volts lost out and back along a two-wire run. [V]

    Parameters
    ----------
    length : float
        One way. [m]
    gauge : int or str
        As in `area`.
    amps : float
        Current. [A]
    temperature : float
        Conductor temperature. [°C]
    stranded : bool
        As in `resistance_per_metre`.

    Raises
    ------
    OutOfRange
        If the length or the current is negative.
    Unknown
        If the gauge is not known.

    Notes
    -----
    2 L R I; the reactance of small conductors is left out (NEC chapter 9, Table 8 and its voltage-drop use).

    Examples
    --------
    >>> round(voltage_drop(30.48, "14 AWG", 10, 75), 2)
    6.14
    """
    return loop_resistance(length, gauge, temperature, stranded=stranded) * not_negative(amps, "current", "A")


def terminal_volts(
    supply_volts: float,
    line_ohms: float,
    locked_rotor_amps: float,
    *,
    rated_volts: float | None = None,
    power_factor: float | None = None,
) -> float:
    """
    Volts left at the motor terminals while the rotor is locked. [V]

    The locked motor is a fixed impedance, so its current falls as the cord takes its share; this gives a
    little more than subtracting the drop at full locked-rotor current.

    Parameters
    ----------
    supply_volts : float
        At the source end of the run. [V]
    line_ohms : float
        Out and back, see `loop_resistance`. [Ω]
    locked_rotor_amps : float
        Nameplate locked-rotor current at `rated_volts`. [A]
    rated_volts : float, optional
        Nameplate voltage; the supply voltage if left out. [V]
    power_factor : float, optional
        Of the locked motor, above 0 to 1; 0.75 if left out. [-]

    Raises
    ------
    OutOfRange
        If a number is not usable.

    Notes
    -----
    V = V₀ |Zm| / |Zm + R|, |Zm| = rated volts / locked amps; default power factor from Fitzgerald, *Electric
    Machinery*, Ex. 9.2 at standstill.

    Examples
    --------
    >>> round(terminal_volts(115, 0.297, 60), 1)
    102.6
    """
    source = positive(supply_volts, "supply voltage", "V")
    ohms = not_negative(line_ohms, "line resistance", "Ω")
    amps = positive(locked_rotor_amps, "locked-rotor current", "A")
    rated = source if rated_volts is None else positive(rated_volts, "rated voltage", "V")
    cosine = _number("motor", "locked_power_factor") if power_factor is None else power_factor
    cosine = positive(between(cosine, 0, 1, "power factor", "(no unit)"), "power factor", "(no unit)")
    magnitude = rated / amps
    motor = complex(magnitude * cosine, magnitude * math.sqrt(1 - cosine**2))
    return source * magnitude / abs(motor + ohms)


def longest_run(
    gauge: int | str, amps: float, allowed_volts: float, temperature: float = 20.0, *, stranded: bool = False
) -> float:
    """
    Longest run, one way, that loses no more than the allowed volts. [m]

    Parameters
    ----------
    gauge, temperature, stranded
        As in `resistance_per_metre`.
    amps : float
        Current. [A]
    allowed_volts : float
        Volts that may be lost out and back. [V]

    Raises
    ------
    OutOfRange
        If the current or the allowed drop is not above zero.
    Unknown
        If the gauge is not known.

    Notes
    -----
    `voltage_drop` solved for the length.

    Examples
    --------
    >>> round(longest_run("14 AWG", 10, 6.14, 75), 1)
    30.5
    """
    current = positive(amps, "current", "A")
    allowed = positive(allowed_volts, "allowed drop", "V")
    return allowed / (2 * current * resistance_per_metre(gauge, temperature, stranded=stranded))


def smallest_gauge(length: float, amps: float, allowed_volts: float, temperature: float = 20.0) -> int:
    """
    Thinnest stranded extension cord that loses no more than the allowed volts. [AWG]

    This is about voltage only: the cord must also carry the current and be rated for the place.

    Parameters
    ----------
    length : float
        One way. [m]
    amps : float
        Current; the locked-rotor current for a compressor that has to start. [A]
    allowed_volts : float
        Volts that may be lost out and back. [V]
    temperature : float
        Conductor temperature. [°C]

    Returns
    -------
    int
        An even gauge from 18 to 4.

    Raises
    ------
    OutOfRange
        If a number is not usable, or if no cord will do.

    Notes
    -----
    `voltage_drop` tried from the thinnest cord up, stranded as in NEC chapter 9, Table 8.

    Examples
    --------
    >>> smallest_gauge(15, 30, 5.75)
    12
    """
    allowed = positive(allowed_volts, "allowed drop", "V")
    thinnest, thickest = int(_number("cord", "thinnest")), int(_number("cord", "thickest"))
    for gauge in range(thinnest, thickest - 1, -2):
        if voltage_drop(length, gauge, amps, temperature, stranded=True) <= allowed:
            return gauge
    longest = longest_run(thickest, amps, allowed, temperature, stranded=True)
    raise OutOfRange(
        Message(
            "no cord holds {allowed:g} V at {amps:g} A over {length:g} m; even {thickest} "
            "AWG reaches only {longest:.0f} m: move the supply closer",
            allowed=allowed,
            amps=amps,
            length=length,
            thickest=thickest,
            longest=longest,
        )
    )
