"""
The atlas: what is said of every value a meter can show, of every probe of every arrangement.

A value is read in a context: a call as it may stand when a probe is taken. `swept` reads a probe over its
whole axis, and `stretches` are neighbours of which the same is said. `docs/atlas.py` draws them. Values are
typed as a technician types them; SI inside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity, default_meter, meter
from humclick.readings import Leads, PartTemperature, parse_reading
from humclick.sourced import Spread

__all__ = [
    "COARSE",
    "CONTEXTS",
    "FINE",
    "MEDIUM",
    "ROUGH",
    "Cell",
    "Context",
    "Place",
    "axis",
    "machine",
    "measured_probes",
    "places",
    "said",
    "situation",
    "stretches",
    "swept",
    "typed",
    "values",
]

#: Figures a decade is cut at: E6 (IEC 60063), and coarser. [-]
FINE, MEDIUM, COARSE, ROUGH = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8), (1.0, 2.2, 4.7), (1.0, 3.3), (1.0,)
#: Both ends of the axis of each quantity. [SI]
ENDS = {
    Quantity.RESISTANCE: (1e-3, 1e9),
    Quantity.VOLTAGE: (0.1, 500.0),
    Quantity.CAPACITANCE: (1e-9, 1e-3),
    Quantity.CURRENT: (1e-5, 200.0),
}
#: Steps between volts, up to so many, where faults are told by tenths and not by decades. [V]
VOLTS = {FINE: ((1.0, 30.0), (5.0, 500.0)), COARSE: ((3.0, 30.0), (20.0, 500.0))}
VOLTS[ROUGH], VOLTS[MEDIUM] = VOLTS[COARSE], VOLTS[FINE]
#: Where in the spread of sound ones values are added. [-]
_WITHIN = (-2.0, -1.0, 0.0, 1.0, 2.0)
#: What is typed for a value: unit and its size, largest first. [SI]
_UNITS = {
    Quantity.RESISTANCE: ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, "")),
    Quantity.VOLTAGE: ((1.0, " V"),),
    Quantity.CAPACITANCE: ((1e-6, " uF"), (1e-9, " nF")),
    Quantity.CURRENT: ((1.0, " A"), (1e-3, " mA"), (1e-6, " uA")),
}
#: How far what is stamped may be off. [-]
_STAMPED = 1.1


@dataclass(frozen=True)
class Context:
    """
    What is known when a value is read.

    Attributes
    ----------
    title : str
        In words.
    plate : bool
        Whether the amps of the plate and the marks of the capacitors were read.
    complaint : Heard or None
        What was heard.
    hot : bool or None
        As `Situation.hot`.
    felt : str
        How warm the part is.
    before : tuple of (probe, typed)
        What was read before, where the machine has such a probe.
    meter : str
        Class of meter; the usual one if empty.
    """

    title: str
    plate: bool = True
    complaint: Heard | None = Heard.HUM_CLICK
    hot: bool | None = False
    felt: Literal["cold", "hot", "unknown"] = "cold"
    before: tuple[tuple[str, str], ...] = ()
    meter: str = ""


CONTEXTS = {
    "healthy": Context("plate and marks read, cold, nothing found yet"),
    "fresh": Context("nothing known", plate=False, complaint=None, hot=None, felt="unknown"),
    "tried": Context("it hummed and clicked off a moment ago", hot=True, felt="unknown"),
    "warm": Context("the part is warm", hot=True, felt="hot"),
    "grounded": Context(
        "a winding leaks to the shell", before=(("pins.shell", "30k"), ("pins.shell", "30k"))
    ),
    "pocket": Context("pocket meter, leads not nulled", meter="basic"),
}


@dataclass(frozen=True, slots=True)
class Place:
    """An arrangement with one place of its protector, and a probe of it."""

    arrangement: str
    protector: str
    probe: str


@dataclass(frozen=True, slots=True)
class Cell:
    """What is said of one value."""

    text: str
    finding: Finding
    advice: Advice | None = None


def typed(value: float, quantity: Quantity) -> str:
    """A value as it is typed. [SI]"""
    size, unit = next((row for row in _UNITS[quantity] if value >= row[0] * 0.9999), _UNITS[quantity][-1])
    figure = f"{value / size:.3g}" if value / size < 1000 else f"{value / size:.0f}"
    return f"{float(figure):g}{unit}"


def axis(quantity: Quantity, figures: tuple[float, ...] = FINE) -> tuple[str, ...]:
    """All values of a quantity as they are typed, rising, nothing but zeros first and OL last. [SI]"""
    low, high = ENDS[quantity]
    if quantity is Quantity.VOLTAGE:
        steps = [step * k for step, end in VOLTS[figures] for k in range(1, int(end / step) + 1)]
        values = sorted({volts for volts in steps if volts <= high})
    else:
        decades = [10.0**k for k in range(-9, 10)]
        values = [d * f for d in decades for f in figures if low * 0.9999 <= d * f <= high * 1.0001]
    zero = {Quantity.RESISTANCE: "0.0", Quantity.VOLTAGE: "0.0 V", Quantity.CAPACITANCE: "0.00 uF"}
    ends = ["OL"] if quantity in (Quantity.RESISTANCE, Quantity.CAPACITANCE) else []
    return (zero.get(quantity, "0.0 A"), *(typed(v, quantity) for v in values), *ends)


def values(place: Place, context: Context, figures: tuple[float, ...] = FINE) -> tuple[str, ...]:
    """All values of a probe in a context: its axis, and what sound ones read."""
    built = machine(place.arrangement, place.protector, context.plate)
    probe = probes_of(built)[place.probe]
    quantity = Quantity(probe.quantity)
    bench = bench_for(built, default_shop())
    sound = probe.model.any_size(bench, probe) or probe.model.healthy(bench, probe)
    row = list(axis(quantity, figures))
    if sound is not None and 0.0 < sound[0] < math.inf:
        row += [typed(sound[0] * math.exp(k * sound[1]), quantity) for k in _WITHIN]
    return tuple(sorted(set(row), key=lambda text: _size(text, quantity)))


def _size(text: str, quantity: Quantity) -> float:
    reading = parse_reading(text, quantity)
    return math.inf if reading.value is None else reading.value


@cache
def machine(name: str, protector: str, plate: bool) -> Machine:
    """A machine of an arrangement, its plate and its capacitors' marks read or not."""
    plain = Machine.of(name, protector)
    if not plate:
        return plain
    if plain.started:
        amps = plain.sound.size("locked_rotor_amps").median
        plain = Machine.of(name, protector, replace(plain.nameplate, locked_rotor_amps=round(amps, 1)))
    marks = {
        f"{p.id}.capacitance": Spread(plain.size(p.id, "capacitance").median, _STAMPED)
        for p in plain.parts
        if "capacitance" in p.family.sizes
    }
    return Machine.of(name, protector, plain.nameplate, marks)


