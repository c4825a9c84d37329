"""
What the observations of a call say about each hypothesis.

Observations that share an unknown are weighed together: repeats of one measurement, all readings between the
pins. What lies outside the model's parts, the resistance of the test leads, is a common unknown on a few
nodes. The result is a list of factors: each is a table over the modes of a few parts, or one number per
hypothesis.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.factors import Compiled, Factor, dead, flat, p_hot, uncharged
from humclick.diagnosis.likelihood import Display, evidence, gain
from humclick.diagnosis.probes import Kind, Probe
from humclick.diagnosis.situation import Observation, Situation, called
from humclick.diagnosis.whole import WholeMachine
from humclick.diagnosis.windings import PERMUTATIONS, PinDisplay, WindingEvidence
from humclick.errors import Refused, Unknown
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY
from humclick.physics.copper import resistance_at
from humclick.readings import Leads, PartTemperature

__all__ = ["Compiled", "Compiler", "Factor", "compile_evidence", "lead_nodes", "p_hot", "winding_setup"]

_IDENTITY = ("C", "R", "S")
#: Ways the pins may lie that are this improbable against the best are not followed to every lead node. [-]
_ALIVE = 1e-3
_CONTROL = frozenset({"control.not_calling"})


def lead_nodes(leads: Leads, null_forgotten: float) -> tuple[tuple[float, float], ...]:
    """Nodes of what the test leads add, with prior weights. [Ω], [-]"""
    if leads.spread is None:
        offset = leads.offset or 0.0
        if leads.nulled and null_forgotten > 0.0:
            return ((offset, 1.0 - null_forgotten), (0.25, null_forgotten))
        return ((offset, 1.0),)
    sigma, median = leads.spread.sigma, leads.spread.median
    reach = math.sqrt(3.0) * sigma  # three-point Gauss–Hermite rule
    return (
        (median * math.exp(-reach), 1 / 6),
        (median, 2 / 3),
        (median * math.exp(reach), 1 / 6),
    )


def _copper(temperature: PartTemperature) -> tuple[float, float]:
    """Factor on a winding for its temperature, and its ln standard deviation. [-], [-]"""
    low, high = temperature.between
    at = [resistance_at(t, 1.0, 25.0) for t in (low, 0.5 * (low + high), high)]
    return at[1], (at[2] - at[0]) / at[1] / math.sqrt(12.0)


class Compiler:
    """Turns observations into factors, one group of a shared unknown at a time."""

    def __init__(self, bench: Bench, situation: Situation) -> None:
        self.bench = bench
        self.situation = situation
        self.slips = bench.shop.slips
        self.meter: Meter = situation.meter
        self.leads = lead_nodes(situation.leads, self.slips["null_forgotten"])
        self.as_healthy = bench.shop.none["as_healthy"]
        self.whole = WholeMachine(bench, situation, self.leads)

    # -- the whole --------------------------------------------------------------------------------------

    def compiled(self) -> Compiled:
        """All factors of the situation."""
        factors = [self.whole.complaint()]
        groups: dict[tuple[object, ...], list[int]] = {}
        for i, seen in enumerate(self.situation.observations):
            probe = self.bench.probe(seen.probe)
            _refuse_unmeant(probe, seen)
            groups.setdefault(self._group(probe, seen, self._mended([i])), []).append(i)
        for key, members in groups.items():
            factors.append(self._factor(key, members))
        return Compiled(tuple(factors), self.leads)

    def _mended(self, members: Sequence[int]) -> frozenset[str]:
        """Parts new, and modes put right, before some observations."""
        first = self.situation.observations[members[0]]
        return first.renewed | called(self.situation.observations[: members[0]])

    def _group(self, probe: Probe, seen: Observation, mended: frozenset[str]) -> tuple[object, ...]:
        if probe.kind is Kind.PINS:
            return ("pins", probe.id[5].isdigit())
        if probe.kind is Kind.SHELL:  # one insulation, whatever it is read with
            return ("shell", seen.temperature.kind, "run_winding" in mended)
        if probe.kind in (Kind.TEST, Kind.VOLTS, Kind.FEED, Kind.LEADS):
            return (probe.id, seen.temperature.kind, probe.part in mended, bool(mended & _CONTROL))
        if probe.kind in (Kind.LOOK, Kind.ATTEMPT, Kind.KNOWN_GOOD):  # seeing the same again is not news
            return (probe.id, seen.answer, seen.temperature.kind, mended)
        return (probe.id, seen.id, self.situation.observations.index(seen))

    def _factor(self, key: tuple[object, ...], members: Sequence[int]) -> Factor:
        seen = [self.situation.observations[i] for i in members]
        memory_key = (
            key,
            tuple((o.probe, o.reading, o.answer, o.temperature, o.causes) for o in seen),
            self._mended(members),
            self.leads,
            self.meter,
        )
        kept = self.bench.memory.get(memory_key)
        if isinstance(kept, Factor):
            return replace(kept, observations=tuple(members))
        factor = self._made(key, tuple(members), seen)
        self.bench.memory[memory_key] = factor
        return factor

    def _made(self, key: tuple[object, ...], members: tuple[int, ...], seen: list[Observation]) -> Factor:
        if key[0] == "pins":
            return self._pins(members, seen, named=not key[1])
        probe = self.bench.probe(seen[0].probe)
        if probe.kind is Kind.CHECK:
            return Factor(members)
        if probe.kind is Kind.LOOK:
            return self._look(members, probe, seen[0])
        if probe.kind is Kind.LEADS:
            return self._lead_reading(members, seen)
        if probe.kind is Kind.RECORDED and seen[0].causes:
            return self.whole.recorded(members, seen[0], self._mended(members))
        if probe.kind in (Kind.ATTEMPT, Kind.KNOWN_GOOD, Kind.FIT, Kind.RECORDED):
            return self.whole.attempt(members, probe, seen[0], self._mended(members))
        if probe.kind is Kind.VOLTS_START:
            return self.whole.volts_start(members, seen[0], self._mended(members))
        if probe.kind is Kind.AMPS:
            return self.whole.amps(members, seen[0], self._mended(members))
        if probe.kind is Kind.BETWEEN:
            return self.whole.between(members, probe, seen[0])
        return self._measured(members, probe, seen)

    # -- single parts -----------------------------------------------------------------------------------

    def displays(self, seen: Sequence[Observation], offset: float) -> list[Display]:
        """What was shown, each by its meter, with what the leads add. [Ω]"""
        return [
            Display(o.reading, self.bench.probe(o.probe).meter or self.meter, self.slips, offset)
            for o in seen
            if o.reading is not None
        ]

    def scope_of(self, probe: Probe) -> tuple[int, ...]:
        """Parts a measurement depends on."""
        place = self.bench.place
        if probe.kind is Kind.SHELL:
            inside = ("internal_protector", "run_winding", "start_winding")
            return tuple(place[p] for p in inside if p in place)
        if probe.kind is Kind.FEED:
            return (place["supply"], place["control"])
        return (place[probe.part],)

    def _measured(self, members: tuple[int, ...], probe: Probe, seen: list[Observation]) -> Factor:
        scope = self.scope_of(probe)
        mended = self._mended(members)
        hot = p_hot(seen[0].temperature, self.slips["cold_but_warm"]) if probe.heat else 0.0
        table: dict[tuple[int, ...], tuple[float, ...]] = {}
        per_node = [self.displays(seen, c) for c, _ in self.leads]
        if probe.quantity != "resistance":
            per_node = per_node[:1]
        configs, _ = self.bench.index(scope)
        for config in configs:
            modes = without(self.bench.modes_of(scope, config), mended)
            row = tuple(self._value(probe, modes, displays, hot) for displays in per_node)
            table[config] = row if len(row) == len(self.leads) else row * len(self.leads)
        healthy = table[(0,) * len(scope)]
        none = self._none(healthy, per_node[0])
        return Factor(members, scope, table, None, none)

    def _value(
        self, probe: Probe, modes: Mapping[str, str], displays: Sequence[Display], hot: float
    ) -> float:
        cold = self._at(probe, modes, displays, False)
        return cold if hot <= 0.0 else hot * self._at(probe, modes, displays, True) + (1.0 - hot) * cold

    def _at(self, probe: Probe, modes: Mapping[str, str], displays: Sequence[Display], hot: bool) -> float:
        tips = self.bench.tips(probe, modes, hot)
        taken = [[d] for d in displays] if tips.renewed else [displays]
        return math.prod(
            math.fsum(
                weight * self._integral(probe, together, median, sigma)
                for weight, median, sigma in tips.states
            )
            for together in taken
        )

    def _integral(self, probe: Probe, displays: Sequence[Display], median: float, sigma: float) -> float:
        quantity = Quantity(probe.quantity)
        if quantity is Quantity.VOLTAGE and median <= 0.0:
            return math.prod(dead(d, 0.2 * self.bench.machine.nameplate.volts) for d in displays)
        if quantity is Quantity.CAPACITANCE and median <= 0.0:
            return math.prod(uncharged(d) for d in displays)
        sigma = math.hypot(sigma, gain(probe.meter or self.meter, quantity, median))
        if probe.kind is Kind.SHELL:
            sigma = math.hypot(sigma, _copper(PartTemperature())[1])
        return max(evidence(displays, median, sigma).value, 1e-300)

    def _none(self, healthy: Sequence[float], displays: Sequence[Display]) -> float:
        mean = (
            sum(h * w for h, (_, w) in zip(healthy, self.leads, strict=False))
            if len(healthy) > 1
            else healthy[0]
        )
        anything = math.prod(flat(d) for d in displays)
        return self.as_healthy * mean + (1.0 - self.as_healthy) * anything

    def _look(self, members: tuple[int, ...], probe: Probe, seen: Observation) -> Factor:
        look = self.bench.look(probe)
        part = self.bench.place[probe.part]
        n = len(look.outcomes)
        if seen.answer not in look.outcomes:  # "not sure" says nothing
            return Factor(members)
        k = look.outcomes.index(seen.answer)
        wrong = self.slips["look_wrong"]
        table: dict[tuple[int, ...], tuple[float, ...]] = {}
        for m, mode in enumerate(self.bench.space.modes[part]):
            row = look.table.get(
                HEALTHY if probe.part in seen.renewed else mode.name, look.table["otherwise"]
            )
            table[(m,)] = ((1.0 - wrong) * row[k] + wrong / n,) * len(self.leads)
        none = self.as_healthy * table[(0,)][0] + (1.0 - self.as_healthy) / n
        return Factor(members, (part,), table, None, none)

    def _lead_reading(self, members: tuple[int, ...], seen: Sequence[Observation]) -> Factor:
        displays = self.displays(seen, 0.0)
        row = tuple(math.prod(d.probability(max(c, 0.0)) for d in displays) for c, _ in self.leads)
        mean = sum(p * w for p, (_, w) in zip(row, self.leads, strict=True))
        return Factor(members, (), {(): row}, None, mean)

    # -- pins ---------------------------------------------------------------------------------------------

    def _pins(self, members: tuple[int, ...], seen: list[Observation], *, named: bool) -> Factor:
        setup = winding_setup(self.bench, self.situation, seen)
        windings, displays = setup.windings, setup.displays
        mixed = self.slips["pins_mixed"]
        naming = dict.fromkeys(PERMUTATIONS, 1 / 6)
        if named:
            naming = {n: 1.0 - mixed if n == _IDENTITY else mixed / 5 for n in PERMUTATIONS}
        straight = {_IDENTITY: naming[_IDENTITY]} if named else naming
        middle = len(self.leads) // 2
        shown = displays(self.leads[middle][0])
        central = windings.evidence(shown, straight)
        rest = {}
        if named and not self._agree(windings, shown, straight, central):
            rest = self._crossed(windings, shown, naming)
        most = {n: max(row[n] for row in central.values()) for n in straight}
        alive = {n: w for n, w in straight.items() if most[n] >= _ALIVE * max(most.values())}
        rows: dict[tuple[str, str, str], list[float]] = {s: [] for s in windings.modes()}
        for g, (offset, _) in enumerate(self.leads):
            got = central if g == middle else windings.evidence(displays(offset), alive)
            for sealed, row in rows.items():
                row.append(math.fsum({**central[sealed], **got[sealed]}.values()) + rest.get(sealed, 0.0))
        opened: dict[frozenset[str], dict[tuple[str, str, str], list[float]]] = {}
        if windings.internal:
            tripped = [s for s in windings.modes() if s[2] == "tripped"]
            for epochs in setup.subsets():
                opened[epochs] = {s: [] for s in tripped}
                for offset, _ in self.leads:
                    got = windings.evidence(displays(offset, epochs), alive, tripped)
                    for sealed, row in opened[epochs].items():
                        row.append(math.fsum(got[sealed].values()) + rest.get(sealed, 0.0))
        return self._sealed_factor(members, rows, opened, setup, displays(self.leads[middle][0]))

    @staticmethod
    def _agree(
        windings: WindingEvidence,
        displays: Sequence[PinDisplay],
        naming: Mapping[tuple[str, str, str], float],
        together: Mapping[tuple[str, str, str], Mapping[tuple[str, str, str], float]],
    ) -> bool:
        """
        Whether labelled readings fit each other at least as well as each fits by itself.

        Then that the labels are mixed up has no more than the small weight of that slip and is left out.
        """
        alone = 1.0
        for d in displays:
            got = windings.evidence([d], naming)
            alone *= max(math.fsum(row.values()) for row in got.values())
        return max(math.fsum(row.values()) for row in together.values()) >= alone

    @staticmethod
    def _crossed(
        windings: WindingEvidence,
        displays: Sequence[PinDisplay],
        naming: Mapping[tuple[str, str, str], float],
    ) -> dict[tuple[str, str, str], float]:
        """
        Evidence that labelled pins were taken for one another, by sealed mode.

        Worked out for sound and open windings; a winding otherwise faulty is taken as sound here, since the
        whole has only the weight of that slip.
        """
        crossed = {n: w for n, w in naming.items() if n != _IDENTITY}
        plain = [s for s in windings.modes() if {s[0], s[1]} <= {HEALTHY, "open"}]
        got = windings.evidence(displays, crossed, plain)
        sums = {s: math.fsum(row.values()) for s, row in got.items()}

        def like(sealed: tuple[str, str, str]) -> tuple[str, str, str]:
            run, start = (m if m == "open" else HEALTHY for m in sealed[:2])
            return run, start, sealed[2]

        return {s: sums[like(s)] for s in windings.modes()}

    def _sealed_factor(
        self,
        members: tuple[int, ...],
        rows: Mapping[tuple[str, str, str], Sequence[float]],
        opened: Mapping[frozenset[str], Mapping[tuple[str, str, str], Sequence[float]]],
        setup: WindingSetup,
        displays: Sequence[PinDisplay],
    ) -> Factor:
        windings = setup.windings
        names = ["run_winding", "start_winding"] + (["internal_protector"] if windings.internal else [])
        scope = tuple(sorted(self.bench.place[n] for n in names))
        table = {}
        configs, _ = self.bench.index(scope)
        for config in configs:
            modes = self.bench.modes_of(scope, config)
            run, start = modes.get("run_winding", HEALTHY), modes.get("start_winding", HEALTHY)
            guard = modes.get("internal_protector", HEALTHY)
            if not windings.internal or guard == "open":
                table[config] = tuple(rows[(run, start, guard)])
                continue
            once = 1.0 if guard == "tripped" else 0.5
            left, row = 1.0, [0.0] * len(self.leads)
            for epochs, lost in opened.items():
                weight = setup.weight(epochs, once)
                left -= weight
                row = [r + weight * x for r, x in zip(row, lost[(run, start, "tripped")], strict=True)]
            closed = rows[(run, start, HEALTHY)]
            table[config] = tuple(r + max(left, 0.0) * x for r, x in zip(row, closed, strict=True))
        none = self._none(table[(0,) * len(scope)], [d.display for d in displays])
        return Factor(members, scope, table, None, none)


@dataclass(frozen=True)
class WindingSetup:
    """
    Pin readings made ready for `WindingEvidence`.

    Attributes
    ----------
    windings : WindingEvidence
        With the spread that meter gain and temperature add.
    seen : tuple of (first pin, second pin, observation, copper factor)
        The readings that have a value.
    hot : mapping of epoch to float
        Readings taken at one temperature are an epoch, in which an internal protector stays as it is:
        probability that it was hot then. [-]
    """

    windings: WindingEvidence
    seen: tuple[tuple[int, int, Observation, float], ...]
    hot: Mapping[str, float]
    situation: Situation
    slips: Mapping[str, float]

    def displays(self, offset: float, opened: frozenset[str] = frozenset()) -> list[PinDisplay]:
        """Displays with a given lead offset, an internal protector open in some epochs. [Ω]"""
        return [
            PinDisplay(
                i,
                j,
                Display(o.reading, self.situation.meter, self.slips, offset),
                copper,
                _epoch(o.temperature) in opened,
            )
            for i, j, o, copper in self.seen
            if o.reading is not None
        ]

    def subsets(self) -> list[frozenset[str]]:
        """Sets of epochs in which an internal protector may have been open, improbable ones left out."""
        names = sorted(self.hot)
        every = (frozenset(c) for k in range(1, len(names) + 1) for c in itertools.combinations(names, k))
        return [c for c in every if self.weight(c, 1.0) > 1e-4]

    def weight(self, opened: frozenset[str], once: float) -> float:
        """Probability that it was open in just these epochs, open with `once` where it is hot. [-]"""
        return math.prod(once * p if e in opened else 1.0 - once * p for e, p in self.hot.items())


def _refuse_unmeant(probe: Probe, seen: Observation) -> None:
    """Refuse an observation that is not of its probe: another quantity, or an answer it does not have."""
    if seen.reading is not None and str(seen.reading.quantity) != probe.quantity:
        right = f"it reads {probe.quantity}" if probe.quantity else f"answer {', '.join(probe.outcomes)}"
        raise Refused(
            f"{probe.id} is no {seen.reading.quantity} ({seen.reading.text or 'a reading'}): {right}"
        )
    if seen.answer and seen.answer not in (*probe.outcomes, "not sure"):
        raise Unknown(f"answer to {probe.id}", seen.answer, probe.outcomes or ("a reading",))


def _epoch(temperature: PartTemperature) -> str:
    if temperature.kind == "measured":
        return "hot" if p_hot(temperature, 0.0) > 0.5 else "cold"
    return temperature.kind


_PIN_INDEX = {"C": 0, "R": 1, "S": 2, "1": 0, "2": 1, "3": 2}


def winding_setup(bench: Bench, situation: Situation, seen: Sequence[Observation]) -> WindingSetup:
    """Make pin readings ready, their temperatures and the meter's gain put into factors and spreads."""
    slips = bench.shop.slips
    factors = [_copper(o.temperature) for o in seen] or [(1.0, 0.0)]
    felt = [
        (o.temperature.kind, f[0])
        for o, f in zip(seen, factors, strict=False)
        if o.temperature.kind != "unknown"
    ]
    if len({kind for kind, _ in felt}) == 1:  # all windings sit in one shell: what nobody felt is as warm
        shared = math.fsum(factor for _, factor in felt) / len(felt)
        factors = [
            (shared, f[1]) if o.temperature.kind == "unknown" else f
            for o, f in zip(seen, factors, strict=True)
        ]
    typical = bench.machine.size("run_winding", "winding").median
    widen = math.hypot(gain(situation.meter, Quantity.RESISTANCE, typical), max(f[1] for f in factors))
    hot = {_epoch(o.temperature): p_hot(o.temperature, slips["cold_but_warm"]) for o in seen}
    rows = []
    for o, (copper, _) in zip(seen, factors, strict=False):
        first, second = o.probe.removeprefix("pins.").split("-")
        rows.append((_PIN_INDEX[first], _PIN_INDEX[second], o, copper))
    return WindingSetup(WindingEvidence(bench.machine, widen), tuple(rows), hot, situation, slips)


def compile_evidence(bench: Bench, situation: Situation) -> Compiled:
    """
    Turn a situation's complaint and observations into factors.

    Raises
    ------
    Refused
        If an observation is of another quantity than its probe.
    Unknown
        If an observation names a probe the machine does not have, or an answer the probe does not have.
    """
    return Compiler(bench, situation).compiled()
