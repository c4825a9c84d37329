"""
The test tips held together: what the leads add to every reading in ohms.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.observations.model import Group, Model, Probe, Said, Sayings, Taken
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.messages import Message

__all__ = ["KINDS", "TipsTogether"]


class TipsTogether(Model):
    """Ohms of the leads by themselves; a courtesy, never advised."""

    name: ClassVar[str] = "leads"
    order: ClassVar[int] = 0

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["leads"]
        yield Probe(
            "leads.short",
            Message("Ohms with the two test tips held together"),
            Message("Hold the tips together, press, and write down what the meter shows."),
            self,
            "resistance",
            minutes=minutes,
            risk=risk,
            inside=False,
        )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        return Group(taken.probe.id, taken.observation.temperature.kind)

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        displays = weighing.displays(taken, 0.0)
        row = tuple(math.prod(d.probability(max(c, 0.0)) for d in displays) for c, _ in weighing.leads)
        mean = math.fsum(p * w for p, (_, w) in zip(row, weighing.leads, strict=True))
        return Factor((), (), {(): row}, None, mean)

    def finding(self, say: Sayings) -> Said:
        return say.of_leads()


KINDS = (TipsTogether(),)
