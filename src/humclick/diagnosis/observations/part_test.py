"""
Measurements on a part by itself, taken off or isolated: ohms, or a capacitor's farads.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar

from humclick.arrangements.arrangement import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Stretch
from humclick.diagnosis.factors import uncharged
from humclick.diagnosis.observations.measured import Measured, across
from humclick.diagnosis.observations.model import Probe, Said, Sayings, Says, with_discharge
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY, BenchTest, Element

__all__ = ["KINDS", "PartTest"]

#: A capacitor bridged by less than this shows OL or nothing on a capacitance range. From memory. [Ω]
_SHORTS_METER = 200.0
#: The most that is left of a capacitor that is open, of what it had; more is a weak one. A choice. [-]
_LEFT = 0.1
#: A leak makes a capacitance reading uncertain by about this factor more. From memory. [-]
_LEAK_FACTOR = 1.5


class PartTest(Measured):
    """A test of a part's family."""

    name: ClassVar[str] = "test"
    order: ClassVar[int] = 40
    on_part: ClassVar[bool] = True
    repeats: ClassVar[bool] = True
    beside_healthy: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        for placed in machine.parts:
            yield from (self._probe(machine, placed, test) for test in placed.family.tests)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """Not what the technician's meter has no range for."""
        quantity = Quantity(probe.quantity)
        other = quantity is not Quantity.CAPACITANCE or offer.situation.meter.measures(quantity)
        return other and super().offered(offer, probe)

    def finding(self, say: Sayings) -> Said:
        """What is to be done before a reading counts, where the part's test says so."""
        text, says = super().finding(say)
        test = say.taken.probe.test
        reading = say.taken.observation.reading
        if test is None or reading is None or says is Says.GOOD:
            return text, says
        if test.at_zero and reading.below_resolution:
            return Message("{value}: {look}", value=say.shown, look=test.at_zero), Says.UNCLEAR
        if test.if_bad and says is Says.BAD:
            return Message("{finding} {next}", finding=text, next=test.if_bad), says
        return text, says

    def _probe(self, machine: Machine, placed: PlacedPart, test: BenchTest) -> Probe:
        outside = placed.family.outside
        return Probe(
            f"{placed.id}.{test.name}",
            test.title,
            test.how,
            self,
            test.quantity,
            part=placed.id,
            points=(placed.connect[test.between[0]], placed.connect[test.between[1]]),
            minutes=test.minutes,
            gates=test.gates if outside else with_discharge(machine, test.gates),
            heat=placed.family.heat if test.quantity == "resistance" else "",
            inside=not outside,
            turned=test.turned,
            test=test,
            again_cool=test.again_cool,
        )

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        if probe.quantity == "capacitance":
            return self._farads(bench.machine, probe.part, modes.get(probe.part, HEALTHY))
        return across(bench, probe, modes, hot)

    def nothing(self, bench: Bench, probe: Probe, stretches: Sequence[Stretch]) -> float:
        sound, _ = self._farads(bench.machine, probe.part, HEALTHY)
        return uncharged(stretches, _LEFT * sound)

    @staticmethod
    def _farads(machine: Machine, part: str, mode: str) -> tuple[float, float]:
        family_mode = machine.part(part).family.mode(mode)
        farads, sigma, leak = 0.0, 0.0, math.inf
        for branch in family_mode.branches:
            spread = machine.spread_of(part, family_mode, branch)
            if branch.element is Element.CAPACITIVE:
                farads, sigma = spread.median, spread.sigma
            else:
                leak = min(leak, spread.median)
        if leak < _SHORTS_METER:
            return math.inf, 0.0
        if any(branch.size == "leak" for branch in family_mode.branches):
            sigma = math.hypot(sigma, math.log(_LEAK_FACTOR))
        return farads, sigma


KINDS = (PartTest(),)
