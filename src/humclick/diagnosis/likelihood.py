"""
How probable displays are together, given what may really be there.

What is really there is an unknown with a log-normal spread; it is integrated over, and repeats share it.
Values in SI units of the quantity measured.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import mul

from humclick.diagnosis.displays import Display, Edge
from humclick.diagnosis.quadrature import Cut, columns, cut, peak_cuts, prior_cuts

__all__ = ["Integral", "Together", "evidence", "nodes_of", "peaks_of"]

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
    rest = sorted([d.peak for d in displays if d.peak is not None])
    if len(rest) < 2:
        return rest
    peaks: list[Cut] = []
    while rest:
        middle, width = rest[len(rest) // 2]
        near = [p for p in rest if abs(p[0] - middle) <= 6.0 * max(width, p[1])]
        rest = [p for p in rest if p not in near]
        weight = math.fsum(1.0 / (s * s) for _, s in near)
        peaks.append((math.fsum(y / (s * s) for y, s in near) / weight, 1.0 / math.sqrt(weight)))
        if len(near) > 1:
            peaks.extend({near[0], near[-1]})
    return peaks


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


class Together:
    """
    Displays of one unknown, ready to be asked how probable they are.

    Parameters
    ----------
    displays : sequence of Display
        Repeats of one measurement.
    """

    def __init__(self, displays: Sequence[Display | Edge]) -> None:
        self._displays = displays
        feet = (foot for display in displays for foot in display.feet)
        self._peaks = peak_cuts([*peaks_of(displays), *feet])
        bends = {x for display in displays for x in (*display.steps, *(display.peak or ())[:1]) if x > 0.0}
        self._bends = [(place, 0.0) for place in map(math.log, bends)]

    def value(self, median: float, sigma: float) -> float:
        """Probability of all of them for a median and a standard deviation of ln; never nothing. [SI], [-]"""
        return max(math.fsum(self.weighted(median, sigma)[1]), 1e-300)

    def weighted(self, median: float, sigma: float) -> tuple[Sequence[float], Sequence[float]]:
        """Nodes of the unknown, and what each adds to that probability. [SI], [-]"""
        values, weighted = self._nodes(median, sigma)
        for display in self._displays:
            weighted = list(map(mul, weighted, display.probabilities(values)))
        return values, weighted

    def _nodes(self, median: float, sigma: float) -> tuple[Sequence[float], Sequence[float]]:
        """Nodes of the unknown, close together where displays need it; their weights sum to 1."""
        if not math.isfinite(median) or median <= 0.0 or sigma < 1e-6:
            return (median,), (1.0,)
        mu, farthest = math.log(median), _FARTHEST * sigma
        cuts = prior_cuts(median, sigma)
        if sigma > _WIDE:
            cuts += [(mu + k * sigma, sigma) for k in (-3.0, -1.0, 1.0, 3.0)]
        cuts += [c for c in self._peaks if abs(c[0] - mu) <= farthest]
        low, high = min(cuts)[0], max(cuts)[0]
        cuts += [c for c in self._bends if low < c[0] < high]
        values, places, widths = columns(cut(cuts, low, high))
        scale, steep, exp = 1.0 / (sigma * _ROOT_2PI), -0.5 / (sigma * sigma), math.exp
        return values, [
            width * scale * exp(steep * (y - mu) ** 2) for y, width in zip(places, widths, strict=True)
        ]


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
    values, weighted = Together(displays).weighted(median, sigma)
    total = math.fsum(weighted)
    if total <= 0.0:
        return Integral(1e-300, nodes_of(median, sigma))
    rows, faint = zip(values, weighted, strict=True), 1e-9 * total
    return Integral(total, tuple([(x, w / total) for x, w in rows if w > faint]))
