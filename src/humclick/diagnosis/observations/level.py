"""
Measurements on a part under power: what stands there follows from its own mode and from those of others.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar

from humclick.arrangements.frame import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Stretch
from humclick.diagnosis.factors import dead
from humclick.diagnosis.observations.measured import Measured, labels_between
from humclick.diagnosis.observations.model import Group, Probe, Taken
from humclick.diagnosis.observations.named import named_in, parts_named, scope_of, shown_in
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.parts.family import Level

__all__ = ["KINDS", "PartLevel", "expected"]

#: The highest stray voltage on a dead wire, over what is there else. [-]
_STRAY = 0.2
#: Below this share of what a sound machine shows it is called nearly nothing, low, and above it high. [-]
_NOTHING, _LOW, _HIGH = 0.3, 0.9, 1.12


def expected(machine: Machine, part: str, size: str) -> tuple[float, float]:
    """Median and ln standard deviation of a size, over nominal volts where its unit is ``-``. [SI], [-]"""
    spread = machine.size(part, size)
    scale = machine.nameplate.volts if spread.unit == "-" else 1.0
    return scale * spread.median, spread.sigma


class PartLevel(Measured):
    """A live measurement of a part's family."""

    name: ClassVar[str] = "level"
    order: ClassVar[int] = 65
    on_part: ClassVar[bool] = True
    repeats: ClassVar[bool] = True
    beside_healthy: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        for placed in machine.parts:
            yield from (self._probe(placed, level) for level in placed.family.levels)

    def _probe(self, placed: PlacedPart, level: Level) -> Probe:
        return Probe(
            f"{placed.id}.{level.name}",
            level.title,
            level.how,
            self,
            level.quantity,
            part=placed.id,
            points=(placed.connect[level.between[0]], placed.connect[level.between[1]]),
            minutes=level.minutes,
            risk=level.risk,
            live=True,
            inside=False,
            gates=level.gates,
            of=parts_named(placed.id, level.times),
        )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        """What was read before another part was put right is no repeat."""
        return Group(taken.probe.id, mended=shown_in(taken.probe, mended))

    @staticmethod
    def _level(machine: Machine, probe: Probe) -> Level:
        own = probe.id.partition(".")[2]
        return next(level for level in machine.part(probe.part).family.levels if level.name == own)

    def scope(self, bench: Bench, probe: Probe) -> tuple[int, ...]:
        return scope_of(bench, probe.part, self._level(bench.machine, probe).times)

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        level = self._level(bench.machine, probe)
        median, sigma = expected(bench.machine, probe.part, level.size)
        have = named_in(probe.part, modes)
        times = math.prod(factor for name, factor in level.times.items() if name in have)
        return (median * times, sigma) if times > 0.0 else (0.0, 0.0)

    def nothing(self, bench: Bench, probe: Probe, shown: Sequence[Stretch]) -> float:
        stray = _STRAY * expected(bench.machine, probe.part, self._level(bench.machine, probe).size)[0]
        return dead(shown, stray)

    def edges(
        self, bench: Bench, probe: Probe, quantity: Quantity
    ) -> tuple[tuple[float, ...], tuple[str, ...]]:
        sound, sigma = expected(bench.machine, probe.part, self._level(bench.machine, probe).size)
        low, high = min(_LOW, math.exp(-2.3 * sigma)), max(_HIGH, math.exp(2.3 * sigma))
        edges = (_NOTHING * sound, low * sound, high * sound)
        return edges, (Message("nearly nothing"), *labels_between(edges, quantity)[1:], "OL")


KINDS = (PartLevel(),)
