"""
Nodes for the integral over the two windings behind three pins.

A reading is a constant plus shares of both windings' resistances. The run winding is the outer unknown; the
start winding is given with it, for both belong to one machine. Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import mul

from humclick.diagnosis.displays import Display
from humclick.diagnosis.likelihood import nodes_of, peaks_of
from humclick.diagnosis.quadrature import Cut, cut, peak_cuts, prior_cuts, rule

__all__ = [
    "Affine",
    "Axes",
    "Grid",
    "Lying",
    "Node",
    "Pair",
    "PinDisplay",
    "Prior",
    "lying",
    "mass",
    "start_given",
    "summed",
]

_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: Median and ln standard deviation. [Ω], [-]
Prior = tuple[float, float]

#: Of the run and of the start winding.
Pair = tuple[Prior, Prior]

#: A winding's resistance, its logarithm, and the node's width in ln R, zero where it plays no part.
Node = tuple[float, float, float]

#: A weight, and a base plus a log-normal: base, median, ln standard deviation. [-], [Ω], [Ω], [-]
Lying = tuple[float, float, float, float]

#: Peaks this many times the prior's own range away are not looked for. [-]
_FARTHEST = 1.0

#: No winding is known better than this. [-]
_LEAST = 1e-3

_IDLE: Node = (1.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Affine:
    """A reading as constant + a·R_run + b·R_start; infinite where nothing conducts. [Ω]"""

    constant: float
    run: float
    start: float

    def at(self, run: float, start: float) -> float:
        """Its value for two winding resistances. [Ω]"""
        return self.constant + self.run * run + self.start * start


@dataclass(frozen=True, slots=True)
class PinDisplay:
    """
    A display between two pins.

    Attributes
    ----------
    first, second : int
        Index of the two labels or numbers, 0–2 in the order C, R, S or 1, 2, 3.
    display : Display
        What was shown.
    copper : float
        Factor on the windings for their temperature, 1 at 25 °C. [-]
    hot : bool
        Whether an internal protector may be open from heat.
    """

    first: int
    second: int
    display: Display
    copper: float
    hot: bool


class Axes:
    """
    Where nodes are put on the axes of both windings.

    Parameters
    ----------
    priors : mapping of part to sequence of Prior
        Of each winding in its modes. [Ω], [-]
    usual : Pair
        Of sound windings.
    together : float
        Covariance of the two logarithms. [-]
    """

    def __init__(self, priors: Mapping[str, Sequence[Prior]], usual: Pair, together: float) -> None:
        self.usual, self.together = usual, together
        (_, sigma), _ = usual
        #: Of the start winding's logarithm over the run winding's. [-]
        self._slope = together / sigma**2 if sigma else 0.0
        self._cuts = {
            part: sorted(c for m, s in own if s for c in prior_cuts(m, s)) for part, own in priors.items()
        }

    def axis(self, part: str, peaks: Iterable[Cut]) -> list[Node]:
        """Nodes in ln R that suit all of a winding's modes and some peaks. [Ω]"""
        return _between(list(self._cuts[part]), peaks)

    def start_axis(self, pairs: Sequence[Pair], node: Node, peaks: Iterable[Cut]) -> list[Node]:
        """Nodes in ln R of the start winding for one run winding, where the two go together. [Ω]"""
        priors = dict.fromkeys(start_given(pair, self.together, node) for pair in pairs)
        cuts = [c for median, sigma in priors if sigma for c in prior_cuts(median, sigma)]
        return _between(cuts, peaks)

    def fine_axis(self, pairs: Sequence[Pair], peaks: Iterable[Cut]) -> list[Node]:
        """Nodes in ln R of the start winding that suit every run winding. [Ω]"""
        cuts = list(self._cuts["start_winding"])
        low, high = cuts[0][0], cuts[-1][0]
        at = (1.0, 0.0, 1.0)
        step = 2.0 * min(sigma for pair in pairs if (sigma := start_given(pair, self.together, at)[1]))
        count = math.ceil((high - low) / step)
        cuts += [(low + (high - low) * k / count, step) for k in range(1, count)]
        return _between(cuts, peaks)

    def usual_starts(self, peaks: Iterable[_Peak]) -> list[Cut]:
        """Run windings that fit readings of both with a usual start winding, and how far that fixes them."""
        pair = self.usual
        found = []
        for p in peaks:
            if p.form.run:
                run = self._usual_run(p, pair)
                median, sigma = start_given(pair, self.together, (run, math.log(run), 1.0))
                width = math.hypot(p.deviation, p.form.start * median * sigma)
                moves = p.form.start * self._slope * median / run  # a larger machine has more of both
                found.append((run, width / abs(p.form.run + moves)))
        return found

    def _usual_run(self, peak: _Peak, pair: Pair) -> float:
        """The run winding with whose usual start winding a reading of both fits; to a thousandth. [Ω]"""
        low, high = math.log(1e-3), math.log(1e4)
        while high - low > 1e-3:
            middle = 0.5 * (low + high)
            run = math.exp(middle)
            start, _ = start_given(pair, self.together, (run, middle, 1.0))
            low, high = (middle, high) if peak.form.at(run, start) < peak.value else (low, middle)
        return math.exp(low)


