"""
The law of what a meter shows, given what is really there: its own error, and what hands do wrong.

A display is a stretch of values that are rounded to it: half its last digit either way, everything below half
a digit for nothing but zeros, everything above the top range for OL. A bin of a forecast is a stretch too, so
that what is foreseen is the sum of what is weighed. Values in SI units of the quantity measured.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from humclick.meters import Meter, Quantity, default_meter

__all__ = ["KILO", "REACH", "Scale", "evenly", "evenly_by_ratio", "gain", "in_the_open"]

_SQRT2 = math.sqrt(2.0)
_ROOT_2PI = math.sqrt(2.0 * math.pi)
#: A meter's last digits are unsure by at least this part of one: its data page may promise less. [-]
_LEAST_COUNTS = 0.25
#: Beyond this many standard deviations the meter's own error is not looked for. [-]
REACH = 9.0
#: Within so many of them the end of a range matters. [-]
_NEAR = 6.0
#: Numbers that mean nothing share what OL and zero leave of them; so little is left of them in the open. [-]
_WILD_OPEN, _WILD_ZERO, _WILD_IN_THE_OPEN = 0.2, 0.02, 0.1
#: A factor of a thousand is dropped or added from a number this far from what is there. [-]
KILO = (0.8, 1.25)
#: Where a tip touches nothing, volts and capacitance show something up to this in one case of four. [SI]
_LOOSE = {Quantity.VOLTAGE: 1.0, Quantity.CAPACITANCE: 1e-8}
_LOOSE_ZERO = 0.75
#: Steps of three quarters of a standard deviation: the trapezoid rule over a bell is then exact to 1e-6.
_STEPS = tuple(0.75 * k for k in range(-7, 8))
#: With half the weight of each, for erfc is twice a probability.
_HALVES = tuple((z, 0.5 * math.exp(-0.5 * z * z) * 0.75 / _ROOT_2PI) for z in _STEPS)
#: Gauss–Legendre rule of eight points on −1 … 1: Abramowitz and Stegun, Table 25.4.
_EIGHT = (
    (0.183434642495650, 0.362683783378362),
    (0.525532409916329, 0.313706645877887),
    (0.796666477413627, 0.222381034453374),
    (0.960289856497536, 0.101228536290376),
)
_RULE = tuple((sign * at, weight) for at, weight in _EIGHT for sign in (-1.0, 1.0))


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / _SQRT2)


def gain(meter: Meter, quantity: Quantity, value: float) -> float:
    """
    Standard deviation of the meter's common relative error. [-]

    The percent part of the limit, as a uniform distribution (JCGM 100:2008, 4.3.7).
    """
    if not meter.measures(quantity) or value <= 0.0 or not math.isfinite(value):
        return 0.0
    return meter.gain_limit(quantity, value) / value / math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class _Span:
    """A range of a meter: where it begins and ends, its last digit, and the deviation of its counts. [SI]"""

    start: float
    end: float
    digit: float
    error: float
    #: Where its displays begin: what is rounded to the end of the range below is its own.
    first: float

    @property
    def last(self) -> float:
        """Where its displays end. [SI]"""
        return self.end - 0.5 * self.digit


@lru_cache(maxsize=64)
def _spans(meter: Meter, quantity: Quantity) -> tuple[_Span, ...]:
    spans: list[_Span] = []
    for band in sorted((r for r in meter.ranges if r.quantity == quantity), key=lambda r: r.full_scale):
        start, first = (spans[-1].end, spans[-1].last) if spans else (0.0, 0.0)
        error = max(band.counts / math.sqrt(3.0), _LEAST_COUNTS) * band.resolution
        spans.append(_Span(start, band.full_scale, band.resolution, error, first))
    return tuple(spans)


@dataclass(frozen=True, slots=True)
class _Place:
    """
    A place among the displays.

    What must be there; probabilities of less shown by displays that mean nothing and by tips that touch
    nothing; the meter's error there, that of the widest range in reach, and whether it is near a range's end.
    """

    x: float
    anything: float
    lost: float
    error: float
    widest: float
    astride: bool


class Scale:
    """
    All that a meter may show of a quantity, and what hands do wrong on the way.

    Parameters
    ----------
    meter : Meter
        Its ranges, their accuracy, where OL begins; one that does not measure the quantity was not in hand.
    quantity : Quantity
        What is measured.
    slips : mapping of str to float
        Probabilities of what hands do wrong; see ``shop.toml``. [-]
    offset : float
        Added by the test leads. [Ω]
    bound : float or None
        Where OL begins in the range the meter was set to; its top range's end if left out. [SI]

    Notes
    -----
    The counts part of the meter's limit is taken as uniform, so its standard deviation is limit/√3 (JCGM
    100:2008, 4.3.7); rounding to the last digit is that of the stretch. The range is the one of what is
    there. The percent part is common to all readings of a call and is put into the spread of the unknown
    (see `gain`).
    """

    __slots__ = (
        "_places",
        "bottom",
        "cuts",
        "dirty",
        "dirty_ohms",
        "highest",
        "kilo",
        "limit",
        "loose",
        "lost",
        "offset",
        "shares",
        "spans",
        "sure",
        "wild",
    )

    def __init__(
        self,
        meter: Meter,
        quantity: Quantity,
        slips: Mapping[str, float],
        offset: float = 0.0,
        bound: float | None = None,
    ) -> None:
        ohms = quantity is Quantity.RESISTANCE
        self.spans = _spans(meter if meter.measures(quantity) else default_meter(), quantity)
        top = self.spans[-1] if bound is None else self.span_of(bound * (1.0 - 1e-12))
        self.highest = bound or top.end
        self.limit = self.highest - 0.5 * top.digit
        self.bottom = 0.5 * self.spans[0].digit
        self.offset = offset if ohms else 0.0
        self.lost = slips["no_contact"]
        self.loose = None if ohms else _LOOSE.get(quantity, 0.0)
        self.wild, self.kilo = slips["wild"], slips["factor_1000"]
        self.dirty = slips["dirty_contact"] if ohms else 0.0
        self.dirty_ohms = slips["dirty_contact_ohms"]
        self._places: dict[float, _Place] = {}
        #: Stretches it was cut into already, by their edges (`humclick.diagnosis.displays.cut_at`).
        self.cuts: dict[tuple[tuple[float, ...], bool], tuple[Any, ...]] = {}
        #: What is shown of unknowns, by places, median, ln deviation and base (`shares_of`, in the same). [-]
        self.shares: dict[tuple[tuple[float, ...], float, float, float], tuple[float, ...]] = {}
        self.sure = 1.0 - self.lost - self.wild - self.dirty - self.kilo

    def span_of(self, x: float) -> _Span:
        """The range the meter takes for what is there."""
        return next((span for span in self.spans if x < span.end), self.spans[-1])

    def start_of(self, value: float) -> float:
        """Where displays of at least a value begin: what is below is rounded to less. [SI]"""
        span = self.span_of(value)
        display = math.ceil(value / span.digit - 1e-9) * span.digit
        return min(max(display - 0.5 * span.digit, span.first), self.limit)

    def loosely(self, low: float, high: float) -> float:
        """
        Probability of a stretch while a tip touches nothing. [-]

        Ohms are over limit, volts nothing or a fraction of a volt, and a capacitance range shows nothing or
        the nanofarads of the leads (common practice; the shares are guesses).
        """
        if self.loose is None:
            return float(high == math.inf)
        zeros = _LOOSE_ZERO if self.loose else 1.0
        return zeros * (low < 0.0 <= high) + (1.0 - zeros) * evenly(low, high, self.loose)

    def wildly(self, low: float, high: float, is_open: float = _WILD_OPEN, zero: float = _WILD_ZERO) -> float:
        """Probability of a stretch that means nothing: OL, zero, or even over the ln of all numbers. [-]"""
        share = is_open * (high == math.inf) + zero * (low < 0.0 <= high)
        return share + (1.0 - is_open - zero) * evenly_by_ratio(low, high, self.bottom, self.limit)

    # -- over a log-normal unknown --------------------------------------------------------------------------

    def below(self, place: float, median: float, sigma: float, base: float = 0.0) -> float:
        """
        Probability that less than a place is shown of an unknown that is a base plus a log-normal. [-]

        Parameters
        ----------
        place : float
            No higher than `limit`. [SI]
        median, sigma, base : float
            Of the unknown: median above its base, standard deviation of ln, base. [SI], [-], [SI]
        """
        return self.below_all((place,), median, sigma, base)[0]

    def below_all(
        self, places: Iterable[float], median: float, sigma: float, base: float = 0.0
    ) -> list[float]:
        """`below` for many places of one unknown. [-]"""
        unknown = _Unknown(median, sigma, base)
        there = unknown.below(self.highest)
        wild = there + (1.0 - there) * _WILD_IN_THE_OPEN
        shares = []
        for place in places:
            at = self._places.get(place) or self._placed(place)
            share = at.lost + at.anything * wild
            if there > 0.0:
                share += self.sure * min(there, self._shown_below(at, unknown))
                if self.dirty:
                    share += self.dirty * min(there, self._dirty_below(at.x, unknown))
                if self.kilo:
                    less, more = unknown.slid(place / 1e3), unknown.slid(place / 1e-3)
                    share += 0.5 * self.kilo * (min(there, less) + min(there, more))
            shares.append(share)
        return shares

    def _placed(self, place: float) -> _Place:
        """What a place is, worked out once."""
        x = place - self.offset
        s = self.span_of(x).error
        widest = max((s, *(n.error for n in self.spans if n.start < x + REACH * n.error)))
        ends = (self.highest, *(span.end for span in self.spans[:-1]))
        astride = widest > s or any(abs(end - x) < _NEAR * s for end in ends)
        wild, lost = (self.wild * self.wildly(-math.inf, place), self.lost * self.loosely(-math.inf, place))
        self._places[place] = _Place(x, wild, lost, s, widest, astride)
        return self._places[place]

    def _shown_below(self, at: _Place, unknown: _Unknown) -> float:
        """The meter's own error alone; piece by piece where the meter may be in either of two ranges."""
        x = at.x
        before = unknown.below(x - REACH * at.error)
        if unknown.below(x + REACH * at.widest) - before < 1e-9:
            return before
        if not at.astride:
            value = unknown.plus_error_below(x, at.error)
            if value is not None:
                return value
        if not unknown.sigma:
            return _phi((x - unknown.top) / self.span_of(unknown.top).error)
        total = 0.0
        for span in self.spans:
            s = span.error
            start = span.start if span is not self.spans[0] else -math.inf
            last = min(span.end, self.highest)  # what is beyond shows OL, and no number by its error
            end = min(last, x + REACH * s)
            if start >= end:
                continue
            sure = max(start, min(last, x - REACH * s))
            total += unknown.below(sure) - unknown.below(start)
            wide = _SQRT2 * s
            total += sum([w * math.erfc((v - x) / wide) for w, v in unknown.nodes(sure, end, s)]) / 2.0
        return total

    def _dirty_below(self, x: float, unknown: _Unknown) -> float:
        """A contact that adds ohms: all below the place that its ohms do not lift over it."""
        least, top = self.dirty_ohms, unknown.top
        if not unknown.sigma:
            return 1.0 - math.exp((top - x) / max(least, 0.5 * top)) if top < x else 0.0
        near = x / 12.0 if x > 24.0 * least else -math.inf
        first, last = unknown.between(near, x)
        if first >= last:
            return unknown.below(x)
        base, median, sigma, exp, twice = unknown.base, unknown.median, unknown.sigma, math.exp, 2.0 * least
        half, steps = _laid(math.ceil((last - first) / 4.0), first, last)
        nodes = [(w, z * z, base + median * exp(sigma * z)) for z, w in steps]
        lifted = [w * exp((v - x) / (0.5 * v if v > twice else least) - 0.5 * zz) for w, zz, v in nodes]
        return unknown.below(x) - half * sum(lifted)


