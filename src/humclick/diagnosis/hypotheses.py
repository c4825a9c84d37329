"""
What may be wrong: sets of modes with at most three parts not healthy, and their prior weights.

A hypothesis is a tuple of (part index, mode index), mode 0 being healthy. The prior weight of a set is the
product of its modes' odds, times a factor for each pair with a common cause. One more hypothesis stands for
everything the model does not know.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from humclick.arrangements.machine import Machine
from humclick.diagnosis.shop import Shop
from humclick.parts.family import Mode

__all__ = ["MOST_FAULTS", "Fault", "Hypotheses"]

#: Largest number of parts that may be not healthy at once.
MOST_FAULTS = 3

Fault = tuple[int, int]

_WAIT = frozenset({"wait"})


@dataclass(frozen=True)
class Hypotheses:
    """
    All sets of modes of a machine up to a number of faults.

    Attributes
    ----------
    machine : Machine
        The machine.
    shop : Shop
        Odds and common causes.
    most : int
        Largest number of parts not healthy. [-]
    """

    machine: Machine
    shop: Shop
    most: int = MOST_FAULTS

    @cached_property
    def parts(self) -> tuple[str, ...]:
        """Part ids, in the machine's order."""
        return tuple(p.id for p in self.machine.parts)

    @cached_property
    def modes(self) -> tuple[tuple[Mode, ...], ...]:
        """Modes of each part, healthy first."""
        return tuple(tuple(p.family.modes.values()) for p in self.machine.parts)

    @cached_property
    def odds(self) -> tuple[tuple[float, ...], ...]:
        """Prior odds of each mode of each part; healthy is 1."""
        return tuple(
            tuple(
                1.0 if k == 0 else self.shop.odds.get(f"{part}.{mode.name}", mode.odds)
                for k, mode in enumerate(modes)
            )
            for part, modes in zip(self.parts, self.modes, strict=True)
        )

    @cached_property
    def joint(self) -> Mapping[tuple[Fault, Fault], float]:
        """Factor on the odds of a pair of modes with a common cause."""
        factors = {}
        index = {part: i for i, part in enumerate(self.parts)}
        for pair, factor in self.shop.joint.items():
            if all(part in index for part, _ in pair):
                faults = sorted(
                    (index[part], [m.name for m in self.modes[index[part]]].index(mode))
                    for part, mode in pair
                )
                factors[(faults[0], faults[1])] = factor
        return factors

    @cached_property
    def sets(self) -> tuple[tuple[Fault, ...], ...]:
        """
        All sets, healthy first, then by number of faults; "none of these" is not among them.

        They grow with their cube: judgement makes those that matter (`humclick.diagnosis.sets`); this is what
        it is held against.
        """
        sets: list[tuple[Fault, ...]] = [()]
        for size in range(1, self.most + 1):
            sets.extend(
                chosen
                for chosen in itertools.combinations(self.singles, size)
                if len({p for p, _ in chosen}) == size
            )
        return tuple(sets)

    @cached_property
    def prior(self) -> tuple[float, ...]:
        """Prior weight of each set, not normalised."""
        odds, joint = self.odds, self.joint
        weights = []
        for chosen in self.sets:
            weight = 1.0
            for part, mode in chosen:
                weight *= odds[part][mode]
            if len(chosen) > 1 and joint:
                for pair in itertools.combinations(chosen, 2):
                    weight *= joint.get(pair, 1.0)
            weights.append(weight)
        weights[0] = self.shop.none["no_fault"]
        return tuple(weights)

    @cached_property
    def none_prior(self) -> float:
        """Prior weight of "none of these", on the same scale."""
        return self.shop.none["odds"]

    def named(self, chosen: tuple[Fault, ...]) -> tuple[tuple[str, str], ...]:
        """A set as (part id, mode name)."""
        return tuple(map(self.name.__getitem__, chosen))

    @cached_property
    def name(self) -> Mapping[Fault, tuple[str, str]]:
        """Part id and mode name of each mode that is not healthy."""
        return {(p, m): (self.parts[p], self.modes[p][m].name) for p, m in self.singles}

    @cached_property
    def singles(self) -> tuple[Fault, ...]:
        """All modes that are not healthy, by part."""
        return tuple((p, m) for p, modes in enumerate(self.modes) for m in range(1, len(modes)))

    @cached_property
    def remedy(self) -> Mapping[Fault, str]:
        """What puts each mode right."""
        placed = self.machine.parts
        return {(p, m): placed[p].remedy(self.modes[p][m].name) for p, m in self.singles}

    def remedies(self, chosen: tuple[Fault, ...]) -> frozenset[str]:
        """What puts a set right: its decision class. Nothing broken needs only a wait."""
        return self.left_of(map(self.remedy.__getitem__, chosen))

    def left_of(self, remedies: Iterable[str]) -> frozenset[str]:
        """What is to be done of some remedies: only a wait where there is nothing else."""
        every = frozenset(remedies)
        left = every - _WAIT or _WAIT
        return self.needs.setdefault(every, self.needs.setdefault(left, left))

    @cached_property
    def needs(self) -> dict[frozenset[str], frozenset[str]]:
        """`left_of` remedies asked for so far."""
        return {}
