"""
Nodes for integrals over a positive unknown whose likelihood has sharp peaks, kinks and steps.

The axis is ln x. It is cut where the prior or a display bends, and every piece gets the same small
Gauss–Legendre rule: a peak is then met wherever it lies, however narrow it is.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

__all__ = ["Cut", "columns", "cut", "in_steps", "peak_cuts", "prior_cuts", "rule"]

#: A place on the axis, and the width of what bends there; zero for a step.
Cut = tuple[float, float]

#: Gauss–Legendre rules of three and four points on −1 … 1: Abramowitz and Stegun, Table 25.4.
_RULES = {
    3: (
        (-0.774596669241483, 0.555555555555556),
        (0.0, 0.888888888888889),
        (0.774596669241483, 0.555555555555556),
    ),
    4: (
        (-0.861136311594053, 0.347854845137454),
        (-0.339981043584856, 0.652145154862546),
        (0.339981043584856, 0.652145154862546),
        (0.861136311594053, 0.347854845137454),
    ),
}

#: Where a Gaussian is cut, in standard deviations.
_STEPS = (-5.0, -2.0, 0.0, 2.0, 5.0)

#: Of a spread, and twice that of a median over its spread. [-]
_COARSE = 0.1

#: Cuts closer than this part of the narrower width are one cut.
_SAME = 0.5


def prior_cuts(median: float, sigma: float) -> list[Cut]:
    """
    Cuts on ln x for a log-normal unknown.

    Parameters
    ----------
    median : float
        In the unit of x. [Ω, F or V]
    sigma : float
        Standard deviation of ln x. [-]

    Returns
    -------
    list of (place, width)
        On ln x. [-]
    """
    mu = math.log(median)
    return [(mu + k * sigma, sigma) for k in _STEPS]


def peak_cuts(peaks: Iterable[Cut]) -> list[Cut]:
    """Cuts on ln x for Gaussian peaks given by centre and standard deviation on x; none at or below zero."""
    cuts = []
    for centre, deviation in peaks:
        for k in _STEPS:
            x = centre + k * deviation
            if x > 0.0:
                cuts.append((math.log(x), deviation / x))
    return cuts


def cut(cuts: Iterable[Cut], low: float, high: float) -> list[float]:
    """
    Ascending places on ln x between two ends, both included; cuts that are nearly one are one.

    Parameters
    ----------
    cuts : iterable of (place, width)
        In any order, on ln x. [-]
    low, high : float
        The ends, on ln x. [-]

    Returns
    -------
    list of float
        On ln x. [-]
    """
    merged = [(low, 0.0)]
    for place, width in sorted(cuts):
        if not low < place < high:
            continue
        last, last_width = merged[-1]
        if place - last <= max(_SAME * min(width, last_width), 1e-12):
            if width < last_width:
                merged[-1] = (place, width)
        else:
            merged.append((place, width))
    if merged[-1][0] < high:
        merged.append((high, 0.0))
    return [place for place, _ in merged]


def rule(places: Sequence[float], points: int = 4) -> list[tuple[float, float, float]]:
    """
    Nodes of an integral over ln x.

    Parameters
    ----------
    places : sequence of float
        Ascending ends of the pieces, on ln x. [-]
    points : int
        Of the rule in each piece, 3 or 4. [-]

    Returns
    -------
    list of (x, ln x, width)
        ``sum(width * f(x))`` is the integral of f over ln x; x in its own unit, the others [-].
    """
    return list(zip(*columns(places, points), strict=True))


def columns(places: Sequence[float], points: int = 4) -> tuple[list[float], list[float], list[float]]:
    """
    The nodes of `rule` in columns.

    Parameters
    ----------
    places : sequence of float
        Ascending ends of the pieces, on ln x. [-]
    points : int
        Of the rule in each piece, 3 or 4. [-]

    Returns
    -------
    tuple of lists
        x in its own unit, ln x and width. [-]
    """
    halves = [(0.5 * (high - low), low) for low, high in pairwise(places)]
    at_weights = _RULES[points]
    logs = [low + half + half * at for half, low in halves for at, _ in at_weights]
    widths = [half * weight for half, _ in halves for _, weight in at_weights]
    return list(map(math.exp, logs)), logs, widths


def in_steps(median: float, sigma: float) -> tuple[float, float]:
    """
    A log-normal unknown in steps, so that those nobody could tell apart are worked out once.

    A tenth of the spread either way, and the spread to five per cent: finer than medians and spreads of the
    simulated attempts are known, of which each has some thirty at most.

    Parameters
    ----------
    median, sigma : float
        Of the unknown; the standard deviation is that of ln. [any], [-]

    Returns
    -------
    tuple of (median, sigma)
        In the same units.
    """
    sigma = math.exp(_COARSE * round(math.log(sigma) / _COARSE))
    step = 2.0 * _COARSE * sigma
    return math.exp(step * round(math.log(median) / step)), sigma
