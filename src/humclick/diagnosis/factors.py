"""
What one group of observations says, and what a display says where little or nothing is behind it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from humclick.diagnosis.displays import Stretch
from humclick.diagnosis.law import evenly, evenly_by_ratio
from humclick.diagnosis.scales import PerSet
from humclick.physics.copper import resistance_at
from humclick.readings import PartTemperature

__all__ = ["Compiled", "Factor", "copper", "dead", "flat", "p_hot", "uncharged"]

#: Probability that a part of unknown temperature is hot: a machine that called for help has often just tried.
#: A guess. [-]
_UNKNOWN_HOT = 0.35
#: How often a dead wire floats; then it shows nothing, up to a volt, up to the highest. A guess. [-]
_FLOATS, _STRAYS = 0.3, (1 / 6, 1 / 2, 1 / 3)
#: What foil ends and leads keep at most. [F]
_ENDS = 3e-8


@dataclass(frozen=True)
class Factor:
    """
    What some observations say, together.

    Attributes
    ----------
    observations : tuple of int
        Which observations of the situation it covers; empty for the complaint.
    scope : tuple of int
        Parts it depends on.
    table : mapping of configuration to tuple of float
        Probability of the observations per mode configuration of the scope and per lead node.
    per_set : PerSet or None
        Instead of a table: gives the probability under a set of modes, worked out when asked for.
    none : float
        Probability of the observations when the cause is none of those modelled.
    most : float
        No hypothesis whatever can give more. [-]
    effort : int
        How long it takes to work out beside others; what takes longest is asked last.
    rough : PerSet or None
        No less than `per_set` gives, and sooner had; it sees the same.
    """

    observations: tuple[int, ...]
    scope: tuple[int, ...] = ()
    table: Mapping[tuple[int, ...], tuple[float, ...]] = field(default_factory=dict)
    per_set: PerSet | None = None
    none: float = 1.0
    most: float = 1.0
    effort: int = 0
    rough: PerSet | None = None


@dataclass(frozen=True)
class Compiled:
    """All factors of a situation, and the nodes of the test leads with their weights. [Ω], [-]"""

    factors: tuple[Factor, ...]
    leads: tuple[tuple[float, float], ...]


@lru_cache(maxsize=64)
def copper(temperature: PartTemperature) -> tuple[float, float]:
    """Factor on a winding for its temperature, and its ln standard deviation. [-], [-]"""
    low, high = temperature.between
    at = [resistance_at(t, 1.0, 25.0) for t in (low, 0.5 * (low + high), high)]
    return at[1], (at[2] - at[0]) / at[1] / math.sqrt(12.0)


def p_hot(temperature: PartTemperature, cold_but_warm: float) -> float:
    """Probability that protector or starter had not cooled when a reading was taken. [-]"""
    kind = temperature.kind
    if temperature.rested:
        return cold_but_warm
    if kind == "measured":
        celsius = temperature.celsius or 0.0
        return 0.02 if celsius < 35 else 0.3 if celsius < 50 else 0.9
    if kind == "cold":
        return cold_but_warm
    if kind == "hot":
        return 1.0 - cold_but_warm
    return _UNKNOWN_HOT


def dead(stretches: Sequence[Stretch], stray: float) -> float:
    """
    Probability of displays on one dead conductor: nothing, a fraction of a volt, or a stray voltage. [-]

    A high-resistance meter shows up to half of the mains on a wire that ends in the air, and another value
    each time; a wire that is not in the air shows nothing every time (common practice; the shares are
    guesses).

    Parameters
    ----------
    stretches : sequence of Stretch
        Displays, or neighbouring ones, each of its own reading.
    stray : float
        The highest stray voltage. [V]
    """
    still = math.prod(stretch.probability(0.0) for stretch in stretches)
    floating = math.prod(
        _STRAYS[0] * stretch.probability(0.0)
        + _STRAYS[1] * evenly(stretch.low, stretch.high, 1.0)
        + _STRAYS[2] * evenly(stretch.low, stretch.high, stray)
        for stretch in stretches
    )
    return (1.0 - _FLOATS) * still + _FLOATS * floating


def uncharged(stretches: Sequence[Stretch], most: float) -> float:
    """
    Probability of displays on a capacitor that is open: nothing, some nanofarads, or a part of what it had.

    Its foil ends and the meter's leads keep up to 30 nF; a foil torn off inside leaves any part of it, spread
    evenly over its logarithm (common practice; the shares are guesses). Repeats find the same part. [-]

    Parameters
    ----------
    most : float
        What may be left at most. [F]
    """
    nearest = min(stretches, key=lambda piece: piece.high - piece.low)
    low, high = nearest.low, nearest.high
    left = 0.2 * evenly(low, high, _ENDS) + 0.1 * evenly_by_ratio(low, high, _ENDS, max(most, 2.0 * _ENDS))
    there = 0.5 * (max(low, 0.0) + min(high, most))
    rest = [piece for piece in stretches if piece is not nearest]
    nothing = math.prod(piece.probability(0.0) for piece in stretches)
    return 0.7 * nothing + left * math.prod(piece.probability(there) for piece in rest)


def flat(stretch: Stretch) -> float:
    """Probability of displays about which nothing is known. [-]"""
    return stretch.scale.wildly(stretch.low, stretch.high, 0.3, 0.1)
