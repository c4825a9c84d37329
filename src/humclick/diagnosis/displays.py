"""
Displays, and stretches of neighbouring ones: how probable they are, given what is really there.

A display is a stretch of values that are rounded to it: half its last digit either way, everything below half
a digit for nothing but zeros, everything above the top range for OL. A bin of a forecast is a stretch too, so
that what is foreseen is the sum of what is weighed. Values in SI units of the quantity measured.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence

from humclick.diagnosis.law import KILO, REACH, Scale, in_the_open
from humclick.diagnosis.quadrature import Cut
from humclick.meters import Meter
from humclick.readings import Reading

__all__ = ["Display", "Edge", "Stretch", "cut_at", "shares_of"]

_SQRT2 = math.sqrt(2.0)
_ROOT_2PI = math.sqrt(2.0 * math.pi)


def cut_at(scale: Scale, edges: Sequence[float], *, open_apart: bool = True) -> list[Stretch]:
    """All that may be shown, cut at ascending edges, with OL as the last or in the last. [SI]"""
    places = [-math.inf, *(scale.start_of(edge) for edge in edges)]
    places += [scale.limit, math.inf] if open_apart else [math.inf]
    return [Stretch(scale, low, high) for low, high in itertools.pairwise(places)]


def shares_of(cut: Sequence[Stretch], median: float, sigma: float, base: float = 0.0) -> tuple[float, ...]:
    """Probability of each stretch of a whole scale, for a base plus a log-normal unknown. [SI], [-], [SI]"""
    places = [stretch.high for stretch in cut[:-1]]
    below = [0.0, *cut[0].scale.below_all(places, median, sigma, base), 1.0]
    return tuple(b - a for a, b in itertools.pairwise(below))


class Stretch:
    """
    Neighbouring displays of a meter, ready to be asked how probable they are.

    Parameters
    ----------
    scale : Scale
        All that may be shown.
    low, high : float
        What is rounded to them lies between these; infinite for zeros and OL. [SI]
    """

    __slots__ = (
        "_anyhow",
        "_beyond",
        "_dirty",
        "_from",
        "_half",
        "_high",
        "_highest",
        "_kilo",
        "_kilo_places",
        "_low",
        "_reach",
        "_root",
        "_to",
        "dirty_ohms",
        "high",
        "low",
        "near",
        "scale",
    )

    def __init__(self, scale: Scale, low: float, high: float) -> None:
        self.scale, self.low, self.high = scale, low, high
        self._low, self._high = low - scale.offset, high - scale.offset
        self._highest = scale.highest
        anything = scale.wild * scale.wildly(low, high)
        loose = scale.lost * scale.loosely(low, high)
        self._anyhow = anything + loose
        self._beyond = (
            in_the_open(anything) + loose if high < math.inf else 1.0 - scale.below(low, math.inf, 0.0)
        )
        self._half, self._dirty, self.dirty_ohms = 0.5 * scale.sure, scale.dirty, scale.dirty_ohms
        self.near = tuple(self._in_reach())
        first = self.near[0]
        self._from, self._to, self._root = first[0], first[1], _SQRT2 * first[2]
        self._reach = REACH * max(s for _, _, s in self.near)
        self._kilo = 0.5 * scale.kilo
        least, most = KILO
        places = ((low / (most * t), high / (least * t), t) for t in (1e3, 1e-3))
        self._kilo_places = tuple(row for row in places if row[0] < scale.highest) if scale.kilo else ()

    def _in_reach(self) -> list[tuple[float, float, float]]:
        """Ranges of the meter whose own error can bring them about: start, end, standard deviation. [SI]"""
        spans = self.scale.spans
        rows = []
        for span in spans:
            s = span.error
            end = span.end if span is not spans[-1] else math.inf
            start = span.start if span is not spans[0] else -math.inf
            if start <= self._high + REACH * s and end >= self._low - REACH * s:
                rows.append((start, end, s))
        if not rows:  # cut off at the top of the meter, where nothing is left of it
            rows = [(spans[-1].start, math.inf, spans[-1].error)]
        middle = self._low if math.isfinite(self._low) else self._high
        return sorted(rows, key=lambda row: not row[0] <= middle < row[1])

    def probability(self, x: float) -> float:
        """Probability of exactly these displays when `x` is there. [-]"""
        return self.probabilities((x,))[0]

    def probabilities(self, values: Sequence[float]) -> list[float]:
        """The same for many values at once. [-]"""
        own_low, own_high, highest, reach = self._low, self._high, self._highest, self._reach
        begin, end, root, half, dirty = self._from, self._to, self._root, self._half, self._dirty
        least_ohms, anyhow, beyond, kilo = self.dirty_ohms, self._anyhow, self._beyond, self._kilo_places
        exp, erf = math.exp, math.erf
        chances = []
        for x in values:
            if x >= highest:
                chances.append(beyond)
                continue
            low, high = own_low - x, own_high - x
            p = anyhow
            if low < reach and high > -reach:
                s = root if begin <= x < end else _SQRT2 * self.scale.span_of(x).error
                p += half * (erf(high / s) - erf(low / s))
            if high > 0.0 and dirty:
                mean = least_ohms if x < 2.0 * least_ohms else 0.5 * x
                p += dirty * ((exp(-low / mean) if low > 0.0 else 1.0) - exp(-high / mean))
            if x > 0.0:
                for least, most, times in kilo:
                    if least < x < most:
                        p += self._slid(x * times)
            elif self.low < 0.0 <= self.high:
                p += self._kilo * len(kilo)
            chances.append(p)
        return chances

    def _slid(self, x: float) -> float:
        low, high = KILO
        share = min(self.high, high * x) - max(self.low, low * x)
        return self._kilo * max(share, 0.0) / ((high - low) * x)


class Edge:
    """A place where something is cut: nodes are wanted close together there, and nothing was shown."""

    __slots__ = ("peak",)

    #: It jumps nowhere, and is one peak.
    steps: tuple[float, ...] = ()
    feet: tuple[Cut, ...] = ()

    def __init__(self, scale: Scale, place: float) -> None:
        x = place - scale.offset
        self.peak: Cut | None = (x, scale.span_of(x).error)

    def probabilities(self, values: Sequence[float]) -> list[float]:
        """One, whatever is there."""
        return [1.0] * len(values)


class Display(Stretch):
    """
    One reading on one meter.

    Parameters
    ----------
    reading : Reading
        What was shown.
    meter, slips, offset
        As in `Scale`.
    """

    __slots__ = ("_deviation", "_digit", "y", "zero")

    def __init__(
        self, reading: Reading, meter: Meter, slips: Mapping[str, float], offset: float = 0.0
    ) -> None:
        quantity, bound = reading.quantity, reading.bound
        scale = Scale(meter, quantity, slips, offset, bound)
        self.y = reading.value
        self.zero = reading.below_resolution
        if self.y is not None and self.y >= scale.highest:  # more than this meter can show
            self.y, self.zero = None, False
        value = self.y or 0.0
        span = scale.span_of(value)
        digit = reading.resolution or span.digit
        self._digit = digit if self.zero else max(digit, span.digit)
        if self.y is None:
            low, high = scale.limit, math.inf
        elif self.zero:
            low, high = -math.inf, 0.5 * self._digit
        else:
            low, high = value - 0.5 * self._digit, value + 0.5 * self._digit
            if self._digit <= span.digit and value > 0.0:  # rounded to the end of a range it is the next's
                low, high = max(low, span.first), min(high, span.last)
        self._deviation = math.hypot(span.error, self._digit / math.sqrt(12.0))
        super().__init__(scale, low, high)

    @property
    def digit(self) -> float:
        """Size of the last digit. [SI]"""
        return self._digit

    @property
    def most(self) -> float:
        """No value gives more than this. [-]"""
        if self.y is None or self.zero:
            return 1.0
        width = self.high - self.low
        narrowest = min(s for _, _, s in self.near)
        more = 2.0 * self._half * math.erf(0.5 * width / (_SQRT2 * narrowest))
        more += self._dirty * -math.expm1(-width / self.dirty_ohms)
        return min(1.0, more + self._kilo * width / max(self.low, width)) + self._anyhow

    def at_most(self, narrow: float, wide: float) -> Callable[[float], float]:
        """
        An upper bound on the probability of the display for log-normal unknowns, in closed form.

        Parameters
        ----------
        narrow, wide : float
            The standard deviation of ln of the unknown lies between these. [-]

        Returns
        -------
        callable
            The bound [-], of the natural logarithm of the median over 1 in the unit of the reading.

        Notes
        -----
        With x = y·exp(t), (x − y)² is at least (0.63·t·y)² for t > −1 and at least 0.39·y² below, so that the
        bell over x is no higher than one over t, whose product with the unknown's bell is one again. The
        display is at most its width times the highest of these between its ends.
        """
        if self.y is None or self.zero or self._low <= 0.0:
            return lambda _: self.most
        y, across = self._low, self.high - self.low
        first, last = math.log(y), math.log(self._high)
        bells = []
        floor = self._anyhow + self._dirty * across / self.dirty_ohms + 1.5 * self._kilo * across / y
        for _, _, s in self.near:
            width, scale = s / (0.63 * y), 2.0 * self._half / (s * _ROOT_2PI)
            height = 1.02 * scale * across * width / math.hypot(narrow, width)
            bells.append((height, -0.5 / (wide * wide + width * width)))
            floor += 1.02 * scale * across * math.exp(-0.19 * (y / s) ** 2)

        def bound(median: float) -> float:
            off = first - median if median < first else median - last if median > last else 0.0
            return math.fsum(height * math.exp(steep * off * off) for height, steep in bells) + floor

        return bound

    @property
    def peak(self) -> Cut | None:
        """Where the probability is largest, and how narrow it is there; None for OL. [SI], [SI]"""
        if self.y is None:
            return None
        if self.zero:
            return self._high, self._deviation
        return self.y - self.scale.offset, self._deviation

    @property
    def feet(self) -> tuple[Cut, ...]:
        """Where it bends besides its peak: as other ranges show it, and where OL begins. [SI], [SI]"""
        if self.peak is None:
            return tuple([(self._low, s) for _, _, s in self.near])
        place, own = self.peak
        return tuple([(place, s) for _, _, s in self.near if not 0.5 * own < s <= own])

    @property
    def steps(self) -> tuple[float, ...]:
        """Values at which the probability jumps: ends of ranges, where errors change, and of a slip. [SI]"""
        ends = [
            end
            for row in self.near
            for end in row[:2]
            if 0.0 < end < self._highest and self._low - self._reach <= end <= self._high + self._reach
        ]
        kilo = [x for low, high, _ in self._kilo_places for x in (low, high) if self.y and not self.zero]
        return (self._highest, *ends, *(x for x in kilo if 0.0 < x < math.inf))
