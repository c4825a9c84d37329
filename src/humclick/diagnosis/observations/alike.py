"""
Three readings of one unknown: three equal windings, or the volts of three lines.

How large the unknown is hardly matters; what they differ in does (`humclick.diagnosis.triple`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from humclick.arrangements.frame import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.cases import Config
from humclick.diagnosis.displays import Display, Stretch, cut_at, shares_of
from humclick.diagnosis.factors import Factor, copper, dead, flat, p_hot
from humclick.diagnosis.law import gain
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.level import expected
from humclick.diagnosis.observations.measured import labels_between, mixture
from humclick.diagnosis.observations.model import (
    INSIDE,
    Group,
    Model,
    Probe,
    Said,
    Sayings,
    Says,
    Taken,
    touching,
)
from humclick.diagnosis.observations.named import first_of, parts_named, scope_of, shown_in
from humclick.diagnosis.observations.outlook import Forecast, Outlook, Row
from humclick.diagnosis.observations.volts import STRAY
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.triple import Times, Triple, orders_of
from humclick.errors import OutOfRange
from humclick.messages import N_, Message
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY, Role, Three
from humclick.physics.supply import unbalance, unbalance_derating
from humclick.readings import PartTemperature, Reading
from humclick.sourced import Z95

__all__ = ["KINDS", "ThreeAlike", "pair_names"]

#: Readings of one pair that are looked at: the last so many. [-]
_LAST = 2
#: Paths of an integral that weigh less than this share of the best are left out of a forecast. [-]
_FAINT = 1e-3
#: Edges of a forecast, over what the others are. [-]
_EDGES = (0.4, 0.93, 1.08, 1.35)

#: Gates of what is measured under power.
_METERS = frozenset({"meter-for-line", "meter-for-dc"})


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """All that the rows of a forecast depend on."""

    probe: str
    hot: float
    offset: float
    read: tuple[tuple[str, Reading | None, PartTemperature], ...]
    meter: Meter


_ROWS: Memory[_Foreseen, dict[tuple[str, str], Row]] = Memory()


def pair_names(placed: PlacedPart, three: Three) -> tuple[str, str, str]:
    """Names of the probes of three readings."""
    a, b, c = (
        f"{three.prefix or placed.id}.{placed.connect[first]}-{placed.connect[second]}"
        for first, second in three.between
    )
    return a, b, c


class ThreeAlike(Model):
    """Three alike, of a part's family."""

    name: ClassVar[str] = "alike"
    order: ClassVar[int] = 50
    on_part: ClassVar[bool] = True
    repeats: ClassVar[bool] = True
    beside: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        for placed in machine.parts:
            for three in placed.family.threes:
                names = pair_names(placed, three)
                for name, (a, b) in zip(names, three.between, strict=True):
                    yield self._probe(machine, placed, three, name, (placed.connect[a], placed.connect[b]))

    def _probe(
        self, machine: Machine, placed: PlacedPart, three: Three, name: str, points: tuple[str, str]
    ) -> Probe:
        pins, live = three.prefix == "pins", not _METERS.isdisjoint(three.gates)
        dead_gates = tuple(dict.fromkeys((*touching(machine), *three.gates)))
        outside = placed.family.outside or live
        return Probe(
            name,
            _between(three.title, *points),
            _between(three.how, *points),
            self,
            three.quantity,
            part=placed.id,
            points=points,
            pins=points if pins else None,
            minutes=three.minutes,
            risk=three.risk,
            live=live,
            inside=not outside,
            gates=three.gates if outside else dead_gates,
            heat=_heat(machine) if pins else "",
            of=parts_named(placed.id, [name for pattern in three.pattern for name in pattern.modes]),
        )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        """All three share the unknown."""
        probe, heat = taken.probe, taken.observation.temperature.kind
        name = f"three of {probe.part} {probe.id.partition('.')[0]}"
        return Group(name, heat if probe.heat == INSIDE else "", mended=shown_in(probe, mended))

    # -- what was seen --------------------------------------------------------------------------------------

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        bench, probe = weighing.bench, taken[0].probe
        ask = _Asked(bench, probe)
        leads = weighing.leads if probe.quantity == "resistance" else weighing.leads[:1]
        triples = [ask.triple(weighing, taken, offset) for offset, _ in leads]
        hot = p_hot(taken[0].observation.temperature, weighing.slips["cold_but_warm"])
        table: dict[Config, Row] = {}
        known: dict[tuple[str, str], Row] = {}
        for config in bench.configs(ask.scope):
            modes = without(bench.modes_of(ask.scope, config), mended)
            key = ask.key(modes)
            if key not in known:
                row = tuple(ask.value(triple, modes, hot) for triple in triples)
                known[key] = row if len(row) == len(weighing.leads) else row * len(weighing.leads)
            table[config] = known[key]
        healthy = weighing.mean(table[(0,) * len(ask.scope)])
        return Factor((), ask.scope, table, None, weighing.none(healthy, _all(triples[0].shown)))

    def healthy(self, bench: Bench, probe: Probe) -> tuple[float, float] | None:
        median, sigma = expected(bench.machine, probe.part, _Asked(bench, probe).three.size)
        return median, sigma

    def finding(self, say: Sayings) -> Said:
        """One alone says little: only what no size of three equal ones gives is said to be bad."""
        text, says = say.of_parts()
        alone = says is Says.GOOD and say.taken.probe.quantity == "resistance"
        return say.of_three() if alone else (text, says)

    def together(self, bench: Bench, taken: Sequence[Taken], meter: Meter) -> Mapping[int, Said]:
        found: dict[int, Said] = {}
        for placed in bench.machine.parts:
            for three in placed.family.threes:
                last = {t.probe.id: i for i, t in enumerate(taken) if t.probe.id in pair_names(placed, three)}
                rows = [taken[i] for i in last.values()]
                said = _unlike(rows, three, rows[0].probe.meter or meter) if len(rows) == 3 else None
                if said is not None:
                    found |= dict.fromkeys(last.values(), said)
        return found

    # -- what would be seen ---------------------------------------------------------------------------------

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, weighing = outlook.bench, outlook.weighing
        ask = _Asked(bench, probe)
        before = [t for t in outlook.taken if t.probe.part == probe.part and t.probe.id in ask.names]
        before = [t for t in before if t.observation.reading is not None]
        leads = outlook.leads if probe.quantity == "resistance" else outlook.leads[:1]
        offset = math.fsum(c * w for c, w in leads) if len(leads) > 1 else leads[0][0]
        triple = ask.triple(weighing, before, offset)
        sound = triple.paths((1.0, 1.0, 1.0))
        _, mean, variance = max(sound)
        middle, wide = math.exp(mean), 2.2 * math.sqrt(variance)
        edges = tuple(e * middle for e in _EDGES)
        if wide > 0.3:  # nothing read yet: any size
            edges = (middle * math.exp(-wide), middle * math.exp(wide))
        scale = weighing.scale(probe, offset)
        cut = cut_at(scale, edges)
        place, hot = ask.names.index(probe.id), outlook.hot(probe, waits)
        rows: dict[Config, Row] = {}
        read = tuple((t.probe.id, t.observation.reading, t.observation.temperature) for t in before)
        foreseen = _Foreseen(probe.id, hot, offset, read, probe.meter or weighing.meter)
        known = _ROWS.of(bench).setdefault(foreseen, {})
        for config in outlook.configs(ask.scope):
            modes = without(bench.modes_of(ask.scope, config), outlook.mended)
            key = ask.key(modes)
            if key not in known:
                known[key] = ask.row(triple, modes, hot, place, cut, STRAY * middle)
            rows[config] = known[key]
        quantity = Quantity(probe.quantity)
        labels = (*labels_between(edges, quantity), "OL")
        anything = tuple(flat(s) for s in cut)
        return outlook.by_config(probe, waits, labels, ask.scope, rows, edges, anything)


