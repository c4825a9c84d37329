"""
Windings that touch each other: a triangle of run winding, start winding and bridge between the pins.

Three readings fix the three resistances, so the triangle is solved backwards and its prior is read off there.
Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

from humclick.diagnosis.likelihood import Display, peaks_of
from humclick.diagnosis.quadrature import cut, peak_cuts, rule
from humclick.diagnosis.windings import PERMUTATIONS, WindingEvidence
from humclick.parts.family import HEALTHY

__all__ = ["delta_evidence", "triangle_from"]

#: Three-point Gauss–Hermite rule: Abramowitz and Stegun, Table 25.10, for a unit normal distribution.
_NODES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))
_ROOT_2PI = math.sqrt(2.0 * math.pi)
_STEP = 1e-4


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


def delta_evidence(
    displays: Mapping[tuple[int, int], Sequence[Display]], windings: WindingEvidence, copper: float
) -> dict[tuple[str, str, str], float]:
    """
    Probability of numbers at all three pairs when the windings touch, for each way the pins may lie.

    Parameters
    ----------
    displays : mapping of (pin, pin) to displays
        Pins 0, 1 and 2; all three pairs, numbers only.
    windings : WindingEvidence
        For the priors of the windings.
    copper : float
        Factor on the windings for their temperature, 1 at 25 °C. [-]

    Returns
    -------
    dict
        By naming; a slip of the hand does not count here. [-]
    """
    heights, middles, widths = {}, {}, {}
    for pair, own in displays.items():
        cuts = peak_cuts(peaks_of(own))
        if not cuts:
            return dict.fromkeys(PERMUTATIONS, 0.0)
        places = [c[0] for c in cuts]
        rows = [
            (x, w * x * math.prod(d.probability(x) for d in own))
            for x, _, w in rule(cut(cuts, min(places), max(places)))
        ]
        total = heights[pair] = math.fsum(p for _, p in rows)
        if total <= 0.0:  # repeats so far apart that no value makes both likely
            return dict.fromkeys(PERMUTATIONS, 0.0)
        mean = middles[pair] = math.fsum(x * p for x, p in rows) / total
        widths[pair] = math.sqrt(math.fsum((x - mean) ** 2 * p for x, p in rows) / total)
    bridge = windings.machine.size("start_winding", "bridge")
    priors = [
        windings.prior("run_winding", HEALTHY),
        windings.prior("start_winding", HEALTHY),
        (bridge.median, bridge.sigma),
    ]
    height = math.prod(heights.values()) / copper**3
    found = {}
    for names in PERMUTATIONS:
        order = [
            tuple(sorted((names.index(a), names.index(b)))) for a, b in (("C", "R"), ("C", "S"), ("S", "R"))
        ]
        density = 0.0
        for steps in itertools.product(_NODES, repeat=3):
            shown = [
                (middles[pair] + z * widths[pair]) / copper  # type: ignore[index]
                for pair, (z, _) in zip(order, steps, strict=True)
            ]
            density += math.prod(w for _, w in steps) * _density(shown, priors)
        found[names] = height * density
    return found


def _density(shown: Sequence[float], priors: Sequence[tuple[float, float]]) -> float:
    """Prior density of the three readings, from that of the three branches. [1/Ω³]"""
    if min(shown) <= 0.0:
        return 0.0
    branches = triangle_from(*shown)
    if branches is None:
        return 0.0
    density = 1.0
    for ohms, (median, sigma) in zip(branches, priors, strict=True):
        density *= math.exp(-0.5 * (math.log(ohms / median) / sigma) ** 2) / (sigma * _ROOT_2PI)
    columns = []
    for i in range(3):
        step = _STEP * shown[i]
        near = list(shown)
        near[i] += step
        moved = triangle_from(*near)
        if moved is None:
            near[i] -= 2.0 * step
            step = -step
            moved = triangle_from(*near)
        if moved is None:
            return 0.0
        columns.append([math.log(m / b) / step for m, b in zip(moved, branches, strict=True)])
    (a, b, c), (d, e, f), (g, h, k) = columns
    return density * abs(a * (e * k - f * h) - b * (d * k - f * g) + c * (d * h - e * g))