@dataclass(frozen=True, slots=True)
class _Peak:
    """Readings of one form that agree: form, what the form should be, and its standard deviation. [Ω]"""

    form: Affine
    value: float
    deviation: float

    @property
    def run(self) -> float:
        """Run winding that fits, where the start winding plays no part. [Ω]"""
        return (self.value - self.form.constant) / self.form.run

    @property
    def width(self) -> float:
        """Standard deviation of `run`. [Ω]"""
        return self.deviation / abs(self.form.run)

    def start_at(self, run: float) -> Cut:
        """Start winding that fits with a run winding, and its standard deviation. [Ω]"""
        form = self.form
        rest = self.value - form.constant - form.run * run
        return rest / form.start, self.deviation / abs(form.start)


def _peaks(pairs: Iterable[tuple[Affine, PinDisplay]]) -> list[_Peak]:
    """Peaks of the likelihood, repeats at one pair and one temperature taken together."""
    groups: dict[tuple[Affine, float], list[Display]] = {}
    for form, d in pairs:
        if math.isfinite(form.constant):
            groups.setdefault((form, d.copper), []).append(d.display)
    return [
        _Peak(form, y / copper, s / copper)
        for (form, copper), own in groups.items()
        for y, s in peaks_of(own)
    ]


def _crossings(peaks: Sequence[_Peak]) -> list[Cut]:
    """Run windings at which two readings that depend on the start winding agree about it. [Ω]"""
    found = []
    for p, q in itertools.combinations([p for p in peaks if p.form.start], 2):
        a, b = p.form, q.form
        slope = a.run * b.start - b.run * a.start
        if abs(slope) > 1e-6:
            left, right = p.value - a.constant, q.value - b.constant
            run = (left * b.start - right * a.start) / slope
            found.append((run, math.hypot(p.deviation * b.start, q.deviation * a.start) / abs(slope)))
    return found


def start_given(pair: Pair, together: float, node: Node) -> Prior:
    """
    What is known of the start winding once the run winding is; its own prior where that plays no part.

    Parameters
    ----------
    pair : Pair
        Priors of run and start winding. [Ω], [-]
    together : float
        Covariance of their logarithms. [-]
    node : Node
        The run winding. [Ω], [-]

    Returns
    -------
    Prior
        Median and ln standard deviation: conditional normal distribution of the logarithms. [Ω], [-]
    """
    (median, sigma), start = pair
    if not together or not sigma or not start[1] or not node[2]:
        return start
    slope = together / sigma**2
    rest = max(start[1] ** 2 - slope * together, _LEAST**2)
    return start[0] * math.exp(slope * (node[1] - math.log(median))), math.sqrt(rest)


def _between(cuts: list[Cut], peaks: Iterable[Cut]) -> list[Node]:
    """Nodes between the outermost cuts, and at peaks not far from them."""
    low, high = min(c[0] for c in cuts), max(c[0] for c in cuts)
    reach = _FARTHEST * (high - low)
    cuts.extend(c for c in peak_cuts(peaks) if low - reach < c[0] < high + reach)
    return rule(cut(cuts, min(c[0] for c in cuts), max(c[0] for c in cuts)), 3)


def summed(inner: Sequence[tuple[Node, float]], start: Prior) -> float:
    """
    Probability of displays over nodes of the start winding. [-]

    Parameters
    ----------
    inner : sequence of (Node, float)
        Nodes, and how probable the displays are at each. [Ω], [-]
    start : Prior
        Of the start winding. [Ω], [-]
    """
    median, sigma = start
    if not sigma or (inner and not inner[0][0][2]):
        return math.fsum(mass(node, start) * p for node, p in inner)
    mu, narrow = math.log(median), -0.5 / sigma**2
    total = math.fsum(node[2] * p * math.exp(narrow * (node[1] - mu) ** 2) for node, p in inner)
    return total / (sigma * _ROOT_2PI)


def mass(node: Node, prior: Prior) -> float:
    """
    Prior mass a node stands for; 1 where the unknown plays no part. [-]

    Parameters
    ----------
    node, prior
        Of one winding. [Ω], [-]
    """
    if not node[2]:
        return 1.0
    median, sigma = prior
    z = (node[1] - math.log(median)) / sigma
    return node[2] * math.exp(-0.5 * z * z) / (sigma * _ROOT_2PI)