class _Asked:
    """Three readings of a part, ready to be asked about."""

    def __init__(self, bench: Bench, probe: Probe) -> None:
        self.bench, self.probe = bench, probe
        self.placed = bench.machine.part(probe.part)
        self.three = next(t for t in self.placed.family.threes if probe.id in pair_names(self.placed, t))
        self.names = pair_names(self.placed, self.three)
        named = [name for pattern in self.three.pattern for name in pattern.modes]
        self.guard = bench.machine.has(Role.PROTECTOR) if probe.heat == INSIDE else None
        inside = (f"{self.guard.id}.",) if self.guard is not None else ()
        self.scope = scope_of(bench, probe.part, (*named, *inside))

    @cached_property
    def _unknown(self) -> tuple[float, float]:
        return expected(self.bench.machine, self.placed.id, self.three.size)

    def triple(self, weighing: Weighing, taken: Sequence[Taken], offset: float) -> Triple:
        """What was read of the three, the leads adding so much. [Ω]"""
        shown: list[list[Display]] = [[], [], []]
        for name, row in zip(self.names, shown, strict=True):
            own = [t for t in taken if t.probe.id == name and t.observation.reading is not None]
            row += weighing.displays(own[-_LAST:], offset)
        median, sigma = self._unknown
        meter, quantity = self.probe.meter or weighing.meter, Quantity(self.three.quantity)
        wide = math.hypot(sigma, gain(meter, quantity, median))
        if quantity is Quantity.RESISTANCE and taken:
            factors = [copper(t.observation.temperature) for t in taken]
            wide = math.hypot(wide, max(s for _, s in factors))
            median *= math.fsum(f for f, _ in factors) / len(factors)
        own_sigma = math.log(self.three.balance) / Z95
        stray = STRAY * median

        def nothing(display: Display) -> float:
            return display.probability(0.0) if quantity is Quantity.RESISTANCE else dead([display], stray)

        return Triple(shown, median, wide, own_sigma, nothing)

    def key(self, modes: Mapping[str, str]) -> tuple[str, str]:
        """What of a set of modes matters to them: its pattern, and the mode of a sealed protector."""
        guard = modes.get(self.guard.id, "") if self.guard is not None else ""
        return first_of(self._named, self.placed.id, modes), guard

    def patterns(self, triple: Triple, modes: Mapping[str, str], hot: float) -> list[tuple[float, Times]]:
        """Factors of the three under a set of modes, hot with a probability; weights sum to 1."""
        found = self._closed(triple, modes)
        if self.guard is None:
            return found
        mode = self.guard.family.mode(modes.get(self.guard.id, HEALTHY))
        opens = hot if mode.passing else hot * mode.hot_open if mode.name == HEALTHY else 1.0
        return [*((w * (1.0 - opens), times) for w, times in found), (opens, (math.inf,) * 3)]

    def _closed(self, triple: Triple, modes: Mapping[str, str]) -> list[tuple[float, Times]]:
        """The same with a protector inside the shell closed."""
        name = first_of(self._named, self.placed.id, modes)
        own = [p for p in self.three.pattern if name in p.modes] if name else []
        if not own:
            return [(1.0, (1.0, 1.0, 1.0))]
        total = math.fsum(p.share for p in own)
        found = []
        for p in own:
            orders = orders_of(p.times, p.to or p.times)
            for low, high in orders:
                degrees = [(1.0, low)] if p.to is None else triple.degrees(low, high)
                found += [(w * p.share / total / len(orders), times) for w, times in degrees]
        return found

    @cached_property
    def _named(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for pattern in self.three.pattern for name in pattern.modes))

    def value(self, triple: Triple, modes: Mapping[str, str], hot: float) -> float:
        """Probability of all readings under a set of modes. [-]"""
        known = self._values
        total = 0.0
        for weight, times in self.patterns(triple, modes, hot):
            key = (id(triple), times)
            if key not in known:
                known[key] = triple.value(times)
            total += weight * known[key]
        return total

    @cached_property
    def _values(self) -> dict[tuple[int, Times], float]:
        return {}

    def row(
        self,
        triple: Triple,
        modes: Mapping[str, str],
        hot: float,
        place: int,
        cut: Sequence[Stretch],
        stray: float,
    ) -> Row:
        """Probability of each stretch of the next display of one pair. [-]"""
        own = math.log(self.three.balance) / Z95
        ways = [
            (share * weight, times[place], mean, variance)
            for share, times in self.patterns(triple, modes, hot)
            for weight, mean, variance in triple.paths(times)
        ]
        least = _FAINT * max(way[0] for way in ways)
        masses: dict[tuple[float, float], float] = {}  # in steps of what is shown
        for weight, factor, mean, variance in ways:
            if weight >= least:
                key = (factor, 0.0)
                if 0.0 < factor < math.inf:
                    sigma = math.hypot(math.sqrt(variance), own)
                    grid = 0.4 * sigma
                    key = (round((math.log(factor) + mean) / grid) * grid, round(sigma, 3))
                masses[key] = masses.get(key, 0.0) + weight
        total = math.fsum(masses.values()) or 1.0
        rows = [self._row(key, cut, stray) for key in masses]
        return mixture([w / total for w in masses.values()], rows)

    def _row(self, key: tuple[float, float], cut: Sequence[Stretch], stray: float) -> Row:
        place, sigma = key
        if sigma > 0.0:
            return shares_of(cut, math.exp(place), sigma)
        return shares_of(cut, math.inf, 0.0) if place > 0.0 else self._nothing_row(cut, stray)

    def _nothing_row(self, cut: Sequence[Stretch], stray: float) -> Row:
        if self.three.quantity == "resistance":
            return shares_of(cut, 0.0, 0.0)
        found = [dead([stretch], stray) for stretch in cut]
        total = math.fsum(found) or 1.0
        return tuple(p / total for p in found)


