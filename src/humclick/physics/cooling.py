"""
Cooling: how long to wait.

Degrees Celsius and minutes (waits are read off a watch).
"""

from __future__ import annotations

import math
from statistics import NormalDist

from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message
from humclick.physics.bounds import between, not_negative, positive
from humclick.sourced import Spread, read_data, spread

__all__ = ["minutes_for", "passing", "probability_passed", "time_to_reach"]

_ABSOLUTE_ZERO = -273.15
_HOTTEST = 500.0


def time_to_reach(start_celsius: float, target: float, ambient: float, time_constant: float) -> float:
    """
    Time for a part to drift from one temperature to another in still surroundings. [min]

    Parameters
    ----------
    start_celsius : float
        Temperature now. [°C]
    target : float
        Temperature waited for, between `start_celsius` and `ambient`. [°C]
    ambient : float
        Temperature of the surroundings. [°C]
    time_constant : float
        Time in which the difference to the surroundings falls to 36.8 %. [min]

    Returns
    -------
    float
        In the unit of `time_constant`; 0 if the part is there already.

    Raises
    ------
    OutOfRange
        If the target is never reached or a number is not usable.

    Notes
    -----
    t = τ ln((T₀ − Ta) / (T − Ta)): lumped cooling, Çengel, *Heat and Mass Transfer*, section 4-1.

    Examples
    --------
    >>> round(time_to_reach(110, 60, 30, 25), 1)
    24.5
    """
    tau = positive(time_constant, "time constant", "min")
    now = between(start_celsius, _ABSOLUTE_ZERO, _HOTTEST, "temperature now", "°C")
    wanted = between(target, _ABSOLUTE_ZERO, _HOTTEST, "temperature waited for", "°C")
    around = between(ambient, _ABSOLUTE_ZERO, _HOTTEST, "temperature of the surroundings", "°C")
    if now == wanted:
        return 0.0
    if not (now > wanted > around or now < wanted < around):
        raise OutOfRange(
            Message(
                "a part at {now:g} °C in surroundings of {around:g} °C never reaches "
                "{wanted:g} °C; wait for a temperature between the two",
                now=now,
                around=around,
                wanted=wanted,
            )
        )
    return tau * math.log((now - around) / (wanted - around))


def passing() -> tuple[str, ...]:
    """
    Name the conditions that pass by themselves, as `probability_passed` takes them.

    Examples
    --------
    >>> passing()
    ('external_protector', 'internal_protector', 'ptc', 'pressures', 'windings')
    """
    return tuple(read_data("humclick.physics", "cooling.toml")["passing"])


def _wait(kind: str) -> Spread:
    known = read_data("humclick.physics", "cooling.toml")["passing"]
    if kind not in known:
        raise Unknown(Message("passing condition"), kind, known)
    return spread(known[kind], f"cooling.toml passing.{kind}")


def probability_passed(kind: str, minutes: float) -> float:
    """
    Probability that a passing condition is over after a wait. [-]

    Parameters
    ----------
    kind : str
        One of `passing`: ``external_protector`` or ``internal_protector`` (tripped), ``ptc`` (hot),
        ``pressures`` (not equal yet).
    minutes : float
        Waited since power was taken off. [min]

    Raises
    ------
    Unknown
        If the condition is not in the list.
    OutOfRange
        If the wait is negative or not finite.

    Notes
    -----
    Log-normal wait with the median and 95 % factor of `cooling.toml` (common practice).

    Examples
    --------
    >>> round(probability_passed("ptc", 4), 3)
    0.5
    """
    wait = _wait(kind)
    t = not_negative(minutes, "wait", "min")
    return NormalDist(wait.mu, wait.sigma).cdf(math.log(t)) if t > 0 else 0.0


def minutes_for(kind: str, probability: float) -> float:
    """
    Wait after which a passing condition is over with a wanted probability. [min]

    Parameters
    ----------
    kind : str
        As in `probability_passed`.
    probability : float
        Above 0 and below 1. [-]

    Raises
    ------
    Unknown
        If the condition is not in the list.
    OutOfRange
        If the probability is not between 0 and 1: certainty would take for ever.

    Notes
    -----
    Inverse of `probability_passed` (common practice).

    Examples
    --------
    >>> round(minutes_for("ptc", 0.975), 1)
    8.0
    """
    wait = _wait(kind)
    p = between(probability, 0, 1, "probability", "(both excluded)")
    if p in (0.0, 1.0):
        raise OutOfRange(
            Message(
                "probability must be above 0 and below 1, got {probability}; try 0.9",
                probability=repr(probability),
            )
        )
    return math.exp(NormalDist(wait.mu, wait.sigma).inv_cdf(p))
