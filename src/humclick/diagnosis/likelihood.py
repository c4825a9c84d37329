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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from humclick.meters import Meter, Quantity
from humclick.readings import Reading

__all__ = ["Display", "Integral", "bins_of", "evidence", "gain", "nodes_of"]

#: Natural logarithm of the range over which a display that means nothing is spread: nine decades. [-]
_WILD_RANGE = math.log(1e9)
_SQRT2 = math.sqrt(2.0)
_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: Steps of a Gaussian integrand half a standard deviation apart: the trapezoid rule is then exact to 1e-8.
_STEPS = tuple(0.5 * k for k in range(-9, 10))
_NEAR = (-4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0)


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / _SQRT2)


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
        "_open",
        "_s",
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
        highest = meter.highest(quantity) if meter.measures(quantity) else math.inf
        self.y = reading.value
        self.zero = reading.below_resolution
        self._highest = reading.bound or highest
        self._c = offset if ohms else 0.0
        self._open = slips["no_contact"]
        self._wild = slips["wild"]
        self._dirty = slips["dirty_contact"] if ohms else 0.0
        self._dirty_ohms = slips["dirty_contact_ohms"]
        self._kilo = slips["factor_1000"]
        self._sure = 1.0 - self._open - self._wild - self._dirty - self._kilo
        value = reading.value or 0.0
        own = meter.range_for(quantity, value).resolution if meter.measures(quantity) else abs(value) * 0.01
        self._d = max(reading.resolution or own, own if not self.zero else 0.0)
        counts = (
            meter.count_limit(quantity, value, self._d) if meter.measures(quantity) else 0.01 * abs(value)
        )
        self._s = math.sqrt(counts * counts / 3.0 + self._d * self._d / 12.0)

    def probability(self, x: float) -> float:
        """Probability of exactly this display when `x` is there. [-]"""
        if self.y is None:
            return 1.0 - self._wild if x >= self._highest else self._open + 0.2 * self._wild
        if x >= self._highest:
            return self._stray(0.1)
        if self.zero:
            below = _phi((0.5 * self._d - x - self._c) / self._s)
            return self._sure * below + 0.02 * self._wild
        off = (self.y - x - self._c) / self._s
        density = self._sure * math.exp(-0.5 * off * off) / (self._s * _ROOT_2PI) if abs(off) < 37 else 0.0
        more = self.y - x - self._c
        if self._dirty and more > 0.0:
            mean = max(self._dirty_ohms, 0.5 * x)
            density += self._dirty * math.exp(-more / mean) / mean
        if self._kilo and x > 0.0:
            for times in (1e3, 1e-3):
                ratio = self.y / (x * times)
                if 0.8 < ratio < 1.25:
                    density += self._kilo / (0.45 * x * times)
        return min(1.0, density * self._d) + self._stray(1.0)

    def _stray(self, share: float) -> float:
        """A display that means nothing, spread evenly over nine decades."""
        if self.y is None or self.y <= 0.0:
            return 0.02 * self._wild * share
        return share * self._wild * min(0.2, self._d / (self.y * _WILD_RANGE))

    @property
    def digit(self) -> float:
        """Size of the last digit. [SI]"""
        return self._d

    @property
    def near(self) -> tuple[float, ...]:
        """Values around which the integrand is sharp."""
        if self.y is None or self.zero:
            return ()
        return tuple(self.y - self._c + k * self._s for k in _NEAR)


