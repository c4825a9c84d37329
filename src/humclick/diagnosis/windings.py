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

from humclick.arrangements.arrangement import PINS
from humclick.arrangements.machine import Machine
from humclick.circuit.network import Setup, branches_of
from humclick.circuit.solve import resistance_between
from humclick.diagnosis.likelihood import Display, nodes_of
from humclick.parts.family import HEALTHY, Condition, Element

__all__ = ["PERMUTATIONS", "Affine", "PinDisplay", "Sealed", "WindingEvidence", "pin_pairs"]

#: All ways in which three pins can be C, R and S: the real pin behind each label or number.
PERMUTATIONS: tuple[tuple[str, str, str], ...] = tuple(itertools.permutations(PINS))  # type: ignore[arg-type]

_OPEN = math.inf

#: Nodes of the integral whose likelihood is this much below the best are left out. [-]
_NEGLIGIBLE = 1e-8

#: Run and start winding, likelihood, width of the node in ln R along each. [Ω], [Ω], [-], [-], [-]
_Node = tuple[float, float, float, float, float]


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
        self.internal = machine.protector == "internal"

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
                return spread.median, math.hypot(spread.sigma, self.widen)
        return self.machine.size(part, "winding").median, 0.0

    # -- evidence --------------------------------------------------------------------------------------

    def evidence(
        self, displays: Sequence[PinDisplay], naming: Mapping[tuple[str, str, str], float]
    ) -> dict[Sealed, dict[tuple[str, str, str], float]]:
        """
        Probability of all displays together, for each sealed mode and each way the pins may lie.

        Parameters
        ----------
        displays : sequence of PinDisplay
            In any order.
        naming : mapping of permutation to float
            Prior probability of each way; those with zero are left out.

        Returns
        -------
        dict
            ``[sealed][permutation]``, the prior of the permutation included. [-]
        """
        table: dict[Sealed, dict[tuple[str, str, str], float]] = {s: {} for s in self.modes()}
        priors = {s: (self.prior("run_winding", s[0]), self.prior("start_winding", s[1])) for s in table}
        for names, weight in naming.items():
            if weight <= 0.0:
                continue
            grids: dict[tuple[Affine, ...], list[_Node]] = {}
            sums: dict[tuple[object, ...], float] = {}
            for sealed in table:
                forms = tuple(self._reading(sealed, d, names) for d in displays)
                key = (forms, priors[sealed])
                if key not in sums:
                    if forms not in grids:
                        grids[forms] = self._grid(forms, displays)
                    sums[key] = max(_weighted(grids[forms], *priors[sealed]), 1e-300)
                table[sealed][names] = weight * sums[key]
        return table

    def _reading(self, sealed: Sealed, d: PinDisplay, names: tuple[str, str, str]) -> Affine:
        pair = tuple(sorted((names[d.first], names[d.second])))
        return self.form(sealed, d.hot)[(pair[0], pair[1])]

    def _grid(self, forms: tuple[Affine, ...], displays: Sequence[PinDisplay]) -> list[_Node]:
        """Likelihood of the displays on nodes (R_run, R_start), with the width of each node in ln R."""
        fixed = [(f, d) for f, d in zip(forms, displays, strict=True) if not f.start]
        varied = [(f, d) for f, d in zip(forms, displays, strict=True) if f.start]
        use_run = any(f.run for f in forms)
        runs = self._axis("run_winding", _sharp(forms, displays, "run")) if use_run else [(1.0, 0.0)]
        outer = [(run, width, _product(fixed, run, 1.0)) for run, width in runs]
        best = max(p for _, _, p in outer)
        shared = None
        if varied and not any(f.run for f, _ in varied):
            shared = self._axis("start_winding", _sharp(forms, displays, "start"))
        grid: list[_Node] = []
        for run, width_run, p_run in outer:
            if p_run < best * _NEGLIGIBLE:
                continue
            starts: list[tuple[float, float]] = [(1.0, 0.0)]
            if shared is not None:
                starts = shared
            elif varied:
                sharp = _sharp(forms, displays, "start", run if use_run else None)
                starts = self._axis("start_winding", sharp)
            for start, width_start in starts:
                p = p_run * _product(varied, run, start)
                grid.append((run, start, p, width_run, width_start))
        most = max(node[2] for node in grid)
        return [node for node in grid if node[2] > most * _NEGLIGIBLE] or grid[:1]

    def _axis(self, part: str, sharp: Iterable[float]) -> list[tuple[float, float]]:
        """Nodes in ln R over all of a winding's modes, with the width each stands for."""
        bounds = [self.prior(part, mode) for mode in self.machine.part(part).family.modes]
        low = min(math.log(m) - 4.0 * s for m, s in bounds if s)
        high = max(math.log(m) + 4.0 * s for m, s in bounds if s)
        finest = min(s for _, s in bounds if s)
        steps = min(40, max(10, math.ceil((high - low) / (0.8 * finest))))
        points = {low + (high - low) * k / steps for k in range(steps + 1)}
        points.update(math.log(x) for x in sharp if x > 0.0 and low < math.log(x) < high)
        at = sorted(points)
        nodes = []
        for i, p in enumerate(at):
            left = at[i - 1] if i else p
            right = at[i + 1] if i + 1 < len(at) else p
            nodes.append((math.exp(p), 0.5 * (right - left)))
        return nodes

    def nodes(
        self,
        sealed: Sealed,
        displays: Sequence[PinDisplay],
        names: tuple[str, str, str],
        pair: tuple[str, str],
    ) -> tuple[tuple[float, float], ...]:
        """
        What the next reading between two pins will find, given those taken.

        Returns
        -------
        tuple of (value, weight)
            At 25 °C; weights sum to 1. [Ω]
        """
        form = self.form(sealed, False)[pair]
        if not math.isfinite(form.constant):
            return ((math.inf, 1.0),)
        run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
        if not displays:
            nodes = [
                (form.at(r, s), w * v)
                for r, w in (nodes_of(*run) if form.run else ((1.0, 1.0),))
                for s, v in (nodes_of(*start) if form.start else ((1.0, 1.0),))
            ]
            return tuple(nodes)
        forms = tuple(self._reading(sealed, d, names) for d in displays)
        known_run = form.run == 0.0 or any(f.run for f in forms)
        known_start = form.start == 0.0 or any(f.start for f in forms)
        found: list[tuple[float, float]] = []
        for r, s, p, area_r, area_s in self._grid(forms, displays):
            w = p * _density(r, area_r, run) * _density(s, area_s, start)
            if w <= 0.0:
                continue
            more_r = [(r, 1.0)] if known_run else list(nodes_of(*run))
            more_s = [(s, 1.0)] if known_start else list(nodes_of(*start))
            found.extend((form.at(x, y), w * v * u) for x, v in more_r for y, u in more_s)
        total = math.fsum(w for _, w in found)
        if total <= 0.0:
            return self.nodes(sealed, (), names, pair)
        return tuple((x, w / total) for x, w in found if w > 1e-6 * total)

    def resistances(
        self, sealed: Sealed, displays: Sequence[PinDisplay], names: tuple[str, str, str]
    ) -> dict[str, tuple[float, float]]:
        """
        Winding resistances given the readings: mean and standard deviation of each, by part. [Ω at 25 °C]

        A winding that no reading depends on is left out.
        """
        forms = tuple(self._reading(sealed, d, names) for d in displays)
        run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
        rows = [
            (r, s, p * _density(r, area_r, run) * _density(s, area_s, start))
            for r, s, p, area_r, area_s in self._grid(forms, displays)
        ]
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