@lru_cache(maxsize=64)
def _rule(pieces: int) -> tuple[tuple[float, float], ...]:
    """The rule of eight points on each of some equal pieces of 0 … 1: places, and weights of one piece."""
    return tuple(((k + 0.5 + 0.5 * at) / pieces, weight) for k in range(pieces) for at, weight in _RULE)


def _laid(pieces: int, first: float, last: float) -> tuple[float, list[tuple[float, float]]]:
    """Steps of an integral over a bell and their weights, and what all these are multiplied by. [-]"""
    across = last - first
    return 0.5 * across / pieces / _ROOT_2PI, [(first + across * at, w) for at, w in _rule(pieces)]


class _Unknown:
    """A base plus a log-normal; infinite, or all in one place, where it has no spread."""

    __slots__ = ("base", "median", "root", "sigma", "top")

    def __init__(self, median: float, sigma: float, base: float) -> None:
        self.median, self.base = median, base
        self.top = median + base
        self.sigma = sigma if sigma >= 1e-6 and 0.0 < median < math.inf else 0.0
        self.root = _SQRT2 * self.sigma

    def steps_to(self, x: float) -> float:
        """How many standard deviations a place is from its median. [-]"""
        if not self.sigma:
            return math.inf if x > self.top else -math.inf
        above = x - self.base
        return math.log(above / self.median) / self.sigma if above > 0.0 else -math.inf

    def below(self, x: float) -> float:
        """Probability that it is below a place. [-]"""
        if not self.sigma:
            return 1.0 if x > self.top else 0.0
        above = x - self.base
        return 0.5 * math.erfc(-math.log(above / self.median) / self.root) if above > 0.0 else 0.0

    def nodes(self, low: float, high: float, scale: float) -> list[tuple[float, float]]:
        """Weights and values of a mean between two places, of what bends within a scale at the upper. [SI]"""
        first, last = self.between(low, high)
        if first >= last:
            return []
        bends = min(1.0, scale / (self.sigma * (high - self.base)))
        half, steps = _laid(math.ceil((last - first) / (4.0 * bends)), first, last)
        base, median, sigma, exp = self.base, self.median, self.sigma, math.exp
        return [(half * w * exp(-0.5 * z * z), base + median * exp(sigma * z)) for z, w in steps]

    def between(self, low: float, high: float) -> tuple[float, float]:
        """From how many standard deviations to how many two places are, none farther than seven. [-]"""
        return max(self.steps_to(low), -7.0), min(self.steps_to(high), 7.0)

    def plus_error_below(self, x: float, s: float) -> float | None:
        """
        Probability that it is below a place with a bell added: the narrower of both is taken in steps.

        None where both bend at once, near the base of a wide unknown.
        """
        if not self.sigma:
            return _phi((x - self.top) / s)
        above = x - self.base
        if s <= self.sigma * above and _NEAR * s < above:
            log, erfc, median, root = math.log, math.erfc, self.median, self.root
            return math.fsum([w * erfc(-log((above - s * z) / median) / root) for z, w in _HALVES])
        if self.sigma * (above + _NEAR * s) <= s:
            erfc, exp, median, sigma, wide = math.erfc, math.exp, self.median, self.sigma, _SQRT2 * s
            return math.fsum([w * erfc((median * exp(sigma * z) - above) / wide) for z, w in _HALVES])
        return None

    def slid(self, x: float) -> float:
        """
        Probability that it is below a place with an even factor over `KILO`.

        The mean of (Y − K)⁺ over a log-normal Y of median M is M·exp(σ²/2)·Φ(d + σ) − K·Φ(d), where
        d = ln(M/K)/σ.
        """
        low, high = KILO
        if x <= 0.0 or not math.isfinite(self.top):
            return 0.0
        if self.top <= 0.0:
            return 1.0
        m, sigma = x / self.top, self.sigma * self.median / self.top
        if sigma < 1e-3:
            return min(max((m - low) / (high - low), 0.0), 1.0)
        if abs(math.log(m)) > 7.0 * sigma + 1.0:
            return float(m > 1.0)

        def over(k: float) -> float:
            d = math.log(m / k) / sigma
            return m * math.exp(0.5 * sigma * sigma) * _phi(d + sigma) - k * _phi(d)

        return min(max((over(low) - over(high)) / (high - low), 0.0), 1.0)


def in_the_open(anything: float) -> float:
    """What is left in the open of displays that mean nothing. [-]"""
    return _WILD_IN_THE_OPEN * anything


def evenly(low: float, high: float, top: float) -> float:
    """Share of a stretch in what is spread evenly from nothing to a top. [-]"""
    return max(0.0, min(high, top) - max(low, 0.0)) / top if top > 0.0 else 0.0


def evenly_by_ratio(low: float, high: float, bottom: float, top: float) -> float:
    """Share of a stretch in what is spread evenly over the logarithm between two values. [-]"""
    low, high = max(low, bottom), min(high, top)
    return math.log(high / low) / math.log(top / bottom) if low < high else 0.0