class Grid:
    """Likelihood of displays on nodes of the two resistances, close together where it is sharp."""

    def __init__(
        self,
        axes: Axes,
        forms: tuple[Affine, ...],
        displays: Sequence[PinDisplay],
        priors: Sequence[Pair],
    ) -> None:
        self._axes, self._priors = axes, priors
        pairs = list(zip(forms, displays, strict=True))
        fixed = [(f, d) for f, d in pairs if not f.run and not f.start]
        self._fixed = _products(fixed, [1.0], [1.0])[0]
        self._alone = [(f, d) for f, d in pairs if f.run and not f.start]
        self._varied = [(f, d) for f, d in pairs if f.start]
        peaks = _peaks(pairs)
        self._slopes = [p for p in peaks if p.form.start]
        self._mixed = any(p.form.run for p in self._slopes)
        self.outer = [_IDLE]
        if any(f.run for f in forms):
            cuts = [(p.run, p.width) for p in peaks if p.form.run and not p.form.start]
            if self._mixed:
                cuts += _crossings(self._slopes) + axes.usual_starts(self._slopes)
            self.outer = axes.axis("run_winding", cuts)
        self._shared = None if self._mixed else self._inner((1.0, 0.0, 0.0))

    def likely(self) -> list[float]:
        """Probability of the displays that do not depend on the start winding, by run winding node."""
        runs = [node[0] for node in self.outer]
        return [self._fixed * p for p in _products(self._alone, runs, [1.0] * len(runs))]

    def inner(self, run: Node) -> list[tuple[Node, float]]:
        """Start winding nodes for a run winding, with the probability of the displays that depend on it."""
        return self._inner(run) if self._shared is None else self._shared

    def _axis(self, run: Node, peaks: Iterable[Cut]) -> list[Node]:
        """Start winding nodes that suit the priors, and the readings with one run winding or with all."""
        axes = self._axes
        together = axes.together and any(r[1] and s[1] for r, s in self._priors)
        if together and self._mixed and run[2]:
            return axes.start_axis(self._priors, run, peaks)
        if together and self.outer != [_IDLE]:
            return axes.fine_axis(self._priors, peaks)
        return axes.axis("start_winding", peaks)

    def _inner(self, run: Node) -> list[tuple[Node, float]]:
        if not self._varied:
            return [(_IDLE, 1.0)]
        nodes = self._axis(run, [p.start_at(run[0]) for p in self._slopes])
        starts = [node[0] for node in nodes]
        likely = [1.0] * len(nodes)
        for f, d in self._varied:
            rest, slope = (f.constant + f.run * run[0]) * d.copper, f.start * d.copper
            shown = d.display.probabilities([rest + slope * start for start in starts])
            likely = list(map(mul, likely, shown))
        return list(zip(nodes, likely, strict=True))

    def most(self) -> float:
        """No run winding gives the displays that depend on the start winding more than this."""
        priors = dict.fromkeys(start for _, start in self._priors)
        if self._shared is not None:
            if self._axes.together:
                return max(p for _, p in self._shared)
            return max(summed(self._shared, start) for start in priors)
        mixed = [d.display for f, d in self._varied if f.run]
        alone = [(f, d) for f, d in self._varied if not f.run]
        most = math.prod(d.most for d in mixed)
        if alone:
            peaks = [p.start_at(1.0) for p in self._slopes if not p.form.run]
            nodes = self._axes.axis("start_winding", peaks)
            likely = _products(alone, [1.0] * len(nodes), [node[0] for node in nodes])
            rows = list(zip(nodes, likely, strict=True))
            most *= max(likely) if self._axes.together else max(summed(rows, start) for start in priors)
        return most


def lying(form: Affine, pair: Pair, together: float) -> list[Lying]:
    """
    A reading as a base plus a log-normal: of two unknowns one is taken in steps.

    Parameters
    ----------
    form : Affine
        The reading. [Ω]
    pair : Pair
        Priors of run and start winding. [Ω], [-]
    together : float
        Covariance of their logarithms. [-]

    Returns
    -------
    list of Lying
        Weights sum to 1. [-], [Ω], [Ω], [-]
    """
    if together and form.run and form.start and pair[0][1] and pair[1][1]:
        found = []
        for r, w in nodes_of(*pair[0]):
            median, sigma = start_given(pair, together, (r, math.log(r), 1.0))
            found.append((w, form.constant + form.run * r, form.start * median, sigma))
        return found
    run, start = (form.run * pair[0][0], pair[0][1]), (form.start * pair[1][0], pair[1][1])
    less, more = sorted((run, start), key=lambda term: term[0] * term[1])
    steps = nodes_of(*less) if less[0] else ((0.0, 1.0),)
    return [(w, form.constant + x, *more) for x, w in steps]


def _products(
    readings: Sequence[tuple[Affine, PinDisplay]], runs: Sequence[float], starts: Sequence[float]
) -> list[float]:
    """Probability of readings together, for pairs of a run and a start winding. [Ω]"""
    together = [1.0] * len(runs)
    for form, d in readings:
        ohms = [form.at(run, start) * d.copper for run, start in zip(runs, starts, strict=True)]
        together = list(map(mul, together, d.display.probabilities(ohms)))
    return together
