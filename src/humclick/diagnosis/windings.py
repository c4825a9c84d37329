"""
The two windings behind three pins: one pair of unknowns for all readings between the pins.

Every reading between two pins is, in a given mode, a constant plus shares of the run and the start winding's
resistance; both are integrated out together, so that the three readings check each other. Which pin is which
may be known, known with a small doubt, or not known at all. Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import mul

from humclick.arrangements.arrangement import PINS
from humclick.arrangements.machine import Machine
from humclick.circuit.network import Setup, branches_of
from humclick.circuit.solve import resistance_between
from humclick.diagnosis.delta import three_numbers, triangle_evidence
from humclick.diagnosis.displays import Display
from humclick.diagnosis.likelihood import nodes_of, peaks_of
from humclick.diagnosis.quadrature import Cut, cut, peak_cuts, prior_cuts, rule
from humclick.parts.family import HEALTHY, Condition, Element

__all__ = ["PERMUTATIONS", "Affine", "Lying", "PinDisplay", "Sealed", "WindingEvidence", "pin_pairs"]

#: All ways in which three pins can be C, R and S: the real pin behind each label or number.
PERMUTATIONS: tuple[tuple[str, str, str], ...] = tuple(itertools.permutations(PINS))  # type: ignore[arg-type]

_OPEN = math.inf

#: Nodes whose share of the integral is below this are left out where nodes are handed on. [-]
_NEGLIGIBLE = 1e-8
_ROOT_2PI = math.sqrt(2.0 * math.pi)

#: Median and ln standard deviation. [Ω], [-]
_Prior = tuple[float, float]

#: A winding's resistance, its logarithm, and the node's width in ln R, zero where it plays no part.
_Node = tuple[float, float, float]

#: An integral is good to this part of it, or to this part of the largest integral found. [-]
_ENOUGH = 2e-3
_IRRELEVANT = 1e-7

#: Peaks this many times the prior's own range away are not looked for. [-]
_FARTHEST = 1.0

#: So many pieces of an axis are kept.
_PIECES = 2000

#: No winding is known better than this. [-]
_LEAST = 1e-3

_IDLE: _Node = (1.0, 0.0, 0.0)


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


#: A weight, and a base plus a log-normal: base, median, ln standard deviation. [-], [Ω], [Ω], [-]
Lying = tuple[float, float, float, float]

#: A mode of what is sealed in: (run winding, start winding, internal protector or healthy).
Sealed = tuple[str, str, str]


class WindingEvidence:
    """
    Evidence of all readings between the pins, for each sealed mode.

    Parameters
    ----------
    machine : Machine
        The machine.
    widen : float
        Standard deviation added to ln R for meter gain and winding temperature. [-]
    """

    def __init__(self, machine: Machine, widen: float = 0.0) -> None:
        self.machine = machine
        self.widen = widen
        self._forms: dict[tuple[Sealed, bool], dict[tuple[str, str], Affine]] = {}
        self._cuts: dict[str, list[Cut]] = {}
        self._pieces: dict[tuple[float, float], list[_Node]] = {}
        self._asked: Sequence[PinDisplay] = ()
        self._rows: dict[tuple[tuple[Affine, ...], _Prior, _Prior], list[tuple[float, float, float]]] = {}
        self.internal = machine.protector == "internal"

    def widened(self, widen: float) -> WindingEvidence:
        """The same windings, less well known; the network is not solved anew."""
        other = WindingEvidence(self.machine, widen)
        other._forms = self._forms
        return other

    # -- the network, seen from the pins ------------------------------------------------------------

    def modes(self) -> tuple[Sealed, ...]:
        """Every mode of the sealed circuit."""
        run = self.machine.part("run_winding").family.modes
        start = self.machine.part("start_winding").family.modes
        guard = self.machine.part("internal_protector").family.modes if self.internal else (HEALTHY,)
        return tuple((r, s, g) for r in run for s in start for g in guard)

    def form(self, sealed: Sealed, hot: bool) -> Mapping[tuple[str, str], Affine]:
        """Readings between the pins as functions of the two resistances."""
        key = (sealed, hot)
        if key not in self._forms:
            self._forms[key] = self._solve(sealed, hot)
        return self._forms[key]

    def _solve(self, sealed: Sealed, hot: bool) -> dict[tuple[str, str], Affine]:
        modes = {"run_winding": sealed[0], "start_winding": sealed[1]}
        if self.internal:
            modes["internal_protector"] = sealed[2]
        setup = Setup(condition=Condition(hot=hot), plugged=False)
        inside = {*modes}
        found = [
            b
            for b in branches_of(self.machine, modes, setup)
            if b.part in inside and b.element is Element.OHMIC and "shell" not in (b.a, b.b)
        ]
        elements = [(b.a, b.b, b.spread.median) for b in found]
        forms = {}
        for a, b in itertools.combinations(PINS, 2):
            result = resistance_between(elements, a, b)
            if not math.isfinite(result.ohms):
                forms[(a, b)] = Affine(_OPEN, 0.0, 0.0)
                continue
            slope = {"run_winding": 0.0, "start_winding": 0.0}
            constant = result.ohms
            for branch, sensitivity in zip(found, result.sensitivity, strict=True):
                if branch.size == "winding":
                    slope[branch.part] += sensitivity
                    constant -= sensitivity * branch.spread.median
            run, start = slope["run_winding"], slope["start_winding"]
            forms[(a, b)] = Affine(round(constant, 9), round(run, 9), round(start, 9))
        return forms

    def prior(self, part: str, mode: str) -> tuple[float, float]:
        """Median and ln standard deviation of a winding's resistance in a mode. [Ω], [-]"""
        placed = self.machine.part(part)
        family_mode = placed.family.mode(mode)
        for branch in family_mode.branches:
            if branch.size == "winding":
                spread = self.machine.spread_of(part, family_mode, branch)
                return spread.median, max(math.hypot(spread.sigma, self.widen), _LEAST)
        return self.machine.size(part, "winding").median, 0.0

    # -- evidence --------------------------------------------------------------------------------------

    def evidence(
        self,
        displays: Sequence[PinDisplay],
        naming: Mapping[tuple[str, str, str], float],
        modes: Iterable[Sealed] | None = None,
    ) -> dict[Sealed, dict[tuple[str, str, str], float]]:
        """
        Probability of all displays together, for each sealed mode and each way the pins may lie.

        Parameters
        ----------
        displays : sequence of PinDisplay
            In any order.
        naming : mapping of permutation to float
            Prior probability of each way; those with zero are left out.
        modes : iterable of Sealed, optional
            Sealed modes asked for; all of them if left out.

        Returns
        -------
        dict
            ``[sealed][permutation]``, the prior of the permutation included. [-]
        """
        table: dict[Sealed, dict[tuple[str, str, str], float]] = {s: {} for s in modes or self.modes()}
        best = 0.0
        priors = {s: (self.prior("run_winding", s[0]), self.prior("start_winding", s[1])) for s in table}
        for names, weight in naming.items():
            if weight <= 0.0:
                continue
            forms = {s: tuple(self._reading(s, d, names) for d in displays) for s in table}
            wanted: dict[tuple[Affine, ...], dict[tuple[_Prior, _Prior], float]] = {}
            for sealed, form in forms.items():
                wanted.setdefault(form, {})[priors[sealed]] = 0.0
            for form, sums in wanted.items():
                self._integrate(form, displays, sums, best * _IRRELEVANT / weight)
                best = max(best, weight * max(sums.values()))
            for sealed, form in forms.items():
                table[sealed][names] = weight * max(wanted[form][priors[sealed]], 1e-300)
        self._touching(displays, naming, table)
        return table

    def _touching(
        self,
        displays: Sequence[PinDisplay],
        naming: Mapping[tuple[str, str, str], float],
        table: Mapping[Sealed, dict[tuple[str, str, str], float]],
    ) -> None:
        """Windings that touch, at any resistance where three numbers tell it; else at the usual one."""
        bridged = [s for s in table if s[1] == "bridged" and "open" not in (s[0], s[2])]
        read = three_numbers(displays) if bridged else None
        if read is None:
            return
        bridge = self.machine.size("start_winding", "bridge")
        for sealed in bridged:
            run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
            for names in table[sealed]:
                likely = triangle_evidence(read, names, (run, start, (bridge.median, bridge.sigma)))
                table[sealed][names] = naming[names] * max(likely, 1e-300)

    def _integrate(
        self,
        forms: tuple[Affine, ...],
        displays: Sequence[PinDisplay],
        sums: dict[tuple[_Prior, _Prior], float],
        least: float,
    ) -> None:
        """
        Probability of the displays under several priors of run and start winding at once.

        Run winding nodes are taken in falling order of what they can add; the rest is left out once it cannot
        change any sum by more than a small part, or matters less than `least`.
        """
        grid = _Grid(self, forms, displays)
        starts = list(dict.fromkeys(start for _, start in sums))
        most = grid.most(starts)
        rows = []
        for node in grid.outer:
            likely = grid.likely(node)
            masses = [_mass(node, run) for run, _ in sums]
            rows.append((likely * max(masses) * most, node, likely, masses))
        rows.sort(key=lambda row: -row[0])
        left = math.fsum(row[0] for row in rows)
        for bound, node, likely, masses in rows:
            if left <= max(least, _ENOUGH * min(sums.values())):
                break
            left -= bound
            inner = grid.inner(node[0])
            within = {start: _summed(inner, start) for start in starts}
            for mass, key in zip(masses, sums, strict=True):
                sums[key] += mass * likely * within[key[1]]

    def _reading(self, sealed: Sealed, d: PinDisplay, names: tuple[str, str, str]) -> Affine:
        pair = tuple(sorted((names[d.first], names[d.second])))
        return self.form(sealed, d.hot)[(pair[0], pair[1])]

    def axis(self, part: str, peaks: Iterable[Cut]) -> list[_Node]:
        """Nodes in ln R that suit all of a winding's modes and some peaks. [Ω]"""
        cuts = list(self._prior_cuts(part))
        low, high = cuts[0][0], cuts[-1][0]
        reach = _FARTHEST * (high - low)
        cuts.extend([c for c in peak_cuts(peaks) if low - reach < c[0] < high + reach])
        nodes: list[_Node] = []
        for piece in itertools.pairwise(cut(cuts, min(cuts)[0], max(cuts)[0])):
            known = self._pieces.get(piece)  # between the cuts of the priors again and again
            if known is None:
                known = rule(piece, 3)
                if len(self._pieces) < _PIECES:
                    self._pieces[piece] = known
            nodes += known
        return nodes

    def usual_starts(self, peaks: Iterable[_Peak]) -> list[Cut]:
        """Run windings that fit readings of both with a usual start winding, and how far that fixes them."""
        median, sigma = self.prior("start_winding", HEALTHY)
        found = []
        for p in peaks:
            if p.form.run:
                rest = p.value - p.form.constant - p.form.start * median
                width = math.hypot(p.deviation, p.form.start * median * sigma)
                found.append((rest / p.form.run, width / abs(p.form.run)))
        return found

    def _prior_cuts(self, part: str) -> list[Cut]:
        if part not in self._cuts:
            modes = {self.prior(part, mode) for mode in self.machine.part(part).family.modes}
            self._cuts[part] = sorted(c for m, s in modes if s for c in prior_cuts(m, s))
        return self._cuts[part]

    def ahead(
        self,
        sealed: Sealed,
        displays: Sequence[PinDisplay],
        names: tuple[str, str, str],
        pair: tuple[str, str],
    ) -> list[Lying]:
        """
        What the next reading between two pins will find, given those taken.

        Returns
        -------
        list of (weight, base, median, ln standard deviation)
            A base plus a log-normal each, at 25 °C; weights sum to 1. [-], [Ω], [Ω], [-]
        """
        form = self.form(sealed, False)[pair]
        if not math.isfinite(form.constant):
            return [(1.0, math.inf, 0.0, 0.0)]
        run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
        if not displays:
            return _lying(form, run, start)
        forms = tuple(self._reading(sealed, d, names) for d in displays)
        known_run, known_start = any(f.run for f in forms), any(f.start for f in forms)
        rows = self._after(forms, displays, run, start)
        total = math.fsum(w for _, _, w in rows)
        if total <= 0.0:
            return _lying(form, run, start)
        likely = [row for row in rows if row[2] > 1e-5 * total]
        total = math.fsum(w for _, _, w in likely)
        return [
            (w * v / total, base, median, sigma)
            for r, s, w in likely
            for v, base, median, sigma in _lying(
                form, (r, 0.0) if known_run else run, (s, 0.0) if known_start else start
            )
        ]

    def _after(
        self, forms: tuple[Affine, ...], displays: Sequence[PinDisplay], run: _Prior, start: _Prior
    ) -> list[tuple[float, float, float]]:
        """`_weighted` for the displays last asked about, worked out once for all that is still to be read."""
        if self._asked is not displays:
            self._asked, self._rows = displays, {}
        key = forms, run, start
        if key not in self._rows:
            self._rows[key] = _weighted(_Grid(self, forms, displays), run, start)
        return self._rows[key]

    def resistances(
        self, sealed: Sealed, displays: Sequence[PinDisplay], names: tuple[str, str, str]
    ) -> dict[str, tuple[float, float]]:
        """
        Winding resistances given the readings: mean and standard deviation of each, by part. [Ω at 25 °C]

        A winding that no reading depends on is left out.
        """
        forms = tuple(self._reading(sealed, d, names) for d in displays)
        run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
        rows = _weighted(_Grid(self, forms, displays), run, start)
        total = math.fsum(w for _, _, w in rows)
        if total <= 0.0:
            return {}
        found = {}
        for axis, part in ((0, "run_winding"), (1, "start_winding")):
            if any((f.run, f.start)[axis] for f in forms):
                mean = math.fsum(row[axis] * row[2] for row in rows) / total
                square = math.fsum((row[axis] - mean) ** 2 * row[2] for row in rows) / total
                found[part] = (mean, math.sqrt(max(square, 0.0)))
        return found


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


