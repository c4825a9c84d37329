"""
Measurements between two points: what may be between the tips, what a display says of it, what it would show.

A kind says what parts a measurement depends on and what is predicted between the tips; the rest is here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import mul
from typing import ClassVar

from humclick.circuit.network import Setup, predict
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.cases import Config
from humclick.diagnosis.displays import Display, Edge, Stretch, cut_at, shares_of
from humclick.diagnosis.factors import Factor, flat, p_hot
from humclick.diagnosis.law import gain
from humclick.diagnosis.likelihood import Together, evidence
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Group, Model, Probe, Taken
from humclick.diagnosis.observations.outlook import Forecast, Outlook, Row
from humclick.diagnosis.observations.weighing import Weighing
from humclick.messages import Message
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY, Condition
from humclick.readings import Reading, format_si

__all__ = ["Measured", "Tips", "across", "labels_between", "mixture"]

#: Two predicted values closer than this ratio share a bin. [-]
_APART = 1.6
#: Most bins a measurement is cut into, OL not counted.
_MOST_BINS = 5
#: What the control is found to do is history once it was set.
_CONTROL = frozenset({"control.not_calling"})


@dataclass(frozen=True, slots=True)
class Tips:
    """
    What may be between the tips of a meter.

    Attributes
    ----------
    states : tuple of (weight, median, ln standard deviation)
        Weights sum to 1; a median is infinite where nothing conducts. In the probe's SI unit.
    renewed : bool
        Whether every reading finds another state and value (a contact that scatters); else repeats
        share them.
    """

    states: tuple[tuple[float, float, float], ...]
    renewed: bool


@dataclass(frozen=True, slots=True)
class _Touched:
    """Where the tips are, and what is wrong there."""

    probe: str
    hot: bool
    modes: frozenset[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """All that the rows of a forecast depend on."""

    probe: str
    hot: float
    mended: frozenset[str]
    offset: float
    readings: tuple[Reading | None, ...]
    meter: Meter


_PREDICTED: Memory[_Touched, tuple[float, float]] = Memory()
_TIPS: Memory[_Touched, Tips] = Memory()
_ROWS: Memory[_Foreseen, dict[Config, Row]] = Memory()
_EDGES: Memory[str, tuple[tuple[float, ...], tuple[str, ...]]] = Memory()


def across(bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool) -> tuple[float, float]:
    """
    Median and ln standard deviation of the ohms between a probe's two points; infinite where open. [Ω], "
    "[-]
    """
    assert probe.points is not None
    setup = Setup(condition=Condition(hot=hot, turned=probe.turned), alone=probe.part)
    got = predict(bench.machine, modes, setup, probe.points)
    return got.ohms, got.sigma


class Measured(Model):
    """A measurement whose reading depends on a few parts."""

    beside_healthy: ClassVar[bool] = False

    # -- what a kind says -----------------------------------------------------------------------------------

    def scope(self, bench: Bench, probe: Probe) -> tuple[int, ...]:
        """Parts it depends on, by their indices."""
        return (bench.place[probe.part],)

    def between_tips(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        """
        Median and ln standard deviation of what is really between the tips.

        Infinite where nothing conducts, zero where nothing is there to charge or to feed.
        """
        raise NotImplementedError

    def telling(self, bench: Bench, modes: dict[str, str]) -> dict[str, str]:
        """The modes that its reading can tell from sound."""
        return modes

    def nothing(self, bench: Bench, probe: Probe, stretches: Sequence[Stretch]) -> float:
        """Probability of displays, together, where nothing is there to charge or to feed. [-]"""
        return math.prod(stretch.probability(0.0) for stretch in stretches)

    def common(self, meter: Meter, quantity: Quantity, median: float) -> float:
        """What is common to readings of one unknown: the meter's gain; a ln standard deviation. [-]"""
        return gain(meter, quantity, median)

    def edges(
        self, bench: Bench, probe: Probe, quantity: Quantity
    ) -> tuple[tuple[float, ...], tuple[str, ...]]:
        """Edges of the bins a forecast has, and what they are called, OL with them. [SI]"""
        medians = set()
        for part in self.scope(bench, probe):
            for mode in bench.space.modes[part]:
                for hot in (False, True):
                    median, _ = self.predicted(bench, probe, {bench.parts[part]: mode.name}, hot)
                    if math.isfinite(median) and median > 0.0:
                        medians.add(median)
        healthy, sigma = self.predicted(bench, probe, {}, False)
        edges = _cut_between(sorted(medians), healthy, sigma)
        return edges, (*labels_between(edges, quantity), "OL")

    # -- between the tips -----------------------------------------------------------------------------------

    def predicted(
        self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool
    ) -> tuple[float, float]:
        """As `between_tips`, worked out once for a bench."""
        table, key = _PREDICTED.of(bench), _Touched(probe.id, hot, frozenset(modes.items()))
        value = table.get(key)
        if value is None:
            value = table[key] = self.between_tips(bench, probe, modes, hot)
        return value

    def tips(self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool) -> Tips:
        """Everything that may be between the tips under a set of modes: states with weights."""
        table, key = _TIPS.of(bench), _Touched(probe.id, hot, frozenset(modes.items()))
        value = table.get(key)
        if value is None:
            value = table[key] = self._states(bench, probe, modes, hot)
        return value

    def _states(self, bench: Bench, probe: Probe, modes: Mapping[str, str], hot: bool) -> Tips:
        median, sigma = self.predicted(bench, probe, modes, hot)
        states: tuple[tuple[float, float, float], ...] = ((1.0, median, sigma),)
        faults = {part: bench.machine.part(part).family.mode(mode) for part, mode in modes.items()}
        for part, mode in faults.items():
            if not mode.makes or not math.isfinite(median):
                continue
            sound = self.predicted(bench, probe, {p: m for p, m in modes.items() if p != part}, hot)
            if median != sound[0]:  # it lies between the tips
                rest = 1.0 - mode.makes - mode.loses
                states = ((mode.makes, *sound), (mode.loses, math.inf, 0.0), (rest, median, sigma))
        if probe.part:
            own = bench.machine.part(probe.part).family.mode(modes.get(probe.part, HEALTHY))
            opens = own.hot_open if hot else 0.0
            if own.bare and probe.quantity == "resistance":  # a resistor never fitted is no fault
                without = bench.machine.size(probe.part, "bare")
                states = ((own.bare, without.median, without.sigma), (1.0 - own.bare, median, sigma))
            if opens:
                states = ((opens, math.inf, 0.0), *((w * (1.0 - opens), m, s) for w, m, s in states))
        return Tips(states, any(mode.scattered for mode in faults.values()))

    # -- what was seen --------------------------------------------------------------------------------------

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        probe, observation = taken
        return Group(probe.id, observation.temperature.kind, mended=mended & (_CONTROL | {probe.part}))

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe, bench = taken[0].probe, weighing.bench
        scope = self.scope(bench, probe)
        warm = self._warm(weighing, taken[0]) if probe.heat else 0.0
        leads = len(weighing.leads)
        adding = weighing.leads if probe.quantity == "resistance" else weighing.leads[:1]
        displays = [weighing.displays(taken, c) for c, _ in adding]
        table: dict[Config, Row] = {}
        known: dict[frozenset[tuple[str, str]], Row] = {}
        for config in bench.configs(scope):
            modes = self.telling(bench, without(bench.modes_of(scope, config), mended))
            key = frozenset(modes.items())
            if key not in known:
                row = tuple(self._value(weighing, probe, modes, by_lead, warm) for by_lead in displays)
                known[key] = row if len(row) == leads else row * leads
            table[config] = known[key]
        healthy = weighing.mean(table[(0,) * len(scope)])
        return Factor((), scope, table, None, weighing.none(healthy, displays[0]))

    @staticmethod
    def _warm(weighing: Weighing, taken: Taken) -> float:
        """Probability that the part is hot: a hand feels the machine, a small part cools sooner. [-]"""
        felt = taken.observation.temperature
        return p_hot(felt, weighing.slips["hot_but_cool" if felt.kind == "hot" else "cold_but_warm"])

    def _value(
        self,
        weighing: Weighing,
        probe: Probe,
        modes: Mapping[str, str],
        displays: Sequence[Display],
        hot: float,
    ) -> float:
        cold = self._at(weighing, probe, modes, displays, False)
        if hot <= 0.0:
            return cold
        return hot * self._at(weighing, probe, modes, displays, True) + (1.0 - hot) * cold

    def _at(
        self,
        weighing: Weighing,
        probe: Probe,
        modes: Mapping[str, str],
        displays: Sequence[Display],
        hot: bool,
    ) -> float:
        tips = self.tips(weighing.bench, probe, modes, hot)
        together = [[d] for d in displays] if tips.renewed else [displays]
        return math.prod(
            math.fsum(w * self._integral(weighing, probe, repeats, median, s) for w, median, s in tips.states)
            for repeats in together
        )

    def _integral(
        self, weighing: Weighing, probe: Probe, displays: Sequence[Display], median: float, sigma: float
    ) -> float:
        quantity = Quantity(probe.quantity)
        if median <= 0.0 and quantity is not Quantity.RESISTANCE:
            return max(self.nothing(weighing.bench, probe, displays), 1e-300)
        sigma = math.hypot(sigma, self.common(probe.meter or weighing.meter, quantity, median))
        return Together(displays).value(median, sigma)

    def healthy(self, bench: Bench, probe: Probe) -> tuple[float, float] | None:
        return self.predicted(bench, probe, {}, False) if self.beside_healthy else None

    def cold_and_hot(self, bench: Bench, probe: Probe) -> tuple[tuple[float, float], ...] | None:
        if not probe.heat:
            return None
        return tuple(self.predicted(bench, probe, {}, hot) for hot in (False, True))

    # -- what would be seen ---------------------------------------------------------------------------------

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, quantity = outlook.bench, Quantity(probe.quantity)
        scope = self.scope(bench, probe)
        hot = outlook.hot(probe, waits) if probe.heat else 0.0
        before = [
            t
            for t in outlook.taken
            if t.probe.id == probe.id
            and t.observation.reading is not None
            and (t.observation.temperature.kind != "hot" or not waits)
        ]
        if probe.id not in (known := _EDGES.of(bench)):
            known[probe.id] = self.edges(bench, probe, quantity)
        edges, labels = known[probe.id]
        leads = outlook.leads if quantity is Quantity.RESISTANCE else outlook.leads[:1]
        weights = [w for _, w in leads] if len(leads) > 1 else [1.0]
        makers = [self._maker(outlook, probe, offset, before, hot, edges) for offset, _ in leads]
        rows = {
            config: mixture(weights, [maker(config) for maker in makers]) for config in outlook.configs(scope)
        }
        anything = tuple(flat(s) for s in cut_at(outlook.weighing.scale(probe, 0.0), edges))
        return outlook.by_config(probe, waits, labels, scope, rows, edges, anything)

    def _maker(
        self,
        outlook: Outlook,
        probe: Probe,
        offset: float,
        before: Sequence[Taken],
        hot: float,
        edges: Sequence[float],
    ) -> Callable[[Config], Row]:
        """What makes the row of a mode configuration, the leads adding so much; worked out once. [Ω]"""
        bench, weighing = outlook.bench, outlook.weighing
        readings = tuple(t.observation.reading for t in before)
        meter = probe.meter or weighing.meter
        table = _ROWS.of(bench).setdefault(
            _Foreseen(probe.id, hot, outlook.mended, offset, readings, meter), {}
        )
        scope, ahead = self.scope(bench, probe), Ahead(weighing, probe, offset, before, edges)

        def row(config: Config) -> Row:
            if config not in table:
                modes = self.telling(bench, without(bench.modes_of(scope, config), outlook.mended))
                cold = self._foreseen(ahead, modes, False) if hot < 1.0 else ()
                warm = self._foreseen(ahead, modes, True) if hot > 0.0 else cold
                table[config] = mixture((1.0 - hot, hot), (cold or warm, warm))
            return table[config]

        return row

    def _foreseen(self, ahead: Ahead, modes: Mapping[str, str], hot: bool) -> Row:
        """What the display after those shown will be, in one heat."""
        tips = self.tips(ahead.weighing.bench, ahead.probe, modes, hot)
        weights, rows = [], []
        for weight, median, sigma in tips.states:
            if median <= 0.0 and ahead.quantity is not Quantity.RESISTANCE:
                bench, earlier = ahead.weighing.bench, ahead.shown
                likely = self.nothing(bench, ahead.probe, earlier) if earlier else 1.0
                row = tuple(
                    self.nothing(bench, ahead.probe, (*earlier, s)) / max(likely, 1e-300)
                    for s in ahead.stretches
                )
            else:
                wide = math.hypot(sigma, self.common(ahead.meter, ahead.quantity, median))
                likely, row = ahead.of(median, wide, renewed=tips.renewed)
            weights.append(weight if tips.renewed else weight * likely)
            rows.append(row)
        total = math.fsum(weights) or 1.0
        return mixture([w / total for w in weights], rows)


