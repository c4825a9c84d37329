"""
Windings that touch each other: a triangle of run winding, start winding and bridge between the pins.

Three readings fix the three resistances, so the triangle is solved backwards and its prior is read off there.
Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from humclick.diagnosis.likelihood import peaks_of
from humclick.diagnosis.quadrature import cut, peak_cuts, rule

if TYPE_CHECKING:
    from humclick.diagnosis.displays import Display
    from humclick.diagnosis.windings import PinDisplay

__all__ = [
    "NODES",
    "PairRead",
    "Three",
    "in_order",
    "log_normal",
    "over_errors",
    "three_numbers",
    "triangle_evidence",
    "triangle_from",
]

#: Four-point Gauss–Hermite rule: Abramowitz and Stegun, Table 25.10, for a unit normal distribution.
NODES = (
    (-2.334414218338977, 0.045875854768068),
    (-0.741963784302726, 0.454124145231932),
    (0.741963784302726, 0.454124145231932),
    (2.334414218338977, 0.045875854768068),
)
_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: What a pair of pins reads at 25 °C: probability times ohms of the displays, their mean, its deviation. [Ω]
PairRead = tuple[float, float, float]
Three = tuple[PairRead, PairRead, PairRead]


def triangle_from(c_r: float, c_s: float, s_r: float) -> tuple[float, float, float] | None:
    """
    Branches C–R, C–S and S–R of a triangle from the three resistances between its corners.

    Parameters
    ----------
    c_r, c_s, s_r : float
        Measured between two corners, the third left open. [Ω]

    Returns
    -------
    tuple of float or None
        None where no triangle of positive resistances measures like this. [Ω]

    Notes
    -----
    By the equivalent star, whose arms are half the sum of the two readings at a corner less the third;
    then from star to triangle (Kennelly).

    Examples
    --------
    >>> [round(r, 6) for r in triangle_from(2.0, 2.0, 2.0)]
    [3.0, 3.0, 3.0]
    """
    c, r, s = 0.5 * (c_r + c_s - s_r), 0.5 * (c_r + s_r - c_s), 0.5 * (c_s + s_r - c_r)
    if min(c, r, s) <= 0.0:
        return None
    product = c * r + r * s + s * c
    return product / s, product / r, product / c


def three_numbers(displays: Sequence[PinDisplay]) -> Mapping[tuple[int, int], PairRead] | None:
    """What each pair of pins reads; None unless all three showed nothing but numbers, equally warm."""
    pairs: dict[tuple[int, int], list[Display]] = {}
    for d in displays:
        if d.hot or d.copper != displays[0].copper or not d.display.y or d.display.zero:
            return None
        pairs.setdefault((min(d.first, d.second), max(d.first, d.second)), []).append(d.display)
    if len(pairs) < 3:
        return None
    copper = displays[0].copper
    return {pair: _pair_read(repeats, copper) for pair, repeats in pairs.items()}


def _pair_read(displays: Sequence[Display], copper: float) -> PairRead:
    cuts = peak_cuts(peaks_of(displays))
    places = [place for place, _ in cuts]
    nodes = rule(cut(cuts, min(places), max(places))) if cuts else []
    rows = [(x / copper, w * x / copper * math.prod(d.probability(x) for d in displays)) for x, _, w in nodes]
    total = math.fsum(p for _, p in rows)
    if total <= 0.0:  # repeats so far apart that no value makes both likely
        return 0.0, 1.0, 0.0
    mean = math.fsum(x * p for x, p in rows) / total
    return total, mean, math.sqrt(math.fsum((x - mean) ** 2 * p for x, p in rows) / total)


def triangle_evidence(
    read: Mapping[tuple[int, int], PairRead],
    names: tuple[str, str, str],
    priors: Sequence[tuple[float, float]],
    together: float = 0.0,
) -> float:
    """
    Probability of numbers at all three pairs when the windings touch; a slip of the hand does not count.

    Parameters
    ----------
    read : mapping of (pin, pin) to PairRead
        As `three_numbers` gives them.
    names : (str, str, str)
        What the three pins really are.
    priors : sequence of (median, sigma)
        Of run winding, start winding and bridge: ohms, and standard deviation of the logarithm. [Ω], [-]
    together : float
        Covariance of the logarithms of run and start winding. [-]

    Returns
    -------
    float
        [-]
    """
    return over_errors(in_order(read, names), lambda readings: _density(readings, priors, together))


def in_order(read: Mapping[tuple[int, int], PairRead], names: tuple[str, str, str]) -> Three:
    """What C–R, C–S and S–R read, of `three_numbers`, by what the pins really are."""
    at = [sorted((names.index(a), names.index(b))) for a, b in ("CR", "CS", "SR")]
    c_r, c_s, s_r = (read[first, second] for first, second in at)
    return c_r, c_s, s_r


def over_errors(rows: Three, density: Callable[[Sequence[float]], float]) -> float:
    """
    Probability of three numbers over the errors of all three, by a four-point rule each.

    Parameters
    ----------
    rows : tuple of PairRead
        As `in_order` gives them.
    density : callable
        Of the three numbers that were there. [1/Ω³]

    Returns
    -------
    float
        [-]
    """
    mean = math.fsum(
        math.prod(w for _, w in steps)
        * density([m + z * sd for (_, m, sd), (z, _) in zip(rows, steps, strict=True)])
        for steps in itertools.product(NODES, repeat=3)
    )
    return mean * math.prod(height for height, _, _ in rows)


def log_normal(value: float, median: float, sigma: float) -> float:
    """
    Density of a log-normal unknown (any textbook of probability); zero at and below nothing.

    Parameters
    ----------
    value, median : float
        [Ω]
    sigma : float
        Standard deviation of the logarithm. [-]

    Returns
    -------
    float
        [1/Ω]
    """
    if value <= 0.0:
        return 0.0
    return math.exp(-0.5 * (math.log(value / median) / sigma) ** 2) / (value * sigma * _ROOT_2PI)


def _density(readings: Sequence[float], priors: Sequence[tuple[float, float]], together: float) -> float:
    """
    Prior density of the three readings, from that of the three branches. [1/Ω³]

    A reading is a(b + c)/(a + b + c); the determinant of the three by the three branches is
    2abc/(a + b + c)³.
    """
    branches = triangle_from(readings[0], readings[1], readings[2])
    if branches is None:
        return 0.0
    density = 0.5 * math.fsum(branches) ** 3 / math.prod(branches)
    (run, run_sigma), (start, start_sigma), _ = priors
    if together and run_sigma and start_sigma:  # the start winding, given the run winding
        slope = together / run_sigma**2
        start *= (branches[0] / run) ** slope
        start_sigma = math.sqrt(max(start_sigma**2 - slope * together, 1e-6))
        priors = (priors[0], (start, start_sigma), priors[2])
    return density * math.prod(log_normal(x, *prior) for x, prior in zip(branches, priors, strict=True))