def places() -> Iterator[Place]:
    """Every measurement of every arrangement that is judged, wherever its protector may sit."""
    for name in arrangements():
        if arrangement(name).recognised_only:
            continue
        for protector in arrangement(name).protectors:
            for probe in measured_probes(machine(name, protector, plate=False)):
                yield Place(name, protector, probe.id)


def measured_probes(of: Machine) -> Iterator[Probe]:
    """Probes that are answered by a figure."""
    return (probe for probe in probes_of(of).values() if probe.quantity)


def situation(place: Place, context: Context, text: str = "") -> Situation:
    """A call in a context, with a value read last."""
    built = machine(place.arrangement, place.protector, context.plate)
    known = probes_of(built)
    felt = PartTemperature(context.felt)
    rows = [(name, value, PartTemperature("cold")) for name, value in context.before if name in known]
    rows += [(place.probe, text, felt)] if text else []
    seen = tuple(
        Observation(name, parse_reading(value, Quantity(known[name].quantity)), temperature=warm)
        for name, value, warm in rows
    )
    used = meter(context.meter) if context.meter else default_meter()
    leads = Leads(nulled=not context.meter)
    return Situation(built, context.complaint, seen, used, leads, hot=context.hot)


def said(place: Place, context: Context, text: str) -> Finding:
    """What is said of one value."""
    return findings(situation(place, context, text))[-1]


def swept(place: Place, context: Context, values: Iterable[str], *, advised: bool = False) -> list[Cell]:
    """What is said of values that rise, and what is advised after each."""
    cells = []
    for text in values:
        advice = advise(situation(place, context, text)) if advised else None
        cells.append(Cell(text, said(place, context, text), advice))
    return cells


def stretches(cells: Iterable[Cell]) -> Iterator[tuple[Says, list[Cell]]]:
    """Neighbours of which the same is said."""
    for says, row in itertools.groupby(cells, key=lambda cell: cell.finding.says):
        yield says, list(row)
