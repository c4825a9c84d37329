"""
Hypotheses in a row, and which modes of some parts each of them has.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce
from operator import or_

from humclick.diagnosis.hypotheses import Fault

__all__ = ["Cases", "Config"]

#: A mode of each part of a scope, by its index. [-]
Config = tuple[int, ...]


class Cases:
    """
    Any sets of modes in a row.

    Parameters
    ----------
    sets : sequence of set
        Each a tuple of (part index, mode index); what is not named is healthy.
    parts : int
        How many parts the machine has. [-]
    """

    def __init__(self, sets: Sequence[tuple[Fault, ...]], parts: int) -> None:
        self.sets = sets
        self._parts = parts
        self._columns: list[bytearray] = []
        self._index: dict[tuple[int, ...], tuple[list[Config], list[int]]] = {}

    def index(self, scope: tuple[int, ...]) -> tuple[list[Config], list[int]]:
        """Distinct mode configurations of some parts, in order of appearance, and which one each set has."""
        if scope not in self._index:
            columns = [self._modes()[part] for part in scope]
            configs = list(zip(*columns, strict=True)) if scope else [()] * len(self.sets)
            number = {config: k for k, config in enumerate(dict.fromkeys(configs))}
            self._index[scope] = (list(number), [number[config] for config in configs])
        return self._index[scope]

    def seen(self, marks: Mapping[Fault, int]) -> list[int]:
        """What a reading of the whole machine sees of each set, in bits, from what it sees of each mode."""
        of = marks.__getitem__
        return [reduce(or_, map(of, chosen), 0) for chosen in self.sets]

    def _modes(self) -> list[bytearray]:
        """Mode of each part in each set."""
        if not self._columns:
            self._columns = [bytearray(len(self.sets)) for _ in range(self._parts)]
            for h, chosen in enumerate(self.sets):
                for part, mode in chosen:
                    self._columns[part][h] = mode
        return self._columns
