"""
The two windings behind three pins: one pair of unknowns for all readings between the pins.

Every reading between two pins is, in a given mode, a constant plus shares of the run and the start winding's
resistance; both are integrated out together, so that the three readings check each other. The two windings
belong to one machine, whose size nobody may know: given the run winding, the start winding is known better.
Which pin is which may be known, known with a small doubt, or not known at all. Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

from humclick.arrangements.arrangement import PINS
from humclick.arrangements.machine import Machine
from humclick.circuit.network import Setup, branches_of
from humclick.circuit.solve import resistance_between
from humclick.diagnosis.charred import burnt_part, through_ohms
from humclick.diagnosis.delta import three_numbers, triangle_evidence
from humclick.diagnosis.winding_nodes import (
    Affine,
    Axes,
    Grid,
    Lying,
    Node,
    Pair,
    PinDisplay,
    Prior,
    lying,
    mass,
    start_given,
    summed,
)
from humclick.parts.family import HEALTHY, Condition, Element

__all__ = [
    "PERMUTATIONS",
    "Affine",
    "Lying",
    "PinDisplay",
    "Sealed",
    "WindingEvidence",
    "pin_pairs",
]

#: All ways in which three pins can be C, R and S: the real pin behind each label or number.
PERMUTATIONS: tuple[tuple[str, str, str], ...] = tuple(itertools.permutations(PINS))  # type: ignore[arg-type]

_OPEN = math.inf

#: Nodes whose share of the integral is below this are left out where nodes are handed on. [-]
_NEGLIGIBLE = 1e-8
#: An integral is good to this part of it, or to this part of the largest integral found. [-]
_ENOUGH = 2e-3
_IRRELEVANT = 1e-7

#: No winding is known better than this. [-]
_LEAST = 1e-3

#: Run winding, start winding and weight of nodes. [Ω], [Ω], [-]
Weighted = list[tuple[float, float, float]]
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
        sizes = [(part, "winding") for part in ("run_winding", "start_winding")]
        shared = machine.together(sizes[0], sizes[1])
        spread = math.prod(machine.size(*size).sigma for size in sizes)
        #: Covariance of the two logarithms: one machine, one meter, one temperature. [-]
        self.together = shared * spread + widen**2 if shared else 0.0

    @cached_property
    def axes(self) -> Axes:
        """Where the nodes of the integrals are put."""
        parts = ("run_winding", "start_winding")
        modes = {part: self.machine.part(part).family.modes for part in parts}
        priors = {
            part: [*{self.prior(part, name) for name, mode in own.items() if not mode.scattered}]
            for part, own in modes.items()
        }
        usual = self.prior(parts[0], HEALTHY), self.prior(parts[1], HEALTHY)
        return Axes(priors, usual, self.together)

    def widened(self, widen: float) -> WindingEvidence:
        """The same windings, less well known; the network is not solved anew."""
        other = WindingEvidence(self.machine, widen)
        other._forms = self._forms
        return other

    # -- the network, seen from the pins ------------------------------------------------------------

    def modes(self) -> tuple[Sealed, ...]:
        """Every mode of the sealed circuit in which it conducts well or not at all."""
        run, start = self._sharp("run_winding"), self._sharp("start_winding")
        guard = self._sharp("internal_protector") if self.internal else [HEALTHY]
        return tuple((r, s, g) for r in run for s in start for g in guard)

    def _sharp(self, part: str) -> list[str]:
        return [name for name, mode in self.machine.part(part).family.modes.items() if not mode.scattered]

    def burnt(self) -> tuple[Sealed, ...]:
        """Modes in which one part of it conducts through ohms, the others sound."""
        parts = ("run_winding", "start_winding", *(["internal_protector"] if self.internal else []))
        sealed = []
        for k, part in enumerate(parts):
            for name, mode in self.machine.part(part).family.modes.items():
                if mode.scattered:
                    sealed.append((*(HEALTHY,) * k, name, *(HEALTHY,) * (2 - k)))
        return tuple(sealed)  # type: ignore[arg-type]

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
        asked = list(modes or self.modes())
        charred = {s: part for s in asked if (part := burnt_part(self, s))}
        table: dict[Sealed, dict[tuple[str, str, str], float]] = {s: {} for s in asked if s not in charred}
        best = 0.0
        priors = {s: (self.prior("run_winding", s[0]), self.prior("start_winding", s[1])) for s in table}
        for names, weight in naming.items():
            if weight <= 0.0:
                continue
            forms = {s: tuple(self.reading(s, d, names) for d in displays) for s in table}
            wanted: dict[tuple[Affine, ...], dict[Pair, float]] = {}
            for sealed, form in forms.items():
                wanted.setdefault(form, {})[priors[sealed]] = 0.0
            for form, sums in wanted.items():
                self._integrate(form, displays, sums, best * _IRRELEVANT / weight)
                best = max(best, weight * max(sums.values()))
            for sealed, form in forms.items():
                table[sealed][names] = weight * max(wanted[form][priors[sealed]], 1e-300)
        self._touching(displays, naming, table)
        for sealed, part in charred.items():
            table[sealed] = {
                names: weight * max(through_ohms(self, part, displays, names), 1e-300)
                for names, weight in naming.items()
                if weight > 0.0
            }
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
                priors = (run, start, (bridge.median, bridge.sigma))
                likely = triangle_evidence(read, names, priors, self.together)
                table[sealed][names] = naming[names] * max(likely, 1e-300)

    def _integrate(
        self,
        forms: tuple[Affine, ...],
        displays: Sequence[PinDisplay],
        sums: dict[Pair, float],
        least: float,
    ) -> None:
        """
        Probability of the displays under several priors of run and start winding at once.

        Run winding nodes are taken in falling order of what they can add; the rest is left out once it cannot
        change any sum by more than a small part, or matters less than `least`.
        """
        pairs = list(sums)
        grid = Grid(self.axes, forms, displays, pairs)
        most = grid.most()
        rows = []
        for node, likely in zip(grid.outer, grid.likely(), strict=True):
            masses = [mass(node, run) for run, _ in pairs]
            rows.append((likely * max(masses) * most, node, likely, masses))
        rows.sort(key=lambda row: -row[0])
        left = math.fsum(row[0] for row in rows)
        for bound, node, likely, masses in rows:
            if left <= max(least, _ENOUGH * min(sums.values())):
                break
            left -= bound
            inner = grid.inner(node)
            priors = [start_given(pair, self.together, node) for pair in pairs]
            within = {start: summed(inner, start) for start in dict.fromkeys(priors)}
            for own, pair, start in zip(masses, pairs, priors, strict=True):
                sums[pair] += own * likely * within[start]

    def reading(self, sealed: Sealed, d: PinDisplay, names: tuple[str, str, str]) -> Affine:
        """What a display reads in a mode, the pins lying in one way."""
        pair = tuple(sorted((names[d.first], names[d.second])))
        return self.form(sealed, d.hot)[(pair[0], pair[1])]

    def ahead(
        self,
        sealed: Sealed,
        displays: Sequence[PinDisplay],
        names: tuple[str, str, str],
        pair: tuple[str, str],
        known: dict[tuple[tuple[Affine, ...], Pair], Weighted] | None = None,
    ) -> list[Lying]:
        """
        What the next reading between two pins will find, given those taken.

        What these say of the windings, whatever is read next, is put into `known`.

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
            return lying(form, (run, start), self.together)
        forms = tuple(self.reading(sealed, d, names) for d in displays)
        known_run, known_start = any(f.run for f in forms), any(f.start for f in forms)
        known, key = {} if known is None else known, (forms, (run, start))
        if key not in known:
            rows = self._weighted(forms, displays, (run, start))
            least = 1e-5 * math.fsum([w for _, _, w in rows])
            known[key] = [row for row in rows if row[2] > least]
        likely = known[key]
        total = math.fsum([w for _, _, w in likely])
        if total <= 0.0:
            return lying(form, (run, start), self.together)
        return [
            (w * v / total, base, median, sigma)
            for r, s, w in likely
            for v, base, median, sigma in lying(
                form,
                (
                    (r, 0.0) if known_run else self._run_given((run, start), s, known_start),
                    (s, 0.0)
                    if known_start
                    else start_given((run, start), self.together, _node(r, known_run)),
                ),
                self.together,
            )
        ]

    def _run_given(self, pair: Pair, start: float, known: bool) -> Prior:
        """What is known of the run winding once the start winding is."""
        return start_given((pair[1], pair[0]), self.together, _node(start, known))

    def _weighted(self, forms: tuple[Affine, ...], displays: Sequence[PinDisplay], pair: Pair) -> Weighted:
        """Run winding, start winding and weight of every node that counts. [Ω], [Ω], [-]"""
        grid = Grid(self.axes, forms, displays, [pair])
        found = []
        most = 0.0
        for node, likely in zip(grid.outer, grid.likely(), strict=True):
            outer = likely * mass(node, pair[0])
            start = start_given(pair, self.together, node)
            for other, p in grid.inner(node):
                w = outer * p * mass(other, start)
                most = max(most, w)
                if w > _NEGLIGIBLE * most:
                    found.append((node[0], other[0], w))
        return [row for row in found if row[2] > _NEGLIGIBLE * most]

    def resistances(
        self, sealed: Sealed, displays: Sequence[PinDisplay], names: tuple[str, str, str]
    ) -> dict[str, tuple[float, float]]:
        """
        Winding resistances given the readings: mean and standard deviation of each, by part. [Ω at 25 °C]

        A winding that no reading depends on is left out.
        """
        forms = tuple(self.reading(sealed, d, names) for d in displays)
        run, start = self.prior("run_winding", sealed[0]), self.prior("start_winding", sealed[1])
        rows = self._weighted(forms, displays, (run, start))
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


def _node(ohms: float, known: bool) -> Node:
    """A winding's resistance as a node; one that says nothing where it is not known."""
    return ohms, math.log(ohms), float(known)


def pin_pairs(labels: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """The three pairs of three labels, in the order given."""
    a, b, c = labels
    return ((a, b), (a, c), (b, c))
