"""
Exact probabilities of what may be wrong, given everything seen.

The posterior of every set of up to three faults and of "none of these"; marginals by part, by remedy; and a
bound on what the sets of four and more could still hold.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import nlargest, nsmallest
from itertools import accumulate

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import Compiled, Factor
from humclick.diagnosis.hypotheses import Fault

__all__ = ["NONE", "Posterior", "posterior"]

#: So many sets are asked first, to see what the whole holds at least.
_FIRST = 256

#: Sets nearer than this are passed over together or not at all, whatever the last digits of sums are. [-]
_ALIKE = 1.0 - 1e-9

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
    weights : list of float
        Probability of each hypothesis, in the order of ``bench.space.sets``. [-]
    none : float
        Probability of "none of these". [-]
    leads : tuple of (offset, probability)
        What the test leads add. [Ω], [-]
    left_out : float
        Upper bound on the probability that more than three parts are not healthy. [-]
    log_evidence : float
        Natural logarithm of the probability of all observations under the model. [-]
    """

    bench: Bench
    weights: list[float]
    none: float
    leads: tuple[tuple[float, float], ...]
    left_out: float
    log_evidence: float

    def shares(self) -> Iterator[tuple[dict[str, str], float]]:
        """Each set of modes, as part → mode, with its probability. [-]"""
        for chosen, weight in zip(self.bench.space.sets, self.weights, strict=True):
            yield self.bench.modes_in(chosen), weight

    @cached_property
    def by_class(self) -> dict[frozenset[str], float]:
        """Probability of each decision class, the most probable first. [-]"""
        classes, which = self.bench.classes
        mass = [0.0] * len(classes)
        for k, w in zip(which, self.weights, strict=True):
            mass[k] += w
        rows = {c: m for c, m in zip(classes, mass, strict=True) if m > 0.0}
        rows[NONE] = rows.get(NONE, 0.0) + self.none
        return dict(sorted(rows.items(), key=lambda row: (-row[1], sorted(row[0]))))

    @cached_property
    def by_remedy(self) -> dict[str, float]:
        """Probability that each remedy is needed, the most probable first. [-]"""
        mass: dict[str, float] = {}
        for chosen, p in self.by_class.items():
            for remedy in chosen:
                mass[remedy] = mass.get(remedy, 0.0) + p
        return dict(sorted(mass.items(), key=lambda row: (-row[1], row[0])))

    @cached_property
    def by_mode(self) -> dict[tuple[str, str], float]:
        """Probability of each mode that is not healthy, the most probable first. [-]"""
        found = {fault: self.of_mode(*fault) for fault in self.bench.members}
        return dict(sorted(found.items(), key=lambda row: (-row[1], row[0])))

    def of_mode(self, part: str, *modes: str) -> float:
        """Probability that a part is in one of some modes. [-]"""
        members = self.bench.members
        weight = self.weights.__getitem__
        return math.fsum(math.fsum(map(weight, members.get((part, mode), ()))) for mode in modes)

    def of_part(self, part: str) -> float:
        """Probability that a part is not healthy. [-]"""
        return self.of_mode(part, *(mode for name, mode in self.bench.members if name == part))

    def top(self, most: int) -> list[tuple[int, float]]:
        """Indices and probabilities of the most probable hypotheses."""
        least = 1e-5 * max(self.weights)
        rows = [(-w, h) for h, w in enumerate(self.weights) if w > least]
        if len(rows) < most:
            rows = [(-w, h) for h, w in enumerate(self.weights)]
        return [(h, -w) for w, h in nsmallest(most, rows)]

    def above(self, least: float) -> list[tuple[int, float]]:
        """Indices and probabilities of the hypotheses at least so probable, the likeliest first."""
        return [(h, -w) for w, h in sorted((-w, h) for h, w in enumerate(self.weights) if w >= least)]


def posterior(bench: Bench, evidence: Compiled, *, rest: float = 5e-4) -> Posterior:
    """
    Bayes' rule over all hypotheses.

    What an attempt or a reading of the whole machine says is worked out under the sets that can still matter;
    the others are left at zero and their share, which can only be less than bounded, is part of ``left_out``.

    Parameters
    ----------
    bench : Bench
        Hypotheses and priors.
    evidence : Compiled
        Factors; the leads' common unknown is summed out.
    rest : float
        The sets passed over together hold at most this share of the whole; zero follows every set. [-]

    Returns
    -------
    Posterior
    """
    none = bench.space.none_prior * math.prod(max(f.none, 1e-300) for f in evidence.factors)
    by_lead = _from_tables(bench, evidence)
    total = [math.fsum(row) for row in zip(*by_lead, strict=True)] if len(by_lead) > 1 else by_lead[0]
    asked = [f for f in evidence.factors if f.per_set is not None]
    passed_over = 0.0
    if asked:
        told, passed_over = _told(bench.space.sets, total, asked, rest, none)
        by_lead = [[w * p for w, p in zip(row, told, strict=True)] for row in by_lead]
        total = [w * p for w, p in zip(total, told, strict=True)]
    mass = math.fsum(total) + none
    if mass <= 0.0:
        mass, none = 1.0, 1.0
    left_out = _tail(bench, evidence) + passed_over
    shares = [math.fsum(row) for row in by_lead]
    whole = math.fsum(shares) or 1.0
    return Posterior(
        bench=bench,
        weights=[w / mass for w in total],
        none=none / mass,
        leads=tuple((c, p / whole) for (c, _), p in zip(evidence.leads, shares, strict=True)),
        left_out=left_out / (left_out + mass),
        log_evidence=math.log(mass) - math.log(math.fsum(bench.space.prior) + bench.space.none_prior),
    )


