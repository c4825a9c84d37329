"""
Three readings between the pins with a pill still plugged on: run winding, start winding and pill in a ring.

What is read between two pins is the part between them in parallel with the two others in series. Three such
readings tell all three parts, by the star that is equal to the ring (A. E. Kennelly, "The Equivalence of
Triangles and Three-Pointed Stars in Conducting Networks", 1899; from memory). Ohms as shown.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

from humclick.diagnosis.displays import Display

__all__ = ["Bridged", "ring"]

#: Three-point Gauss–Hermite rule: places in standard deviations, weights. [-]
_NODES = ((-math.sqrt(3.0), 1 / 6), (0.0, 2 / 3), (math.sqrt(3.0), 1 / 6))
#: Step of a difference that stands for a derivative, over the value. [-]
_STEP = 1e-4

Three = tuple[float, float, float]


def ring(read: Three) -> Three | None:
    """
    The parts between C and R, C and S, S and R that give three readings there; None where none do. [Ω]

    >>> [round(ohms, 6) for ohms in ring((3.2, 4.95, 3.75))]
    [4.0, 11.0, 5.0]
    """
    run, start, both = read
    at_c, at_r, at_s = (run + start - both) / 2, (run + both - start) / 2, (start + both - run) / 2
    if min(at_c, at_r, at_s) <= 0.0:
        return None
    all_three = at_c * at_r + at_r * at_s + at_s * at_c
    return all_three / at_s, all_three / at_r, all_three / at_c


@dataclass(frozen=True, slots=True)
class Bridged:
    """
    A run winding, a start winding and a pill.

    Attributes
    ----------
    spreads : three of (median, ln standard deviation)
        What each should be. [Ω], [-]
    """

    spreads: tuple[tuple[float, float], ...]

    def likelihood(self, shown: Mapping[frozenset[str], Display], offset: float) -> float:
        """Probability of three displays, by the pins they lie between; the leads add `offset`. [Ω]"""
        displays = [shown[frozenset(pair)] for pair in ("CR", "CS", "SR")]
        middle = [(display.y or 0.0) - offset for display in displays]
        errors = [display.peak[1] if display.peak else 0.0 for display in displays]
        total = 0.0
        for nodes in itertools.product(_NODES, repeat=3):
            at = [m + e * node for m, e, (node, _) in zip(middle, errors, nodes, strict=True)]
            total += math.prod(w for _, w in nodes) * self._density((at[0], at[1], at[2]))
        return total * math.prod(d.scale.sure * (d.high - d.low) for d in displays)

    def _density(self, read: Three) -> float:
        """Probability density of three readings. [1/Ω³]"""
        parts = ring(read) if min(read) > 0.0 else None
        if parts is None:
            return 0.0
        rows = []
        for k in range(3):
            moved = list(read)
            moved[k] *= 1.0 + _STEP
            after = ring((moved[0], moved[1], moved[2]))
            if after is None:
                return 0.0
            rows.append([math.log(b / a) / (_STEP * read[k]) for a, b in zip(parts, after, strict=True)])
        density = abs(_determinant(rows))
        for ohms, (median, sigma) in zip(parts, self.spreads, strict=True):
            z = math.log(ohms / median) / sigma
            density *= math.exp(-0.5 * z * z) / (sigma * math.sqrt(2.0 * math.pi))
        return density


def _determinant(rows: list[list[float]]) -> float:
    (a, b, c), (d, e, f), (g, h, i) = rows
    return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)
