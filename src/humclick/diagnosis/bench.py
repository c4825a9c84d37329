"""
The bench: everything about a machine that does not change during a call, worked out once and remembered.

Hypotheses and their prior, which mode each gives to each part, what a start attempt does under each.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.standstill import Standstill
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.cases import Config
from humclick.diagnosis.hypotheses import Fault, Hypotheses
from humclick.diagnosis.memory import Remembering
from humclick.diagnosis.shop import Shop
from humclick.parts.family import Mode
from humclick.sourced import Spread

__all__ = ["Bench", "bench_for", "without"]

#: What a mode is called and how often it is there: nothing that a circuit or a start shows.
_SAID = frozenset({"name", "title", "plain", "odds"})


@dataclass(frozen=True, slots=True)
class Trial:
    """
    On what a start attempt is made.

    Attributes
    ----------
    renewed : frozenset of str
        Parts that are new, and single modes put right (``part.mode``).
    known_good : bool
        On known-good gear and supply: only what is sealed counts.
    """

    renewed: frozenset[str]
    known_good: bool


class Bench(Remembering):
    """
    One machine under one shop's figures.

    Parameters
    ----------
    machine : Machine
        Arrangement, nameplate, stamps.
    shop : Shop
        Odds, costs, slips.

    Raises
    ------
    Refused
        If the arrangement is one that is only recognised.
    """

    def __init__(self, machine: Machine, shop: Shop) -> None:
        machine.require_model()
        super().__init__()
        self.machine = machine
        self.shop = shop
        self.space = Hypotheses(machine, shop)
        self.standstill = Standstill(machine)
        self.starts = attempts_of(machine)
        self.parts = self.space.parts
        self.place = {part: i for i, part in enumerate(self.parts)}
        self._configs: dict[tuple[int, ...], tuple[Config, ...]] = {}
        self._tried: dict[Trial, Mapping[Fault, int]] = {}
        self._sealed = {p.id for p in machine.parts if p.family.sealed}

    @cached_property
    def kinds(self) -> dict[Fault, int]:
        """A number for each mode, the same for modes of a part that differ in looks and odds alone."""
        number_of: dict[object, int] = {}
        numbered = {}
        for part, m in self.space.singles:
            mode = self.space.modes[part][m]
            keys = [self.starts.key({self.parts[part]: mode.name}, hot=hot) for hot in (False, True)]
            bare = repr([getattr(mode, name) for name in mode.__struct_fields__ if name not in _SAID])
            alone = [
                modes
                for modes in self.machine.put_right.values()
                if f"{self.parts[part]}.{mode.name}" in modes
            ]
            kind = (part, self.space.remedy[(part, m)], bare, *keys, *alone)
            numbered[(part, m)] = number_of.setdefault(kind, len(number_of))
        return numbered

    def configs(self, scope: tuple[int, ...]) -> tuple[Config, ...]:
        """Mode configurations of some parts, the sound one first; no more faults than a hypothesis has."""
        if scope not in self._configs:
            every = itertools.product(*(range(len(self.space.modes[part])) for part in scope))
            most = self.space.most
            self._configs[scope] = tuple(c for c in every if len(c) - c.count(0) <= most)
        return self._configs[scope]

    def mode(self, part: int, mode: int) -> Mode:
        """A mode by its indices."""
        return self.space.modes[part][mode]

    # -- start attempts ---------------------------------------------------------------------------------

    def marks(
        self, renewed: frozenset[str] = frozenset(), *, known_good: bool = False
    ) -> Mapping[Fault, int]:
        """
        What a start attempt sees of each mode, in bits: the lower half cold, the upper half hot.

        The bits of all modes of a set together give its attempt either way (`Attempts.either_way`).
        """
        trial = Trial(renewed, known_good)
        marks = self._tried.get(trial)
        if marks is None:
            marks = {}
            for part, m in self.space.singles:
                name = self.parts[part]
                counts = name in self._sealed or not known_good
                left = without({name: self.space.modes[part][m].name}, renewed) if counts else {}
                cold, hot = (self.starts.mark(left, hot=hot) for hot in (False, True))
                marks[part, m] = cold | hot << self.starts.width
            self._tried[trial] = marks
        return marks

    def modes_in(self, chosen: tuple[Fault, ...]) -> dict[str, str]:
        """A set as part → mode."""
        return dict(self.space.named(chosen))

    def modes_of(self, scope: Sequence[int], config: Sequence[int]) -> dict[str, str]:
        """A configuration as part → mode, healthy ones left out."""
        return {self.parts[p]: self.mode(p, m).name for p, m in zip(scope, config, strict=True) if m}


def without(modes: Mapping[str, str], renewed: frozenset[str]) -> dict[str, str]:
    """Modes that remain when some parts are new and some modes put right (``part.mode``)."""
    return {p: m for p, m in modes.items() if p not in renewed and f"{p}.{m}" not in renewed}


@lru_cache(maxsize=16)
def _kept(
    name: str, protector: str, nameplate: Nameplate, known: tuple[tuple[str, Spread], ...], shop: Shop
) -> Bench:
    return Bench(Machine.of(name, protector, nameplate, dict(known)), shop)


def bench_for(machine: Machine, shop: Shop) -> Bench:
    """The bench of a machine, made once for each combination of arrangement, nameplate, stamps and shop."""
    known = tuple(sorted(machine.known.items(), key=lambda row: row[0]))
    return _kept(machine.arrangement.id, machine.protector, machine.nameplate, known, shop)
