"""
Probabilities of what may be wrong, given everything seen.

The posterior of every set of up to three faults that can still matter and of "none of these"; marginals by
part, by remedy; and bounds on the sets left out and on what sets of four and more could still hold.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import compress
from operator import mul, or_

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import Compiled, Factor
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.scales import Chosen, Scales, Table, Whole
from humclick.diagnosis.sets import WeighedSets, weigh
from humclick.diagnosis.sets_arrays import search_for
from humclick.parts.family import Role

__all__ = ["NONE", "TOLERANCE", "Posterior", "posterior"]

#: Sets left out hold no more than this share of all together. [-]
TOLERANCE = 1e-3

#: Probabilities equal to so many digits are told apart by names, whatever the last digits of sums are.
_DIGITS = 13

#: Decision class of "none of these": nobody here can fix it.
NONE = frozenset({"hand over"})


@dataclass(frozen=True)
class Posterior:
    """
    Probabilities after the evidence.

    Attributes
    ----------
    bench : Bench
        What the indices refer to.
    evidence : Compiled
        What was seen.
    weighed : WeighedSets
        The sets that matter.
    mass : float
        What all of it weighs. [-]
    none : float
        Probability of "none of these". [-]
    leads : tuple of (offset, probability)
        What the test leads add. [Ω], [-]
    left_out : float
        Upper bound on the probability of all sets that were left out; 0 where none was. [-]
    beyond : float
        Upper bound on the probability that more than three parts are not healthy. [-]
    """

    bench: Bench
    evidence: Compiled
    weighed: WeighedSets
    mass: float
    none: float
    leads: tuple[tuple[float, float], ...]
    left_out: float
    beyond: float

    @cached_property
    def cases(self) -> list[tuple[Chosen, float]]:
        """
        Sets with their probabilities, the likeliest first; modes that nothing tells apart are one.

        The likeliest of them stands for all.
        """
        return self.likeliest(len(self.weighed.sets))

    def likeliest(self, most: int) -> list[tuple[Chosen, float]]:
        """The first so many of `cases`."""
        fault_of = [group.fault for group in self.weighed.alike].__getitem__
        rows: list[tuple[float, int, Chosen, float]] = []
        for numbers, w in zip(self.weighed.sets, self.weighed.weights, strict=True):  # the heaviest first
            p = w / self.mass
            order = -round(p, _DIGITS)
            if len(rows) >= most and order > rows[-1][0]:
                break
            rows.append((order, len(numbers), tuple(sorted(map(fault_of, numbers))), p))
        rows.sort()
        return [(chosen, p) for _, _, chosen, p in rows[:most]]

    @cached_property
    def whole(self) -> Posterior:
        """The same with no set left out."""
        return self if self.left_out <= 0.0 else posterior(self.bench, self.evidence, tolerance=0.0)

    def shares(self) -> Iterator[tuple[dict[str, str], float]]:
        """Each set of modes, as part → mode, with its probability; none is left out. [-]"""
        for chosen, p in self.whole.above(0.0):
            yield self.bench.modes_in(chosen), p

    @cached_property
    def by_class(self) -> dict[frozenset[str], float]:
        """Probability of each decision class, the most probable first. [-]"""
        space = self.bench.space
        bits: dict[str, int] = {}
        of_group = [bits.setdefault(space.remedy[g.fault], 1 << len(bits)) for g in self.weighed.alike]
        masses: dict[int, float] = {}
        for numbers, w in zip(self.weighed.sets, self.weighed.weights, strict=True):
            needed = reduce(or_, map(of_group.__getitem__, numbers), 0)
            masses[needed] = masses.get(needed, 0.0) + w
        rows: dict[frozenset[str], float] = {}
        for needed, w in masses.items():
            remedies = frozenset(compress(bits, map(needed.__and__, bits.values())))
            needs = space.needs.get(remedies) or space.left_of(remedies)
            rows[needs] = rows.get(needs, 0.0) + w / self.mass
        rows[NONE] = rows.get(NONE, 0.0) + self.none
        ordered = sorted([(-round(p, _DIGITS), sorted(remedies), remedies) for remedies, p in rows.items()])
        return {remedies: rows[remedies] for _, _, remedies in ordered}

    @cached_property
    def by_remedy(self) -> dict[str, float]:
        """Probability that each remedy is needed, the most probable first. [-]"""
        mass: dict[str, float] = {}
        for chosen, p in self.by_class.items():
            for remedy in chosen:
                mass[remedy] = mass.get(remedy, 0.0) + p
        ordered = sorted([(-round(p, _DIGITS), remedy) for remedy, p in mass.items()])
        return {remedy: mass[remedy] for _, remedy in ordered}

    @cached_property
    def _of_fault(self) -> dict[Fault, float]:
        """Probability of each mode. [-]"""
        weighed, alike = self.weighed, self.weighed.alike
        sums = [[0.0] * len(alike) for _ in weighed.shapes]
        for numbers, shape, w in zip(weighed.sets, weighed.shape_of, weighed.weights, strict=True):
            of_group = sums[shape]
            for n in numbers:
                of_group[n] += w
        chances = {}
        by_lead = list(zip(*weighed.shapes, strict=True))
        of_groups = zip(*sums, strict=True) if sums else [()] * len(alike)  # nothing on the list fits at all
        for group, by_shape in zip(alike, of_groups, strict=True):
            totals = [sum(map(mul, by_shape, row)) for row in by_lead]
            for mode, share in zip(group.modes, group.shares, strict=True):
                chances[group.part, mode] = math.fsum(map(mul, totals, share)) / self.mass
        return chances

    @cached_property
    def by_mode(self) -> dict[tuple[str, str], float]:
        """Probability of each mode that is not healthy, the most probable first. [-]"""
        name = self.bench.space.name
        ordered = sorted([(-p, name[fault]) for fault, p in self._of_fault.items()])
        return {mode: -p for p, mode in ordered}

    def of_mode(self, part: str, *modes: str) -> float:
        """Probability that a part is in one of some modes. [-]"""
        return math.fsum(self.by_mode.get((part, mode), 0.0) for mode in modes)

    def of_windings(self, *modes: str) -> float:
        """Probability that a winding is in one of some modes. [-]"""
        return math.fsum(self.of_mode(part, *modes) for part in self.bench.machine.windings)

    def of_sealed_protector(self, *modes: str) -> float:
        """Probability that a protector inside the shell is in one of some modes. [-]"""
        guard = self.bench.machine.has(Role.PROTECTOR)
        return self.of_mode(guard.id, *modes) if guard is not None and guard.family.sealed else 0.0

    def of_part(self, part: str) -> float:
        """Probability that a part is not healthy. [-]"""
        return math.fsum(p for (name, _), p in self.by_mode.items() if name == part)

    def top(self, most: int) -> list[tuple[Chosen, float]]:
        """The most probable sets of single modes and their probabilities."""
        rows: list[tuple[float, int, Chosen]] = []
        for n, w in enumerate(self.weighed.weights):
            if len(rows) >= most and w / self.mass < -rows[most - 1][0]:
                break
            rows += [(-p / self.mass, len(chosen), chosen) for chosen, p in self.weighed.split(n)]
            rows.sort()
        return [(chosen, -p) for p, _, chosen in rows[:most]]

    def above(self, least: float) -> list[tuple[Chosen, float]]:
        """The sets of single modes at least so probable, the likeliest first."""
        if least not in self._above:
            self._above[least] = self._at_least(least)
        return self._above[least]

    @cached_property
    def _above(self) -> dict[float, list[tuple[Chosen, float]]]:
        return {}

    def _at_least(self, least: float) -> list[tuple[Chosen, float]]:
        rows = [
            (chosen, p / self.mass)
            for n, w in enumerate(self.weighed.weights)
            if w / self.mass >= least
            for chosen, p in self.weighed.split(n)
        ]
        return sorted((row for row in rows if row[1] >= least), key=_first)


def _wholes(factor: Factor) -> list[Whole]:
    """A reading of the whole machine; where a bound on it is sooner had, that, and then what is less."""
    exact, rough = factor.per_set, factor.rough
    if exact is None:
        return []
    if rough is None:
        return [Whole(exact, factor.most, factor.effort)]
    return [Whole(rough, factor.most, factor.effort), Whole(exact, 1.0, factor.effort + 1, rough)]


def _first(row: tuple[Chosen, float]) -> tuple[float, int, Chosen]:
    return -row[1], len(row[0]), row[0]


def posterior(bench: Bench, evidence: Compiled, *, tolerance: float = TOLERANCE) -> Posterior:
    """
    Bayes' rule over the hypotheses that matter.

    Parameters
    ----------
    bench : Bench
        Hypotheses and priors.
    evidence : Compiled
        Factors; the leads' common unknown is summed out.
    tolerance : float
        The sets left out hold no more than this share of all; zero leaves none out. [-]

    Returns
    -------
    Posterior
    """
    space, factors, leads = bench.space, evidence.factors, [w for _, w in evidence.leads]
    if all(len(set(row)) == 1 for f in factors for row in f.table.values()):
        leads = [math.fsum(leads)]  # nothing seen depends on them
    none = space.none_prior * math.prod(max(f.none, 1e-300) for f in factors)
    scales = Scales(
        space.odds,
        space.joint,
        bench.shop.none["no_fault"],
        space.most,
        leads,
        [Table(f.scope, f.table) for f in factors if f.table and f.per_set is None],
        [whole for f in factors for whole in _wholes(f)],
        bench.kinds.__getitem__,
    )
    weighed = weigh(scales, tolerance, none, search_for)
    mass = math.fsum(weighed.weights) + none
    if mass <= 0.0:
        mass, none = 1.0, 1.0
    shaped = [0.0] * len(weighed.shapes)
    for shape, w in zip(weighed.shape_of, weighed.weights, strict=True):
        shaped[shape] += w
    shares = [math.fsum(map(mul, shaped, row)) for row in zip(*weighed.shapes, strict=True)]
    if len(shares) < len(evidence.leads):
        shares = [w for _, w in evidence.leads]
    whole = math.fsum(shares) or 1.0
    return Posterior(
        bench=bench,
        evidence=evidence,
        weighed=weighed,
        mass=mass,
        none=none / mass,
        leads=tuple((c, p / whole) for (c, _), p in zip(evidence.leads, shares, strict=True)),
        left_out=weighed.rest / (weighed.rest + mass),
        beyond=weighed.beyond / (weighed.beyond + mass),
    )
