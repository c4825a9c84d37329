"""
What a kind of probe is asked with when observations of it are weighed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Display
from humclick.diagnosis.factors import flat
from humclick.diagnosis.law import Scale
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Probe, Taken
from humclick.meters import Meter, Quantity

__all__ = ["Weighing"]

_SCALES: Memory[tuple[Meter, str, float], Scale] = Memory()


@dataclass(frozen=True)
class Weighing:
    """
    A machine, and what it was measured with.

    Attributes
    ----------
    bench : Bench
        The machine.
    meter : Meter
        The technician's own.
    leads : tuple of (offset, weight)
        Nodes of what the test leads add. [Ω], [-]
    at_rest : float or None
        What the outlet gives with nothing drawn, as last read; None where nobody read it. [V]
    """

    bench: Bench
    meter: Meter
    leads: tuple[tuple[float, float], ...]
    at_rest: float | None = None

    @property
    def slips(self) -> Mapping[str, float]:
        """Probabilities of what hands do wrong. [-]"""
        return self.bench.shop.slips

    @property
    def as_healthy(self) -> float:
        """How probably a fault the model does not know shows as a healthy part does. [-]"""
        return self.bench.shop.none["as_healthy"]

    def displays(self, taken: Sequence[Taken], offset: float) -> list[Display]:
        """What was shown, each by its meter, with what the leads add. [Ω]"""
        return [
            Display(o.reading, probe.meter or o.meter or self.meter, self.slips, offset)
            for probe, o in taken
            if o.reading is not None
        ]

    def scale(self, probe: Probe, offset: float) -> Scale:
        """All that the meter of a probe may show, with what the leads add. [Ω]"""
        table, key = _SCALES.of(self.bench), (probe.meter or self.meter, probe.quantity, offset)
        scale = table.get(key)
        if scale is None:
            scale = table[key] = Scale(key[0], Quantity(probe.quantity), self.slips, offset)
        return scale

    def mean(self, row: Sequence[float]) -> float:
        """A value by lead node, over what the leads may add."""
        if len(row) == 1:
            return row[0]
        return sum(p * w for p, (_, w) in zip(row, self.leads, strict=True))

    def none(self, healthy: float, displays: Sequence[Display], share: float | None = None) -> float:
        """
        Probability of displays when the cause is none of those modelled. [-]

        Parameters
        ----------
        healthy : float
            Under the sound machine. [-]
        displays : sequence of Display
            What was shown.
        share : float, optional
            How probably it shows as a healthy part does; the shop's figure if left out. [-]
        """
        share = self.as_healthy if share is None else share
        return share * healthy + (1.0 - share) * math.prod(flat(d) for d in displays)
