"""
Volts at the machine while it tries to start.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.factors import Factor, dead, flat
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.measured import mixture
from humclick.diagnosis.observations.model import COVER_ON, METER, Model, Probe, Taken, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row, rounded
from humclick.diagnosis.observations.steps import highest, in_steps
from humclick.diagnosis.observations.volts import STRAY
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Meter, Quantity
from humclick.readings import format_si

__all__ = ["KINDS", "VoltsStart"]

#: No outlet is known better than this. [-]
_LEAST_SIGMA = 0.02


@dataclass(frozen=True, slots=True)
class _Sag:
    """How far the volts fall, in thousandths, and with what meter that is read. [-]"""

    thousandths: int
    meter: Meter


_BINS: Memory[_Sag, Row] = Memory()


class VoltsStart(Model):
    """The lowest volts at the machine's end of the cord."""

    name: ClassVar[str] = "volts_start"
    order: ClassVar[int] = 30

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["supply_volts_start"]
        yield Probe(
            "supply.volts_start",
            Message("Volts at the machine while it tries to start"),
            Message(
                "Power off: clip insulated leads at the machine's end of the cord, cover on; watch the "
                "lowest "
                "volts."
            ),
            self,
            "voltage",
            part="supply",
            points=("l", "n"),
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=(*touching(machine), METER, *COVER_ON),
        )

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        displays, bench = weighing.displays(taken[:1], 0.0), weighing.bench
        if not displays:
            return Factor(())
        nominal = bench.machine.nameplate.volts
        nothing = dead(displays[0], STRAY * nominal)

        @cache
        def within(volts: float, spread: float) -> float:
            return evidence(displays, volts, spread).value

        @cache
        def at(thousandths: int) -> float:
            return within(*_volts(bench, thousandths)) if thousandths else nothing

        def value(chosen: tuple[Fault, ...]) -> float:
            return math.fsum(w * at(round(1000 * f)) for w, f in _fractions(bench, chosen, mended))

        most = max(highest(displays[0], _spread(bench)), nothing)
        return Factor((), (), {}, value, weighing.none(value(()), displays), most, 3)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """A new cord does not prove the house."""
        return True

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, meter = outlook.bench, outlook.situation.meter
        nominal = bench.machine.nameplate.volts
        edges = (0.3 * nominal, 0.9 * nominal)
        scale = outlook.weighing.scale(probe, 0.0)
        stretches = scale.stretches(edges, open_apart=False)
        known = _BINS.of(bench)

        def bins(thousandths: int) -> Row:
            key = _Sag(thousandths, meter)
            if key not in known:
                known[key] = (
                    scale.bins(stretches, *_volts(bench, thousandths))
                    if thousandths
                    else tuple(dead(s, STRAY * nominal) for s in stretches)
                )
            return known[key]

        def row(chosen: tuple[Fault, ...]) -> Row:
            weighted = _fractions(bench, chosen, outlook.mended)
            return rounded(mixture([w for w, _ in weighted], [bins(round(1000 * f)) for _, f in weighted]))

        rows, which, healthy = outlook.by_set(row)
        low = format_si(edges[1], Quantity.VOLTAGE)
        labels = Message("nearly nothing"), Message("below {amount}", amount=low), Message("within 10 %")
        none = outlook.none(healthy, [flat(s) for s in stretches])
        return Forecast(probe, 0.0, labels, rows, which, none, edges)


def _spread(bench: Bench) -> float:
    """How far the volts of outlets differ: ln standard deviation. [-]"""
    return max(bench.machine.size("supply", "outlet").sigma, _LEAST_SIGMA)


def _volts(bench: Bench, thousandths: int) -> tuple[float, float]:
    """Median and ln standard deviation of what is left of the outlet's volts, in steps. [V], [-]"""
    return in_steps(bench.machine.nameplate.volts * thousandths / 1000, _spread(bench))


def _fractions(
    bench: Bench, chosen: tuple[Fault, ...], mended: frozenset[str]
) -> Sequence[tuple[float, float]]:
    """What of the outlet's volts is left, with weights. [-], [-]"""
    return bench.standstill.terminal_volts(without(bench.modes_in(chosen), mended))


KINDS = (VoltsStart(),)
