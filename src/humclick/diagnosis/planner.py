"""
The value of the next probe, two steps ahead, and when to stop.

Expected loss is minimised exactly over pairs of probes: for every first probe and outcome, either act at once
or take the best second probe and act. A one-step rule condemns too early, since often no single reading
changes the decision though a pair would. Branches that provably cannot win are skipped; the answer is the
same. With numpy the same sums are done as arrays. Money throughout.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import mul
from types import ModuleType
from typing import Any

from humclick.diagnosis.forecast import Forecast

__all__ = ["Plan", "Problem", "Worth", "plan", "worth_of_each"]

try:
    import numpy as _numpy

    numpy: ModuleType | None = _numpy
except ImportError:  # the phone has none
    numpy = None

#: Money differences smaller than this are ties. [money]
_TIE = 1e-7
#: Two first probes this close are as good as each other; the one better by itself is taken. [money]
_SAME = 1e-5


@dataclass(frozen=True)
class Problem:
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
    def outcomes(self) -> list[list[tuple[float, ...]]]:
        """``[probe][outcome]`` probabilities by row: the tables turned over."""
        return [list(zip(*table, strict=True)) for table in self.tables]

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


def _masses(problem: Problem, weights: Sequence[float], probe: int) -> list[list[float]]:
    """Mass by outcome and class after a probe."""
    by_class = [[0.0] * len(problem.tables[probe]) for _ in problem.loss[0]]
    for w, r, c in zip(weights, problem.rows_of[probe], problem.classes, strict=True):
        by_class[c][r] += w
    return [[sum(map(mul, chance, own)) for own in by_class] for chance in problem.outcomes[probe]]


def _one_step(problem: Problem, weights: Sequence[float], probe: int, loss: list[list[float]]) -> float:
    after = problem.after[probe]
    table = loss if after is None else after
    total = 0.0
    for mass in _masses(problem, weights, probe):
        total += min([sum(map(mul, mass, row)) for row in table])
    return total


def worth_of_each(problem: Problem) -> list[float]:
    """
    Expected loss after each probe alone, its cost not included: one round over all probes. [money]
    """
    if numpy is not None:
        return _one_steps(problem)
    return [_one_step(problem, problem.weights, t, problem.loss) for t in range(len(problem.tables))]


def plan(problem: Problem, *, arrays: bool | None = None) -> Plan:
    """
    Choose between acting now and the probe with the least expected total, two steps ahead.

    Parameters
    ----------
    problem : Problem
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
    worths = _Arrays(problem).worths() if arrays else _plain_worths(problem)
    least = min(v.two_step for v in worths) + _SAME
    best = min((v for v in worths if v.two_step <= least), key=lambda v: (round(v.one_step, 6), v.probe))
    rest = sorted((v for v in worths if v is not best), key=lambda v: (round(v.one_step, 6), v.probe))
    order = [best, *(Worth(v.probe, v.one_step, v.one_step) for v in rest)]
    return Plan(act_now, action, best if best.two_step < act_now - _TIE else None, tuple(order))


# -- pure Python ------------------------------------------------------------------------------------------


def _plain_worths(problem: Problem) -> list[Worth]:
    ideal = [min(row[c] for row in problem.loss) for c in range(len(problem.loss[0]))]
    cheapest = [min(row) for row in problem.second]
    rough = []
    for t in range(len(problem.tables)):
        table = problem.after[t] or problem.loss
        here = []
        for mass in _masses(problem, problem.weights, t):
            now = _act(mass, table)[0]
            least = sum(map(mul, mass, ideal)) + cheapest[t] * math.fsum(mass)
            here.append((now, min(now, least)))
        rough.append((problem.first[t] + math.fsum(now for now, _ in here), t, here))
    rough.sort(key=lambda row: row[:2])
    best = rough[0][0]
    found: list[Worth] = []
    for one, t, here in rough:
        total = problem.first[t] + math.fsum(least for _, least in here)
        widest = sorted(range(len(here)), key=[least - now for now, least in here].__getitem__)
        for o in widest:
            now, least = here[o]
            if total >= best + _SAME:
                break  # cannot win any more
            if least < now - _TIE:
                total += _second(problem, t, o, now, ideal) - least
        if total >= best + _SAME:
            total = one
        best = min(best, total)
        found.append(Worth(t, one, min(one, total)))
    return found


def _second(problem: Problem, first: int, outcome: int, now: float, ideal: Sequence[float]) -> float:
    """Expected total of the best second probe after an outcome of the first."""
    chance = problem.outcomes[first][outcome]
    weights = [w * chance[r] for w, r in zip(problem.weights, problem.rows_of[first], strict=True)]
    total = math.fsum(weights)
    if total <= 1e-12:
        return now
    least = sum(w * ideal[c] for w, c in zip(weights, problem.classes, strict=True))
    loss = problem.after[first] or problem.loss
    best = now
    for u in sorted(range(len(problem.tables)), key=problem.second[first].__getitem__):
        charge = problem.second[first][u] * total
        if charge + least >= best:  # not even perfect knowledge would pay
            break
        if u != first:
            best = min(best, _bounded(problem, weights, u, loss, ideal, charge + least, best))
    return best