class Ahead:
    """
    The next display of a probe, cut at the edges of a forecast, after those shown.

    Parameters
    ----------
    weighing, probe, offset
        The machine, what is measured, what the leads add. [Ω]
    before : sequence of Taken
        Shown already of the same unknown.
    edges : sequence of float
        Ascending. [SI]
    """

    def __init__(
        self,
        weighing: Weighing,
        probe: Probe,
        offset: float,
        before: Sequence[Taken],
        edges: Sequence[float],
    ) -> None:
        self.weighing, self.probe = weighing, probe
        self.meter, self.quantity = probe.meter or weighing.meter, Quantity(probe.quantity)
        self.shown = weighing.displays(before, offset)
        self._scale = weighing.scale(probe, offset)
        self.stretches = cut_at(self._scale, edges)

    def of(self, median: float, sigma: float, *, renewed: bool) -> tuple[float, Row]:
        """Probability of what was shown of an unknown, and the row of what will be. [-]"""
        if renewed or not self.shown:
            return 1.0, shares_of(self.stretches, median, sigma)
        cuts = [Edge(self._scale, s.high) for s in self.stretches[:-1]]
        before = evidence([*self.shown, *cuts], median, sigma)
        values, weights = zip(*before.nodes, strict=True)
        row = [math.fsum(map(mul, weights, s.probabilities(values))) for s in self.stretches]
        return max(before.value, 1e-300), tuple(row)


