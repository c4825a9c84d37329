"""
Volts at the machine while it tries to start.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from operator import mul
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.displays import cut_at, shares_of
from humclick.diagnosis.factors import Factor, dead, flat
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.likelihood import Together
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.measured import mixture
from humclick.diagnosis.observations.model import COVER_ON, METER, Model, Probe, Taken, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row, rounded
from humclick.diagnosis.observations.steps import highest
from humclick.diagnosis.observations.volts import STRAY
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.quadrature import in_steps
from humclick.diagnosis.scales import PerSet, bits_of, marks_of
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Meter, Quantity
from humclick.readings import format_si

__all__ = ["KINDS", "VoltsStart"]

#: No outlet is known better than this, nor from one moment to the next. [-]
_LEAST_SIGMA = 0.02
#: Below this share of its volts a supply gives none. [-]
_DEAD = 0.01


@dataclass(frozen=True)
class _Fractions:
    """What of the outlet's volts is left at the machine, by what of a set matters to it."""

    bench: Bench
    marks: Mapping[Fault, int]  #: Bits of each mode.
    faults: Sequence[Fault]  #: A mode for each bit.
    known: dict[tuple[int, bool], dict[int, float]] = field(default_factory=dict)

    @staticmethod
    def of(bench: Bench, mended: frozenset[str]) -> _Fractions:
        """Worked out once for what is new or put right."""
        made = _FRACTIONS.of(bench)
        if mended not in made:
            classes: dict[Fault, Hashable] = {}
            for fault in bench.space.singles:
                left = without(bench.modes_in((fault,)), mended)
                classes[fault] = next((bench.standstill.shows(*mode) for mode in left.items()), None)
            made[mended] = _Fractions(bench, *marks_of(classes))
        return made[mended]

    def at(self, bits: int, *, of_rest: bool = False) -> Mapping[int, float]:
        """Thousandths of nominal volts, or of those at rest, under a set by its bits; weight of each. [-]"""
        row = self.known.get((bits, of_rest))
        if row is None:
            row = self.known[bits, of_rest] = {}
            modes = self.bench.modes_in(tuple([self.faults[k] for k in bits_of(bits)]))
            part = self.bench.machine.part
            rest = math.prod(part(p).family.mode(m).volts for p, m in modes.items()) if of_rest else 1.0
            whole = 1000.0 / rest if rest > _DEAD else 1000.0
            for weight, fraction in self.bench.standstill.terminal_volts(modes):
                thousandths = round(whole * fraction)
                row[thousandths] = row.get(thousandths, 0.0) + weight
        return row


_FRACTIONS: Memory[frozenset[str], _Fractions] = Memory()
_BINS: Memory[tuple[Meter, float | None], dict[int, Row]] = Memory()


class VoltsStart(Model):
    """The lowest volts at the machine's end of the cord."""

    name: ClassVar[str] = "volts_start"
    order: ClassVar[int] = 30
    by_rest: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return machine.started

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
        nothing = dead(displays, STRAY * nominal)

        within = cache(Together(displays).value)

        outlet = _Outlet.of(weighing)

        @cache
        def at(thousandths: int) -> float:
            return within(*outlet.volts(thousandths)) if thousandths else nothing

        fractions = _Fractions.of(bench, mended)

        def value(bits: int) -> float:
            row = fractions.at(bits, of_rest=outlet.read)
            return math.fsum(map(mul, map(at, row), row.values()))

        says = PerSet(fractions.marks, partial(map, value))
        most = max(highest(displays[0], outlet.sigma), nothing)
        return Factor((), (), {}, says, weighing.none(says(()), displays), most, 3)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """A new cord does not prove the house."""
        return True

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, meter = outlook.bench, outlook.situation.meter
        nominal = bench.machine.nameplate.volts
        edges = (0.3 * nominal, 0.9 * nominal)
        scale = outlook.weighing.scale(probe, 0.0)
        stretches = cut_at(scale, edges, open_apart=False)
        outlet = _Outlet.of(outlook.weighing)
        known = _BINS.of(bench).setdefault((meter, outlook.weighing.at_rest), {})
        fractions = _Fractions.of(bench, outlook.mended)

        def bins(thousandths: int) -> Row:
            if thousandths not in known:
                known[thousandths] = (
                    shares_of(stretches, *outlet.volts(thousandths))
                    if thousandths
                    else tuple(dead([s], STRAY * nominal) for s in stretches)
                )
            return known[thousandths]

        def row(bits: int) -> Row:
            weighted = fractions.at(bits, of_rest=outlet.read)
            return rounded(mixture([*weighted.values()], list(map(bins, weighted))))

        rows, which, healthy = outlook.by_marks(fractions.marks, row)
        low = format_si(edges[1], Quantity.VOLTAGE)
        labels = Message("nearly nothing"), Message("below {amount}", amount=low), Message("within 10 %")
        none = outlook.none(healthy, [flat(s) for s in stretches])
        return Forecast(probe, 0.0, labels, rows, which, none, edges)


@dataclass(frozen=True, slots=True)
class _Outlet:
    """What the outlet gives with nothing drawn: as read, else as outlets do."""

    median: float  #: [V]
    sigma: float  #: ln standard deviation. [-]
    read: bool

    @staticmethod
    def of(weighing: Weighing) -> _Outlet:
        if weighing.at_rest is not None:
            return _Outlet(weighing.at_rest, _LEAST_SIGMA, True)
        machine = weighing.bench.machine
        usual = max(machine.size("supply", "outlet").sigma, _LEAST_SIGMA)
        return _Outlet(machine.nameplate.volts, usual, False)

    def volts(self, thousandths: int) -> tuple[float, float]:
        """Median and ln standard deviation of what is left of it, in steps. [V], [-]"""
        return in_steps(self.median * thousandths / 1000, self.sigma)


KINDS = (VoltsStart(),)
