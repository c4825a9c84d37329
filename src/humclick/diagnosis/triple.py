"""
Three readings of one unknown under a pattern of factors, in closed form.

ln of the unknown is normal; each reading is a bell about it on a floor of what hands do wrong, so that the
integral over the unknown is a sum over the ways in which the readings came about.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence

from humclick.diagnosis.displays import Display

__all__ = ["Times", "Triple", "orders_of"]

#: A dirty contact: how far below what is shown the unknown lies then, and how widely; ln. [-]
_DIRTY_BELOW, _DIRTY_WIDE = 0.45, 0.4
#: Of nothing but zeros: ln standard deviation of what lies below the last digit. [-]
_ZERO_WIDE = 0.8
#: Degrees of a pattern lie so close, in ln, where the readings have it: within what a meter and sound ones
#: scatter; so many to either side, and so many over the whole. [-]
_STEP, _FINE, _COARSE = 0.012, 5, 8
#: A way the readings came about that weighs less than this share of the best is left out. [-]
_NEGLIGIBLE = 1e-7
_TWO_PI = 2.0 * math.pi
_ROOT_2PI = math.sqrt(_TWO_PI)


Times = tuple[float, float, float]
#: Part of what a display says of ln of the unknown: mass, mean, variance; flat where that is infinite.
_Bell = tuple[float, float, float]
#: One way the readings came about: its probability, and mean and variance of ln of the unknown after it.
_Path = tuple[float, float, float]


def _flat(mass: float) -> _Bell:
    return mass, 0.0, math.inf


class Triple:
    """
    What three readings of one unknown say under a pattern.

    Parameters
    ----------
    shown : three sequences of Display
        By pair.
    median, sigma : float
        Of the unknown, before: median, ln standard deviation. [SI], [-]
    own : float
        ln standard deviation of each about it. [-]
    nothing : callable
        Probability of a display where nothing is there. [-]
    """

    def __init__(
        self,
        shown: Sequence[Sequence[Display]],
        median: float,
        sigma: float,
        own: float,
        nothing: Callable[[Display], float],
    ) -> None:
        self.shown, self._own = shown, own
        self._before: _Path = (1.0, math.log(median), sigma * sigma)
        rows = [(display, k) for k, row in enumerate(shown) for display in row]
        self._there = [(k, self._of(display, median)) for display, k in rows]
        self._open = [(k, (_flat(display.probability(math.inf)),)) for display, k in rows]
        self._nothing = [(k, (_flat(nothing(display)),)) for display, k in rows]
        #: ln of the last number read of each pair; None where there is none.
        self.read = [
            next((math.log(d.peak[0]) for d in reversed(row) if d.y and d.peak and d.peak[0] > 0.0), None)
            for row in shown
        ]

    def _of(self, display: Display, median: float) -> tuple[_Bell, ...]:
        scale = display.scale
        if display.y is None:
            return (_flat(display.probability(min(median, 0.1 * scale.highest))),)
        if display.zero:
            place = math.log(max(0.5 * display.high, 1e-300))
            mass = scale.sure * _ZERO_WIDE * _ROOT_2PI
            wild = scale.wild * scale.wildly(display.low, display.high)
            return (mass, place, _ZERO_WIDE**2), _flat(wild)
        x, error = display.peak or (display.y, display.digit)
        x = x if x > 0.0 else 0.5 * display.digit
        width, wide = (display.high - display.low) / x, error / x
        floor = display.probability(30.0 * x if 30.0 * x < scale.highest else x / 30.0)
        bells = [(scale.sure * width, math.log(x), wide**2 + self._own**2), _flat(floor)]
        if scale.dirty:
            bells.append((scale.dirty * width, math.log(x) - _DIRTY_BELOW, _DIRTY_WIDE**2 + wide**2))
        return tuple(bells)

    def paths(self, times: Times) -> list[_Path]:
        """Every way the readings came about, the pairs having these factors on the unknown."""
        paths = [self._before]
        places = [0.0 if not 0.0 < factor < math.inf else math.log(factor) for factor in times]
        for there, lost, none in zip(self._there, self._open, self._nothing, strict=True):
            factor = times[there[0]]
            bells = lost[1] if factor == math.inf else none[1] if factor <= 0.0 else there[1]
            place, after = places[there[0]], []
            for weight, mean, variance in paths:
                for mass, middle, own in bells:
                    if own == math.inf:
                        after.append((weight * mass, mean, variance))
                        continue
                    off, both = middle - place - mean, variance + own
                    bell = math.exp(-0.5 * off * off / both) / math.sqrt(_TWO_PI * both)
                    gain = variance / both
                    after.append((weight * mass * bell, mean + gain * off, variance * (1.0 - gain)))
            least = _NEGLIGIBLE * max(path[0] for path in after)
            paths = [path for path in after if path[0] >= least]
        return paths

    def value(self, times: Times) -> float:
        """Probability of all readings. [-]"""
        return max(math.fsum([path[0] for path in self.paths(times)]), 1e-300)

    def degrees(self, low: Times, high: Times) -> list[tuple[float, Times]]:
        """
        A pattern that comes in all degrees, with weights that sum to 1.

        Close together where two readings would have it, and far apart elsewhere.
        """
        start, end = ([math.log(t) for t in times] for times in (low, high))
        reach = [b - a for a, b in zip(start, end, strict=True)]
        step = _STEP / max(map(abs, reach))
        places = [k / _COARSE for k in range(_COARSE + 1)]
        for i, j in itertools.combinations(range(3), 2):
            first, second, slope = self.read[i], self.read[j], reach[i] - reach[j]
            if first is None or second is None or abs(slope) < 1e-9:
                continue
            at = (first - second - start[i] + start[j]) / slope
            places += [at + k * step for k in range(-_FINE, _FINE + 1)]
        places = sorted({round(min(max(place, 0.0), 1.0), 6) for place in places})
        edges = [places[0], *(0.5 * (a + b) for a, b in itertools.pairwise(places)), places[-1]]
        return [
            (b - a, tuple(math.exp(s + t * r) for s, r in zip(start, reach, strict=True)))  # type: ignore[misc]
            for (a, b), t in zip(itertools.pairwise(edges), places, strict=True)
        ]


def orders_of(low: Times, high: Times) -> list[tuple[Times, Times]]:
    """The different orders of three factors, at both ends."""
    places = itertools.permutations(range(3))
    rows = [((low[a], low[b], low[c]), (high[a], high[b], high[c])) for a, b, c in places]
    return list(dict.fromkeys(rows))
