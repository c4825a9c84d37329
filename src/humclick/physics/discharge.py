"""
Discharge: how long until a capacitor is safe, and what the resistor must stand.

Farads, volts, ohms, seconds, joules, watts. A calculation never replaces the meter: prove it with volts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.physics.bounds import positive
from humclick.sourced import read_data, sourced

__all__ = [
    "Discharge",
    "bleeder_watts",
    "discharge_through",
    "largest_bleeder",
    "seconds_to",
    "stored_joules",
]


def _number(table: str, name: str) -> float:
    where = f"discharge.toml {table}.{name}"
    return sourced(read_data("humclick.physics", "discharge.toml")[table][name], where).value


@dataclass(frozen=True, slots=True)
class Discharge:
    """
    A capacitor emptied through a chosen resistor.

    Attributes
    ----------
    farads, ohms : float
        The capacitor and the resistor. [F] [Ω]
    peak_volts : float
        The most it can hold: the crest of the alternating voltage. [V]
    safe_volts : float
        The voltage taken as safe. [V]
    time_constant : float
        Resistance times capacitance. [s]
    seconds : float
        From the crest down to `safe_volts`. [s]
    joules : float
        Energy at the crest. [J]
    peak_watts : float
        Power in the resistor at the first moment. [W]
    resistor_watts : float
        Recommended power rating of the resistor. [W]
    reason : str
        Why this rating.
    """

    farads: float
    ohms: float
    peak_volts: float
    safe_volts: float
    time_constant: float
    seconds: float
    joules: float
    peak_watts: float
    resistor_watts: float
    reason: Message


def stored_joules(farads: float, peak_volts: float) -> float:
    """
    Energy in a capacitor. [J]

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    peak_volts : float
        Direct voltage it holds; the crest, not the rms value. [V]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    E = C V² / 2: elementary physics, e.g. *College Physics* (OpenStax), section 19.7.

    Examples
    --------
    >>> round(stored_joules(8e-6, 10_000), 1)
    400.0
    """
    return positive(farads, "capacitance", "F") * positive(peak_volts, "peak voltage", "V") ** 2 / 2


def seconds_to(farads: float, ohms: float, from_volts: float, to_volts: float) -> float:
    """
    Time for a capacitor to fall from one direct voltage to another through a resistor. [s]

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    ohms : float
        Resistor. [Ω]
    from_volts, to_volts : float
        Direct voltages, the crest and not the rms value of an alternating one. [V]

    Returns
    -------
    float
        Zero if the capacitor starts at or below `to_volts`.

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    t = R C ln(V₁ / V₂): *College Physics* (OpenStax), section 21.6.

    Examples
    --------
    >>> round(seconds_to(100e-6, 15_000, 311.1, 50), 2)
    2.74
    """
    tau = positive(farads, "capacitance", "F") * positive(ohms, "resistance", "Ω")
    start = positive(from_volts, "starting voltage", "V")
    return tau * max(0.0, math.log(start / positive(to_volts, "final voltage", "V")))


def largest_bleeder(
    farads: float, volts: float, seconds: float | None = None, safe_volts: float | None = None
) -> float:
    """
    Largest resistor that makes a capacitor safe in time. [Ω]

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    volts : float
        Alternating voltage across the capacitor. [V rms]
    seconds : float, optional
        Time allowed; 60 s if left out. [s]
    safe_volts : float, optional
        50 V if left out. [V]

    Raises
    ------
    OutOfRange
        If a number is not usable, or if the capacitor cannot hold more than `safe_volts` anyway.

    Notes
    -----
    R = t / (C ln(√2 V / V safe)); 50 V within 60 s: NEC 460.6.

    Examples
    --------
    >>> round(largest_bleeder(45e-6, 440) / 1000, 1)
    528.8
    """
    allowed = positive(_number("safe", "seconds") if seconds is None else seconds, "time allowed", "s")
    safe = positive(_number("safe", "volts") if safe_volts is None else safe_volts, "safe voltage", "V")
    peak = math.sqrt(2) * positive(volts, "alternating voltage", "V")
    if peak <= safe:
        raise OutOfRange(
            Message(
                "a capacitor on {volts:g} V holds at most {peak:.1f} V, within the {safe:g} V "
                "taken as safe: no bleeder is needed for it",
                volts=volts,
                peak=peak,
                safe=safe,
            )
        )
    return allowed / (positive(farads, "capacitance", "F") * math.log(peak / safe))


def bleeder_watts(volts: float, ohms: float) -> float:
    """
    Continuous power in a bleeder that stays across a working capacitor. [W]

    Parameters
    ----------
    volts : float
        Alternating voltage across the capacitor. [V rms]
    ohms : float
        Bleeder. [Ω]

    Raises
    ------
    OutOfRange
        If a number is not above zero.

    Notes
    -----
    P = V² / R: elementary circuit law. Take a rating of at least twice this (common practice).

    Examples
    --------
    >>> round(bleeder_watts(330, 15_000), 2)
    7.26
    """
    return positive(volts, "alternating voltage", "V") ** 2 / positive(ohms, "resistance", "Ω")


def _rating(peak_watts: float, tau: float, ohms: float, peak_volts: float) -> tuple[float, Message]:
    """Recommended power rating and why: an exponential pulse heats like its peak kept up for half of R C."""
    times, limit = _number("resistor", "overload"), _number("resistor", "overload_seconds")
    ratings = read_data("humclick.physics", "discharge.toml")["resistor"]["ratings"]["value"]
    lasting = tau / 2
    short = lasting <= limit
    wanted = peak_watts / times if short else peak_watts
    fitting = [float(watts) for watts in ratings if watts >= max(wanted, _number("resistor", "least"))]
    if not fitting:
        enough = ohms * wanted / max(ratings)
        raise OutOfRange(
            Message(
                "{ohms:g} Ω would start at {peak_watts:.0f} W, more than a resistor you can "
                "hold takes; use at least {least} Ω, commonly 10 000 to 20 000 Ω",
                ohms=ohms,
                peak_watts=peak_watts,
                least=math.ceil(enough),
            )
        )
    pulse = Message(
        "{watts:.3g} W at first, heating like {watts:.3g} W kept up for {seconds:.2g} s",
        watts=peak_watts,
        seconds=lasting,
    )
    rule = Message("longer than {seconds:g} s, so the first watts count in full", seconds=limit)
    if short:
        rule = Message(
            "up to {seconds:g} s a power resistor takes {times:g} times its rating, so {watts:.2g} W is"
            " needed",
            seconds=limit,
            times=times,
            watts=wanted,
        )
    reason = Message(
        "{pulse}; {rule}; next rating on sale, never below {least:g} W: {watts:g} W. Its working voltage must"
        " be {volts} V or more.",
        pulse=pulse,
        rule=rule,
        least=_number("resistor", "least"),
        watts=fitting[0],
        volts=math.ceil(peak_volts),
    )
    return fitting[0], reason


def discharge_through(farads: float, volts: float, ohms: float, safe_volts: float | None = None) -> Discharge:
    """
    Work out the discharge of a capacitor through a chosen resistor.

    Parameters
    ----------
    farads : float
        Capacitance. [F]
    volts : float
        Alternating voltage the capacitor may have had across it; its marked voltage is on the safe side, the
        supply voltage is not (a run capacitor works well above it). [V rms]
    ohms : float
        Chosen resistor. [Ω]
    safe_volts : float, optional
        Voltage taken as safe; 50 V if left out (NEC 460.6). [V]

    Raises
    ------
    OutOfRange
        If a number is not above zero, or the resistor is so small that none can stand it.

    Notes
    -----
    R C, crest = √2 V, t = R C ln(crest / safe), E = C V² / 2 (*College Physics*, OpenStax, 19.7 and 21.6).
    The rating takes the energy of the exponential pulse as its first power kept up for R C / 2.

    Examples
    --------
    >>> emptied = discharge_through(100e-6, 220, 15_000)
    >>> round(emptied.time_constant, 2), round(emptied.seconds, 2), emptied.resistor_watts
    (1.5, 2.74, 2.0)
    """
    peak = math.sqrt(2) * positive(volts, "alternating voltage", "V")
    safe = positive(_number("safe", "volts") if safe_volts is None else safe_volts, "safe voltage", "V")
    seconds = seconds_to(farads, ohms, peak, safe)
    tau, peak_watts = farads * ohms, peak**2 / ohms
    watts, reason = _rating(peak_watts, tau, ohms, peak)
    return Discharge(
        farads=float(farads),
        ohms=float(ohms),
        peak_volts=peak,
        safe_volts=safe,
        time_constant=tau,
        seconds=seconds,
        joules=stored_joules(farads, peak),
        peak_watts=peak_watts,
        resistor_watts=watts,
        reason=reason,
    )
