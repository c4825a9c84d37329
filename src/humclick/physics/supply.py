"""
Supply: is what arrives at the motor terminals good enough to start on.

Volts, hertz, amperes; fractions, not per cent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from humclick.errors import OutOfRange
from humclick.messages import N_, Message
from humclick.physics.bounds import between, positive
from humclick.sourced import read_data, sourced

__all__ = [
    "SupplyVerdict",
    "deviation",
    "judge_supply",
    "limits",
    "sag",
    "source_ohms",
    "torque_fraction",
    "unbalance",
    "unbalance_derating",
]

_EXACT = 1e-9


def _number(table: str, name: str) -> float:
    where = f"supply.toml {table}.{name}"
    return sourced(read_data("humclick.physics", "supply.toml")[table][name], where).value


@dataclass(frozen=True, slots=True)
class SupplyVerdict:
    """
    A supply against the limits of its motor.

    Attributes
    ----------
    volts_deviation, hertz_deviation : float
        From the nameplate, with sign. [-]
    acceptable : bool
        Whether the motor is made to work on it.
    says : str
        One plain sentence.
    """

    volts_deviation: float
    hertz_deviation: float
    acceptable: bool
    says: Message


def limits(rated_volts: float, upper_rated_volts: float | None = None) -> tuple[float, float]:
    """
    Lowest and highest voltage a motor is made to work on. [V]

    Parameters
    ----------
    rated_volts : float
        Nameplate voltage. [V]
    upper_rated_volts : float, optional
        The higher voltage of a nameplate marked with two, such as 208-230 (common practice: −10 % of the
        lower, +10 % of the higher). [V]

    Raises
    ------
    OutOfRange
        If a voltage is not above zero or the two are swapped.

    Notes
    -----
    ±10 % at rated frequency: NEMA MG 1, 9.9.1 of the condensed edition.

    Examples
    --------
    >>> tuple(round(v, 1) for v in limits(230))
    (207.0, 253.0)
    """
    low = positive(rated_volts, "rated voltage", "V")
    high = low if upper_rated_volts is None else positive(upper_rated_volts, "upper rated voltage", "V")
    if high < low:
        raise OutOfRange(
            Message(
                "give the lower rated voltage first: {high:g} and {low:g} V, got {low:g} and {high:g}",
                high=high,
                low=low,
            )
        )
    tolerance = _number("tolerance", "volts")
    return low * (1 - tolerance), high * (1 + tolerance)


def deviation(measured: float, rated: float) -> float:
    """
    Deviation from the nameplate, with sign. [-]

    Parameters
    ----------
    measured, rated : float
        Both in the same unit, above zero.

    Raises
    ------
    OutOfRange
        If a number is not usable.

    Notes
    -----
    (measured − rated) / rated: NEMA MG 1, 9.9.1 of the condensed edition.

    Examples
    --------
    >>> round(deviation(207, 230), 3)
    -0.1
    """
    nameplate = positive(rated, "rated value", "the same unit")
    return positive(measured, "measured value", "the same unit") / nameplate - 1


def judge_supply(
    volts: float, rated_volts: float, hertz: float = 60.0, rated_hertz: float = 60.0
) -> SupplyVerdict:
    """
    Judge voltage and frequency together.

    Parameters
    ----------
    volts, rated_volts : float
        At the motor terminals, and on the nameplate. [V]
    hertz, rated_hertz : float
        Of the supply, and on the nameplate. [Hz]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    Voltage ±10 %, frequency ±5 %, and the two absolute deviations together not above 10 %: NEMA MG 1, 9.9.1
    of the condensed edition.

    Examples
    --------
    >>> judge_supply(207, 230).acceptable
    True
    >>> judge_supply(205, 230).says
    'Voltage 10.9 % low: more than the 10 % the motor is made for.'
    """
    dv, df = deviation(volts, rated_volts), deviation(hertz, rated_hertz)
    most_v, most_f, most = (_number("tolerance", name) for name in ("volts", "hertz", "both"))
    volts_say = Message.of(_VOLTS[dv < 0], share=100 * abs(dv))
    hertz_say = Message.of(_HERTZ[df < 0], share=100 * abs(df))
    more = N_("{what}: more than the {most:g} % the motor is made for.")
    if abs(dv) > most_v + _EXACT:
        return SupplyVerdict(dv, df, False, Message.of(more, what=volts_say, most=100 * most_v))
    if abs(df) > most_f + _EXACT:
        return SupplyVerdict(dv, df, False, Message.of(more, what=hertz_say.capital(), most=100 * most_f))
    if abs(dv) + abs(df) > most + _EXACT:
        says = Message(
            "{volts} and {hertz}: together more than the {most:g} % the motor is made for.",
            volts=volts_say,
            hertz=hertz_say,
            most=100 * most,
        )
        return SupplyVerdict(dv, df, False, says)
    says = Message("{volts}, {hertz}: within what the motor is made for.", volts=volts_say, hertz=hertz_say)
    return SupplyVerdict(dv, df, True, says)


#: How far off volts and hertz are, by whether they are low.
_VOLTS = {True: N_("Voltage {share:.1f} % low"), False: N_("Voltage {share:.1f} % high")}
_HERTZ = {True: N_("frequency {share:.1f} % low"), False: N_("frequency {share:.1f} % high")}


def sag(at_rest: float, while_starting: float) -> float:
    """
    Part of the voltage lost while the motor tries to start; negative if it rose. [-]

    Parameters
    ----------
    at_rest, while_starting : float
        At the same two terminals. [V]

    Raises
    ------
    OutOfRange
        If a voltage is not above zero.

    Notes
    -----
    (V₀ − V) / V₀: definition.

    Examples
    --------
    >>> round(sag(120, 102), 3)
    0.15
    """
    return -deviation(
        positive(while_starting, "voltage while starting", "V"), positive(at_rest, "voltage at rest", "V")
    )


def source_ohms(at_rest: float, while_starting: float, amps: float) -> float:
    """
    Resistance of everything ahead of the terminals, from the sag. [Ω]

    Parameters
    ----------
    at_rest, while_starting : float
        At the same two terminals. [V]
    amps : float
        Drawn while starting. [A]

    Raises
    ------
    OutOfRange
        If a number is not above zero, or the voltage rose while starting.

    Notes
    -----
    (V₀ − V) / I, the reactance of the source left out: Ohm's law.

    Examples
    --------
    >>> round(source_ohms(120, 102, 60), 2)
    0.3
    """
    rest = positive(at_rest, "voltage at rest", "V")
    loaded = positive(while_starting, "voltage while starting", "V")
    if loaded > rest:
        raise OutOfRange(
            Message(
                "voltage rose from {rest:g} to {loaded:g} V while starting; measure both again "
                "at the same terminals",
                rest=rest,
                loaded=loaded,
            )
        )
    return (rest - loaded) / positive(amps, "current while starting", "A")


def torque_fraction(
    volts: float, rated_volts: float, hertz: float = 60.0, rated_hertz: float = 60.0
) -> float:
    """
    Locked-rotor torque as a part of that at nameplate voltage and frequency. [-]

    Parameters
    ----------
    volts, rated_volts : float
        At the motor terminals, and on the nameplate. [V]
    hertz, rated_hertz : float
        Of the supply, and on the nameplate. [Hz]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    (V / V₀)² / (f / f₀)²: NEMA MG 1, 9.9.2 of the condensed edition; approximate.

    Examples
    --------
    >>> round(torque_fraction(207, 230), 2)
    0.81
    """
    return float(((1 + deviation(volts, rated_volts)) / (1 + deviation(hertz, rated_hertz))) ** 2)


def unbalance(first: float, second: float, third: float) -> float:
    """
    Voltage unbalance of a three-phase supply. [-]

    Parameters
    ----------
    first, second, third : float
        The three voltages between lines. [V]

    Raises
    ------
    OutOfRange
        If a voltage is not above zero.

    Notes
    -----
    Greatest deviation from the average over the average: NEMA MG 1, 14.36.

    Examples
    --------
    >>> round(100 * unbalance(460, 467, 450), 2)
    1.96
    """
    volts = [positive(v, "voltage between lines", "V") for v in (first, second, third)]
    average = math.fsum(volts) / 3
    return max(abs(v - average) for v in volts) / average


def unbalance_derating(fraction: float) -> float:
    """
    Part of its rated power a three-phase motor may give on an unbalanced supply. [-]

    Parameters
    ----------
    fraction : float
        From `unbalance`, 0 to 0.05. [-]

    Raises
    ------
    OutOfRange
        If the unbalance is above 5 %: the motor must not run.

    Notes
    -----
    Straight lines between points read off the curve of NEMA MG 1, 14.36 (from memory).

    Examples
    --------
    >>> unbalance_derating(0.03)
    0.88
    """
    worst = _number("tolerance", "worst_unbalance")
    x = between(fraction, 0, worst, "voltage unbalance of a motor that may run", N_("(fraction)"))
    curve = read_data("humclick.physics", "supply.toml")["derating"]
    points = list(zip(curve["unbalance"], curve["factor"], strict=True))
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return float(y0 + (y1 - y0) * (x - x0) / (x1 - x0))
    return float(points[-1][1])
