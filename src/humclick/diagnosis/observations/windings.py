"""
Ohms between the pins, start gear off: by their names, or by the numbers of a photo while they have none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from operator import mul
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Config
from humclick.diagnosis.charred import at_common
from humclick.diagnosis.displays import cut_at, shares_of
from humclick.diagnosis.factors import Factor, flat, p_hot
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.measured import labels_between, mixture
from humclick.diagnosis.observations.model import Group, Model, Probe, Taken, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row
from humclick.diagnosis.observations.setup import State, WindingSetup, winding_setup
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.winding_nodes import Affine, Lying, Pair
from humclick.diagnosis.windings import (
    PERMUTATIONS,
    PinDisplay,
    Sealed,
    Weighted,
    WindingEvidence,
    pin_pairs,
)
from humclick.messages import Message
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import PartTemperature, Reading

__all__ = ["KINDS", "Windings"]

#: Which real pin is behind each label or number.
_Naming = tuple[str, str, str]

_IDENTITY: _Naming = ("C", "R", "S")
#: Ways the pins may lie that are this improbable against the best are not followed to every lead node. [-]
_ALIVE = 1e-3
#: Ways the pins may lie that are this improbable are not foreseen. [-]
_FOLLOWED = 3e-3
#: The largest and the smallest sound machine there is. [hp]
_LARGEST, _SMALLEST = 5.0, 0.05
#: How many standard deviations of a size reach the ends of what sound machines have. [-]
_REACH = 2.807
_NEVER: frozenset[str] = frozenset()
#: Sound windings fit where they make what was read so many times as probable as any value is. A choice. [-]
_ANY = 1.0
#: Readings add up where for the common pin no more is left than leads add, and so many deviations. [Ω] [-]
_LEADS, _SURE = 0.3, 4.0
#: Share of what sound windings get that a lead or contact burnt inside has where they fit. A guess. [-]
_BESIDE = 0.1


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """All that the rows of a forecast depend on."""

    pins: tuple[str, str] | None  #: None for whatever is read next.
    offset: float
    readings: tuple[tuple[tuple[str, str] | None, Reading | None, PartTemperature], ...]
    warm: PartTemperature
    meter: Meter


_ROWS: Memory[_Foreseen, dict[Config, Row]] = Memory()
#: So many are kept of what readings say: those of one call's next readings.
_MOST_RECORDS = 8
_RECORDS: Memory[_Foreseen, _Record] = Memory()


def _record_of(bench: Bench, key: _Foreseen, setup: WindingSetup) -> _Record:
    """What was read, as all probes share it that are thought about."""
    table = _RECORDS.of(bench)
    record = table.pop(key, None) or _Record(setup, key.offset)
    table[key] = record
    while len(table) > _MOST_RECORDS:
        table.pop(next(iter(table)))
    return record


class Windings(Model):
    """Readings between the pins; all of them share the two windings."""

    name: ClassVar[str] = "pins"
    order: ClassVar[int] = 50
    deeper: ClassVar[bool] = True
    repeats: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return machine.started

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["pins"]
        make = partial(
            Probe,
            model=self,
            quantity="resistance",
            minutes=minutes,
            risk=risk,
            gates=touching(machine),
            heat="internal_protector" if machine.protector == "internal" else "windings",
        )
        for a, b in (("C", "R"), ("C", "S"), ("S", "R")):
            yield make(
                id=f"pins.{a}-{b}",
                title=Message(
                    "Ohms between pins {first} and {second}, start gear off",
                    first=a,
                    second=b,
                ),
                how=Message(
                    "Pull the start gear and measure from pin {first} to pin {second}; press the tips on "
                    "bright "
                    "metal.",
                    first=a,
                    second=b,
                ),
                points=(a, b),
                pins=(a, b),
                again_cool=machine.protector == "internal" and "C" in (a, b),
            )
        for a, b in pin_pairs(("1", "2", "3")):
            yield make(
                id=f"pins.{a}-{b}",
                title=Message(
                    "Ohms between pins {first} and {second} (not yet named), start gear off",
                    first=a,
                    second=b,
                ),
                how=Message(
                    "Number the pins on your photo and measure from pin {first} to pin {second}.",
                    first=a,
                    second=b,
                ),
                pins=(a, b),
            )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        return Group("pins by name" if taken.probe.pins_named else "pins by number")

    # -- what was seen --------------------------------------------------------------------------------------

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        setup, leads = winding_setup(weighing.bench, weighing.meter, taken), weighing.leads
        windings, displays, named = setup.windings, setup.displays, taken[0].probe.pins_named
        naming = _namings(weighing.slips["pins_mixed"]) if named else dict.fromkeys(PERMUTATIONS, 1 / 6)
        straight = {_IDENTITY: naming[_IDENTITY]} if named else naming
        middle = len(leads) // 2
        middling = displays(leads[middle][0])
        central = windings.evidence(middling, straight)
        rest = _crossed(windings, middling, naming) if named else {}
        most = {n: max(row[n] for row in central.values()) for n in straight}
        alive = {n: w for n, w in straight.items() if most[n] >= _ALIVE * max(most.values())}
        rows: dict[State, list[float]] = {}
        for epochs in (_NEVER, *(setup.subsets() if windings.internal else ())):
            modes = [s for s in windings.modes() if s[2] == "tripped" or not epochs]
            for g, (offset, _) in enumerate(leads):
                known = g == middle and not epochs
                got = central if known else windings.evidence(displays(offset, epochs), alive, modes)
                for sealed in modes:
                    by_naming = got[sealed] if epochs else {**central[sealed], **got[sealed]}
                    row = rows.setdefault((sealed, epochs), [])
                    row.append(math.fsum(by_naming.values()) + rest.get(sealed, 0.0))
        rows |= _burnt(setup, middling, central, straight, len(leads))
        scope = _scope(weighing.bench)
        table = _table(weighing.bench, scope, rows, setup)
        healthy = weighing.mean(table[(0,) * len(scope)])
        return Factor((), scope, table, None, weighing.none(healthy, [d.display for d in middling]))

    def any_size(self, bench: Bench, probe: Probe) -> tuple[float, float] | None:
        machine, windings = bench.machine, {"R": "run_winding", "S": "start_winding"}
        if probe.pins is None:
            return None
        if not probe.pins_named:  # from the run winding alone to both
            run, both = (self.any_size(bench, self._named(probe, *pins)) for pins in (("C", "R"), ("S", "R")))
            if run is None or both is None:
                return None
            apart = 0.5 * math.log(both[0] / run[0])
            return math.sqrt(run[0] * both[0]), max(run[1], both[1]) + apart / _REACH
        between = [windings[pin] for pin in probe.pins if pin in windings]
        if not any(machine.unsized(part, "winding") for part in between):
            return None
        if machine.nameplate.sizes:
            return _between(machine, between)
        (least, _), (most, wide) = (_between(_of_power(machine, hp), between) for hp in (_LARGEST, _SMALLEST))
        apart = 0.5 * math.log(most / least)
        return math.sqrt(least * most), wide + apart / _REACH

    @staticmethod
    def _named(probe: Probe, first: str, second: str) -> Probe:
        return replace(probe, pins=(first, second))

    # -- what would be seen ---------------------------------------------------------------------------------

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """By name, and not where all three pairs are read by number."""
        numbered = {p.id for p, _ in offer.taken if p.pins is not None and not p.pins_named}
        return probe.pins_named and len(numbered) < 3 and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        if probe.pins is None or not probe.pins_named:
            return None
        bench = outlook.bench
        before = [t for t in outlook.taken if t.probe.pins_named and t.observation.reading is not None]
        warm = outlook.temperature(probe, waits)
        edges, scope = _edges(bench, probe.pins), _scope(bench)
        read = tuple((t.probe.pins, t.observation.reading, t.observation.temperature) for t in before)
        setup = winding_setup(bench, outlook.weighing.meter, before, warm)
        leads = outlook.leads  # what was read tells of leads and windings together: then by their mean
        if before:
            leads = ((round(math.fsum(c * w for c, w in leads), 3), 1.0),)
        makers = []
        for offset, _ in leads:
            key = _Foreseen(probe.pins, offset, read, warm, outlook.weighing.meter)
            table = _ROWS.of(bench).setdefault(key, {})
            record = _record_of(bench, replace(key, pins=None), setup)
            makers.append((table, _Ahead(outlook.weighing, probe, record, warm, offset, edges)))
        rows = {}
        for config in outlook.configs(scope):
            for table, ahead in makers:
                if config not in table:
                    table[config] = ahead.row(bench.modes_of(scope, config))
            rows[config] = mixture([w for _, w in leads], [table[config] for table, _ in makers])
        labels = (*labels_between(edges, Quantity.RESISTANCE), "OL")
        anything = tuple(flat(s) for s in cut_at(outlook.weighing.scale(probe, 0.0), edges))
        return outlook.by_config(probe, waits, labels, scope, rows, edges, anything)


class _Record:
    """What the readings between named pins say, with one lead offset, whatever is read next. [Ω]"""

    def __init__(self, setup: WindingSetup, offset: float) -> None:
        self.setup = setup
        self.displays = setup.displays(offset)
        self.naming = _namings(setup.slips["pins_mixed"])
        self._known: dict[tuple[tuple[Affine, ...], Pair], Weighted] = {}

    def ahead(self, sealed: Sealed, names: _Naming, pair: tuple[str, str]) -> list[Lying]:
        """What the next reading between two pins will find, which lie in one way."""
        return self.setup.windings.ahead(sealed, self.displays, names, pair, self._known)

    def likely(self, sealed: Sealed) -> Mapping[_Naming, float]:
        """Probability of what was read with each way the pins may lie. [-]"""
        if not self.displays:
            return self.naming
        return {**self._straight[sealed], **self._crossed[_plain(sealed)]}

    @cached_property
    def _straight(self) -> Mapping[Sealed, Mapping[_Naming, float]]:
        """Probability of what was read, the pins lying as they are called. [-]"""
        modes = list(dict.fromkeys(_as_measured_all(sealed) for sealed in self.setup.windings.modes()))
        return self.setup.windings.evidence(self.displays, {_IDENTITY: self.naming[_IDENTITY]}, modes)

    @cached_property
    def _crossed(self) -> Mapping[Sealed, Mapping[_Naming, float]]:
        """The same in every other way they may lie. [-]"""
        modes = list(dict.fromkeys(_plain(sealed) for sealed in self._straight))
        crossed = {names: w for names, w in self.naming.items() if names != _IDENTITY}
        return self.setup.windings.evidence(self.displays, crossed, modes)


class _Ahead:
    """The next reading between two named pins, cut at the edges of a forecast, after those taken."""

    def __init__(
        self,
        weighing: Weighing,
        probe: Probe,
        record: _Record,
        warm: PartTemperature,
        offset: float,
        edges: Sequence[float],
    ) -> None:
        assert probe.pins is not None
        self._record, self._setup = record, record.setup
        self._hot = p_hot(warm, weighing.slips["cold_but_warm"])
        self._pins = tuple(_IDENTITY.index(pin) for pin in probe.pins)
        self._stretches = cut_at(weighing.scale(probe, offset), edges)
        self._open = shares_of(self._stretches, math.inf, 0.0)
        self._known: dict[tuple[Sealed, tuple[str, str], _Naming], Row] = {}

    def row(self, modes: Mapping[str, str]) -> Row:
        """Probability of each stretch. [-]"""
        sealed, opens = _sealed(modes, self._hot, self._setup)
        likely = self._record.likely(sealed)
        least = _FOLLOWED * math.fsum(likely.values())
        shares = {names: p for names, p in likely.items() if p > least}
        total = math.fsum(shares.values())
        rows = [self._between(sealed, names, opens) for names in shares]
        return mixture([p / total for p in shares.values()], rows)

    def _between(self, sealed: Sealed, names: _Naming, opens: float) -> Row:
        """Probability of each stretch, the pins lying in one way. [-]"""
        first, second = sorted(names[pin] for pin in self._pins)
        sealed = sealed if names == _IDENTITY else _plain(sealed)
        after = names if self._record.displays else _IDENTITY
        key = (sealed, (first, second), after)
        if key not in self._known:
            self._known[key] = self._sealed_in(sealed, (first, second), names)
        if opens and "C" in (first, second):
            return mixture((opens, 1.0 - opens), (self._open, self._known[key]))
        return self._known[key]

    def _sealed_in(self, sealed: Sealed, pair: tuple[str, str], names: _Naming) -> Row:
        warm = self._setup.ahead
        spread: dict[tuple[float, float, float], float] = {}
        points: dict[float, float] = {}
        for weight, base, median, sigma in self._record.ahead(sealed, names, pair):
            if sigma:
                key = (median * warm, sigma, base * warm)
                spread[key] = spread.get(key, 0.0) + weight
            else:
                at = base * warm + median * warm
                points[at] = points.get(at, 0.0) + weight
        rows = [shares_of(self._stretches, *unknown) for unknown in spread]
        if not points:
            return mixture([*spread.values()], rows)
        columns = [stretch.probabilities([*points]) for stretch in self._stretches]
        exact = [math.fsum(map(mul, points.values(), column)) for column in columns]
        if not spread:
            return tuple(exact)
        return mixture([*spread.values(), 1.0], [*rows, tuple(exact)])


def _between(machine: Machine, windings: Sequence[str]) -> tuple[float, float]:
    """Median and ln standard deviation of windings in a row. [Ω], [-]"""
    spreads = [machine.size(part, "winding") for part in windings]
    return math.fsum(s.median for s in spreads), max(s.sigma for s in spreads)


def _of_power(machine: Machine, horsepower: float) -> Machine:
    return replace(machine, nameplate=replace(machine.nameplate, horsepower=horsepower))


def _scope(bench: Bench) -> tuple[int, ...]:
    """What is sealed in between the pins, by index."""
    names = ("run_winding", "start_winding", "internal_protector")
    return tuple(sorted(bench.place[name] for name in names if name in bench.place))


def _namings(mixed: float) -> dict[_Naming, float]:
    """How probably labelled pins are those they are called. [-]"""
    return {n: 1.0 - mixed if n == _IDENTITY else mixed / 5 for n in PERMUTATIONS}


def _crossed(
    windings: WindingEvidence,
    displays: Sequence[PinDisplay],
    naming: Mapping[_Naming, float],
) -> dict[Sealed, float]:
    """
    Evidence that labelled pins were taken for one another, by sealed mode.

    Worked out for sound and open windings; a winding otherwise faulty is taken as sound here, since the
    whole has only the weight of that slip.
    """
    crossed = {n: w for n, w in naming.items() if n != _IDENTITY}
    plain = list(dict.fromkeys(_plain(sealed) for sealed in windings.modes()))
    got = windings.evidence(displays, crossed, plain)
    sums = {sealed: math.fsum(row.values()) for sealed, row in got.items()}
    return {sealed: sums[_plain(sealed)] for sealed in windings.modes()}


def _plain(sealed: Sealed) -> Sealed:
    """The same with windings that are otherwise faulty taken as sound."""
    run, start = (mode if mode == "open" else HEALTHY for mode in sealed[:2])
    return run, start, sealed[2]


def _table(
    bench: Bench, scope: tuple[int, ...], rows: Mapping[State, Sequence[float]], setup: WindingSetup
) -> dict[Config, Row]:
    """Evidence by mode configuration and lead node, an internal protector open in some epochs or in none."""
    table = {}
    burnt = frozenset(mode for sealed in setup.windings.burnt() for mode in sealed if mode != HEALTHY)
    for config in bench.configs(scope):
        modes = bench.modes_of(scope, config)
        run, start = modes.get("run_winding", HEALTHY), modes.get("start_winding", HEALTHY)
        states = setup.states((run, start, modes.get("internal_protector", HEALTHY)))
        weighed = ([weight * p for p in _row(rows, state, burnt)] for state, weight in states)
        table[config] = tuple(math.fsum(parts) for parts in zip(*weighed, strict=True))
    return table


def _row(rows: Mapping[State, Sequence[float]], state: State, burnt: frozenset[str]) -> Sequence[float]:
    """What was read in a state; what is burnt beside another fault counts as that fault, faintly."""
    if state in rows:
        return rows[state]
    (run, start, guard), epochs = state
    rest = [HEALTHY if mode in burnt else mode for mode in (run, start, guard)]
    return [_BESIDE * p for p in rows[(rest[0], rest[1], rest[2]), epochs]]


def _burnt(
    setup: WindingSetup,
    displays: Sequence[PinDisplay],
    central: Mapping[Sealed, Mapping[_Naming, float]],
    naming: Mapping[_Naming, float],
    leads: int,
) -> dict[State, list[float]]:
    """
    Evidence of leads and contacts inside that conduct through ohms, by state.

    Worked out where sound windings fit no better than any value would, or do not add up. Else so little
    speaks for them that they are given a share of what sound ones get, and where no current flows at all.
    """
    windings = setup.windings
    sound, burnt = math.fsum(central[HEALTHY, HEALTHY, HEALTHY].values()), windings.burnt()
    arms = [at_common(displays, names) for names, weight in naming.items() if weight > 0.0]
    adds_up = any(arm is None or arm[0] < _LEADS + _SURE * arm[1] for arm in arms)
    fits = adds_up and sound > _ANY * math.prod(flat(d.display) for d in displays)
    if fits or any(d.display.y is None for d in displays):
        return {(sealed, _NEVER): [_BESIDE * sound] * leads for sealed in burnt}
    got = windings.evidence(displays, naming, burnt)
    return {(sealed, _NEVER): [math.fsum(got[sealed].values())] * leads for sealed in burnt}


def _sealed(modes: Mapping[str, str], hot: float, setup: WindingSetup) -> tuple[Sealed, float]:
    """The sealed modes as the next reading meets them; how probably the protector is open from heat. [-]"""
    guard = modes.get("internal_protector", HEALTHY)
    run, start = (_as_measured(modes.get(part, HEALTHY)) for part in ("run_winding", "start_winding"))
    opens = hot * setup.once(guard) if setup.windings.internal and guard != "open" else 0.0
    return _as_measured_all((run, start, guard)), opens


def _as_measured_all(sealed: Sealed) -> Sealed:
    """A mode of what is sealed in, as `_sealed` gives it."""
    run, start, guard = sealed
    return _as_measured(run), _as_measured(start), "open" if guard == "open" else HEALTHY


def _as_measured(mode: str) -> str:
    """A winding shorted to the shell reads as sound between the pins; so is a burnt lead foreseen."""
    return HEALTHY if mode in ("grounded", "burnt_lead") else mode


def _edges(bench: Bench, pins: tuple[str, str]) -> tuple[float, ...]:
    run = bench.machine.size("run_winding", "winding")
    start = bench.machine.size("start_winding", "winding")
    centre = run.median * ("R" in pins) + start.median * ("S" in pins)
    sigma = start.sigma if "S" in pins else run.sigma
    low, high = centre * math.exp(-2.2 * sigma), centre * math.exp(2.2 * sigma)
    return 0.35 * low, centre * math.exp(-0.9 * sigma), high


KINDS = (Windings(),)