def _mass(node: _Node, prior: _Prior) -> float:
    """Prior mass a node stands for; 1 where the unknown plays no part."""
    if not node[2]:
        return 1.0
    median, sigma = prior
    z = (node[1] - math.log(median)) / sigma
    return node[2] * math.exp(-0.5 * z * z) / (sigma * _ROOT_2PI)


def _summed(inner: Sequence[tuple[_Node, float]], prior: _Prior) -> float:
    """Probability of displays over nodes of one winding, each with how probable they are there. [-]"""
    return math.fsum([m * p for m, (_, p) in zip(_masses(inner, prior), inner, strict=True)])


def _masses(inner: Sequence[tuple[_Node, float]], prior: _Prior) -> list[float]:
    """Prior mass of each node, as `_mass`. [-]"""
    median, sigma = prior
    if not inner[0][0][2] or not sigma:
        return [_mass(node, prior) for node, _ in inner]
    mu, scale, exp = math.log(median), sigma * _ROOT_2PI, math.exp
    return [width * exp(-0.5 * z * z) / scale for width, z in [(n[2], (n[1] - mu) / sigma) for n, _ in inner]]


class _Grid:
    """Likelihood of displays on nodes of the two resistances, close together where it is sharp."""

    def __init__(
        self, windings: WindingEvidence, forms: tuple[Affine, ...], displays: Sequence[PinDisplay]
    ) -> None:
        self._windings = windings
        pairs = list(zip(forms, displays, strict=True))
        self._fixed = math.prod(_product([(f, d)], 1.0, 1.0) for f, d in pairs if not f.run and not f.start)
        self._alone = [(f, d) for f, d in pairs if f.run and not f.start]
        self._varied = [(f, d) for f, d in pairs if f.start]
        peaks = _peaks(pairs)
        self._slopes = [p for p in peaks if p.form.start]
        self._mixed = any(p.form.run for p in self._slopes)
        self.outer = [_IDLE]
        if any(f.run for f in forms):
            cuts = [(p.run, p.width) for p in peaks if p.form.run and not p.form.start]
            if self._mixed:
                cuts += _crossings(self._slopes) + windings.usual_starts(self._slopes)
            self.outer = windings.axis("run_winding", cuts)
        self._shared = None if self._mixed else self._inner(1.0)

    def likely(self, node: _Node) -> float:
        """Probability of the displays that do not depend on the start winding."""
        return self._fixed * _product(self._alone, node[0], 1.0)

    def inner(self, run: float) -> list[tuple[_Node, float]]:
        """Start winding nodes for a run winding, with the probability of the displays that depend on it."""
        return self._inner(run) if self._shared is None else self._shared

    def _inner(self, run: float) -> list[tuple[_Node, float]]:
        if not self._varied:
            return [(_IDLE, 1.0)]
        nodes = self._windings.axis("start_winding", [p.start_at(run) for p in self._slopes])
        likely = [1.0] * len(nodes)
        for f, d in self._varied:
            rest, slope = (f.constant + f.run * run) * d.copper, f.start * d.copper
            values = [rest + slope * node[0] for node in nodes]
            likely = list(map(mul, likely, d.display.probabilities(values)))
        return list(zip(nodes, likely, strict=True))

    def most(self, starts: Sequence[_Prior]) -> float:
        """No run winding gives the displays that depend on the start winding more than this."""
        if self._shared is not None:
            return max(_summed(self._shared, start) for start in starts)
        mixed = [d.display for f, d in self._varied if f.run]
        alone = [(f, d) for f, d in self._varied if not f.run]
        most = math.prod(d.most for d in mixed)
        if alone:
            peaks = [p.start_at(1.0) for p in self._slopes if not p.form.run]
            likely = [(n, _product(alone, 1.0, n[0])) for n in self._windings.axis("start_winding", peaks)]
            most *= max(_summed(likely, start) for start in starts)
        return most


