"""
Sets of modes, the likeliest first, as far as they can still matter; and a bound on all the others.

A set weighs its modes' odds times what the readings say under it. Modes of a part that no reading so far and
no remedy tells apart are held as one; sets are made in falling order of what they can weigh at most, and what
reads the whole machine is worked out for them best first, until all that is left weighs less than is allowed.
What is left is had without making it: the odds of all sets are a product over the parts, and what was made is
taken off.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from heapq import nlargest
from itertools import accumulate, combinations, compress, filterfalse, pairwise, repeat
from operator import is_not, mul, not_, or_

from humclick.diagnosis.scales import LEAST, Alike, Chosen, Row, Scales, held_as_one, reach_of, ties_of

__all__ = ["ALIKE", "Made", "Search", "WeighedSets", "weigh"]

#: Sets are made down to this part of the weight that may be left out, then further by steps. [-]
_START, _DEEPER, _DEEPEST = 3e-5, 0.3, 1e-3
#: What is never made may weigh this part of all that may be left out: where no more than one reading of the
#: whole machine is asked, and else. [-]
_UNMADE = (0.6, 0.3)
#: So many sets are asked everything first, to see what the whole weighs at least.
_FIRST = 64
#: Part of what may be left out that each reading of the whole machine but the last passes over, and where the
#: last takes longer. [-]
_SPENT = (0.4, 0.15)
#: What is left of all sets once those made are taken off is no better known than this part of all. [-]
_ROUNDING = 1e-13
#: Sets nearer than this are looked at together or not at all, whatever the last digits of sums are. [-]
ALIKE = 1.0 - 1e-9


@dataclass(frozen=True)
class WeighedSets:
    """
    The sets that matter; in tuples, which the garbage collector does not go through.

    Attributes
    ----------
    alike : tuple of Alike
        What the sets are made of.
    sets : tuple of tuple of int
        Each as indices into `alike`, the heaviest first.
    weights : tuple of float
        Weight of each, not normalised. [-]
    shapes : list of tuple of float
        Ways in which a weight is shared out over the lead nodes. [-]
    shape_of : tuple of int
        Which of these each set has.
    rest : float
        All sets not among them weigh no more; 0 where every set is. [-]
    beyond : float
        All sets of more modes than `Scales.most` would weigh no more. [-]
    evaluations : int
        How often an observation of the whole machine was worked out.
    """

    alike: tuple[Alike, ...]
    sets: tuple[tuple[int, ...], ...]
    weights: tuple[float, ...]
    shapes: list[tuple[float, ...]]
    shape_of: tuple[int, ...]
    rest: float
    beyond: float
    evaluations: int

    def split(self, n: int) -> Iterator[tuple[Chosen, float]]:
        """A set as the sets of single modes it stands for, each with its weight. [-]"""
        weight = self.weights[n]
        if all(len(self.alike[k].modes) == 1 for k in self.sets[n]):
            yield tuple(sorted([self.alike[k].fault for k in self.sets[n]])), weight
            return
        rows: list[tuple[Chosen, Row]] = [((), [weight * x for x in self.shapes[self.shape_of[n]]])]
        for k in self.sets[n]:
            group, so_far = self.alike[k], rows
            rows = []
            for chosen, row in so_far:
                for mode, share in zip(group.modes, group.shares, strict=True):
                    rows.append(((*chosen, (group.part, mode)), list(map(mul, row, share))))
        for chosen, row in rows:
            yield tuple(sorted(chosen)), math.fsum(row)


def weigh(
    scales: Scales, tolerance: float, floor: float = 0.0, search: Callable[[Scales], Search] | None = None
) -> WeighedSets:
    """
    Weigh the sets that matter.

    Parameters
    ----------
    scales : Scales
        Odds and readings.
    tolerance : float
        All sets left out weigh no more than this share of those weighed and `floor`; 0 weighs every set. [-]
    floor : float
        Weight of what is none of the sets. [-]
    search : callable, optional
        How sets are made: `Search`, or with numpy (`humclick.diagnosis.sets_arrays`); they find the same.

    Returns
    -------
    WeighedSets
    """
    return (search or Search)(scales).weighed(tolerance, floor)


#: A set is written as one number: its groups, from 1 and rising, this many bits for each.
_BITS = 12


@dataclass(slots=True)
class Made:
    """
    Sets in columns, so that none is an object of its own.

    Attributes
    ----------
    weights : list of float
        What each weighs by all that was asked so far. [-]
    marks : list of int
        What all readings of the whole machine see of it, side by side.
    codes : list of int
        The set itself.
    reached : list of float
        The most each could weigh. [-]
    """

    weights: list[float]
    marks: list[int]
    codes: list[int]
    reached: list[float]

    def taken(self, which: Sequence[int]) -> Made:
        """Some of them."""
        weights, marks, codes = self.weights, self.marks, self.codes
        return Made([weights[i] for i in which], [marks[i] for i in which], [codes[i] for i in which], [])

    def heaviest(self, most: int) -> Made:
        """The heaviest so many."""
        return self.taken(nlargest(most, range(len(self.weights)), self.weights.__getitem__))

    def add(self, other: Made) -> None:
        """More of them."""
        self.weights += other.weights
        self.marks += other.marks
        self.codes += other.codes
        self.reached += other.reached

    def cut(self, ceiling: float, allowed: float) -> tuple[Made, float]:
        """The heaviest, and the most that the others weigh together: no more than is allowed."""
        rising = sorted(self.weights)
        held = [ceiling * below for below in accumulate(rising)]
        at = bisect_right(held, allowed)
        while 0 < at < len(rising) and rising[at - 1] > ALIKE * rising[at]:
            at -= 1
        if at == len(rising):
            return self.taken(()), held[-1] if held else 0.0
        least = rising[at]
        which = [i for i, weight in enumerate(self.weights) if weight >= least]
        return self.taken(which), held[at - 1] if at else 0.0

    def ordered(self) -> tuple[list[tuple[int, ...]], list[float]]:
        """Sets and weights, the heaviest first, those that weigh nothing left out."""
        order = sorted(range(len(self.weights)), key=self.weights.__getitem__, reverse=True)
        sets = _sets([self.codes[i] for i in order if self.weights[i] > 0.0])
        return sets, [self.weights[i] for i in order[: len(sets)]]


#: A set to which groups may be added: its groups rising, its parts in bits, what all readings of the whole
#: machine see of it, its number, the most it can weigh, its weight by lead, the most of that.
_Open = tuple[tuple[int, ...], int, int, int, float, Row, Row]


class Search:
    """How sets are made and weighed, in plain Python."""

    def __init__(self, scales: Scales) -> None:
        self.scales = scales
        self.wholes = sorted(scales.wholes, key=lambda whole: (whole.effort, whole.most))
        fields = list(
            accumulate([max(w.says.marks.values(), default=0).bit_length() for w in self.wholes], initial=0)
        )
        self.fields = [(low, (1 << high - low) - 1) for low, high in pairwise(fields)]
        ceilings = [min(1.0, whole.most) for whole in self.wholes]
        self.ceilings = [math.prod(ceilings[k:]) for k in range(len(ceilings) + 1)]
        self.base = list(scales.leads)
        for table in scales.tables:
            sound = table.rows[(0,) * len(table.scope)]
            self.base = list(map(mul, self.base, map(max, sound, repeat(LEAST))))
        groups = held_as_one(scales)
        ties = ties_of(scales, groups)
        reach = reach_of(groups, ties)
        order = sorted(range(len(groups)), key=list(map(max, reach)).__getitem__, reverse=True)
        rank = {n: k for k, n in enumerate(order)}
        self.alike = tuple(map(groups.__getitem__, order))
        self.ratios = [group.ratios for group in self.alike]
        self.wide = [reach[n] for n in order]
        self.reach = [max(row) for row in self.wide]
        self.bits = [1 << group.part for group in self.alike]
        self.ties = {tuple(sorted(map(rank.__getitem__, chosen))): row for chosen, row in ties.items()}
        self.partners = [0] * len(self.alike)  # bits of parts each has a tie with
        for chosen in self.ties:
            parts = reduce(or_, map(self.bits.__getitem__, chosen))
            for n in chosen:
                self.partners[n] |= parts ^ self.bits[n]
        self.tied = reduce(or_, self.partners, 0)
        self.loose = any(map(is_not, self.wide, self.ratios))
        self.single = [row[0] for row in self.ratios]
        marks = [(whole.says.marks, low) for whole, (low, _) in zip(self.wholes, self.fields, strict=True)]
        self.marks = [0] * len(self.alike)
        for of, low in marks:
            for n, group in enumerate(self.alike):
                self.marks[n] |= of[group.fault] << low
        self.count = 0

    # -- sets ---------------------------------------------------------------------------------------------

    def _tied_row(self, chosen: tuple[int, ...], row: Row) -> Row:
        """A row with the ties of the last of a set to the others."""
        n = chosen[-1]
        for size in range(1, len(chosen)):
            for others in combinations(chosen[:-1], size):
                tie = self.ties.get((*others, n))
                if tie is not None:
                    row = list(map(mul, row, tie))
        return row

    def _by_lead(self, chosen: tuple[int, ...]) -> Row:
        """Weight of a set by lead, what reads the whole machine left out."""
        if not chosen:
            return [w * self.scales.sound for w in self.base]
        row: Row = self.base
        for k, n in enumerate(chosen):
            row = self._tied_row(chosen[: k + 1], list(map(mul, row, self.ratios[n])))
        return row

    def _all(self) -> tuple[float, float]:
        """The most all sets together can weigh: those of as many modes as are weighed, and those beyond."""
        most = self.scales.most
        within = beyond = 0.0
        for g, base in enumerate(self.base):
            of_part = [0.0] * len(self.scales.odds)
            for group, wide in zip(self.alike, self.wide, strict=True):
                of_part[group.part] += wide[g]
            sums = [1.0] + [0.0] * (most + 1)  # by number of modes; the last one holds all beyond
            for x in of_part:
                sums[-1] += x * (sums[-1] + sums[-2])
                for k in range(most, 0, -1):
                    sums[k] += x * sums[k - 1]
            within += base * (self.scales.sound + math.fsum(sums[1:-1]))
            beyond += base * sums[-1]
        return within, beyond

    @cached_property
    def _ahead(self) -> list[list[float]]:
        """The most that one, up to two ... groups after each can multiply by. [-]"""
        ahead = [[*self.reach[1:], 0.0]]
        for _ in range(2, self.scales.most):
            ahead.append([x * max(1.0, y) for x, y in zip(ahead[0], (*ahead[-1][1:], 0.0), strict=True)])
        return ahead

    def _made(self, low: float, high: float) -> Made:
        """
        Sets that can weigh at least `low` but not `high`.

        What reads the whole machine is left out. Groups are added in falling order of their reach, so that
        nothing further needs to be looked at once a set cannot reach `low` with all that may still be added.
        """
        reach, bits, marks = self.reach, self.bits, self.marks
        most, falling = self.scales.most, [-x for x in reach]
        made = Made([], [], [], [])
        if high == math.inf:
            sound = math.fsum(self._by_lead(()))
            made = Made([sound], [0], [0], [sound])
        open_: list[_Open] = [((), 0, 0, 0, math.fsum(self.base), self.base, self.base)]
        while open_:
            chosen, used, view, code, bound, row, wider = open_.pop()
            start = chosen[-1] + 1 if chosen else 0
            first = bisect_right(falling, -high / bound, start)
            last = bisect_right(falling, -low / bound, first)
            free = map(not_, map(used.__and__, bits[first:last]))
            more = list(compress(range(first, last), free))
            code <<= _BITS
            if more:
                made.marks += map(view.__or__, map(marks.__getitem__, more))
                made.codes += map((code + 1).__add__, more)
                self._weigh(made, chosen, used, row, wider, more)
            if len(chosen) + 1 >= most:
                continue
            further = self._ahead[most - len(chosen) - 2]
            for n in range(start, len(reach)):
                now = bound * reach[n]
                if now * further[n] < low or now <= 0.0:
                    break
                if not used & bits[n]:
                    numbers = (*chosen, n)
                    scaled = list(map(mul, row, self.ratios[n]))
                    tied = self._tied_row(numbers, scaled) if used & self.partners[n] else scaled
                    same = wider is row and self.wide[n] is self.ratios[n]
                    loose = scaled if same else list(map(mul, wider, self.wide[n]))
                    marked, number = view | marks[n], code | n + 1
                    open_.append((numbers, used | bits[n], marked, number, now, tied, loose))
        return made

    def _weigh(
        self, made: Made, chosen: tuple[int, ...], used: int, row: Row, wider: Row, more: Sequence[int]
    ) -> None:
        """Weights of a set with one group more, for each that may be added."""
        ratios, wide = self.ratios, self.wide
        if len(row) == 1:
            weights = list(map(row[0].__mul__, map(self.single.__getitem__, more)))
        else:
            weights = [sum(map(mul, row, ratios[n])) for n in more]
        if wider is row and not self.loose:
            made.reached += weights
        elif len(row) == 1:
            made.reached += map(wider[0].__mul__, map(self.reach.__getitem__, more))
        else:
            made.reached += [sum(map(mul, wider, wide[n])) for n in more]
        if used & self.tied:
            for i, n in enumerate(more):
                if used & self.partners[n]:
                    weights[i] = sum(self._tied_row((*chosen, n), list(map(mul, row, ratios[n]))))
        made.weights += weights

    # -- what reads the whole machine ---------------------------------------------------------------------

    def _asked(self, stage: int, made: Made) -> Made:
        """Sets with what a reading of the whole machine says of each."""
        whole, (low, field) = self.wholes[stage], self.fields[stage]
        views = [marks >> low & field for marks in made.marks]
        before = len(whole.says.known)
        values = whole.of_all(views)
        self.count += len(whole.says.known) - before
        return Made(list(map(mul, made.weights, values)), made.marks, made.codes, [])

    def weighed(self, tolerance: float, floor: float) -> WeighedSets:
        """The sets that matter, best first."""
        tolerance /= 1.0 + tolerance  # a share of those weighed, as a share of all
        within, beyond = self._all()
        ceiling, stages = self.ceilings[0], range(len(self.wholes))
        low, high = _START * tolerance * within, math.inf
        made = self._made(low, high)
        first = made.heaviest(_FIRST)
        for stage in stages:
            first = self._asked(stage, first)
        least = floor + math.fsum(first.weights)  # the whole weighs no less
        while True:
            left = max(within - math.fsum(made.reached), 0.0)
            unmade = ceiling * (left + _ROUNDING * within) if low else 0.0
            allowed = _UNMADE[len(stages) > 1] * tolerance * least
            if unmade <= allowed:
                break
            deeper = min(_DEEPER, max(allowed / unmade, _DEEPEST))
            low, high = low * deeper if low > LEAST * within else 0.0, low
            made.add(self._made(low, high))
        rest = unmade
        for stage in stages:
            dear = self.wholes[-1].effort > 0
            share = 1.0 if stage == stages[-1] else _SPENT[dear]
            kept, passed = made.cut(self.ceilings[stage], (tolerance * least - rest) * share)
            rest += passed
            made = self._asked(stage, kept)
        sets, weights = made.ordered()
        shapes, shape_of = self._shapes(sets)
        told = tuple(sets), tuple(weights), shapes, tuple(shape_of)
        return WeighedSets(self.alike, *told, rest, beyond * ceiling, self.count)

    def _shapes(self, sets: Sequence[tuple[int, ...]]) -> tuple[list[tuple[float, ...]], list[int]]:
        """How the weights of sets are shared out over the leads, and which of these each set has."""
        if len(self.base) == 1:
            return [(1.0,)], [0] * len(sets)
        varied = {n for n, ratios in enumerate(self.ratios) if len(set(ratios)) > 1}
        varied.update(*(chosen for chosen, tie in self.ties.items() if len(set(tie)) > 1))
        number: dict[tuple[int, ...], int] = {}
        fixed = [n not in varied for n in range(len(self.alike))].__getitem__
        shape_of = [number.setdefault(tuple(filterfalse(fixed, chosen)), len(number)) for chosen in sets]
        alike = dict(zip(reversed(shape_of), reversed(sets), strict=True))  # the likeliest of each shape
        rows = [self._by_lead(alike[shape]) for shape in range(len(number))]
        return [tuple([x / total for x in row]) for row in rows for total in [sum(row)]], shape_of


def _sets(codes: Sequence[int]) -> list[tuple[int, ...]]:
    """Sets from their numbers."""
    sets: list[tuple[int, ...]] = []
    mask, twice = (1 << _BITS) - 1, 2 * _BITS
    for code in codes:
        last, before, rest = code & mask, code >> _BITS & mask, code >> twice
        if rest > mask:
            sets.append((*_sets([rest])[0], before - 1, last - 1))
        elif rest:
            sets.append((rest - 1, before - 1, last - 1))
        elif before:
            sets.append((before - 1, last - 1))
        else:
            sets.append((last - 1,) if last else ())
    return sets
