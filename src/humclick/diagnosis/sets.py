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
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from operator import mul

from humclick.diagnosis.scales import LEAST, Alike, Chosen, Row, Scales, held_as_one, reach_of, ties_of

__all__ = ["Weighed", "weigh"]

#: Sets are made down to this part of the weight that may be left out, then further by steps. [-]
_START, _DEEPER, _DEEPEST = 3e-5, 0.3, 1e-3
#: What is never made may weigh this part of all that may be left out: where no more than one reading of the
#: whole machine is asked, and else. [-]
_UNMADE = (0.6, 0.2)
#: So many sets are asked everything first, to see what the whole weighs at least.
_FIRST = 64
#: Part of what may be left out that one reading of the whole machine passes over, and the last one. [-]
_SPENT = (0.1, 1.0)
#: What is left of all sets once those made are taken off is no better known than this part of all. [-]
_ROUNDING = 1e-13
#: Sets nearer than this are looked at together or not at all, whatever the last digits of sums are. [-]
_ALIKE = 1.0 - 1e-9


@dataclass(frozen=True)
class Weighed:
    """
    The sets that matter.

    Attributes
    ----------
    alike : tuple of Alike
        What the sets are made of.
    sets : list of tuple of int
        Each as indices into `alike`, the heaviest first.
    by_lead : list of tuple of float
        Weight of each by lead node, not normalised. [-]
    rest : float
        All sets not among them weigh no more; 0 where every set is. [-]
    beyond : float
        All sets of more modes than `Scales.most` would weigh no more. [-]
    asked : int
        How often an observation of the whole machine was worked out.
    """

    alike: tuple[Alike, ...]
    sets: list[tuple[int, ...]]
    by_lead: list[tuple[float, ...]]
    rest: float
    beyond: float
    asked: int

    @cached_property
    def weights(self) -> list[float]:
        """Weight of each set, not normalised. [-]"""
        return [math.fsum(row) for row in self.by_lead]

    def split(self, n: int) -> Iterator[tuple[Chosen, float]]:
        """A set as the sets of single modes it stands for, each with its weight. [-]"""
        rows: list[tuple[Chosen, tuple[float, ...]]] = [((), self.by_lead[n])]
        for k in self.sets[n]:
            group = self.alike[k]
            rows = [
                ((*chosen, (group.part, mode)), tuple(w * s for w, s in zip(row, share, strict=True)))
                for chosen, row in rows
                for mode, share in zip(group.modes, group.shares, strict=True)
            ]
        return ((tuple(sorted(chosen)), math.fsum(row)) for chosen, row in rows)


