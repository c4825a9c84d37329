"""
The value of the next probe, two steps ahead, and when to stop.

Expected loss is minimised exactly over pairs of probes: for every first probe and outcome, either act at once
or take the best second probe and act. A one-step rule condemns too early, since often no single reading
changes the decision though a pair would. Branches that provably cannot win are skipped; the answer is the
same. With numpy the same sums are done as arrays. Money throughout.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, chain, pairwise, repeat
from operator import add, itemgetter, mul, sub
from types import ModuleType
from typing import Any

from humclick.diagnosis.forecast import Forecast

__all__ = ["Choice", "Plan", "Worth", "plan", "worth_of_each"]

try:
    import numpy as _numpy

    numpy: ModuleType | None = _numpy
except ImportError:  # the phone has none
    numpy = None

#: Money differences smaller than this are ties. [money]
_TIE = 1e-7
#: So many probes that paid as the second of a pair are tried first in the next.
_TRIED = 6
#: So many classes of an outcome are looked at first.
_HEAVY = 10
#: Where a probe tells of no more of these classes, only they are summed anew.
_FEW_TOLD = 4
#: Two first probes this close are as good as each other; the one better by itself is taken. [money]
_SAME = 1e-5


@dataclass(frozen=True)
class Choice:
    """
    A decision with probes in front of it.

    Attributes
    ----------
    weights : list of float
        Probability of each case. [-]
    classes : list of int
        Column of the loss table for each case.
    loss : list of list of float
        ``[action][column]``. [money]
    forecasts : list of Forecast
        One per probe; ``which`` and ``none`` are already merged into `rows_of`.
    rows_of : list of list of int
        ``[probe][case]`` row of the probe's table.
    tables : list of list of tuple of float
        ``[probe][row][outcome]`` probabilities.
    first, second : list of float, list of list of float
        Cost of each probe taken first, and ``second[t][u]`` of probe u right after probe t. [money]
    after : list of list of list of float or None
        Loss table that holds after a probe, where taking it changes what is left to do (a part fitted).
    """

    weights: list[float]
    classes: list[int]
    loss: list[list[float]]
    forecasts: list[Forecast]
    rows_of: list[list[int]]
    tables: list[list[tuple[float, ...]]]
    first: list[float]
    second: list[list[float]]
    after: list[list[list[float]] | None]

    @cached_property
    def arrays(self) -> list[tuple[Any, Any, Any]]:
        """With numpy, for each probe: row and class of every case as one number, its table, the losses."""
        assert numpy is not None
        np = numpy
        columns = len(self.loss[0])
        classes = np.asarray(self.classes)
        return [
            (np.asarray(rows) * columns + classes, np.asarray(table), np.asarray(after or self.loss).T)
            for rows, table, after in zip(self.rows_of, self.tables, self.after, strict=True)
        ]


@dataclass(frozen=True, slots=True)
class Worth:
    """
    What a probe is worth.

    Attributes
    ----------
    probe : int
        Index in the problem.
    one_step : float
        Expected total when acting right after it, its cost included. [money]
    two_step : float
        The same with the best second probe where that helps. Known for the best probe; for one that cannot
        win it may be left at `one_step`. [money]
    """

    probe: int
    one_step: float
    two_step: float


@dataclass(frozen=True)
class Plan:
    """
    The outcome of planning.

    Attributes
    ----------
    act_now : float
        Expected loss of the best action now. [money]
    action : int
        Index of that action.
    best : Worth or None
        The best first probe, None where no probe is worth its cost.
    worths : tuple of Worth
        All probes: the best, then the others by what each is worth by itself.
    """

    act_now: float
    action: int
    best: Worth | None
    worths: tuple[Worth, ...]


def _act(mass: Sequence[float], loss: Sequence[Sequence[float]]) -> tuple[float, int]:
    totals = [sum(map(mul, mass, row)) for row in loss]
    best = min(totals)
    return best, next(a for a, x in enumerate(totals) if x <= best + _TIE)


def worth_of_each(problem: Choice, *, arrays: bool | None = None) -> list[float]:
    """
    Expected loss after each probe alone, its cost not included: one round over all probes. [money]

    Parameters
    ----------
    problem, arrays
        As for `plan`.
    """
    if arrays is None:
        arrays = numpy is not None
    return _one_steps(problem) if arrays else [_one_step(problem, t) for t in range(len(problem.tables))]


def plan(problem: Choice, *, arrays: bool | None = None) -> Plan:
    """
    Choose between acting now and the probe with the least expected total, two steps ahead.

    Parameters
    ----------
    problem : Choice
        The decision.
    arrays : bool or None
        Use numpy; by default wherever it is installed. The answer is the same.

    Returns
    -------
    Plan
    """
    columns = len(problem.loss[0])
    mass = [0.0] * columns
    for w, c in zip(problem.weights, problem.classes, strict=True):
        mass[c] += w
    act_now, action = _act(mass, problem.loss)
    if not problem.tables:
        return Plan(act_now, action, None, ())
    if arrays is None:
        arrays = numpy is not None
    worths = _Arrays(problem).worths() if arrays else _Plain(problem).worths()
    least = min(v.two_step for v in worths) + _SAME
    best = min((v for v in worths if v.two_step <= least), key=lambda v: (round(v.one_step, 6), v.probe))
    rest = sorted((v for v in worths if v is not best), key=lambda v: (round(v.one_step, 6), v.probe))
    order = [best, *(Worth(v.probe, v.one_step, v.one_step) for v in rest)]
    return Plan(act_now, action, best if best.two_step < act_now - _TIE else None, tuple(order))


# -- pure Python ------------------------------------------------------------------------------------------


def _one_step(problem: Choice, t: int) -> float:
    """Expected loss after a probe: masses counted by row and class, then small products."""
    by_class = [[0.0] * len(problem.tables[t]) for _ in problem.loss[0]]
    for w, r, c in zip(problem.weights, problem.rows_of[t], problem.classes, strict=True):
        by_class[c][r] += w
    table, total = problem.after[t] or problem.loss, 0.0
    for chance in zip(*problem.tables[t], strict=True):
        mass = [sum(map(mul, chance, weights)) for weights in by_class]
        total += min([sum(map(mul, mass, row)) for row in table])
    return total


class _Table:
    """A loss table as the least of each class, and what each action loses beyond it."""

    def __init__(self, loss: list[list[float]]) -> None:
        self.ideal = [min(column) for column in zip(*loss, strict=True)]
        self.regret = [[x - least for x, least in zip(row, self.ideal, strict=True)] for row in loss]


@dataclass(frozen=True, slots=True)
class _Branch:
    """
    An outcome of a first probe: its cases, their sums by class, and the expected totals of acting now and at
    the very least.

    After each second probe, the cheapest possible first: the total at the very least, and which probe.
    """

    weights: list[float]
    mass: list[float]
    share: float
    now: float
    least: float
    seconds: list[tuple[float, int]]


class _Plain:
    """Cases in the order of their classes, so that each class is one slice; regrets instead of losses."""

    def __init__(self, problem: Choice) -> None:
        self.problem = problem
        order = sorted(range(len(problem.weights)), key=problem.classes.__getitem__)
        ends = accumulate(map(problem.classes.count, range(len(problem.loss[0]))), initial=0)
        self.slices = [slice(a, b) for a, b in pairwise(ends)]
        self.weights = [problem.weights[i] for i in order]
        self.table = _Table(problem.loss)
        self.after = [None if table is None else _Table(table) for table in problem.after]
        self.chances, self.usual, self.told = [], [], []
        for rows, table in zip(problem.rows_of, problem.tables, strict=True):
            outcomes = list(zip(*map(table.__getitem__, map(rows.__getitem__, order)), strict=True))
            shares = [sum(map(mul, chance, self.weights)) for chance in outcomes]  # most is learnt of these
            first = sorted(range(len(outcomes)), key=shares.__getitem__, reverse=True)
            self.chances.append(list(map(outcomes.__getitem__, first)))
            usual, told = self._told(list(map(rows.__getitem__, order)), table)
            self.usual.append(list(map(usual.__getitem__, first)))
            self.told.append(told)

    def _told(
        self, rows: list[int], table: list[tuple[float, ...]]
    ) -> tuple[tuple[float, ...], dict[int, float]]:
        """
        What a probe shows of the most cases, and in what share of each class it may show another thing. [-]

        In the rest it tells nothing: after it no less is lost than acting now loses on that. Classes of which
        it tells nothing at all are left out.
        """
        weight = [0.0] * len(table)
        for w, row in zip(self.weights, rows, strict=True):
            weight[row] += w
        usual = table[max(range(len(table)), key=weight.__getitem__)]
        share = [min([p / q for p, q in zip(row, usual, strict=True) if q > 0.0]) for row in table]
        alike = [min(map(share.__getitem__, rows[at]), default=1.0) for at in self.slices]
        return usual, {c: 1.0 - x for c, x in enumerate(alike) if x < 1.0}

    def _branches(self, t: int) -> Iterator[_Branch]:
        """What follows each outcome of a first probe, its own cost not included."""
        table, costs = self.after[t] or self.table, self.problem.second[t]
        for chance in self.chances[t]:
            weights = list(map(mul, self.weights, chance))
            mass: list[float] = list(map(sum, map(weights.__getitem__, self.slices)))
            share, ideal = sum(mass), sum(map(mul, mass, table.ideal))
            now = ideal + min([sum(map(mul, mass, row)) for row in table.regret])
            seconds = [
                (costs[u] * share + (ideal if special is None else sum(map(mul, mass, special.ideal))), u)
                for u, special in enumerate(self.after)
                if u != t
            ]
            seconds.sort()
            yield _Branch(weights, mass, share, now, min(now, seconds[0][0]) if seconds else now, seconds)

    def worths(self) -> list[Worth]:
        """Worth of every probe; what cannot win is not worked out."""
        first = self.problem.first
        rough = []
        for t in range(len(self.chances)):
            branches = list(self._branches(t))
            rough.append((first[t] + math.fsum(branch.now for branch in branches), t, branches))
        rough.sort(key=lambda row: row[:2])
        best = rough[0][0]
        self.tried = [t for _, t, _ in rough[:_TRIED]]
        worths: list[Worth] = []
        for alone, t, branches in rough:
            total = first[t] + math.fsum(branch.least for branch in branches)
            for branch in sorted(branches, key=lambda branch: branch.least - branch.now):  # the widest first
                if total >= best + _SAME:
                    break  # cannot win any more
                if branch.least < branch.now - _TIE:
                    enough = branch.least + best + 2.0 * _SAME - total  # with this or more it cannot win
                    total += self._second(t, branch, enough) - branch.least
            if total >= best + _SAME:
                total = alone
            best = min(best, total)
            worths.append(Worth(t, alone, min(alone, total)))
        return worths

    def _second(self, first: int, branch: _Branch, enough: float) -> float:
        """Expected total of the best second probe after an outcome of the first; no more than `enough`."""
        best = min(branch.now, enough)
        if branch.share <= 1e-12:
            return best
        table = self.after[first] or self.table
        few = _Few(self, branch, table)
        pays = {u: least for least, u in branch.seconds if least < best}
        for u in dict.fromkeys(chain(filter(pays.__contains__, self.tried), pays)):
            least, special = pays[u], self.after[u]
            if least >= best:  # not even perfect knowledge would pay
                continue
            if special is None and least + few.blind(self.told[u]) >= best:
                continue
            chances = self.chances[u]
            if few.after(u, special or table, least, best) >= best:
                continue
            total = _bounded(branch.weights, chances, self.slices, (special or table).regret, least, best)
            if total < best:
                best = total
                self.tried = [u, *(other for other in self.tried if other != u)][:_TRIED]
        return best


class _Few:
    """The heaviest classes of an outcome: what is lost in them is no more than in all."""

    def __init__(self, plain: _Plain, branch: _Branch, table: _Table) -> None:
        self._plain, self._branch, self._table, mass = plain, branch, table, branch.mass
        heavy = sorted(range(len(mass)), key=mass.__getitem__, reverse=True)[:_HEAVY]
        self._classes = _picked(heavy)
        regrets, heaviest = self._of(table), self._classes(mass)
        self._lost: list[float] = [sum(map(mul, heaviest, row)) for row in regrets]
        columns = zip(heavy, zip(*regrets, strict=True), strict=True)
        #: What each action loses in a class.
        self._lost_in = {c: [mass[c] * x for x in column] for c, column in columns if mass[c]}
        pieces = [range(len(branch.weights))[plain.slices[c]] for c in heavy]
        self._cases = _picked(list(chain.from_iterable(pieces)))
        self._slices = [slice(a, b) for a, b in pairwise(accumulate(map(len, pieces), initial=0))]

    def _of(self, table: _Table) -> list[Sequence[float]]:
        """Regrets of every action in these classes."""
        return list(map(self._classes, table.regret))

    def blind(self, told: dict[int, float]) -> float:
        """What is lost in these classes at the least, once a probe has told a share of some."""
        lost: list[float] = self._lost
        for c in told.keys() & self._lost_in.keys():
            lost = list(map(sub, lost, map(told[c].__mul__, self._lost_in[c])))
        return min(lost)

    def after(self, u: int, table: _Table, total: float, best: float) -> float:
        """Expected total after a probe as these classes have it; `best` once that is reached."""
        plain, weights = self._plain, self._branch.weights
        told = [c for c in plain.told[u] if c in self._lost_in]
        if len(told) > _FEW_TOLD or table is not self._table:
            chances = map(self._cases, plain.chances[u])
            return _bounded(self._cases(weights), chances, self._slices, self._of(table), total, best)
        pieces = [(plain.slices[c], weights[plain.slices[c]], self._branch.mass[c], c) for c in told]
        for chance, usual in zip(plain.chances[u], plain.usual[u], strict=True):
            lost = list(map(usual.__mul__, self._lost))
            for at, piece, mass, c in pieces:
                more = sum(map(mul, piece, chance[at])) / mass - usual
                lost = list(map(add, lost, map(more.__mul__, self._lost_in[c])))
            total += min(lost)
            if total >= best:
                return best
        return total


def _picked(places: Sequence[int]) -> Callable[[Sequence[float]], Sequence[float]]:
    """What takes some places of a row."""
    return itemgetter(*places) if len(places) > 1 else lambda row: [row[k] for k in places]


def _least(mass: Sequence[float], regrets: Sequence[Sequence[float]]) -> float:
    """What the best action loses on some masses by class."""
    return min(map(sum, map(map, repeat(mul), repeat(mass), regrets)))


def _bounded(
    weights: Sequence[float],
    chances: Iterable[Sequence[float]],
    slices: Sequence[slice],
    regrets: Sequence[Sequence[float]],
    total: float,
    best: float,
) -> float:
    """Expected total after a probe, from its least possible one upwards; `best` once that is reached."""
    for chance in chances:
        left = list(map(mul, weights, chance))
        total += _least(list(map(sum, map(left.__getitem__, slices))), regrets)
        if total >= best:
            return best
    return total


# -- numpy ------------------------------------------------------------------------------------------------


def _one_steps(problem: Choice) -> list[float]:
    """The same for every probe."""
    assert numpy is not None
    np = numpy
    weights = np.asarray(problem.weights)
    totals = []
    for places, table, loss in problem.arrays:
        by_class = np.bincount(places, weights, table.shape[0] * loss.shape[0])
        mass = table.T @ by_class.reshape(table.shape[0], -1)
        totals.append(float((mass @ loss).min(axis=1).sum()))
    return totals


class _Arrays:
    """The same sums with the cases in the order of their classes, all outcomes of all probes side by side."""

    def __init__(self, problem: Choice) -> None:
        assert numpy is not None
        np = numpy
        self.problem = problem
        order = np.argsort(problem.classes, kind="stable")
        ends = np.searchsorted(np.asarray(problem.classes)[order], range(len(problem.loss[0]) + 1))
        self.slices = [slice(a, b) for a, b in pairwise(ends)]
        tables = [np.asarray(table) for table in problem.tables]
        rows = [np.asarray(row)[order] for row in problem.rows_of]
        self.chance = np.concatenate(
            [t[row].T for t, row in zip(tables, rows, strict=True)]
        )  # outcome × case
        self.branch = self.chance * np.asarray(problem.weights)[order]
        self.owners = np.repeat(np.arange(len(tables)), [table.shape[1] for table in tables])
        self.starts = np.flatnonzero(np.diff(self.owners, prepend=-1))
        self.loss = np.asarray(problem.loss)  # action × class
        self.special = {t: np.asarray(a) for t, a in enumerate(problem.after) if a is not None}
        self.second = np.asarray(problem.second)[self.owners]  # branch × second probe

    def worths(self) -> list[Worth]:
        """Worth of every probe; what cannot win is not worked out."""
        assert numpy is not None
        np = numpy
        first = np.asarray(self.problem.first)
        mass = np.stack([self.branch[:, at].sum(axis=1) for at in self.slices])  # class × branch
        now, share = self._acts(mass, self.loss), self.branch.sum(axis=1)
        least = np.where(share > 1e-12, np.minimum(now, self._least(mass, share)), now)
        alone, bound = (first + np.add.reduceat(row, self.starts) for row in (now, least))
        best, two, left = alone.min(), alone.copy(), np.argsort(alone)
        for some in (left[:_TRIED], left[_TRIED:]):  # what is good by itself first: then fewer can win
            probes = some[bound[some] < best + _SAME]
            rows = np.flatnonzero(np.isin(self.owners, probes) & (least < now - _TIE))
            value = now.copy()
            if len(rows):
                value[rows] = np.minimum(now[rows], self._pairs(rows))
            two[probes] = (first + np.add.reduceat(value, self.starts))[probes]
            best = min(best, two.min())
        return [Worth(t, float(alone[t]), float(two[t])) for t in range(len(first))]

    def _acts(self, mass: Any, loss: Any) -> Any:
        """Least loss of each outcome; mass is class × … × outcome."""
        flat = mass.reshape(len(mass), -1)
        best = (loss @ flat).min(axis=0).reshape(mass.shape[1:])
        for t, losses in self.special.items():
            at = self.owners == t
            own = mass[..., at]
            best[..., at] = (losses @ own.reshape(len(mass), -1)).min(axis=0).reshape(own.shape[1:])
        return best

    def _least(self, mass: Any, share: Any) -> Any:
        """Expected total of each branch with the cheapest second probe, if it told all."""
        assert numpy is not None
        np = numpy
        ideal = np.array([np.min(table or self.problem.loss, axis=0) for table in self.problem.after])
        total = share[:, None] * self.second + (mass.T * ideal[self.owners]).sum(axis=1)[:, None]
        for t in self.special:
            total[:, t] = share * self.second[:, t] + ideal[t] @ mass
        return total.min(axis=1)

    def _pairs(self, rows: Any) -> Any:
        """Expected total of some branches with the best second probe."""
        assert numpy is not None
        np = numpy
        some = self.branch[rows]
        masses = np.stack([some[:, at] @ self.chance[:, at].T for at in self.slices])
        acts = self._acts(masses, self.loss)
        for t, losses in self.special.items():
            at = self.owners[rows] == t
            if at.any():
                acts[at] = self._acts(masses[:, at], losses)
        totals = np.add.reduceat(acts, self.starts, axis=1)
        totals += self.second[rows] * some.sum(axis=1)[:, None]
        totals[np.arange(len(rows)), self.owners[rows]] = np.inf
        return totals.min(axis=1)
