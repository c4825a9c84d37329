"""
Checks (`humclick.diagnosis.checks`): they say nothing of which part is bad, but whether the unit is safe.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.checks import Check, checks
from humclick.diagnosis.observations.model import COVER_ON, METER, Model, Probe, Said, Sayings
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.shop import Shop

__all__ = ["KINDS", "SafetyCheck"]


class SafetyCheck(Model):
    """A check; asked for where safety wants it."""

    name: ClassVar[str] = "check"
    order: ClassVar[int] = 120
    checks: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        yield from (
            self._probe(check, shop)
            for check in checks().values()
            if check.points is None or machine.nodes.issuperset(check.points)
        )

    def _probe(self, check: Check, shop: Shop) -> Probe:
        minutes, risk = shop.probe[check.like] if check.like else (check.minutes, 0.0)
        gates = check.gates
        if check.live:
            gates = COVER_ON
        elif check.quantity:
            gates = (METER,)
        answers = set(check.outcomes) - set(check.good)
        return Probe(
            check.id,
            check.title,
            check.how,
            self,
            check.quantity,
            check.outcomes,
            points=check.points,
            minutes=minutes,
            risk=risk,
            live=check.live,
            inside=False,
            gates=gates,
            due=dict.fromkeys(answers, check.due) if check.due else {},
            bars=frozenset(answers) if check.bars else frozenset(),
            again=True,
        )

    def offered(self, offer: Offer, probe: Probe) -> bool:
        return False

    def finding(self, say: Sayings) -> Said:
        check, (_, observation) = checks()[say.taken.probe.id], say.taken
        passes = check.passes(observation.reading, observation.answer, say.bench.machine.nameplate.volts)
        if passes is None:
            return say.of_nothing()
        return say.of_check("" if passes else check.bad)


KINDS = (SafetyCheck(),)
