"""
What each probe not yet taken would show: outcomes and their probabilities under each hypothesis.

A measurement is cut into a few bins, with edges between what the modes predict, plus OL. What has been read
before of the same unknown is taken into account. Used for planning only; the posterior itself weighs exact
readings.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.evidence import Compiler, p_hot, winding_setup
from humclick.diagnosis.likelihood import Display, bins_of, evidence, gain, nodes_of
from humclick.diagnosis.probes import Kind, Probe
from humclick.diagnosis.situation import Situation, called, warmth
from humclick.diagnosis.suspects import Posterior
from humclick.diagnosis.whole import clamp_of, in_steps, locked_amps
from humclick.messages import Message
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import PartTemperature, format_si
from humclick.start.rows import OUTCOMES

__all__ = ["Forecast", "forecast"]

#: Two predicted values closer than this ratio share a bin. [-]
_APART = 1.6
#: Most bins a measurement is cut into, OL not counted.
_MOST_BINS = 5
_COLD = PartTemperature("cold")
#: Edges between amps of a start attempt, over the locked-rotor current. [-]
_AMPS_EDGES = (0.03, 0.35, 0.72, 0.88, 1.15)


@dataclass(frozen=True)
class Forecast:
    """
    Outcomes of one probe.

    Attributes
    ----------
    probe : Probe
        The probe.
    waits : float
        Minutes to wait before it can decide. [min]
    labels : tuple of str
        Outcomes in words.
    rows : list of tuple of float
        Distinct rows of outcome probabilities; each sums to 1. [-]
    which : list of int
        Row of each hypothesis asked for.
    none : tuple of float
        Row of "none of these".
    """

    probe: Probe
    waits: float
    labels: tuple[str, ...]
    rows: list[tuple[float, ...]]
    which: list[int]
    none: tuple[float, ...]


class _Forecaster:
    def __init__(self, bench: Bench, situation: Situation, post: Posterior, chosen: Sequence[int]) -> None:
        self.bench = bench
        self.situation = situation
        self.chosen = chosen
        self.compiler = Compiler(bench, situation)
        self.offset = round(
            sum(c * w for c, w in post.leads), 3
        )  # in steps, so that what is kept is the same
        self.as_healthy = bench.shop.none["as_healthy"]
        self.post = post
        self.mended = situation.renewed | called(situation.observations)

    def of(self, probe: Probe, *, waits: float) -> Forecast | None:
        """Forecast of a probe, cold after a wait or as things stand now; None if it has nothing to tell."""
        if probe.kind in (Kind.LEADS, Kind.BETWEEN, Kind.RECORDED, Kind.CHECK):
            return None  # read as a courtesy, or made on demand; never advised
        if probe.kind is Kind.LOOK:
            return self._look(probe)
        if probe.kind in (Kind.ATTEMPT, Kind.KNOWN_GOOD, Kind.FIT):
            return self._attempt(probe, waits)
        if probe.kind is Kind.VOLTS_START:
            return self._volts_start(probe)
        if probe.kind is Kind.AMPS:
            return self._amps(probe, waits)
        if probe.kind is Kind.PINS:
            return self._pins(probe, waits)
        return self._measured(probe, waits)

    def _hot(self, probe: Probe, waits: float) -> float:
        """Probability that what the probe looks at is hot when it is taken."""
        situation = self.situation
        warm = _COLD if waits else warmth(situation.hot, situation.waited, probe.heat)
        return p_hot(warm, self.bench.shop.slips["cold_but_warm"])

    # -- shapes ---------------------------------------------------------------------------------------

    def _table(
        self,
        probe: Probe,
        waits: float,
        labels: Sequence[str],
        scope: tuple[int, ...],
        rows: Mapping[tuple[int, ...], tuple[float, ...]],
    ) -> Forecast:
        configs, which = self.bench.index(scope)
        used = [which[h] for h in self.chosen]
        numbered = {k: i for i, k in enumerate(dict.fromkeys(used))}
        healthy = rows[(0,) * len(scope)]
        return Forecast(
            probe,
            waits,
            tuple(labels),
            [rows[configs[k]] for k in numbered],
            [numbered[k] for k in used],
            self._none(healthy),
        )

    def _none(self, healthy: Sequence[float]) -> tuple[float, ...]:
        n = len(healthy)
        return tuple(self.as_healthy * p + (1.0 - self.as_healthy) / n for p in healthy)

    def _needed(self, scope: tuple[int, ...]) -> list[tuple[int, ...]]:
        configs, which = self.bench.index(scope)
        wanted = {which[h] for h in self.chosen} | {0}
        return [configs[k] for k in sorted(wanted)]

    # -- kinds ----------------------------------------------------------------------------------------

    def _look(self, probe: Probe) -> Forecast:
        look = self.bench.look(probe)
        part = self.bench.place[probe.part]
        n = len(look.outcomes)
        wrong = self.bench.shop.slips["look_wrong"]
        rows: dict[tuple[int, ...], tuple[float, ...]] = {}
        for (m,) in self._needed((part,)):
            mode = HEALTHY if probe.part in self.situation.renewed else self.bench.mode(part, m).name
            row = look.table.get(mode, look.table["otherwise"])
            rows[(m,)] = tuple((1.0 - wrong) * p + wrong / n for p in row)
        return self._table(probe, 0.0, look.outcomes, (part,), rows)

    def _attempt(self, probe: Probe, waits: float) -> Forecast:
        hot = 0.0 if probe.kind is Kind.FIT else self._hot(probe, waits)
        renewed, known_good = self.mended | probe.mends, probe.kind is Kind.KNOWN_GOOD
        rows, which = self._by_attempt(attrgetter("listened"), hot, renewed, known_good=known_good)
        none = tuple(0.05 if o == "runs" else 0.95 / 5 for o in OUTCOMES)
        return Forecast(probe, waits, OUTCOMES, rows, which[:-1], none)

    def _by_attempt(
        self,
        row: Callable[[Attempt], Sequence[float]],
        hot: float,
        renewed: frozenset[str],
        *,
        known_good: bool = False,
    ) -> tuple[list[tuple[float, ...]], list[int]]:
        """Distinct rows of what attempts show, and which one each hypothesis has; the sound one last."""
        cold = self.bench.attempts(hot=False, renewed=renewed, known_good=known_good)
        warm = self.bench.attempts(hot=True, renewed=renewed, known_good=known_good)
        made: dict[tuple[Attempt, Attempt], int] = {}
        numbered: dict[tuple[float, ...], int] = {}
        which = []
        for h in (*self.chosen, 0):
            pair = cold(h), warm(h)
            if pair not in made:
                mixed = [(1.0 - hot) * c + hot * w for c, w in zip(*map(row, pair), strict=True)]
                made[pair] = numbered.setdefault(_rounded(mixed), len(numbered))
            which.append(made[pair])
        return list(numbered), which

    def _volts_start(self, probe: Probe) -> Forecast:
        nominal = self.bench.machine.nameplate.volts
        edges = (0.3 * nominal, 0.9 * nominal)
        sigma = self.bench.machine.size("supply", "outlet").sigma
        kept = self.bench.memory.setdefault(("volts start", self.situation.meter), {})
        done: dict[float, list[float]] = kept  # type: ignore[assignment]

        def bins(fraction: float) -> list[float]:
            if fraction not in done:
                nodes = nodes_of(max(nominal * fraction, 1e-6), sigma)
                done[fraction] = self._bins(nodes, edges, Quantity.VOLTAGE)[:-1]
            return done[fraction]

        numbered: dict[tuple[float, ...], int] = {}
        which = []
        for h in (*self.chosen, 0):
            modes = without(self.bench.named[h], self.mended)
            row = [0.0] * (len(edges) + 1)
            for w, f in self.bench.standstill.terminal_volts(modes):
                row = [r + w * b for r, b in zip(row, bins(round(f, 2)), strict=True)]
            which.append(numbered.setdefault(_rounded(row), len(numbered)))
        healthy = list(numbered)[which.pop()]
        low = format_si(edges[1], Quantity.VOLTAGE)
        labels = Message("nearly nothing"), Message("below {amount}", amount=low), Message("within 10 %")
        return Forecast(probe, 0.0, labels, list(numbered), which, self._none(healthy))

    def _amps(self, probe: Probe, waits: float) -> Forecast:
        locked, sigma = locked_amps(self.bench)
        edges = tuple(round(share * locked, 2) for share in _AMPS_EDGES)
        hot = self._hot(probe, waits)
        clamp, slips = clamp_of(self.situation.meter), self.bench.shop.slips

        kept = self.bench.memory.setdefault(("amps", clamp), {})
        done: dict[object, list[float]] = kept  # type: ignore[assignment]

        def bins(ratio: float, spread: float) -> list[float]:
            place = in_steps(ratio, math.hypot(sigma, spread)) if ratio > 0.0 else (0.0, 0.0)
            if place not in done:
                nodes = nodes_of(locked * place[0], place[1]) if ratio > 0.0 else ((0.0, 1.0),)
                done[place] = bins_of(nodes, edges, clamp, Quantity.CURRENT, slips)[:-1]
            return done[place]

        def row(attempt: Attempt) -> list[float]:
            if attempt not in done:
                shown = [0.0] * (len(edges) + 1)
                for share, drawn in zip(attempt.outcomes, attempt.amps, strict=True):
                    if share > 1e-4:
                        shown = [r + share * b for r, b in zip(shown, bins(*drawn), strict=True)]
                done[attempt] = shown
            return done[attempt]

        rows, which = self._by_attempt(row, hot, self.mended)
        labels = _labels(edges, Quantity.CURRENT)[:-1]
        return Forecast(probe, waits, labels, rows, which[:-1], self._none(rows[which[-1]]))

    def _bins(
        self,
        nodes: Sequence[tuple[float, float]],
        edges: Sequence[float],
        quantity: Quantity,
        meter: Meter | None = None,
    ) -> list[float]:
        slips = self.bench.shop.slips
        return bins_of(nodes, edges, meter or self.situation.meter, quantity, slips, self.offset)

    def _measured(self, probe: Probe, waits: float) -> Forecast:
        scope = self.compiler.scope_of(probe)
        quantity = Quantity(probe.quantity)
        hot = self._hot(probe, waits) if probe.heat else 0.0
        seen = [
            o
            for o in self.situation.observations
            if o.probe == probe.id and o.reading is not None and (o.temperature.kind != "hot" or not waits)
        ]
        shown = self.compiler.displays(seen, self.offset)
        meter = probe.meter or self.situation.meter
        key = (
            probe.id,
            hot,
            self.mended,
            self.offset,
            tuple(o.reading for o in seen),
            meter,
        )
        kept = self.bench.memory.setdefault(key, {})
        rows: dict[tuple[int, ...], tuple[float, ...]] = kept  # type: ignore[assignment]
        edges, labels = self._edges(probe, quantity)
        for config in self._needed(scope):
            if config not in rows:
                modes = without(self.bench.modes_of(scope, config), self.mended)
                nodes = self._nodes(probe, modes, shown, hot)
                rows[config] = tuple(self._bins(nodes, edges, quantity, meter))
        return self._table(probe, waits, labels, scope, rows)

    def _nodes(
        self, probe: Probe, modes: Mapping[str, str], shown: Sequence[Display], hot: float
    ) -> list[tuple[float, float]]:
        found: list[tuple[float, float]] = []
        quantity = Quantity(probe.quantity)
        for share, warm in ((1.0 - hot, False), (hot, True)):
            tips = self.bench.tips(probe, modes, warm)
            told: list[tuple[float, Sequence[tuple[float, float]]]] = []
            for weight, median, sigma in tips.states if share > 0.0 else ():
                sigma = math.hypot(sigma, gain(probe.meter or self.situation.meter, quantity, median))
                if tips.renewed or not shown:
                    told.append((weight, nodes_of(median, sigma)))
                else:  # what was read before says which state it is in
                    before = evidence(shown, median, sigma)
                    told.append((weight * before.value, before.nodes))
            total = math.fsum(weight for weight, _ in told) or 1.0
            found.extend((x, share * weight / total * w) for weight, nodes in told for x, w in nodes)
        return found

    def _edges(self, probe: Probe, quantity: Quantity) -> tuple[tuple[float, ...], tuple[str, ...]]:
        key = ("edges", probe.id)
        kept = self.bench.memory.get(key)
        if kept is None:
            kept = self.bench.memory[key] = self._cut(probe, quantity)
        return kept  # type: ignore[return-value]

    def _cut(self, probe: Probe, quantity: Quantity) -> tuple[tuple[float, ...], tuple[str, ...]]:
        if quantity is Quantity.VOLTAGE:
            nominal = self.bench.machine.nameplate.volts
            edges = (0.3 * nominal, 0.9 * nominal, 1.1 * nominal)
            return edges, ("nearly nothing", "low", "within 10 %", "high", "OL")
        scope = self.compiler.scope_of(probe)
        medians = set()
        for part in scope:
            for mode in self.bench.space.modes[part]:
                for hot in (False, True):
                    modes = {self.bench.parts[part]: mode.name}
                    median, _ = self.bench.predicted(probe, modes, hot)
                    if math.isfinite(median) and median > 0.0:
                        medians.add(median)
        healthy, sigma = self.bench.predicted(probe, {}, False)
        return _cut_between(sorted(medians), healthy, sigma, quantity)

    # -- pins -----------------------------------------------------------------------------------------

    def _pins(self, probe: Probe, waits: float) -> Forecast | None:
        pair = probe.id.removeprefix("pins.").split("-")
        if pair[0].isdigit():
            return None
        seen = [
            o for o in self.situation.observations if o.probe.startswith("pins.") and o.reading is not None
        ]
        seen = [o for o in seen if o.probe[5] in "CRS"]
        setup = winding_setup(self.bench, self.situation, seen)
        displays = setup.displays(self.offset)
        names = ["run_winding", "start_winding"] + (["internal_protector"] if setup.windings.internal else [])
        scope = tuple(sorted(self.bench.place[n] for n in names))
        wanted = tuple(sorted(pair))
        key = (
            "pins",
            probe.id,
            self.offset,
            tuple((o.probe, o.reading, o.temperature) for o in seen),
            waits > 0,
            self.situation.hot,
            self.situation.waited,
            self.situation.meter,
        )
        kept = self.bench.memory.setdefault(key, {})
        rows: dict[tuple[int, ...], tuple[float, ...]] = kept  # type: ignore[assignment]
        edges, labels = self._pin_edges(probe)
        hot = self._hot(probe, waits) if probe.heat else 0.0
        done: dict[object, tuple[float, ...]] = {}
        for config in self._needed(scope):
            if config in rows:
                continue
            modes = self.bench.modes_of(scope, config)
            guard = modes.get("internal_protector", HEALTHY)
            sealed = (
                _as_measured(modes.get("run_winding", HEALTHY)),
                _as_measured(modes.get("start_winding", HEALTHY)),
                "open" if guard == "open" else HEALTHY,
            )
            opens = (
                hot * (1.0 if guard == "tripped" else 0.5)
                if setup.windings.internal and guard != "open"
                else 0.0
            )
            made = done.get((sealed, opens))
            if made is None:
                nodes = list(setup.windings.nodes(sealed, displays, ("C", "R", "S"), (wanted[0], wanted[1])))
                if opens and "C" in pair:
                    nodes = [(x, (1.0 - opens) * w) for x, w in nodes] + [(math.inf, opens)]
                made = done[(sealed, opens)] = tuple(self._bins(nodes, edges, Quantity.RESISTANCE))
            rows[config] = made
        return self._table(probe, waits, labels, scope, rows)

    def _pin_edges(self, probe: Probe) -> tuple[tuple[float, ...], tuple[str, ...]]:
        run = self.bench.machine.size("run_winding", "winding")
        start = self.bench.machine.size("start_winding", "winding")
        centre = {"C-R": run.median, "C-S": start.median, "S-R": run.median + start.median}[probe.id[5:]]
        sigma = run.sigma if probe.id.endswith("C-R") else start.sigma
        low, high = centre * math.exp(-2.2 * sigma), centre * math.exp(2.2 * sigma)
        edges = (0.35 * low, centre * math.exp(-0.9 * sigma), high)
        return edges, _labels(edges, Quantity.RESISTANCE)


def _rounded(row: Sequence[float]) -> tuple[float, ...]:
    """A row to steps of 1/200, so that cases nobody could tell apart share it; sums to 1."""
    steps = [round(200.0 * p) + 0.02 for p in row]
    total = math.fsum(steps)
    return tuple(s / total for s in steps)


def _as_measured(mode: str) -> str:
    """A winding shorted to the shell reads as sound between the pins."""
    return HEALTHY if mode == "grounded" else mode


def _cut_between(
    medians: Sequence[float], healthy: float, sigma: float, quantity: Quantity
) -> tuple[tuple[float, ...], tuple[str, ...]]:
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
    if not edges:
        edges = [1e6]
    return tuple(edges), _labels(edges, quantity)


def _labels(edges: Sequence[float], quantity: Quantity) -> tuple[Message, ...]:
    shown = [format_si(e, quantity, 2) for e in edges]
    middle = [Message("{low} to {high}", low=a, high=b) for a, b in itertools.pairwise(shown)]
    low, high = Message("below {amount}", amount=shown[0]), Message("above {amount}", amount=shown[-1])
    return (low, *middle, high, Message("OL"))


def forecast(
    bench: Bench,
    situation: Situation,
    post: Posterior,
    chosen: Sequence[int],
    wanted: Sequence[tuple[Probe, float]],
) -> list[Forecast]:
    """
    Forecasts of probes under chosen hypotheses.

    Parameters
    ----------
    bench, situation, post
        The call so far.
    chosen : sequence of int
        Indices of hypotheses.
    wanted : sequence of (Probe, minutes)
        Probes, each with the wait before it. [min]

    Returns
    -------
    list of Forecast
        Those that have something to tell, in the order wanted.
    """
    maker = _Forecaster(bench, situation, post, chosen)
    found = []
    for probe, waits in wanted:
        made = maker.of(probe, waits=waits)
        if made is not None and len(made.rows) > 1:
            found.append(made)
    return found
