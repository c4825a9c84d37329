"""
Volts at the outlet, at rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Stretch
from humclick.diagnosis.factors import dead
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.observations.model import METER, Probe
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Situation
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.parts.family import HEALTHY

__all__ = ["KINDS", "STRAY", "Outlet", "at_rest"]

#: The part, and its probe at rest.
_SUPPLY, _AT_REST = "supply", "supply.volts"
#: An outlet that gives less of its nominal volts is dead. [-]
_ALIVE = 0.3
#: The highest stray voltage on a dead wire, over nominal. [-]
STRAY = 0.5
#: How far the volts of a supply that is low differ from house to house, as a ln standard deviation. [-]
_LOW_SIGMA = 0.06


def at_rest(bench: Bench, situation: Situation) -> float | None:
    """What the outlet gives with nothing drawn, as last read as it is now; None if dead or unread. [V]"""
    read = [
        o.reading.value
        for o in situation.observations
        if o.probe == _AT_REST and o.reading is not None and _SUPPLY not in situation.renewed_since(o)
    ]
    volts = read[-1] if read else None
    return volts if volts is not None and volts > _ALIVE * bench.machine.nameplate.volts else None


class Outlet(Measured):
    """Volts at the outlet the machine is plugged into."""

    name: ClassVar[str] = "volts"
    order: ClassVar[int] = 10
    at_outlet: ClassVar[bool] = True
    deeper: ClassVar[bool] = True
    beside_healthy: ClassVar[bool] = True
    repeats: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        """Where two wires come from an outlet."""
        return {"L", "N"} <= machine.nodes

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["supply_volts"]
        yield Probe(
            _AT_REST,
            Message("Volts at the outlet, at rest"),
            Message(
                "Prove the meter on a known source, then measure at the outlet the machine is plugged into."
            ),
            self,
            "voltage",
            part=_SUPPLY,
            points=("L", "N"),
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=(METER,),
        )

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        machine = bench.machine
        mode = machine.part(_SUPPLY).family.mode(modes.get(_SUPPLY, HEALTHY))
        if mode.volts <= 0.01:
            return 0.0, 0.0
        spread = machine.size(_SUPPLY, "outlet")
        sigma = spread.sigma
        if mode.name != HEALTHY and mode.volts < 1.0:
            sigma = max(sigma, _LOW_SIGMA)
        return machine.nameplate.volts * mode.volts * spread.median, sigma

    def nothing(self, bench: Bench, probe: Probe, stretches: Sequence[Stretch]) -> float:
        return dead(stretches, STRAY * bench.machine.nameplate.volts)

    def edges(
        self, bench: Bench, probe: Probe, quantity: Quantity
    ) -> tuple[tuple[float, ...], tuple[str, ...]]:
        nominal = bench.machine.nameplate.volts
        edges = (0.3 * nominal, 0.9 * nominal, 1.1 * nominal)
        return edges, ("nearly nothing", "low", "within 10 %", "high", "OL")


KINDS = (Outlet(),)