def _density(x: float, area: float, prior: tuple[float, float]) -> float:
    """Prior mass a node stands for; 1 where the unknown plays no part."""
    if area == 0.0:
        return 1.0
    median, sigma = prior
    if sigma < 1e-6:
        return 1.0
    z = math.log(x / median) / sigma
    return area * math.exp(-0.5 * z * z) / (sigma * math.sqrt(2.0 * math.pi))


def _product(readings: Sequence[tuple[Affine, PinDisplay]], run: float, start: float) -> float:
    p = 1.0
    for form, d in readings:
        p *= d.display.probability(form.at(run, start) * d.copper)
    return p


def _weighted(grid: Sequence[_Node], run: tuple[float, float], start: tuple[float, float]) -> float:
    by_run: dict[float, float] = {}
    by_start: dict[float, float] = {}
    total = 0.0
    for r, s, p, width_r, width_s in grid:
        w = by_run.get(r)
        if w is None:
            w = by_run[r] = _density(r, width_r, run)
        v = by_start.get(s) if width_s == 0.0 else _density(s, width_s, start)
        if v is None:
            v = by_start[s] = 1.0
        total += p * w * v
    return total


def _sharp(
    forms: Sequence[Affine], displays: Sequence[PinDisplay], which: str, run: float | None = None
) -> list[float]:
    """Where the likelihood is sharp along one winding's axis."""
    found: list[float] = []
    for form, d in zip(forms, displays, strict=True):
        own, other = (form.run, form.start) if which == "run" else (form.start, form.run)
        if not own or (other and run is None):
            continue
        rest = form.constant + (other * run if run is not None else 0.0)
        found.extend((x / d.copper - rest) / own for x in d.display.near)
    return found


def pin_pairs(labels: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The three pairs of three labels, in the order given."""
    a, b, c = labels
    return ((a, b), (a, c), (b, c))
