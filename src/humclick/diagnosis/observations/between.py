"""
Ohms between two points of the wired machine, everything plugged on; made when it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache, partial
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.factors import Factor, p_hot
from humclick.diagnosis.likelihood import Together
from humclick.diagnosis.observations.measured import Measured, across
from humclick.diagnosis.observations.model import Group, Probe, Taken, touching
from humclick.diagnosis.observations.outlook import Forecast, Outlook
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.scales import PerSet, bits_of, marks_of
from humclick.diagnosis.shop import Shop
from humclick.errors import Unknown
from humclick.messages import Message

__all__ = ["KINDS", "Between"]

_NAME = "between."


class Between(Measured):
    """Ohms between any two nodes of the machine; never advised."""

    name: ClassVar[str] = "between"
    order: ClassVar[int] = 130

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        yield from ()

    def on_demand(self, machine: Machine, name: str, shop: Shop) -> Probe | None:
        """
        The probe between two nodes.

        Raises
        ------
        Unknown
            If the machine has no such node, or it is named twice.
        """
        if not name.startswith(_NAME):
            return None
        nodes = sorted({n for p in machine.parts for n in p.connect.values()} | {"shell"})
        a, _, b = name.removeprefix(_NAME).partition("-")
        for node in (a, b):
            if node not in nodes:
                raise Unknown(Message("node"), node, nodes)
        if a == b:
            raise Unknown(Message("pair of nodes"), name, ["between.l-n"])
        minutes, risk = shop.probe["between"]
        return Probe(
            name,
            Message(
                "Ohms from {first} to {second}, everything plugged on, machine unplugged from the outlet",
                first=a,
                second=b,
            ),
            Message("With the start gear on the pins, measure between the two points marked on the drawing."),
            self,
            "resistance",
            points=(a, b),
            minutes=minutes,
            risk=risk,
            gates=touching(machine),
            heat="external_protector",
        )

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        return across(bench, probe, modes, hot)

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        return None

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe, observation = taken[0]
        offset = sum(c * w for c, w in weighing.leads)
        displays, bench = weighing.displays(taken[:1], offset), weighing.bench
        if not displays:
            return Factor(())
        hot = p_hot(observation.temperature, weighing.slips["cold_but_warm"])

        within = cache(Together(displays).value)
        unseen = frozenset({"mechanism"}) | observation.renewed
        left = {f: without(bench.modes_in((f,)), unseen) for f in bench.space.singles}
        marks, faults = marks_of({f: bench.kinds[f] if modes else None for f, modes in left.items()})

        def value(bits: int) -> float:
            modes = bench.modes_in(tuple([faults[k] for k in bits_of(bits)]))
            return hot * within(*self.predicted(bench, probe, modes, True)) + (1.0 - hot) * within(
                *self.predicted(bench, probe, modes, False)
            )

        says = PerSet(marks, partial(map, value))
        return Factor((), (), {}, says, weighing.none(says(()), displays), effort=3)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        return None


KINDS = (Between(),)