def _all(shown: Sequence[Sequence[Display]]) -> list[Display]:
    return [display for row in shown for display in row]


def _unlike(three_read: Sequence[Taken], three: Three, meter: Meter) -> Said | None:
    """How much three numbers differ from their mean, and whether sound ones may; None if one is none."""
    readings = [
        t.observation.reading
        for t in three_read
        if t.observation.reading is not None and t.observation.reading.value
    ]
    values = [reading.value for reading in readings if reading.value is not None]
    if len(values) < 3 or not three.limit:
        return None
    share, mean = unbalance(*values), math.fsum(values) / 3.0
    quantity = Quantity(three.quantity)
    counts = meter.range_for(quantity, max(values)).resolution if meter.measures(quantity) else 0.0
    if share <= three.limit + counts / mean:  # the meter's own error is common to all three
        text = Message(
            "The three differ by {share:.1f} % from their mean, as sound ones may.", share=100.0 * share
        )
        return text, Says.GOOD
    if quantity is not Quantity.VOLTAGE:
        form = N_(
            "The three differ by {share:.1f} % from their mean, sound ones by {limit:.0f} % at most: "
            "read them again."
        )
        return Message.of(form, share=100.0 * share, limit=100.0 * three.limit), Says.BAD
    try:
        left = 100.0 * unbalance_derating(share)
    except OutOfRange:
        form = N_(
            "The three lines differ by {share:.1f} % from their mean: above 5 % a motor must not run on them."
        )
        return Message.of(form, share=100.0 * share), Says.BAD
    form = N_(
        "The three lines differ by {share:.1f} % from their mean: a motor may give {left:.0f} % of its "
        "power on them."
    )
    return Message.of(form, share=100.0 * share, left=left), Says.BAD


def _between(text: Message, first: str, second: str) -> Message:
    return Message.of(text, first=first, second=second)


def _heat(machine: Machine) -> str:
    guard = machine.has(Role.PROTECTOR)
    return INSIDE if guard is not None and guard.family.sealed else "windings"


KINDS = (ThreeAlike(),)
