"""
Ohms between the pins, start gear off: by their names, or by the numbers of a photo while they have none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Config
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.measured import labels_between
from humclick.diagnosis.observations.model import Group, Model, Probe, Taken, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row
from humclick.diagnosis.observations.setup import State, WindingSetup, winding_setup
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.windings import PERMUTATIONS, PinDisplay, Sealed, WindingEvidence, pin_pairs
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
_NEVER: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class _Foreseen:
    """All that the rows of a forecast depend on."""

    pins: tuple[str, str]
    offset: float
    seen: tuple[tuple[tuple[str, str] | None, Reading | None, PartTemperature], ...]
    hot: float
    meter: Meter


_ROWS: Memory[_Foreseen, dict[Config, Row]] = Memory()


class Windings(Model):
    """Readings between the pins; all of them share the two windings."""

    name: ClassVar[str] = "pins"
    order: ClassVar[int] = 50
    repeats: ClassVar[bool] = True

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
        shown = displays(leads[middle][0])
        central = windings.evidence(shown, straight)
        rest: dict[Sealed, float] = {}
        if named and not _agree(windings, shown, straight, central):
            rest = _crossed(windings, shown, naming)
        most = {n: max(row[n] for row in central.values()) for n in straight}
        alive = {n: w for n, w in straight.items() if most[n] >= _ALIVE * max(most.values())}
        rows: dict[State, list[float]] = {}
        for epochs in (_NEVER, *(setup.subsets() if windings.internal else ())):
            modes = [s for s in windings.modes() if s[2] == "tripped" or not epochs]
            for g, (offset, _) in enumerate(leads):
                known = g == middle and not epochs
                got = central if known else windings.evidence(displays(offset, epochs), alive, modes)
                for sealed in modes:
                    found = got[sealed] if epochs else {**central[sealed], **got[sealed]}
                    row = rows.setdefault((sealed, epochs), [])
                    row.append(math.fsum(found.values()) + rest.get(sealed, 0.0))
        scope = _scope(weighing.bench)
        table = _table(weighing.bench, scope, rows, setup)
        healthy = weighing.mean(table[(0,) * len(scope)])
        return Factor((), scope, table, None, weighing.none(healthy, [d.display for d in shown]))

    # -- what would be seen ---------------------------------------------------------------------------------

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """By name, and not where all three pairs are read by number."""
        numbered = {p.id for p, _ in offer.taken if p.pins is not None and not p.pins_named}
        return probe.pins_named and len(numbered) < 3 and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        if probe.pins is None or not probe.pins_named:
            return None
        bench, situation = outlook.bench, outlook.situation
        before = [t for t in outlook.taken if t.probe.pins_named and t.seen.reading is not None]
        hot = outlook.hot(probe, waits) if probe.heat else 0.0
        read = tuple((t.probe.pins, t.seen.reading, t.seen.temperature) for t in before)
        key = _Foreseen(probe.pins, outlook.offset, read, hot, situation.meter)
        rows = _ROWS.of(bench).setdefault(key, {})
        edges = _edges(bench, probe.pins)
        setup = winding_setup(bench, situation.meter, before)
        displays, scope = setup.displays(outlook.offset), _scope(bench)
        first, second = sorted(probe.pins)
        made: dict[tuple[Sealed, float], Row] = {}
        for config in outlook.configs(scope):
            if config in rows:
                continue
            sealed, opens = _sealed(bench.modes_of(scope, config), hot, setup)
            if (sealed, opens) not in made:
                nodes = list(setup.windings.nodes(sealed, displays, _IDENTITY, (first, second)))
                if opens and "C" in probe.pins:
                    nodes = [(x, (1.0 - opens) * w) for x, w in nodes] + [(math.inf, opens)]
                made[(sealed, opens)] = tuple(outlook.bins(nodes, edges, Quantity.RESISTANCE))
            rows[config] = made[(sealed, opens)]
        labels = (*labels_between(edges, Quantity.RESISTANCE), "OL")
        return outlook.by_config(probe, waits, labels, scope, rows, edges)


def _scope(bench: Bench) -> tuple[int, ...]:
    """What is sealed in between the pins, by index."""
    names = ("run_winding", "start_winding", "internal_protector")
    return tuple(sorted(bench.place[name] for name in names if name in bench.place))


def _namings(mixed: float) -> dict[_Naming, float]:
    """How probably labelled pins are those they are called. [-]"""
    return {n: 1.0 - mixed if n == _IDENTITY else mixed / 5 for n in PERMUTATIONS}


def _agree(
    windings: WindingEvidence,
    displays: Sequence[PinDisplay],
    naming: Mapping[_Naming, float],
    together: Mapping[Sealed, Mapping[_Naming, float]],
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
    plain = [s for s in windings.modes() if {s[0], s[1]} <= {HEALTHY, "open"}]
    got = windings.evidence(displays, crossed, plain)
    sums = {s: math.fsum(row.values()) for s, row in got.items()}

    def like(sealed: Sealed) -> Sealed:
        run, start = (m if m == "open" else HEALTHY for m in sealed[:2])
        return run, start, sealed[2]

    return {s: sums[like(s)] for s in windings.modes()}


def _table(
    bench: Bench, scope: tuple[int, ...], rows: Mapping[State, Sequence[float]], setup: WindingSetup
) -> dict[Config, Row]:
    """Evidence by mode configuration and lead node, an internal protector open in some epochs or in none."""
    table = {}
    for config in bench.configs(scope):
        modes = bench.modes_of(scope, config)
        run, start = modes.get("run_winding", HEALTHY), modes.get("start_winding", HEALTHY)
        states = setup.states((run, start, modes.get("internal_protector", HEALTHY)))
        by_lead = zip(*([weight * p for p in rows[state]] for state, weight in states), strict=True)
        table[config] = tuple(math.fsum(parts) for parts in by_lead)
    return table


def _sealed(modes: Mapping[str, str], hot: float, setup: WindingSetup) -> tuple[Sealed, float]:
    """The sealed modes as the next reading meets them; how probably the protector is open from heat. [-]"""
    guard = modes.get("internal_protector", HEALTHY)
    run, start = (_as_measured(modes.get(part, HEALTHY)) for part in ("run_winding", "start_winding"))
    opens = hot * setup.once(guard) if setup.windings.internal and guard != "open" else 0.0
    return (run, start, "open" if guard == "open" else HEALTHY), opens


def _as_measured(mode: str) -> str:
    """A winding shorted to the shell reads as sound between the pins."""
    return HEALTHY if mode == "grounded" else mode


def _edges(bench: Bench, pins: tuple[str, str]) -> tuple[float, ...]:
    run = bench.machine.size("run_winding", "winding")
    start = bench.machine.size("start_winding", "winding")
    centre = run.median * ("R" in pins) + start.median * ("S" in pins)
    sigma = start.sigma if "S" in pins else run.sigma
    low, high = centre * math.exp(-2.2 * sigma), centre * math.exp(2.2 * sigma)
    return 0.35 * low, centre * math.exp(-0.9 * sigma), high


KINDS = (Windings(),)
