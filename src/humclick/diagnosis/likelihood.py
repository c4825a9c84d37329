"""
How probable a display is, given what is really there.

A display is a number with a last digit, or over limit, or nothing but zeros; its probability is that of
showing exactly that, so that numbers and OL can be weighed against each other. What is really there is an
unknown with a log-normal spread; it is integrated over, and repeats share it.
Values in SI units of the quantity measured.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import mul

from humclick.diagnosis.quadrature import Cut, cut, peak_cuts, prior_cuts, rule
from humclick.meters import Meter, Quantity, default_meter
from humclick.readings import Reading

__all__ = ["Display", "Integral", "bins_of", "evidence", "gain", "nodes_of", "peaks_of"]

#: Natural logarithm of the range over which a display that means nothing is spread: nine decades. [-]
_WILD_RANGE = math.log(1e9)
_SQRT2 = math.sqrt(2.0)
_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: Steps of a Gaussian integrand half a standard deviation apart: the trapezoid rule is then exact to 1e-8.
_STEPS = tuple(0.5 * k for k in range(-9, 10))

#: A prior wider than this is cut twice as often: a dirty contact bends within a factor of two or three. [-]
_WIDE = 0.6
#: Beyond this many standard deviations of the prior nothing is looked for. [-]
_FARTHEST = 12.0
#: Numbers that mean nothing share what OL and zero leave of them. [-]
_WILD_OPEN, _WILD_ZERO = 0.2, 0.02
_WILD_NUMBER = 1.0 - _WILD_OPEN - _WILD_ZERO


class Display:
    """
    One reading on one meter, ready to be asked how probable it is.

    Parameters
    ----------
    reading : Reading
        What was shown.
    meter : Meter
        Its accuracy and where OL begins.
    slips : mapping of str to float
        Probabilities of what hands do wrong; see ``shop.toml``. [-]
    offset : float
        Added by the test leads. [Ω]

    Notes
    -----
    The counts part of the meter's limit is taken as uniform, so its standard deviation is limit/√3, and the
    last digit adds d²/12 (JCGM 100:2008, 4.3.7 and F.2.2.1). The percent part is common to all readings of a
    call and is put into the spread of the unknown (see `gain`).
    """

    __slots__ = (
        "_c",
        "_d",
        "_dirty",
        "_dirty_ohms",
        "_highest",
        "_kilo",
        "_kilo_places",
        "_lost",
        "_number",
        "_open",
        "_s",
        "_scale",
        "_sure",
        "_wild",
        "y",
        "zero",
    )

    def __init__(
        self, reading: Reading, meter: Meter, slips: Mapping[str, float], offset: float = 0.0
    ) -> None:
        quantity = reading.quantity
        ohms = quantity is Quantity.RESISTANCE
        if not meter.measures(quantity):  # some other meter was in hand then
            meter = default_meter()
        highest = meter.highest(quantity)
        if ohms and reading.value is not None and reading.value >= highest:  # more than this meter can show
            reading = Reading(quantity, None, over_limit=True, text=reading.text, bound=highest)
        self.y = reading.value
        self.zero = reading.below_resolution
        self._highest = reading.bound or highest
        self._c = offset if ohms else 0.0
        self._open = slips["no_contact"]
        self._lost = self._open * self._untouched(quantity, reading)
        self._wild = slips["wild"]
        self._dirty = slips["dirty_contact"] if ohms else 0.0
        self._dirty_ohms = slips["dirty_contact_ohms"]
        self._kilo = slips["factor_1000"]
        self._sure = 1.0 - self._open - self._wild - self._dirty - self._kilo
        value = reading.value or 0.0
        own = meter.range_for(quantity, value).resolution
        self._d = max(reading.resolution or own, own if not self.zero else 0.0)
        counts = meter.count_limit(quantity, value, self._d)
        self._s = math.sqrt(counts * counts / 3.0 + self._d * self._d / 12.0)
        self._scale = self._sure / (self._s * _ROOT_2PI)
        self._number = self._stray(_WILD_NUMBER)
        self._kilo_places = tuple((value / (1.25 * t), value / (0.8 * t), t) for t in (1e3, 1e-3))

    def probability(self, x: float) -> float:
        """Probability of exactly this display when `x` is there. [-]"""
        return self.probabilities((x,))[0]

    def probabilities(self, values: Sequence[float]) -> list[float]:
        """The same for many values at once. [-]"""
        highest, stray = self._highest, self._stray(0.1)
        if self.y is None:
            lost, over = self._lost + _WILD_OPEN * self._wild, 1.0 - 0.1 * self._wild
            return [over if x >= highest else lost for x in values]
        if self.zero:
            scale, middle = 1.0 / (_SQRT2 * self._s), 0.5 * self._d - self._c
            half, anyhow, erfc = 0.5 * self._sure, _WILD_ZERO * self._wild + self._lost, math.erfc
            return [stray if x >= highest else half * erfc((x - middle) * scale) + anyhow for x in values]
        y, c, d, scale, steep, exp = self.y, self._c, self._d, self._scale, 1.0 / self._s, math.exp
        dirty, dirty_ohms, kilo = self._dirty, self._dirty_ohms, self._kilo
        number, lost, found = self._number, self._number + self._lost, []
        for x in values:
            if x >= highest:
                found.append(stray)
                continue
            more = y - x - c
            off = more * steep
            density = scale * exp(-0.5 * off * off) if -9.0 < off < 9.0 else 0.0
            if more > 0.0 and dirty:
                mean = max(dirty_ohms, 0.5 * x)
                density += dirty * exp(-more / mean) / mean
            if kilo and x > 0.0:
                for low, high, times in self._kilo_places:
                    if low < x < high:
                        density += 0.5 * kilo / (0.45 * x * times)
            shown = density * d
            found.append((shown if shown < 1.0 else 1.0) + (lost if y < x else number))
        return found

    @staticmethod
    def _untouched(quantity: Quantity, reading: Reading) -> float:
        """
        Probability of a display while a tip touches nothing.

        Ohms are over limit, volts nothing or a fraction of a volt, and a capacitance range shows nothing or
        the nanofarads of the leads (common practice; the shares are guesses).
        """
        if quantity is Quantity.RESISTANCE:
            return float(reading.over_limit)
        if reading.below_resolution:
            return 0.75
        value, digit = reading.value, reading.resolution
        top = {Quantity.VOLTAGE: 1.0, Quantity.CAPACITANCE: 1e-8}.get(quantity, 0.0)
        return 0.25 * min(1.0, digit / top) if value is not None and digit and value < top else 0.0

    def _stray(self, share: float) -> float:
        """A display that means nothing, spread evenly over nine decades."""
        if self.y is None or self.y <= 0.0:
            return _WILD_ZERO * self._wild * share
        return share * self._wild * min(0.2, self._d / (self.y * _WILD_RANGE))

    @property
    def digit(self) -> float:
        """Size of the last digit. [SI]"""
        return self._d

    @property
    def most(self) -> float:
        """No value gives more than this. [-]"""
        if self.y is None or self.zero:
            return 1.0
        more = (self._scale + self._dirty / self._dirty_ohms + self._kilo / min(1.0, self.y)) * self._d
        return min(1.0, more) + self._number + self._lost

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
        bell over x is no higher than one over t, whose product with the unknown's bell is one again.
        """
        if self.y is None or self.zero or self.y <= self._c:
            return lambda _: self.most
        y = self.y - self._c
        middle, width = math.log(y), self._s / (0.63 * y)
        height = 1.02 * self._scale * self._d * width / math.hypot(narrow, width)
        steep = -0.5 / (wide * wide + width * width)
        dirty = self._dirty / self._dirty_ohms if self._dirty else 0.0
        low = 1.02 * self._scale * math.exp(-0.19 * (y / self._s) ** 2) + dirty + 1.4 * self._kilo / self.y
        floor = low * self._d + self._number + self._lost
        exp = math.exp
        return lambda median: height * exp(steep * (median - middle) ** 2) + floor

    @property
    def peak(self) -> Cut | None:
        """Where the probability is largest, and how narrow it is there; None for OL. [SI], [SI]"""
        if self.y is None:
            return None
        if self.zero:
            return 0.5 * self._d - self._c, self._s
        return self.y - self._c, self._s

    @property
    def steps(self) -> tuple[float, ...]:
        """Values at which the probability jumps. [SI]"""
        jumps: tuple[float, ...] = (self._highest,) if math.isfinite(self._highest) else ()
        if self._kilo and self.y:
            jumps += tuple(x for low, high, _ in self._kilo_places for x in (low, high))
        return jumps