def _bounded(
    problem: Problem,
    weights: Sequence[float],
    probe: int,
    loss: list[list[float]],
    ideal: Sequence[float],
    total: float,
    best: float,
) -> float:
    """Expected total after a probe, from its least possible total upwards; `best` once that is reached."""
    by_class = [[0.0] * len(problem.tables[probe]) for _ in ideal]
    for w, r, c in zip(weights, problem.rows_of[probe], problem.classes, strict=True):
        by_class[c][r] += w
    there = [c for c, own in enumerate(by_class) if any(own)]
    rows = [by_class[c] for c in there]
    table = problem.after[probe] or loss
    if len(there) < len(ideal):
        table = [[row[c] for c in there] for row in table]
        ideal = [ideal[c] for c in there]
    for chance in problem.outcomes[probe]:
        mass = [sum(map(mul, chance, own)) for own in rows]
        total += min([sum(map(mul, mass, row)) for row in table]) - sum(map(mul, mass, ideal))
        if total >= best:
            return best
    return total


# -- numpy ------------------------------------------------------------------------------------------------


def _one_steps(problem: Problem) -> list[float]:
    """Expected loss after each probe: masses counted by row and class, then small products."""
    assert numpy is not None
    np = numpy
    weights = np.asarray(problem.weights)
    found = []
    for places, table, loss in problem.arrays:
        by_class = np.bincount(places, weights, table.shape[0] * loss.shape[0])
        mass = table.T @ by_class.reshape(table.shape[0], -1)
        found.append(float((mass @ loss).min(axis=1).sum()))
    return found


class _Arrays:
    def __init__(self, problem: Problem) -> None:
        assert numpy is not None
        np = numpy
        self.problem = problem
        cases = len(problem.weights)
        blocks = []
        self.owner: list[int] = []
        for t, table in enumerate(problem.tables):
            rows = np.asarray(table)[np.asarray(problem.rows_of[t])]
            blocks.append(rows.T)
            self.owner.extend([t] * len(table[0]))
        self.chance = np.concatenate(blocks)  # outcome × case
        self.one_hot = np.zeros((cases, len(problem.loss[0])))
        self.one_hot[np.arange(cases), problem.classes] = 1.0
        self.weights = np.asarray(problem.weights)
        self.owners = np.asarray(self.owner)
        self.starts = np.flatnonzero(np.diff(self.owners, prepend=-1))
        self.loss = np.asarray(problem.loss).T  # class × action
        self.special = {t: np.asarray(a).T for t, a in enumerate(problem.after) if a is not None}

    def _acts(self, mass: Any, loss: Any) -> Any:
        """Least loss per outcome; mass is … × outcome × class."""
        assert numpy is not None
        best = (mass @ loss).min(axis=-1)
        for t, own in self.special.items():
            at = self.owners == t
            best[..., at] = (mass[..., at, :] @ own).min(axis=-1)
        return best

    def worths(self) -> list[Worth]:
        """Two-step worth of every probe; nothing is pruned."""
        assert numpy is not None
        np = numpy
        problem = self.problem
        branch = self.chance * self.weights
        mass = branch @ self.one_hot
        now = self._acts(mass, self.loss)
        ideal = self.loss.min(axis=1)
        least = mass @ ideal
        share = branch.sum(axis=1)
        second = np.asarray(problem.second)[self.owners]  # branch × second probe
        best = now.copy()
        open_ = np.flatnonzero((least + share * second.min(axis=1) < now - _TIE) & (share > 1e-12))
        weighted = self.chance[:, :, None] * self.one_hot[None, :, :]
        flat = weighted.transpose(1, 0, 2).reshape(len(problem.weights), -1)
        for chunk in np.array_split(open_, max(1, len(open_) // 64)):
            if not len(chunk):
                continue
            masses = (branch[chunk] @ flat).reshape(len(chunk), len(self.owners), -1)
            acts = self._chunk_acts(masses, self.owners[chunk])
            totals = np.add.reduceat(acts, self.starts, axis=1) + second[chunk] * share[chunk, None]
            totals[np.arange(len(chunk)), self.owners[chunk]] = np.inf
            best[chunk] = np.minimum(best[chunk], totals.min(axis=1))
        two = np.add.reduceat(best, self.starts)
        one = np.add.reduceat(now, self.starts)
        return [
            Worth(t, float(problem.first[t] + one[t]), float(problem.first[t] + two[t]))
            for t in range(len(problem.tables))
        ]

    def _chunk_acts(self, masses: Any, firsts: Any) -> Any:
        acts = self._acts(masses, self.loss)
        for t, own in self.special.items():
            at = firsts == t
            if at.any():
                acts[at] = self._acts(masses[at], own)
        return acts