def _lying(form: Affine, run: _Prior, start: _Prior) -> list[Lying]:
    """A reading as a base plus a log-normal: of two unknowns the one that spreads less is taken in steps."""
    run, start = (form.run * run[0], run[1]), (form.start * start[0], start[1])
    less, more = sorted((run, start), key=lambda term: term[0] * term[1])
    steps = nodes_of(*less) if less[0] else ((0.0, 1.0),)
    return [(w, form.constant + x, *more) for x, w in steps]


def _weighted(grid: _Grid, run: _Prior, start: _Prior) -> list[tuple[float, float, float]]:
    """Run winding, start winding and weight of every node that counts. [Ω], [Ω], [-]"""
    found = []
    most = 0.0
    for node in grid.outer:
        outer = grid.likely(node) * _mass(node, run)
        inner = grid.inner(node[0])
        for (other, p), m in zip(inner, _masses(inner, start), strict=True):
            w = outer * p * m
            most = max(most, w)
            if w > _NEGLIGIBLE * most:
                found.append((node[0], other[0], w))
    return [row for row in found if row[2] > _NEGLIGIBLE * most]


def _product(readings: Sequence[tuple[Affine, PinDisplay]], run: float, start: float) -> float:
    p = 1.0
    for form, d in readings:
        p *= d.display.probability(form.at(run, start) * d.copper)
    return p


def pin_pairs(labels: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The three pairs of three labels, in the order given."""
    a, b, c = labels
    return ((a, b), (a, c), (b, c))
