"""
What sets of modes are weighed by, and the modes that none of it tells apart held as one.

A set weighs its modes' odds times what the readings say under it. What a table gives a mode alone belongs to
the mode; what it gives several together beyond that is a tie of theirs, and so is a common cause.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product, repeat
from operator import getitem, mul, truediv
from typing import Any

from humclick.diagnosis.hypotheses import Fault

__all__ = [
    "LEAST",
    "Alike",
    "Chosen",
    "PerSet",
    "Row",
    "Scales",
    "Table",
    "Whole",
    "bits_of",
    "held_as_one",
    "marks_of",
    "reach_of",
    "ties_of",
]

#: Modes of parts that differ, by part.
Chosen = tuple[Fault, ...]
#: A weight or a factor by lead node. [-]
Row = Sequence[float]
#: Ties of groups by their indices: a factor by lead node. [-]
Ties = Mapping[tuple[int, ...], tuple[float, ...]]

#: Nothing is weighed against less than this. [-]
LEAST = 1e-100


@dataclass(frozen=True)
class Table:
    """
    What some observations say, by the modes of a few parts.

    Attributes
    ----------
    scope : tuple of int
        Parts.
    rows : mapping of configuration to tuple of float
        Probability by lead node, for each configuration with no more modes than a set may have. [-]
    """

    scope: tuple[int, ...]
    rows: Mapping[tuple[int, ...], Sequence[float]]


@dataclass(frozen=True)
class PerSet:
    """
    What an observation of the whole machine says, by what it can see of a set.

    What it sees of a mode are bits, and of a set the bits of all its modes: sets of which it sees the same it
    gives the same, worked out once. A mode that hides all others has every bit.

    Attributes
    ----------
    marks : mapping of fault to int
        Bits seen of each mode; 0 where nothing is.
    of_marks : callable
        Probabilities under sets, by the bits of each. [-]
    known : dict
        What was given already, by bits. [-]
    laid_out : dict
        The same as a search keeps it, by the number of modes in a set.
    """

    marks: Mapping[Fault, int]
    of_marks: Callable[[Sequence[int]], Iterable[float]]
    known: dict[int, float] = field(default_factory=dict, compare=False, repr=False)
    laid_out: dict[int, Any] = field(default_factory=dict, compare=False, repr=False)

    def __call__(self, chosen: Chosen) -> float:
        """Probability under a set of modes. [-]"""
        bits = 0
        for fault in chosen:
            bits |= self.marks[fault]
        return self.of(bits)

    def of(self, bits: int) -> float:
        """Probability under a set, by the bits of its modes. [-]"""
        return self.of_all([bits])[0]

    def of_all(self, bits: Sequence[int]) -> list[float]:
        """Probabilities under sets, by the bits of each. [-]"""
        new = list(set(bits).difference(self.known))
        if new:
            self.known.update(zip(new, self.of_marks(new), strict=True))
        return list(map(self.known.__getitem__, bits))


def bits_of(number: int) -> tuple[int, ...]:
    """Places of the bits set in a number, the lowest first."""
    places = []
    while number:
        lowest = number & -number
        places.append(lowest.bit_length() - 1)
        number ^= lowest
    return tuple(places)


def marks_of(classes: Mapping[Fault, Hashable]) -> tuple[dict[Fault, int], list[Fault]]:
    """
    A bit for each class of modes, and a mode of the class of each bit.

    Parameters
    ----------
    classes : mapping of fault to class
        Modes of one part that are seen as the same; None is not seen at all.
    """
    first: dict[Hashable, Fault] = {}
    for fault, name in classes.items():
        if name is not None:
            first.setdefault(name, fault)
    bit = {name: 1 << k for k, name in enumerate(first)}
    return {fault: bit.get(name, 0) for fault, name in classes.items()}, list(first.values())


@dataclass(frozen=True)
class Whole:
    """
    An observation of the whole machine, as sets are weighed by it.

    Attributes
    ----------
    says : PerSet
        Probability under a set. [-]
    most : float
        No set gives more. [-]
    effort : int
        How long it takes to work out beside others.
    over : PerSet or None
        What was counted already is taken off; it sees the same.
    """

    says: PerSet
    most: float = 1.0
    effort: int = 0
    over: PerSet | None = None

    def of_all(self, bits: Sequence[int]) -> list[float]:
        """What sets are multiplied by, by the bits of each. [-]"""
        values = self.says.of_all(bits)
        return values if self.over is None else list(map(truediv, values, self.over.of_all(bits)))


@dataclass(frozen=True)
class Scales:
    """
    Everything a set is weighed by.

    Attributes
    ----------
    odds : sequence of sequence of float
        Prior odds ``[part][mode]``, healthy first and 1. [-]
    joint : mapping of (fault, fault) to float
        Factor on the odds of pairs with a common cause, the lower part first. [-]
    sound : float
        Prior weight of nothing wrong. [-]
    most : int
        Largest number of parts not healthy.
    leads : sequence of float
        Weight of each lead node; the nodes are summed out. [-]
    tables, wholes : sequence of Table, sequence of Whole
        The readings.
    kind : callable
        A number for each mode: nothing but its odds and the readings tells modes of one number apart.
    """

    odds: Sequence[Sequence[float]]
    joint: Mapping[tuple[Fault, Fault], float]
    sound: float
    most: int
    leads: Sequence[float]
    tables: Sequence[Table]
    wholes: Sequence[Whole]
    kind: Callable[[Fault], int]


@dataclass(frozen=True, slots=True)
class Alike:
    """
    Modes of a part that nothing so far tells apart, as one.

    Attributes
    ----------
    fault : fault
        The likeliest of them, which stands for all.
    part : int
        The part.
    modes : tuple of int
        Its modes, the likeliest first.
    ratios : tuple of float
        Together, over the healthy part, by lead node. [-]
    shares : tuple of tuple of float
        Share of each mode in them, by lead node. [-]
    """

    fault: Fault
    part: int
    modes: tuple[int, ...]
    ratios: tuple[float, ...]
    shares: tuple[tuple[float, ...], ...]


def held_as_one(scales: Scales) -> list[Alike]:
    """All modes not healthy, by part, those that nothing tells apart as one."""
    paired: dict[Fault, list[tuple[Fault, float]]] = {}
    for (a, b), factor in scales.joint.items():
        paired.setdefault(a, []).append((b, factor))
        paired.setdefault(b, []).append((a, factor))
    alike: list[Alike] = []
    tied = _tied(scales)
    marks = [whole.says.marks for whole in scales.wholes]
    for part, odds in enumerate(scales.odds):
        alone = [table.rows for table in scales.tables if table.scope == (part,)]
        sound = [_clipped(rows[(0,)]) for rows in alone]
        others = [(table, table.scope.index(part)) for table in tied if part in table.scope]
        columns = [_columns(table, at) for table, at in others]
        groups: dict[Hashable, list[tuple[int, Row]]] = {}
        for mode in range(1, len(odds)):
            ratios: Row = [odds[mode]] * len(scales.leads)
            for rows, healthy in zip(alone, sound, strict=True):
                ratios = list(map(mul, ratios, map(truediv, rows[(mode,)], healthy)))
            for table, at in others:
                ratios = list(map(mul, ratios, _main(table, at, mode)))
            fault = (part, mode)
            bits = tuple(map(getitem, marks, repeat(fault)))
            ties = tuple(map(getitem, columns, repeat(mode)))
            key = scales.kind(fault), bits, ties, tuple(sorted(paired.get(fault, ())))
            groups.setdefault(key, []).append((mode, ratios))
        for members in groups.values():
            alike.append(_alike(part, members))
    return alike


def ties_of(scales: Scales, groups: Sequence[Alike]) -> dict[tuple[int, ...], tuple[float, ...]]:
    """Factors on pairs, and on larger sets within one table, beyond their modes alone, by lead node. [-]"""
    of_part: dict[int, list[int]] = {}
    for n, group in enumerate(groups):
        of_part.setdefault(group.part, []).append(n)
    ties: dict[tuple[int, ...], list[float]] = {}
    for table in _tied(scales):
        sizes = range(2, min(len(table.scope), scales.most) + 1)
        for together in (c for size in sizes for c in combinations(sorted(table.scope), size)):
            for chosen in product(*(of_part.get(part, ()) for part in together)):
                row = _tie(table, [groups[n].fault for n in chosen], len(scales.leads))
                ties[chosen] = list(map(mul, ties.get(chosen, [1.0] * len(row)), row))
    number = {group.fault: n for n, group in enumerate(groups)}  # its others have the same partners
    for (a, b), factor in scales.joint.items():
        if a in number and b in number:
            pair = (number[a], number[b])
            ties[pair] = [x * factor for x in ties.get(pair, [1.0] * len(scales.leads))]
    return {chosen: tuple(row) for chosen, row in ties.items() if any(x != 1.0 for x in row)}


def _tie(table: Table, chosen: Sequence[Fault], leads: int) -> list[float]:
    """What a table gives a set over what it gives all smaller sets within it."""
    row = [1.0] * leads
    for size in range(len(chosen), -1, -1):
        for part in combinations(chosen, size):
            modes = dict(part)
            values = table.rows[tuple(modes.get(p, 0) for p in table.scope)]
            for g in range(leads):
                x = max(values[g], LEAST)
                row[g] = row[g] / x if (len(chosen) - size) % 2 else row[g] * x
    return row


def reach_of(groups: Sequence[Alike], ties: Ties) -> list[tuple[float, ...]]:
    """The most each group can multiply a set by, by lead: a tie is laid to its last part. [-]"""
    most: dict[int, dict[tuple[int, ...], list[float]]] = {}
    for chosen, row in ties.items():
        others = tuple(groups[n].part for n in chosen[:-1])
        highest = most.setdefault(chosen[-1], {}).setdefault(others, [1.0] * len(row))
        most[chosen[-1]][others] = list(map(max, highest, row))
    reach = []
    for n, group in enumerate(groups):
        ratios = group.ratios
        for times in most.get(n, {}).values():
            ratios = tuple(map(mul, ratios, times))
        reach.append(ratios)
    return reach


def _tied(scales: Scales) -> list[Table]:
    return [table for table in scales.tables if len(table.scope) > 1]


def _alike(part: int, rows: list[tuple[int, Row]]) -> Alike:
    """Modes of a part with their ratios as one, the likeliest first."""
    if len(rows) == 1:
        mode, ratios = rows[0]
        return Alike((part, mode), part, (mode,), tuple(ratios), ((1.0,) * len(ratios),))
    rows.sort(key=lambda row: -max(row[1]))
    sums = tuple(math.fsum(column) for column in zip(*(ratios for _, ratios in rows), strict=True))
    shares = tuple(
        tuple(x / total if total else 1.0 / len(rows) for x, total in zip(ratios, sums, strict=True))
        for _, ratios in rows
    )
    modes = tuple(mode for mode, _ in rows)
    return Alike((part, modes[0]), part, modes, sums, shares)


def _columns(table: Table, at: int) -> dict[int, tuple[Hashable, ...]]:
    """What a table gives each mode of a part whatever the other parts, in one order for all modes."""
    columns: dict[int, list[Hashable]] = {}
    for config in sorted(table.rows, key=lambda c: (*c[:at], *c[at + 1 :])):
        columns.setdefault(config[at], []).append(
            ((*config[:at], *config[at + 1 :]), tuple(table.rows[config]))
        )
    return {mode: tuple(rows) for mode, rows in columns.items()}


def _main(table: Table, at: int, mode: int) -> Iterator[float]:
    """What a table gives a mode alone, over a machine in order, by lead. [-]"""
    sound = (0,) * len(table.scope)
    alone = (*sound[:at], mode, *sound[at + 1 :])
    return map(truediv, _clipped(table.rows[alone]), _clipped(table.rows[sound]))


def _clipped(row: Row) -> Row:
    """A row to divide by."""
    return list(map(max, row, repeat(LEAST)))
