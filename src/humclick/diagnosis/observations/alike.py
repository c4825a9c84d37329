"""
Three readings of one unknown: three equal windings, or the volts of three lines.

How large the unknown is hardly matters; what they differ in does. ln of the unknown is normal, each reading is
a bell about it on a floor of what hands do wrong, and the integral over the unknown is had in closed form.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import ClassVar

from humclick.arrangements.frame import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.cases import Config
from humclick.diagnosis.displays import Display, cut_at, shares_of
from humclick.diagnosis.factors import Factor, copper, dead, flat
from humclick.diagnosis.law import gain
from humclick.diagnosis.observations.level import expected
from humclick.diagnosis.observations.measured import labels_between, mixture
from humclick.diagnosis.observations.model import Group, Model, Probe, Said, Sayings, Says, Taken, touching
from humclick.diagnosis.observations.named import first_of, scope_of
from humclick.diagnosis.observations.outlook import Forecast, Outlook, Row
from humclick.diagnosis.observations.volts import STRAY
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.parts.family import Alike, Role
from humclick.sourced import Z95

__all__ = ["KINDS", "ThreeAlike", "Triple", "pair_names"]

#: Readings of one pair that are looked at: the last so many that differ. [-]
_LAST = 2
#: A dirty contact: how far below what is shown the unknown lies then, and how widely; ln. [-]
_DIRTY_BELOW, _DIRTY_WIDE = 0.45, 0.4
#: Of nothing but zeros: ln standard deviation of what lies below the last digit. [-]
_ZERO_WIDE = 0.8
#: Paths of an integral that weigh less than this share of the best are left out of a forecast. [-]
_FAINT = 1e-3
#: Edges of a forecast, over what the others are. [-]
_EDGES = (0.4, 0.93, 1.08, 1.35)

Times = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class _Bell:
    """Part of what a display says of ln of the unknown: mass, mean, standard deviation; flat where infinite."""

    mass: float
    mean: float = 0.0
    sigma: float = math.inf


@dataclass(frozen=True, slots=True)
class _Path:
    """One way a reading came about: its probability, and ln of the unknown after it."""

    weight: float
    mean: float
    variance: float

    def then(self, bell: _Bell, times: float) -> _Path:
        """After one more reading of the unknown times a factor."""
        if math.isinf(bell.sigma):
            return _Path(self.weight * bell.mass, self.mean, self.variance)
        off = bell.mean - math.log(times) - self.mean
        both = self.variance + bell.sigma**2
        weight = self.weight * bell.mass * math.exp(-0.5 * off * off / both) / math.sqrt(2.0 * math.pi * both)
        gain = self.variance / both
        return _Path(weight, self.mean + gain * off, self.variance * (1.0 - gain))


class Triple:
    """
    What three readings of one unknown say under a pattern.

    Parameters
    ----------
    shown : three sequences of Display
        By pair.
    median, sigma : float
        Of the unknown, before: median, ln standard deviation. [SI], [-]
    own : float
        ln standard deviation of each about it. [-]
    nothing : callable
        Probability of a display where nothing is there. [-]
    """

    def __init__(
        self,
        shown: Sequence[Sequence[Display]],
        median: float,
        sigma: float,
        own: float,
        nothing: Callable[[Display], float],
    ) -> None:
        self.shown, self._own, self._nothing = shown, own, nothing
        self._before = _Path(1.0, math.log(median), sigma * sigma)
        self._bells = [[self._of(display, median) for display in row] for row in shown]

    def _of(self, display: Display, median: float) -> tuple[_Bell, ...]:
        scale = display.scale
        if display.y is None:
            return (_Bell(display.probability(min(median, 0.1 * scale.highest))),)
        if display.zero:
            place = math.log(max(0.5 * display.high, 1e-300))
            mass = scale.sure * _ZERO_WIDE * math.sqrt(2.0 * math.pi)
            return (_Bell(mass, place, _ZERO_WIDE), _Bell(scale.wild * scale.wildly(display.low, display.high)))
        x, error = display.peak or (display.y, display.digit)
        if x <= 0.0:
            x = 0.5 * display.digit
        width = (display.high - display.low) / x
        floor = display.probability(30.0 * x if 30.0 * x < scale.highest else x / 30.0)
        bells = [_Bell(floor), _Bell(scale.sure * width, math.log(x), math.hypot(error / x, self._own))]
        if scale.dirty:
            below = math.log(x) - _DIRTY_BELOW
            bells.append(_Bell(scale.dirty * width, below, math.hypot(_DIRTY_WIDE, error / x)))
        return tuple(bells)

    def paths(self, times: Times) -> list[_Path]:
        """Every way the readings came about, the pairs having these factors on the unknown."""
        paths = [self._before]
        for factor, shown, bells in zip(times, self.shown, self._bells, strict=True):
            for display, own in zip(shown, bells, strict=True):
                if math.isinf(factor):
                    own = (_Bell(display.probability(math.inf)),)
                elif factor <= 0.0:
                    own = (_Bell(self._nothing(display)),)
                paths = [path.then(bell, factor) for path in paths for bell in own]
        return paths

    def value(self, times: Times) -> float:
        """Probability of all readings. [-]"""
        return max(math.fsum(path.weight for path in self.paths(times)), 1e-300)


def _orders(times: Times) -> list[Times]:
    """The different orders of three factors."""
    return list(dict.fromkeys(itertools.permutations(times)))  # type: ignore[arg-type]


def pair_names(placed: PlacedPart, three: Alike) -> tuple[str, str, str]:
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
    repeats: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        for placed in machine.parts:
            for three in placed.family.alikes:
                names = pair_names(placed, three)
                for name, (a, b) in zip(names, three.between, strict=True):
                    yield self._probe(machine, placed, three, name, (placed.connect[a], placed.connect[b]))

    def _probe(
        self, machine: Machine, placed: PlacedPart, three: Alike, name: str, points: tuple[str, str]
    ) -> Probe:
        live, pins = "stand-clear" in three.gates, three.prefix == "pins"
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
        )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        """All three share the unknown."""
        probe = taken.probe
        return Group(f"three of {probe.part} {probe.id.partition('.')[0]}", mended=mended & {probe.part})

    # -- what was seen --------------------------------------------------------------------------------------

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        bench, probe = weighing.bench, taken[0].probe
        ask = _Asked(bench, probe)
        leads = weighing.leads if probe.quantity == "resistance" else weighing.leads[:1]
        triples = [ask.triple(weighing, taken, offset) for offset, _ in leads]
        table: dict[Config, Row] = {}
        for config in bench.configs(ask.scope):
            modes = without(bench.modes_of(ask.scope, config), mended)
            row = tuple(ask.value(triple, modes) for triple in triples)
            table[config] = row if len(row) == len(weighing.leads) else row * len(weighing.leads)
        healthy = weighing.mean(table[(0,) * len(ask.scope)])
        return Factor((), ask.scope, table, None, weighing.none(healthy, _all(triples[0].shown)))

    def finding(self, say: Sayings) -> Said:
        """One alone says little: only what no size of three equal ones gives is said to be bad."""
        text, says = say.of_parts()
        if says is Says.GOOD:
            form = Message("{value}: it counts beside the two others, which should read the same.", value=_read(say))
            return form, says
        return text, says

    # -- what would be seen ---------------------------------------------------------------------------------

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, weighing = outlook.bench, outlook.weighing
        ask = _Asked(bench, probe)
        before = [t for t in outlook.taken if t.probe.part == probe.part and t.probe.id in ask.names]
        before = [t for t in before if t.seen.reading is not None]
        leads = outlook.leads if probe.quantity == "resistance" else outlook.leads[:1]
        offset = math.fsum(c * w for c, w in leads) if len(leads) > 1 else leads[0][0]
        triple = ask.triple(weighing, before, offset)
        sound = triple.paths((1.0, 1.0, 1.0))
        best = max(sound, key=lambda path: path.weight)
        middle = math.exp(best.mean)
        wide = 2.2 * math.sqrt(best.variance)
        edges = tuple(e * middle for e in _EDGES)
        if wide > 0.3:  # nothing read yet: any size
            edges = (middle * math.exp(-wide), middle * math.exp(wide))
        scale = weighing.scale(probe, offset)
        cut = cut_at(scale, edges)
        place = ask.names.index(probe.id)
        rows = {}
        for config in outlook.configs(ask.scope):
            modes = without(bench.modes_of(ask.scope, config), outlook.mended)
            rows[config] = ask.row(triple, modes, place, cut, STRAY * middle)
        quantity = Quantity(probe.quantity)
        labels = (*labels_between(edges, quantity), "OL")
        anything = tuple(flat(s) for s in cut)
        return outlook.by_config(probe, waits, labels, ask.scope, rows, edges, anything)


class _Asked:
    """Three readings of a part, ready to be asked about."""

    def __init__(self, bench: Bench, probe: Probe) -> None:
        self.bench, self.probe = bench, probe
        self.placed = bench.machine.part(probe.part)
        self.three = next(t for t in self.placed.family.alikes if probe.id in pair_names(self.placed, t))
        self.names = pair_names(self.placed, self.three)
        named = [name for pattern in self.three.pattern for name in pattern.modes]
        self.scope = scope_of(bench, probe.part, named)

    @cached_property
    def _unknown(self) -> tuple[float, float]:
        return expected(self.bench.machine, self.placed.id, self.three.size)

    def triple(self, weighing: Weighing, taken: Sequence[Taken], offset: float) -> Triple:
        """What was read of the three, the leads adding so much. [Ω]"""
        shown: list[list[Display]] = [[], [], []]
        for name, row in zip(self.names, shown, strict=True):
            own = [t for t in taken if t.probe.id == name and t.seen.reading is not None]
            different = list({t.seen.reading: t for t in own}.values())
            row += weighing.displays(different[-_LAST:], offset)
        median, sigma = self._unknown
        meter, quantity = self.probe.meter or weighing.meter, Quantity(self.three.quantity)
        wide = math.hypot(sigma, gain(meter, quantity, median))
        if quantity is Quantity.RESISTANCE and taken:
            factors = [copper(t.seen.temperature) for t in taken]
            wide = math.hypot(wide, max(s for _, s in factors))
            median *= math.fsum(f for f, _ in factors) / len(factors)
        own_sigma = math.log(self.three.balance) / Z95
        stray = STRAY * median

        def nothing(display: Display) -> float:
            return display.probability(0.0) if quantity is Quantity.RESISTANCE else dead(display, stray)

        return Triple(shown, median, wide, own_sigma, nothing)

    def patterns(self, modes: Mapping[str, str]) -> list[tuple[float, Times]]:
        """Factors of the three under a set of modes, with weights that sum to 1."""
        return _patterns(self.three, first_of(self._named, self.placed.id, modes))

    @cached_property
    def _named(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for pattern in self.three.pattern for name in pattern.modes))

    def value(self, triple: Triple, modes: Mapping[str, str]) -> float:
        """Probability of all readings under a set of modes. [-]"""
        return math.fsum(weight * triple.value(times) for weight, times in self.patterns(modes))

    def row(
        self, triple: Triple, modes: Mapping[str, str], place: int, cut: Sequence[object], stray: float
    ) -> Row:
        """Probability of each stretch of the next display of one pair. [-]"""
        weights, rows = [], []
        own = math.log(self.three.balance) / Z95
        for share, times in self.patterns(modes):
            paths = triple.paths(times)
            least = _FAINT * max(path.weight for path in paths)
            for path in paths:
                if path.weight < least:
                    continue
                factor = times[place]
                weights.append(share * path.weight)
                if factor <= 0.0:
                    rows.append(self._nothing_row(cut, stray))
                elif math.isinf(factor):
                    rows.append(shares_of(cut, math.inf, 0.0))  # type: ignore[arg-type]
                else:
                    sigma = math.hypot(math.sqrt(path.variance), own)
                    rows.append(shares_of(cut, factor * math.exp(path.mean), sigma))  # type: ignore[arg-type]
        total = math.fsum(weights) or 1.0
        return mixture([w / total for w in weights], rows)

    def _nothing_row(self, cut: Sequence[object], stray: float) -> Row:
        if self.three.quantity == "resistance":
            return shares_of(cut, 0.0, 0.0)  # type: ignore[arg-type]
        found = [dead(stretch, stray) for stretch in cut]  # type: ignore[arg-type]
        total = math.fsum(found) or 1.0
        return tuple(p / total for p in found)


@cache
def _patterns(three: Alike, name: str) -> list[tuple[float, Times]]:
    own = [p for p in three.pattern if name in p.modes] if name else []
    if not own:
        return [(1.0, (1.0, 1.0, 1.0))]
    total = math.fsum(p.share for p in own)
    return [
        (p.share / total / len(orders), times) for p in own for orders in (_orders(p.times),) for times in orders
    ]


def _all(shown: Sequence[Sequence[Display]]) -> list[Display]:
    return [display for row in shown for display in row]


def _between(text: Message, first: str, second: str) -> Message:
    return Message.of(text, first=first, second=second)


def _read(say: Sayings) -> str:
    from humclick.diagnosis.findings import shown_text

    return shown_text(say.taken.seen)


def _heat(machine: Machine) -> str:
    guard = machine.has(Role.PROTECTOR)
    return "internal_protector" if guard is not None and guard.family.sealed else "windings"


KINDS = (ThreeAlike(),)
