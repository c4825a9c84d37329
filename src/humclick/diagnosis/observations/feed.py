"""
Volts on the two wires that feed the compressor, the control as found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.observations.measured import Tips
from humclick.diagnosis.observations.model import COVER_ON, METER, Probe, touching
from humclick.diagnosis.observations.volts import Outlet
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.parts.family import HEALTHY, Condition

__all__ = ["KINDS", "Feed"]


class Feed(Outlet):
    """What of the outlet's volts comes through cord and control."""

    name: ClassVar[str] = "feed"
    order: ClassVar[int] = 20
    at_outlet: ClassVar[bool] = False
    deeper: ClassVar[bool] = False
    beside_healthy: ClassVar[bool] = False

    def serves(self, machine: Machine) -> bool:
        return machine.started

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["feed_volts"]
        yield Probe(
            "feed.volts",
            Message("Volts on the two wires that feed the compressor, control as found, cover on"),
            Message(
                "Power off: clip insulated leads to the feed wires, cover on, leave the control as it was, "
                "power up."
            ),
            self,
            "voltage",
            part="control",
            points=("k", "n"),
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=(*touching(machine), METER, *COVER_ON),
        )

    def scope(self, bench: Bench, probe: Probe) -> tuple[int, ...]:
        return (bench.place["supply"], bench.place["control"])

    def _states(self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool) -> Tips:
        """With the control calling it may be trying to start while the volts are read."""
        tips = super()._states(bench, probe, modes, hot)
        share, sag = bench.machine.size("supply", "trying"), bench.machine.size("supply", "while_trying")
        states = []
        for weight, median, sigma in tips.states:
            states.append((weight * (1.0 - share.median), median, sigma))
            states.append((weight * share.median, median * sag.median, math.hypot(sigma, sag.sigma)))
        return Tips(tuple(states), tips.renewed)

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        whole = len(bench.machine.part("supply").family.mode(modes.get("supply", HEALTHY)).branches) >= 2
        calls = bool(bench.machine.branches("control", modes.get("control", HEALTHY), Condition()))
        return super().between_tips(bench, probe, modes, hot) if whole and calls else (0.0, 0.0)


KINDS = (Feed(),)
