"""
Sets of modes made and weighed with numpy, many at once; they are those of `humclick.diagnosis.sets`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from itertools import combinations
from operator import or_
from types import ModuleType
from typing import Any

from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.scales import PerSet, Scales
from humclick.diagnosis.sets import ALIKE, Search

__all__ = ["ArraySearch", "search_for"]

try:
    import numpy as _numpy

    numpy: ModuleType | None = _numpy
except ImportError:  # the phone has none
    numpy = None

#: So many values of a reading of the whole machine are laid out in a row, and no more.
_LAID_OUT = 1_000_000
#: So many parts fit into the bits of a number.
_PARTS = 62
#: A bound above this is as good as none. [-]
_MOST = 1e290


def search_for(scales: Scales) -> Search:
    """The search that suits: with numpy where it is installed and the numbers fit."""
    classes = max((len(set(whole.says.marks.values())) + 1 for whole in scales.wholes), default=0)
    laid_out = math.comb(classes + scales.most - 1, scales.most)
    fits = scales.most <= 3 and len(scales.odds) <= _PARTS and laid_out <= _LAID_OUT
    return ArraySearch(scales) if numpy is not None and fits else Search(scales)


@dataclass
class _Rows:
    """As `humclick.diagnosis.sets.Made`; a set is the numbers of its groups, then one for none."""

    weights: Any
    numbers: Any
    reached: Any
    none: int

    def _taken(self, which: Any) -> _Rows:
        return replace(self, weights=self.weights[which], numbers=self.numbers[which], reached=())

    def heaviest(self, most: int) -> _Rows:
        """The heaviest so many; of equal ones those that `Search` comes to first."""
        assert numpy is not None
        np = numpy
        least = np.partition(self.weights, -most)[-most] if len(self.weights) > most else 0.0
        which = np.flatnonzero(self.weights >= least)
        rows = np.where(self.numbers[which] < self.none, self.numbers[which], -1)
        size = (rows >= 0).sum(axis=1)
        last = rows[np.arange(len(rows)), np.maximum(size - 1, 0)]
        before = [np.where(k < size - 1, -column, -self.none) for k, column in enumerate(rows.T)]
        return self._taken(which[np.lexsort((last, *before[::-1], -self.weights[which]))][:most])

    def add(self, other: _Rows) -> None:
        assert numpy is not None
        for name in ("weights", "numbers", "reached"):
            setattr(self, name, numpy.concatenate((getattr(self, name), getattr(other, name))))

    def cut(self, ceiling: float, allowed: float) -> tuple[_Rows, float]:
        assert numpy is not None
        rising = numpy.sort(self.weights)
        held = ceiling * numpy.cumsum(rising)
        at = int(numpy.searchsorted(held, allowed, "right"))
        while 0 < at < len(rising) and rising[at - 1] > ALIKE * rising[at]:
            at -= 1
        least = rising[at] if at < len(rising) else math.inf
        return self._taken(self.weights >= least), float(held[at - 1]) if at else 0.0

    def ordered(self) -> tuple[list[tuple[int, ...]], list[float]]:
        order = (-self.weights).argsort(kind="stable")
        order = order[self.weights[order] > 0.0]
        numbers = self.numbers[order]
        sizes = (numbers < self.none).sum(axis=1).tolist()
        rows = zip(*numbers.T.tolist(), strict=True)
        return [row[:size] for row, size in zip(rows, sizes, strict=True)], self.weights[order].tolist()


class ArraySearch(Search):
    """How sets are made and weighed, many at once."""

    def __init__(self, scales: Scales) -> None:
        assert numpy is not None
        np = numpy
        super().__init__(scales)
        self._falling = -np.array(self.reach)
        self._own, self._wide = (
            np.array(rows).reshape(len(self.reach), -1) for rows in (self.ratios, self.wide)
        )
        self._bit = np.array(self.bits, dtype=np.int64)
        self._tie = self._ties_by_size()
        self._last = np.isin(np.arange(len(self.reach)), [tie[-1] for tie in self.ties])

    def _made(self, low: float, high: float) -> Any:
        assert numpy is not None
        with numpy.errstate(over="ignore"):  # a bound may be as high as it likes
            return self._laid_out(low, high)

    def _laid_out(self, low: float, high: float) -> Any:
        assert numpy is not None
        np = numpy
        most, none, base = self.scales.most, len(self.reach), np.array(self.base)
        made = []
        low = min(low, _MOST)
        if high == math.inf:
            sound = np.array([math.fsum(self._by_lead(()))])
            made.append((sound, np.full((1, most), none), sound))
        numbers, used = np.full((1, 0), none), np.zeros(1, dtype=np.int64)
        bound, row, wider = np.array([math.fsum(self.base)]), base[None, :], base[None, :]
        for size in range(1, most + 1):
            start = numbers[:, -1] + 1 if size > 1 else np.zeros(1, dtype=np.int64)
            bound = np.clip(bound, np.finfo(float).tiny, _MOST)  # what weighs nothing reaches nothing
            first = np.maximum(np.searchsorted(self._falling, -high / bound, "right"), start)
            last = np.maximum(np.searchsorted(self._falling, -low / bound, "right"), first)
            of, n = self._free(first, last, used)
            chosen = np.column_stack((numbers[of], n))
            weights = self._tied(chosen, row[of] * self._own[n]).sum(axis=1)
            filled = np.column_stack((chosen, np.full((len(n), most - size), none)))
            made.append((weights, filled, (wider[of] * self._wide[n]).sum(axis=1)))
            if size == most:
                break
            of, n = self._free(start, np.full(len(start), none), used)
            now = bound[of] * -self._falling[n]
            on = (now * np.array(self._ahead[most - size - 1])[n] >= low) & (now > 0.0)
            of, n, bound = of[on], n[on], now[on]
            numbers, used = np.column_stack((numbers[of], n)), used[of] | self._bit[n]
            row, wider = self._tied(numbers, row[of] * self._own[n]), wider[of] * self._wide[n]
        weights, filled, reached = (np.concatenate(column) for column in zip(*made, strict=True))
        return _Rows(weights, filled, reached, none)

    def _free(self, first: Any, last: Any, used: Any) -> tuple[Any, Any]:
        """Pairs of an open set and a group that may be added to it."""
        assert numpy is not None
        np = numpy
        counts = last - first
        of = np.repeat(np.arange(len(counts)), counts)
        n = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts) + first[of]
        free = (used[of] & self._bit[n]) == 0
        return of[free], n[free]

    def _ties_by_size(self) -> list[tuple[int, Any, Any]]:
        """Ties of two, of three: a number for the groups of each, ascending, and its factors. [-]"""
        assert numpy is not None
        np = numpy
        by_size: dict[int, list[tuple[int, tuple[float, ...]]]] = {}
        for groups, row in self.ties.items():
            code = reduce(lambda so_far, n: so_far * (len(self.reach) + 1) + n, groups, 0)
            by_size.setdefault(len(groups), []).append((code, row))
        tables = []
        for size, ties in sorted(by_size.items()):
            ties.sort()
            codes = np.array([code for code, _ in ties], dtype=np.int64)
            tables.append((size, codes, np.array([row for _, row in ties])))
        return tables

    def _tied(self, chosen: Any, rows: Any) -> Any:
        """Rows with the ties of the last of each set to the others."""
        assert numpy is not None
        np = numpy
        which = np.flatnonzero(self._last[chosen[:, -1]])
        others, last = chosen[which, :-1], chosen[which, -1]
        for size, codes, factors in self._tie:
            for columns in combinations(range(others.shape[1]), size - 1):
                groups = (others[:, k] for k in columns)
                code = reduce(lambda so_far, n: so_far * (len(self.reach) + 1) + n, (*groups, last))
                at = np.minimum(np.searchsorted(codes, code), len(codes) - 1)
                tied = codes[at] == code
                rows[which[tied]] *= factors[at[tied]]
        return rows

    def _asked(self, stage: int, made: Any) -> Any:
        whole = self.wholes[stage]
        before = len(whole.says.known)
        weights = made.weights * self._said(whole.says, made.numbers)
        if whole.over is not None:
            weights /= self._said(whole.over, made.numbers)
        self.count += len(whole.says.known) - before
        return replace(made, weights=weights)

    def _said(self, says: PerSet, numbers: Any) -> Any:
        """What a reading of the whole machine says of sets."""
        laid_out = says.laid_out.get(self.scales.most)
        if laid_out is None:
            laid_out = says.laid_out[self.scales.most] = _LaidOut(says, self.scales.most)
        return laid_out.of([group.fault for group in self.alike], numbers)


class _LaidOut:
    """
    What a reading of the whole machine says, in a row.

    It tells few classes of modes apart; sets of the same classes, rising, are counted off by the sum of
    binomials of each (the combinatorial number system), and stand at that place.
    """

    def __init__(self, says: PerSet, most: int) -> None:
        assert numpy is not None
        np = numpy
        self._says = says
        self._marks = list(dict.fromkeys([0, *says.marks.values()]))
        number = {mark: k for k, mark in enumerate(self._marks)}
        self._class = {fault: number[mark] for fault, mark in says.marks.items()}
        every = range(len(number))
        self._count = [np.array([math.comb(k + c, k + 1) for c in every]) for k in range(most)]
        self._row = np.full(math.comb(len(number) + most - 1, most), math.nan)

    def of(self, faults: Sequence[Fault], numbers: Any) -> Any:
        """Of sets, by the numbers of their faults; one number more is none."""
        assert numpy is not None
        np = numpy
        classes = np.sort(np.array([*map(self._class.__getitem__, faults), 0])[numbers], axis=1)
        places = sum(count[classes[:, k]] for k, count in enumerate(self._count))
        new = np.isnan(self._row[places])
        if new.any():
            unknown, at = np.unique(places[new], return_index=True)
            rows = classes[new][at].tolist()
            bits = [reduce(or_, map(self._marks.__getitem__, row)) for row in rows]
            self._row[unknown] = self._says.of_all(bits)
        return self._row[places]
