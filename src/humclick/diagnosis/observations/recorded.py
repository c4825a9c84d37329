"""
A recording of a start attempt: what its line current says of the causes, or what is heard in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import without
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.observations.attempt import Listened
from humclick.diagnosis.observations.model import COVER_ON, Probe, Taken, rest_of
from humclick.diagnosis.observations.outlook import Forecast, Outlook
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.recorded import SOUND, cause_of, causes, misread
from humclick.diagnosis.scales import PerSet, bits_of
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.start.rows import OUTCOMES

__all__ = ["KINDS", "Recorded"]


class Recorded(Listened):
    """A start attempt recorded by a clamp's log or a microphone; never advised."""

    name: ClassVar[str] = "recorded"
    order: ClassVar[int] = 90
    deeper: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return machine.started

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["attempt_amps"]  # a clamp is put on first
        yield Probe(
            "attempt.recorded",
            Message("A recording of a start attempt, by a clamp's log or a microphone"),
            Message(
                "Cover on, stand to the side, start the recording, then power up; read it with the "
                "recordings "
                "page or command."
            ),
            self,
            outcomes=OUTCOMES,
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=COVER_ON,
            heat=rest_of(machine),
        )

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        """
        What the causes say, where the recording shows the line current; else what was heard.

        A share is kept for a recording that was read wrongly.
        """
        logarithms = taken[0].observation.causes
        if not logarithms:
            return super().factor(weighing, taken, mended)
        likely = {cause: math.exp(x) for cause, x in logarithms if cause in causes()}
        if not likely:
            return Factor(())
        anything, astray = math.fsum(likely.values()) / len(likely), misread()
        bench = weighing.bench

        names = causes()
        marks = {}
        for fault in bench.space.singles:
            cause = cause_of(bench.machine, without(bench.modes_in((fault,)), mended))
            marks[fault] = 1 << names.index(cause) if cause in names else 0

        def value(bits: int) -> float:  # the first cause hides the others
            first = bits_of(bits)[:1]
            chance = likely.get(names[first[0]] if first else SOUND, anything)
            return (1.0 - astray) * chance + astray * anything

        return Factor((), (), {}, PerSet(marks, partial(map, value)), anything, 1.0)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        return None


KINDS = (Recorded(),)