def _from_tables(bench: Bench, evidence: Compiled) -> list[list[float]]:
    """Prior times every table of single parts, by lead node, the node's own weight included."""
    common = list(bench.space.prior)
    varied: list[tuple[Factor, list[int]]] = []
    for factor in evidence.factors:
        if not factor.table or factor.per_set is not None:
            continue
        configs, which = bench.index(factor.scope)
        rows = [factor.table[c] for c in configs]
        if all(len(set(row)) == 1 for row in rows):
            column = [row[0] for row in rows]
            common = [w * column[k] for w, k in zip(common, which, strict=True)]
        else:
            varied.append((factor, which))
    by_lead = []
    for g, (_, weight) in enumerate(evidence.leads):
        here = [weight * w for w in common]
        for factor, which in varied:
            column = [factor.table[c][g] for c in bench.index(factor.scope)[0]]
            here = [w * column[k] for w, k in zip(here, which, strict=True)]
        by_lead.append(here)
    return by_lead


def _told(
    sets: Sequence[tuple[Fault, ...]],
    weights: Sequence[float],
    asked: Sequence[Factor],
    rest: float,
    none: float,
) -> tuple[list[float], float]:
    """
    What whole-machine factors give each hypothesis, and a bound on the mass of those not asked.

    The most probable are asked everything: what they hold, the whole holds at least. Then one factor after
    the other is asked of those that can still matter, given all that was asked before.
    """
    functions = [f.per_set for f in asked if f.per_set is not None]
    most = [math.prod(min(1.0, f.most) for f in asked[k:]) for k in range(len(asked))]
    first = nlargest(_FIRST, range(len(weights)), weights.__getitem__)
    found = none + math.fsum(weights[h] * math.prod(of(sets[h]) for of in functions) for h in first)
    allowed = rest * found / len(functions)
    mass, passed_over = list(weights), 0.0
    left = list(range(len(weights)))
    for function, ceiling in zip(functions, most, strict=True):
        left.sort(key=mass.__getitem__)
        held = [ceiling * below for below in accumulate(mass[h] for h in left)]
        at = bisect_right(held, allowed)
        while 0 < at < len(left) and mass[left[at - 1]] > _ALIKE * mass[left[at]]:
            at -= 1
        passed_over += held[at - 1] if at else 0.0
        del left[:at]
        for h in left:
            mass[h] *= function(sets[h])
    told = [0.0] * len(weights)
    for h in left:
        told[h] = mass[h] / weights[h] if weights[h] else 0.0
    return told, passed_over


def _tail(bench: Bench, evidence: Compiled) -> float:
    """
    Upper bound on the unnormalised mass of all sets with more faults than are enumerated.

    Each part is a polynomial in x: the power counts faults, the coefficient holds odds times likelihood.
    Parts tied by a shared table or a common cause are multiplied out together. Coefficients above the
    largest enumerated power, times the most that each whole-machine factor can give, bound the rest.
    """
    most = bench.space.most
    ceiling = 1.0
    for factor in evidence.factors:
        if factor.per_set is not None:
            ceiling *= min(1.0, factor.most)
    tables = [f for f in evidence.factors if f.per_set is None and f.table and f.scope]
    groups = _tied(len(bench.parts), [f.scope for f in tables] + [(a[0], b[0]) for a, b in bench.space.joint])
    bound = 0.0
    for g, (_, weight) in enumerate(evidence.leads):
        polynomial = [1.0]
        for group in groups:
            polynomial = _times(polynomial, _group_polynomial(bench, group, tables, g), most)
        bound += weight * polynomial[most + 1] if len(polynomial) > most + 1 else 0.0
    return bound * ceiling


def _tied(count: int, scopes: Sequence[tuple[int, ...]]) -> list[list[int]]:
    root = list(range(count))

    def find(i: int) -> int:
        while root[i] != i:
            i = root[i]
        return i

    for scope in scopes:
        for other in scope[1:]:
            root[find(other)] = find(scope[0])
    groups: dict[int, list[int]] = {}
    for i in range(count):
        groups.setdefault(find(i), []).append(i)
    return list(groups.values())


def _times(a: list[float], b: list[float], most: int) -> list[float]:
    """Product of polynomials; everything above x^(most+1) is added to that last coefficient."""
    product = [0.0] * (most + 2)
    for i, p in enumerate(a):
        for j, q in enumerate(b):
            product[min(i + j, most + 1)] += p * q
    return product


def _group_polynomial(bench: Bench, group: list[int], tables: list[Factor], g: int) -> list[float]:
    own = [f for f in tables if f.scope[0] in group]
    joint = {pair: x for pair, x in bench.space.joint.items() if pair[0][0] in group}
    top = bench.space.most + 1
    polynomial = [0.0] * (top + 1)

    def walk(k: int, chosen: dict[int, int], weight: float, faults: int) -> None:
        if k == len(group):
            for factor in own:
                config = tuple(chosen[p] for p in factor.scope)
                row = factor.table.get(config)
                weight *= row[g] if row is not None else 1.0
            for (a, b), boost in joint.items():
                if chosen.get(a[0]) == a[1] and chosen.get(b[0]) == b[1]:
                    weight *= boost
            polynomial[min(faults, top)] += weight
            return
        part = group[k]
        for mode, odds in enumerate(bench.space.odds[part]):
            walk(k + 1, {**chosen, part: mode}, weight * odds, faults + (mode > 0))

    walk(0, {}, 1.0, 0)
    return polynomial