@lru_cache(maxsize=64)
def _ranges(meter: Meter, quantity: Quantity) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Ends of the ranges, and the standard deviation of the counts part in each."""
    own = sorted((r for r in meter.ranges if r.quantity == quantity), key=lambda r: r.full_scale)
    return tuple(r.full_scale for r in own), tuple(r.counts * r.resolution / math.sqrt(3.0) for r in own)


def gain(meter: Meter, quantity: Quantity, value: float) -> float:
    """
    Standard deviation of the meter's common relative error. [-]

    The percent part of the limit, as a uniform distribution (JCGM 100:2008, 4.3.7).
    """
    if not meter.measures(quantity) or value <= 0.0 or not math.isfinite(value):
        return 0.0
    return meter.gain_limit(quantity, value) / value / math.sqrt(3.0)


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


def peaks_of(displays: Iterable[Display]) -> list[Cut]:
    """
    Where the product of displays of one value peaks, with the width of each peak. [SI], [SI]

    Repeats that agree make one peak, narrower by the root of their number, on a foot as wide as they lie
    apart.
    """
    rest = sorted([d.peak for d in displays if d.peak is not None])
    if len(rest) < 2:
        return rest
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


def evidence(displays: Sequence[Display], median: float, sigma: float) -> Integral:
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
    values, weighted = _nodes(displays, median, sigma)
    for display in displays:
        weighted = list(map(mul, weighted, display.probabilities(values)))
    total = math.fsum(weighted)
    if total <= 0.0:
        return Integral(1e-300, nodes_of(median, sigma))
    faint = 1e-9 * total
    return Integral(
        total, tuple([(x, w / total) for x, w in zip(values, weighted, strict=True) if w > faint])
    )


def _nodes(
    displays: Sequence[Display], median: float, sigma: float
) -> tuple[Sequence[float], Sequence[float]]:
    """Nodes of the unknown, close together where the displays need it; their weights sum to 1."""
    if not math.isfinite(median) or median <= 0.0 or sigma < 1e-6:
        return (median,), (1.0,)
    mu = math.log(median)
    cuts = prior_cuts(median, sigma)
    if sigma > _WIDE:
        cuts += [(mu + k * sigma, sigma) for k in (-3.0, -1.0, 1.0, 3.0)]
    farthest = _FARTHEST * sigma
    cuts += [c for c in peak_cuts(peaks_of(displays)) if abs(c[0] - mu) <= farthest]
    low, high = min(cuts)[0], max(cuts)[0]
    bends = {x for display in displays for x in (*display.steps, *(display.peak or ())[:1]) if x > 0.0}
    cuts += [(place, 0.0) for place in map(math.log, bends) if low < place < high]
    values, places, widths = zip(*rule(cut(cuts, low, high)), strict=True)
    scale, steep, exp = 1.0 / (sigma * _ROOT_2PI), -0.5 / (sigma * sigma), math.exp
    return values, [
        width * scale * exp(steep * (y - mu) ** 2) for y, width in zip(places, widths, strict=True)
    ]


def bins_of(
    nodes: Iterable[tuple[float, float]],
    edges: Sequence[float],
    meter: Meter,
    quantity: Quantity,
    slips: Mapping[str, float],
    offset: float = 0.0,
) -> list[float]:
    """
    Probabilities of the next display falling between edges, or being over limit.

    Parameters
    ----------
    nodes : iterable of (value, weight)
        The unknown.
    edges : sequence of float
        Ascending edges between bins; the first bin starts at zero. [SI]
    meter, quantity, slips, offset
        As in `Display`.

    Returns
    -------
    list of float
        One per bin, then one for OL; sums to 1.
    """
    bins = [0.0] * (len(edges) + 2)
    ohms = quantity is Quantity.RESISTANCE
    highest = meter.highest(quantity) if meter.measures(quantity) else math.inf
    c = offset if ohms else 0.0
    dirty = slips["dirty_contact"] if ohms else 0.0
    lost = slips["no_contact"]
    wild = slips["wild"] + slips["factor_1000"]
    ends, sds = _ranges(meter, quantity)
    open_to, sure, erfc, last_bin = -1 if ohms else 0, 0.5 * (1.0 - lost - dirty), math.erfc, len(edges)
    for x, weight in nodes:
        if x >= highest:
            bins[-1] += weight
            continue
        bins[open_to] += weight * lost
        s = sds[min(bisect_right(ends, x), len(ends) - 1)] if ends else 0.006 * abs(x)
        scale = 1.0 / (_SQRT2 * max(s, 1e-15))
        last, middle = 0.0, x + c
        for i, edge in enumerate(edges):
            now = sure * erfc((middle - edge) * scale)
            bins[i] += weight * (now - last)
            last = now
        bins[last_bin] += weight * (2.0 * sure - last)
        if dirty:
            last, mean = 0.0, max(slips["dirty_contact_ohms"], 0.5 * x)
            for i, edge in enumerate(edges):
                now = 1.0 - math.exp((middle - edge) / mean) if edge > middle else 0.0
                bins[i] += weight * dirty * (now - last)
                last = now
            bins[last_bin] += weight * dirty * (1.0 - last)
    return [(1.0 - wild) * b + wild / len(bins) for b in bins]