def mixture(weights: Sequence[float], rows: Sequence[Row]) -> Row:
    """Rows taken together by their weights."""
    if len(rows) == 1:
        return rows[0]
    return tuple([math.fsum(map(mul, weights, column)) for column in zip(*rows, strict=True)])


def _cut_between(medians: Sequence[float], healthy: float, sigma: float) -> tuple[float, ...]:
    edges: list[float] = []
    for low, high in itertools.pairwise(medians):
        if high / low > _APART:
            edges.append(math.sqrt(low * high))
    if math.isfinite(healthy) and healthy > 0.0 and sigma > 0.0:
        for edge in (healthy * math.exp(-2.3 * sigma), healthy * math.exp(2.3 * sigma)):
            if all(abs(math.log(edge / e)) > 0.4 for e in edges):
                edges.append(edge)
    elif not edges and medians:
        edges = [2.0 * medians[-1]]
    edges.sort()
    while len(edges) > _MOST_BINS - 1:
        nearest = healthy if math.isfinite(healthy) and healthy > 0.0 else edges[0]
        edges.remove(max(edges, key=lambda e: abs(math.log(e / nearest))))
    return tuple(edges or [1e6])


def labels_between(edges: Sequence[float], quantity: Quantity) -> tuple[str, ...]:
    """What the bins between edges are called. [SI]"""
    amounts = [format_si(e, quantity, 2) for e in edges]
    middle = [Message("{low} to {high}", low=a, high=b) for a, b in itertools.pairwise(amounts)]
    low, high = Message("below {amount}", amount=amounts[0]), Message("above {amount}", amount=amounts[-1])
    return (low, *middle, high)
