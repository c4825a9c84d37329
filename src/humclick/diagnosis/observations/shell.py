"""
The insulation between the windings and the shell, by an ohmmeter or by an insulation tester.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from functools import partial
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.circuit.network import Setup, predict
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import copper
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.observations.model import Group, Probe, Said, Sayings, Says, Taken, touching
from humclick.diagnosis.shop import Shop
from humclick.messages import N_, Message
from humclick.meters import Meter, Quantity, meter
from humclick.readings import PartTemperature

__all__ = ["KINDS", "Shell"]


class Shell(Measured):
    """The lowest ohms from any pin to the shell."""

    name: ClassVar[str] = "shell"
    order: ClassVar[int] = 60
    deeper: ClassVar[bool] = True
    to_shell: ClassVar[bool] = True
    repeats: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return bool(machine.windings)

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        make = partial(
            Probe,
            model=self,
            quantity="resistance",
            points=(machine.pins[0], "shell"),
            gates=touching(machine),
            of=frozenset(machine.windings),
        )
        minutes, risk = shop.probe["shell"]
        yield make(
            id="pins.shell",
            title=Message("Ohms from each pin to bare metal of the shell; note the lowest"),
            how=Message(
                "Scrape a spot of the shell or a copper pipe bright; measure each pin to it on the highest "
                "range."
            ),
            minutes=minutes,
            risk=risk,
        )
        minutes, risk = shop.probe["shell_insulation"]
        yield make(
            id="shell.insulation",
            title=Message("Insulation tester from the pins to bare metal of the shell"),
            how=Message(
                "Take start components and electronics off the pins. Never test a compressor under vacuum. "
                "500 V DC, one minute, from each pin to the shell; note the lowest, and the winding's "
                "temperature if you can."
            ),
            minutes=minutes,
            risk=risk,
            meter=meter("insulation tester"),
        )

    def scope(self, bench: Bench, probe: Probe) -> tuple[int, ...]:
        inside = [p.id for p in bench.machine.parts if p.family.sealed and p.family.terminals]
        return tuple(bench.place[part] for part in inside)

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        machine = bench.machine
        paths = [predict(machine, modes, Setup(plugged=False), (pin, "shell")) for pin in machine.pins]
        lowest = min(paths, key=lambda p: p.ohms)
        shorted = any(modes.get(part) == "grounded" for part in machine.windings)
        # paths over one insulation age together: no narrower than one of them
        least = 0.0 if shorted else max(machine.size(part, "insulation").sigma for part in machine.windings)
        return lowest.ohms, max(lowest.sigma, least)

    def telling(self, bench: Bench, modes: dict[str, str]) -> dict[str, str]:
        """Some ohms in series are nothing beside megohms to the shell."""
        families = {part: bench.machine.part(part).family for part in modes}
        return {part: name for part, name in modes.items() if not families[part].mode(name).scattered}

    def common(self, meter: Meter, quantity: Quantity, median: float) -> float:
        return math.hypot(super().common(meter, quantity, median), copper(PartTemperature())[1])

    def finding(self, say: Sayings) -> Said:
        """What it looks for, and no more: an open winding shows elsewhere."""
        text, says = super().finding(say)
        if says is not Says.GOOD:
            return text, says
        if say.taken.probe.meter is not None:
            return Message("{value} to the shell: good insulation.", value=say.shown), says
        form = N_("{value} to the shell: no leak this meter can see. It can't prove the insulation.")
        return Message.of(form, value=say.shown), says

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        """One insulation, whatever it is read with."""
        return Group("shell", taken.observation.temperature.kind, mended=mended & taken.probe.of)


KINDS = (Shell(),)
