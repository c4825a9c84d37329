"""
How probable displays are together, given what may really be there.

What is really there is an unknown with a log-normal spread; it is integrated over, and repeats share it.
Values in SI units of the quantity measured.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from humclick.diagnosis.displays import Display, Edge
from humclick.diagnosis.quadrature import Cut, cut, peak_cuts, prior_cuts, rule

__all__ = ["Integral", "evidence", "nodes_of", "peaks_of"]

_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: Steps of a Gaussian integrand half a standard deviation apart: the trapezoid rule is then exact to 1e-8.
_STEPS = tuple(0.5 * k for k in range(-9, 10))

#: A prior wider than this is cut twice as often: a dirty contact bends within a factor of two or three. [-]
_WIDE = 0.6
#: Beyond this many standard deviations of the prior nothing is looked for. [-]
_FARTHEST = 12.0


def nodes_of(median: float, sigma: float) -> tuple[tuple[float, float], ...]:
    """
    Nodes and weights for a smooth function of a log-normal unknown.

    Parameters
    ----------
    median, sigma : float
        Median, and standard deviation of the natural logarithm. [SI], [-]

    Returns
    -------
    tuple of (value, weight)
        Weights sum to 1.
    """
    if not math.isfinite(median) or median <= 0.0 or sigma < 1e-6:
        return ((median, 1.0),)
    weights = [math.exp(-0.5 * z * z) for z in _STEPS]
    total = math.fsum(weights)
    return tuple((median * math.exp(sigma * z), w / total) for z, w in zip(_STEPS, weights, strict=True))


def peaks_of(displays: Iterable[Display | Edge]) -> list[Cut]:
    """
    Where the product of displays of one value peaks, with the width of each peak. [SI], [SI]

    Repeats that agree make one peak, narrower by the root of their number, on a foot as wide as they lie
    apart.
    """
    rest = sorted(d.peak for d in displays if d.peak is not None)
    found: list[Cut] = []
    while rest:
        middle, width = rest[len(rest) // 2]
        near = [p for p in rest if abs(p[0] - middle) <= 6.0 * max(width, p[1])]
        rest = [p for p in rest if p not in near]
        weight = math.fsum(1.0 / (s * s) for _, s in near)
        found.append((math.fsum(y / (s * s) for y, s in near) / weight, 1.0 / math.sqrt(weight)))
        if len(near) > 1:
            found.extend({near[0], near[-1]})
    return found


@dataclass(frozen=True, slots=True)
class Integral:
    """
    An integral over an unknown.

    Attributes
    ----------
    value : float
        Probability of all displays together. [-]
    nodes : tuple of (value, weight)
        The unknown given the displays; weights sum to 1.
    """

    value: float
    nodes: tuple[tuple[float, float], ...]


def evidence(displays: Sequence[Display | Edge], median: float, sigma: float) -> Integral:
    """
    Probability of displays of one unknown, the unknown integrated out.

    Parameters
    ----------
    displays : sequence of Display
        Repeats of one measurement.
    median, sigma : float
        Of the unknown before them. [SI], [-]

    Returns
    -------
    Integral
    """
    nodes = _nodes(displays, median, sigma)
    weighted = []
    for x, weight in nodes:
        for display in displays:
            weight *= display.probability(x)
        weighted.append(weight)
    total = math.fsum(weighted)
    if total <= 0.0:
        return Integral(1e-300, nodes_of(median, sigma))
    kept = tuple((x, w / total) for (x, _), w in zip(nodes, weighted, strict=True) if w > 1e-9 * total)
    return Integral(total, kept)


def _nodes(displays: Sequence[Display | Edge], median: float, sigma: float) -> Sequence[tuple[float, float]]:
    """Nodes of the unknown, close together where the displays need it; weights sum to 1 without displays."""
    if not math.isfinite(median) or median <= 0.0 or sigma < 1e-6:
        return ((median, 1.0),)
    mu = math.log(median)
    cuts = prior_cuts(median, sigma)
    low, high = cuts[0][0], cuts[-1][0]
    if sigma > _WIDE:
        cuts.extend((mu + k * sigma, sigma) for k in (-3.0, -1.0, 1.0, 3.0))
    for place, width in peak_cuts(peaks_of(displays)):
        if abs(place - mu) <= _FARTHEST * sigma:
            cuts.append((place, width))
    low, high = min(low, *(c[0] for c in cuts)), max(high, *(c[0] for c in cuts))
    bends = {x for d in displays for x in d.steps} | {d.peak[0] for d in displays if d.peak is not None}
    places = {math.log(x) for x in bends if x > 0.0}
    cuts.extend((place, 0.0) for place in places if low < place < high)
    low, high = min(c[0] for c in cuts), max(c[0] for c in cuts)
    scale = 1.0 / (sigma * _ROOT_2PI)
    return [
        (x, width * scale * math.exp(-0.5 * ((y - mu) / sigma) ** 2))
        for x, y, width in rule(cut(cuts, low, high))
    ]