@lru_cache(maxsize=64)
def _ranges(meter: Meter, quantity: Quantity) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Ends of the ranges, and the standard deviation of the counts part in each."""
    own = sorted((r for r in meter.ranges if r.quantity == quantity), key=lambda r: r.full_scale)
    return tuple(r.full_scale for r in own), tuple(r.counts * r.resolution / math.sqrt(3.0) for r in own)


def _count_sd(ranges: tuple[tuple[float, ...], tuple[float, ...]], x: float) -> float:
    """Standard deviation of the counts part of a reading near `x`. [SI]"""
    ends, sds = ranges
    if not ends:
        return max(0.006 * abs(x), 1e-15)
    return max(sds[min(bisect_right(ends, x), len(ends) - 1)], 1e-15)


def gain(meter: Meter, quantity: Quantity, value: float) -> float:
    """
    Standard deviation of the meter's common relative error. [-]

    The percent part of the limit, as a uniform distribution (JCGM 100:2008, 4.3.7).
    """
    if not meter.measures(quantity) or value <= 0.0 or not math.isfinite(value):
        return 0.0
    return meter.gain_limit(quantity, value) / value / math.sqrt(3.0)


def nodes_of(median: float, sigma: float, sharp: Iterable[float] = ()) -> tuple[tuple[float, float], ...]:
    """
    Nodes and weights for an integral over a log-normal unknown.

    Parameters
    ----------
    median, sigma : float
        Median, and standard deviation of the natural logarithm. [SI], [-]
    sharp : iterable of float
        Values near which the integrand is sharp; nodes are put there too.

    Returns
    -------
    tuple of (value, weight)
        Weights sum to 1.
    """
    if not math.isfinite(median) or median <= 0.0 or sigma < 1e-6:
        return ((median, 1.0),)
    mu = math.log(median)
    points = {sigma * z for z in _STEPS}
    points.update(math.log(x) - mu for x in sharp if x > 0.0)
    at = sorted(p for p in points if abs(p) <= 4.6 * sigma)
    weights = []
    for i, p in enumerate(at):
        left = at[i - 1] if i else p
        right = at[i + 1] if i + 1 < len(at) else p
        weights.append(0.5 * (right - left) * math.exp(-0.5 * (p / sigma) ** 2))
    total = math.fsum(weights)
    return tuple((math.exp(mu + p), w / total) for p, w in zip(at, weights, strict=True))


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


def evidence(
    displays: Sequence[Display], median: float, sigma: float, *, scattered: bool = False
) -> Integral:
    """
    Probability of displays of one unknown, the unknown integrated out.

    Parameters
    ----------
    displays : sequence of Display
        Repeats of one measurement.
    median, sigma : float
        Of the unknown before them. [SI], [-]
    scattered : bool
        True where every reading finds another value (loose contact): then nothing is shared.

    Returns
    -------
    Integral
    """
    if scattered and len(displays) > 1:
        parts = [evidence([d], median, sigma).value for d in displays]
        return Integral(math.prod(parts), nodes_of(median, sigma))
    nodes = nodes_of(median, sigma, (x for d in displays for x in d.near))
    weighted = []
    for x, weight in nodes:
        for display in displays:
            weight *= display.probability(x)
        weighted.append(weight)
    total = math.fsum(weighted)
    if total <= 0.0:
        return Integral(1e-300, nodes)
    kept = tuple((x, w / total) for (x, _), w in zip(nodes, weighted, strict=True) if w > 1e-9 * total)
    return Integral(total, kept)


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
    ranges = _ranges(meter, quantity)
    for x, weight in nodes:
        if x >= highest:
            bins[-1] += weight
            continue
        bins[-1] += weight * lost
        s = _count_sd(ranges, x)
        mean = max(slips["dirty_contact_ohms"], 0.5 * x)
        last = last_dirty = 0.0
        for i, edge in enumerate((*edges, math.inf)):
            now = 1.0 if edge == math.inf else _phi((edge - x - c) / s)
            now_dirty = 1.0 if edge == math.inf else 1.0 - math.exp(-max(0.0, edge - x - c) / mean)
            bins[i] += weight * ((1.0 - lost - dirty) * (now - last) + dirty * (now_dirty - last_dirty))
            last, last_dirty = now, now_dirty
    return [(1.0 - wild) * b + wild / len(bins) for b in bins]