def weigh(scales: Scales, tolerance: float, floor: float = 0.0) -> Weighed:
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

    Returns
    -------
    Weighed
    """
    return _Search(scales).weighed(tolerance, floor)


class _Search:
    def __init__(self, scales: Scales) -> None:
        self.scales = scales
        self.wholes = sorted(scales.wholes, key=lambda whole: (whole.effort, -whole.most))
        ceilings = [min(1.0, whole.most) for whole in self.wholes]
        self.ceilings = [math.prod(ceilings[k:]) for k in range(len(ceilings) + 1)]
        self.base = [
            w * math.prod(max(t.rows[(0,) * len(t.scope)][g], LEAST) for t in scales.tables)
            for g, w in enumerate(scales.leads)
        ]
        groups = held_as_one(scales)
        ties = ties_of(scales, groups)
        reach = reach_of(groups, ties)
        order = sorted(range(len(groups)), key=lambda n: -max(reach[n]))
        rank = {n: k for k, n in enumerate(order)}
        self.alike = tuple(groups[n] for n in order)
        self.ratios = [group.ratios for group in self.alike]
        self.wide = [reach[n] for n in order]
        self.reach = [max(row) for row in self.wide]
        self.bits = [1 << group.part for group in self.alike]
        self.ties = {tuple(sorted(rank[n] for n in chosen)): row for chosen, row in ties.items()}
        self.partners = [0] * len(self.alike)  # bits of parts each has a tie with
        for chosen in self.ties:
            for n in chosen:
                self.partners[n] |= sum(self.bits[k] for k in chosen if k != n)
        self.faults = [group.fault for group in self.alike]
        self.seen = [[(w.sees or scales.apart)(fault) for fault in self.faults] for w in self.wholes]
        self.asked = [whole.kept for whole in self.wholes]
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
        """The most that no, one, two ... groups after each can multiply by. [-]"""
        found = [[1.0] * len(self.reach)]
        for _ in range(1, self.scales.most):
            after = zip((*self.reach[1:], 1.0), (*found[-1][1:], 1.0), strict=True)
            found.append([max(1.0, x) * y for x, y in after])
        return found

    def _made(self, low: float, high: float) -> tuple[list[tuple[float, tuple[int, ...]]], float]:
        """
        Sets that can weigh at least `low` but not `high`, each with its weight; and the most they can weigh.

        What reads the whole machine is left out. Groups are added in falling order of their reach, so that
        nothing further needs to be looked at once a set cannot reach `low` with all that may still be added.
        """
        reach, ratios, wide, bits, partners = self.reach, self.ratios, self.wide, self.bits, self.partners
        most, falling = self.scales.most, [-x for x in reach]
        found: list[tuple[float, tuple[int, ...]]] = []
        reached: list[float] = []

        def grow(start: int, chosen: tuple[int, ...], used: int, bound: float, row: Row, wider: Row) -> None:
            plain = wider is row
            first = bisect_right(falling, -high / bound, start)
            for n in range(first, bisect_right(falling, -low / bound, first)):
                if used & bits[n]:
                    continue
                own = list(map(mul, row, ratios[n]))
                weight = sum(own)
                reached.append(
                    weight if plain and wide[n] is ratios[n] else sum(map(mul, wider, wide[n]))
                )  # fmt: skip
                numbers = (*chosen, n)
                if used & partners[n]:
                    weight = sum(self._tied_row(numbers, own))
                found.append((weight, numbers))
            if len(chosen) + 1 == most:
                return
            further = self._ahead[most - len(chosen) - 1]
            for n in range(start, len(reach)):
                now = bound * reach[n]
                if now * further[n] < low:
                    return
                if now > 0.0 and not used & bits[n]:
                    numbers = (*chosen, n)
                    own = list(map(mul, row, ratios[n]))
                    loose = own if plain and wide[n] is ratios[n] else list(map(mul, wider, wide[n]))
                    tied = self._tied_row(numbers, own) if used & partners[n] else own
                    grow(n + 1, numbers, used | bits[n], now, tied, loose)

        if high == math.inf:
            sound = math.fsum(self._by_lead(()))
            found.append((sound, ()))
            reached.append(sound)
        grow(0, (), 0, math.fsum(self.base), self.base, self.base)
        return found, math.fsum(reached)

    # -- what reads the whole machine ---------------------------------------------------------------------

    def _ask(self, stage: int, chosen: tuple[int, ...]) -> float:
        seen, kept = self.seen[stage], self.asked[stage]
        key = tuple([seen[n] for n in chosen if seen[n] is not None])
        value = kept.get(key)
        if value is None:
            self.count += 1
            value = self.wholes[stage].value(tuple(sorted([self.faults[n] for n in chosen])))
            kept[key] = value
        return value

    def weighed(self, tolerance: float, floor: float) -> Weighed:
        """The sets that matter, best first."""
        within, beyond = self._all()
        ceiling, stages = self.ceilings[0], range(len(self.wholes))
        low, high = _START * tolerance * within, math.inf
        made, reached = self._made(low, high)
        made.sort(reverse=True)
        least = floor  # the whole weighs no less
        for weight, chosen in made[:_FIRST]:
            least += weight * math.prod(self._ask(stage, chosen) for stage in stages)
        while True:
            unmade = ceiling * (max(within - reached, 0.0) + _ROUNDING * within) if low else 0.0
            allowed = _UNMADE[len(stages) > 1] * tolerance * least
            if unmade <= allowed:
                break
            deeper = min(_DEEPER, max(allowed / unmade, _DEEPEST))
            low, high = low * deeper if low > LEAST * within else 0.0, low
            more, further = self._made(low, high)
            reached += further
            made.extend(more)
        made.sort(reverse=True)
        rest = unmade
        live = [(weight, weight, chosen) for weight, chosen in made if weight > 0.0]
        for stage in stages:
            allowed = (tolerance * least - rest) * _SPENT[stage == stages[-1]]
            live, passed = _cut(live, self.ceilings[stage], allowed)
            rest += passed
            live = [(now * self._ask(stage, chosen), weight, chosen) for now, weight, chosen in live]
            live.sort(reverse=True)
        sets = [chosen for _, _, chosen in live]
        by_lead = [tuple([w * now / weight for w in self._by_lead(s)]) for now, weight, s in live]
        return Weighed(self.alike, sets, by_lead, rest, beyond * ceiling, self.count)


def _cut(
    live: list[tuple[float, float, tuple[int, ...]]], ceiling: float, allowed: float
) -> tuple[list[tuple[float, float, tuple[int, ...]]], float]:
    """The heaviest sets, and the most that the others weigh together: no more than is allowed."""
    passed, end = 0.0, len(live)
    while end and passed + live[end - 1][0] * ceiling <= allowed:
        end -= 1
        passed += live[end][0] * ceiling
    while 0 < end < len(live) and live[end][0] > _ALIKE * live[end - 1][0]:
        passed -= live[end][0] * ceiling
        end += 1
    return live[:end], max(passed, 0.0) if end < len(live) else 0.0
