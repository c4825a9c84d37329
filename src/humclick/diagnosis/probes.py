"""
What can be tested on a machine: every probe with its points, cost, gates and how it is done.

A probe's name is ``<part>.<test or look>``, ``pins.C-R``, ``pins.1-2``, ``pins.shell``,
``shell.insulation``, ``leads.short``, ``supply.volts``, ``feed.volts``, ``supply.volts_start``,
``attempt.as_found``, ``attempt.amps``, ``attempt.recorded``, ``attempt.known_good``,
``between.<node>-<node>``, ``fit.<part>`` or that of a check (`humclick.diagnosis.checks`). Minutes and money
come from the shop's file.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache, partial

from humclick.arrangements.arrangement import PINS, PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.checks import Check, checks
from humclick.diagnosis.shop import Shop, check_remedies, default_shop
from humclick.errors import Unknown
from humclick.meters import Meter, meter
from humclick.parts.family import BenchTest, Look
from humclick.safety import energises
from humclick.start.rows import OUTCOMES

__all__ = ["HEARD_KINDS", "Kind", "Probe", "probe_of", "probes_of"]

_DEAD = "power-off-proved-dead"
_DISCHARGED = "capacitors-discharged"
_LIVE = ("cover-on", "stand-clear")
_METER = "meter-for-line"


class Kind(StrEnum):
    """What sort of probe it is, and so how judgement reads it."""

    TEST = "test"
    LOOK = "look"
    PINS = "pins"
    SHELL = "shell"
    LEADS = "leads"
    VOLTS = "volts"
    VOLTS_START = "volts_start"
    FEED = "feed"
    ATTEMPT = "attempt"
    KNOWN_GOOD = "known_good"
    AMPS = "amps"
    RECORDED = "recorded"
    FIT = "fit"
    BETWEEN = "between"
    CHECK = "check"


#: Kinds answered by what is heard of a start attempt.
HEARD_KINDS = frozenset({Kind.ATTEMPT, Kind.KNOWN_GOOD, Kind.FIT, Kind.RECORDED})


@dataclass(frozen=True, slots=True)
class Probe:
    """
    Something that can be tested.

    Attributes
    ----------
    id, title, how : str
        Name, one line, and how it is done.
    kind : Kind
        How judgement reads it.
    quantity : str
        ``resistance``, ``capacitance``, ``voltage``, ``current``, or empty for a look or an attempt.
    outcomes : tuple of str
        Answers offered for a look or an attempt.
    part : str
        The part it looks at, or empty.
    points : (str, str) or None
        Nodes of the machine to mark on its drawing.
    minutes, risk : float
        Time, and risk in money. [min], [money]
    live : bool
        True where power is on and the cover must be closed.
    inside : bool
        True where the terminal cover must be off.
    gates : tuple of str
        Safety gates to pass first.
    heat : str
        What must cool before it can decide: a kind of `humclick.physics.cooling`, or empty.
    mends : frozenset of str
        What is put right by doing it: a part, or a single mode as ``part.mode``.
    meter : Meter or None
        The meter it is always read with; None for the one in use.
    due : mapping of answer to remedy
        What is owed to the machine once this is seen, whether it is the cause or not.
    bars : frozenset of str
        Answers after which the machine is not powered until it is put right.
    again : bool
        Whether a later look at the same thing decides.
    stops : mapping of answer to stop
        Answers that end the call; names of `humclick.safety.stops`.
    """

    id: str
    title: str
    how: str
    kind: Kind
    quantity: str = ""
    outcomes: tuple[str, ...] = ()
    part: str = ""
    points: tuple[str, str] | None = None
    minutes: float = 1.0
    risk: float = 0.0
    live: bool = False
    inside: bool = True
    gates: tuple[str, ...] = ()
    heat: str = ""
    mends: frozenset[str] = frozenset()
    meter: Meter | None = None
    due: Mapping[str, str] = field(default_factory=dict)
    bars: frozenset[str] = frozenset()
    again: bool = False
    stops: Mapping[str, str] = field(default_factory=dict)

    @property
    def energises(self) -> bool:
        """Whether it puts the machine under power."""
        return energises(self.gates)


def _test(machine: Machine, placed: PlacedPart, test: BenchTest) -> Probe:
    points = (placed.connect[test.between[0]], placed.connect[test.between[1]])
    heat = placed.family.heat if test.quantity == "resistance" else ""
    return Probe(
        f"{placed.id}.{test.name}",
        test.title,
        test.how,
        Kind.TEST,
        test.quantity,
        part=placed.id,
        points=points,
        minutes=test.minutes,
        gates=test.gates if placed.family.outside else _with_discharge(machine, test.gates),
        heat=heat,
        inside=not placed.family.outside,
    )


def _look(machine: Machine, placed: PlacedPart, look: Look) -> Probe:
    return Probe(
        f"{placed.id}.{look.name}",
        look.question,
        look.question,
        Kind.LOOK,
        outcomes=look.outcomes,
        part=placed.id,
        minutes=look.minutes,
        gates=look.gates if placed.family.outside else _with_discharge(machine, look.gates),
        inside=not placed.family.outside,
        live="stand-clear" in look.gates,
        due={answer: placed.remedies.get(remedy, remedy) for answer, remedy in look.due.items()},
        bars=frozenset(look.bars),
        again=look.again,
        stops=look.stops,
    )


def _pins(machine: Machine, shop: Shop) -> Iterator[Probe]:
    minutes, risk = shop.probe["pins"]
    heat = "internal_protector" if machine.protector == "internal" else "windings"
    gates = _touching(machine)
    for a, b in itertools.combinations(PINS, 2):
        a, b = (b, a) if (a, b) == ("R", "S") else (a, b)
        yield Probe(
            f"pins.{a}-{b}",
            f"Ohms between pins {a} and {b}, start gear off",
            f"Pull the start gear and measure from pin {a} to pin {b}; press the tips on bright metal.",
            Kind.PINS,
            "resistance",
            points=(a, b),
            minutes=minutes,
            risk=risk,
            gates=gates,
            heat=heat,
        )
    for a, b in (("1", "2"), ("1", "3"), ("2", "3")):
        yield Probe(
            f"pins.{a}-{b}",
            f"Ohms between pins {a} and {b} (not yet named), start gear off",
            f"Number the pins on your photo and measure from pin {a} to pin {b}.",
            Kind.PINS,
            "resistance",
            minutes=minutes,
            risk=risk,
            gates=gates,
            heat=heat,
        )
    minutes, risk = shop.probe["shell"]
    yield Probe(
        "pins.shell",
        "Ohms from each pin to bare metal of the shell; note the lowest",
        "Scrape a spot of the shell or a copper pipe bright; measure each pin to it on the highest range.",
        Kind.SHELL,
        "resistance",
        points=("C", "shell"),
        minutes=minutes,
        risk=risk,
        gates=gates,
    )
    minutes, risk = shop.probe["shell_insulation"]
    yield Probe(
        "shell.insulation",
        "Insulation tester from the pins to bare metal of the shell",
        "Take start components and electronics off the pins. Never test a compressor under vacuum. 500 V DC, "
        "one minute, from each pin to the shell; note the lowest, and the winding's temperature if you can.",
        Kind.SHELL,
        "resistance",
        points=("C", "shell"),
        minutes=minutes,
        risk=risk,
        gates=gates,
        meter=meter("insulation tester"),
    )


def _with_discharge(machine: Machine, gates: tuple[str, ...]) -> tuple[str, ...]:
    """Hands at the terminals of a machine with a capacitor: discharged first."""
    if _DEAD not in gates or _DISCHARGED in gates:
        return gates
    return (*_touching(machine), *(g for g in gates if g != _DEAD))


def _touching(machine: Machine) -> tuple[str, ...]:
    capacitors = any("capacitance" in p.family.sizes for p in machine.parts)
    return (_DEAD, _DISCHARGED) if capacitors else (_DEAD,)


def _volts(machine: Machine, shop: Shop) -> Iterator[Probe]:
    minutes, risk = shop.probe["supply_volts"]
    yield Probe(
        "supply.volts",
        "Volts at the outlet, at rest",
        "Prove the meter on a known source, then measure at the outlet the machine is plugged into.",
        Kind.VOLTS,
        "voltage",
        part="supply",
        points=("L", "N"),
        minutes=minutes,
        risk=risk,
        live=True,
        inside=False,
        gates=(_METER,),
    )
    minutes, risk = shop.probe["feed_volts"]
    yield Probe(
        "feed.volts",
        "Volts on the two wires that feed the compressor, control as found, cover on",
        "Power off: clip insulated leads to the feed wires, cover on, leave the control as it was, power up.",
        Kind.FEED,
        "voltage",
        part="control",
        points=("k", "n"),
        minutes=minutes,
        risk=risk,
        live=True,
        inside=False,
        gates=(*_touching(machine), _METER, *_LIVE),
    )
    minutes, risk = shop.probe["supply_volts_start"]
    yield Probe(
        "supply.volts_start",
        "Volts at the machine while it tries to start",
        "Power off: clip insulated leads at the machine's end of the cord, cover on; watch the lowest volts.",
        Kind.VOLTS_START,
        "voltage",
        part="supply",
        points=("l", "n"),
        minutes=minutes,
        risk=risk,
        live=True,
        inside=False,
        gates=(*_touching(machine), _METER, *_LIVE),
    )


def _fit_words(placed: PlacedPart) -> tuple[str, str]:
    fit = placed.family.fit
    if fit is not None and fit.title:
        return fit.title, fit.how
    return (
        f"Fit a new {placed.family.title} and try",
        "Power off: fit the new part as the photo shows, cover on, then power up and listen.",
    )


def _rest(machine: Machine) -> str:
    """What must pass before a start attempt can decide: an inner protector, else the pressures."""
    return "internal_protector" if machine.protector == "internal" else "pressures"


def _attempts(machine: Machine, shop: Shop) -> Iterator[Probe]:
    attempt = partial(Probe, live=True, heat=_rest(machine))
    listened = partial(attempt, outcomes=OUTCOMES, inside=False, gates=_LIVE)
    minutes, risk = shop.probe["attempt_as_found"]
    yield listened(
        "attempt.as_found",
        "Power it up as it is and listen: ten seconds of humming at most",
        "Cover on, stand to the side, power up: silent, hum, click, or does it run? Off again once it has "
        "clicked or hummed for ten seconds; if it starts, let it run a few minutes and see that it stays.",
        Kind.ATTEMPT,
        minutes=minutes,
        risk=risk,
    )
    minutes, risk = shop.probe["attempt_amps"]
    yield attempt(
        "attempt.amps",
        "Amps on the common lead while it tries to start",
        "Power off: hook the clamp round the one wire to C, not round the whole cord, cover on, stand to the "
        "side; power up and read the amps after five seconds, or the last before it clicks; then off again.",
        Kind.AMPS,
        "current",
        points=("k", "C"),
        minutes=minutes,
        risk=risk,
        inside=False,
        gates=(*_touching(machine), *_LIVE),
    )
    yield listened(
        "attempt.recorded",
        "A recording of a start attempt, by a clamp's log or a microphone",
        "Cover on, stand to the side, start the recording, then power up; read it with the recordings page "
        "or command.",
        Kind.RECORDED,
        minutes=minutes,
        risk=risk,
    )
    minutes, risk = shop.probe["attempt_known_good"]
    yield attempt(
        "attempt.known_good",
        "Start it on known-good start gear and a supply known to be good",
        "Power off: fit start gear, protector and capacitors known to be good and right for it, cover on, "
        "then power up until it runs or clicks off, ten seconds of humming at most. Its protector stays in "
        "circuit.",
        Kind.KNOWN_GOOD,
        outcomes=OUTCOMES,
        minutes=minutes,
        risk=risk,
        gates=(*_touching(machine), *_LIVE),
    )
    minutes, risk = shop.probe["fit"]
    for placed in machine.parts:
        fit = placed.family.fit
        if placed.family.gear or fit is not None:
            yield Probe(
                f"fit.{placed.id}",
                *_fit_words(placed),
                Kind.FIT,
                outcomes=OUTCOMES,
                part=placed.id,
                minutes=minutes,
                risk=risk,
                live=True,
                gates=(*_touching(machine), *_LIVE),
                mends=frozenset({fit.mends if fit is not None and fit.mends else placed.id}),
            )


def _check(machine: Machine, check: Check, shop: Shop) -> Probe:
    minutes, risk = shop.probe[check.like] if check.like else (check.minutes, 0.0)
    gates = check.gates
    if check.live:
        gates = _LIVE
    elif check.quantity:
        gates = (_METER,)
    answers = set(check.outcomes) - set(check.good)
    return Probe(
        check.id,
        check.title,
        check.how,
        Kind.CHECK,
        check.quantity,
        check.outcomes,
        points=check.points,
        minutes=minutes,
        risk=risk,
        live=check.live,
        inside=False,
        gates=gates,
        due=dict.fromkeys(answers, check.due) if check.due else {},
        bars=frozenset(answers) if check.bars else frozenset(),
        again=True,
    )


def _all(machine: Machine, shop: Shop) -> Iterator[Probe]:
    minutes, risk = shop.probe["leads"]
    yield Probe(
        "leads.short",
        "Ohms with the two test tips held together",
        "Hold the tips together, press, and write down what the meter shows.",
        Kind.LEADS,
        "resistance",
        minutes=minutes,
        risk=risk,
        inside=False,
    )
    yield from _volts(machine, shop)
    for placed in machine.parts:
        yield from (_look(machine, placed, look) for look in placed.family.looks)
        yield from (_test(machine, placed, test) for test in placed.family.tests)
    yield from _pins(machine, shop)
    yield from _attempts(machine, shop)
    yield from (_check(machine, check, shop) for check in checks().values())


@lru_cache(maxsize=64)
def _known(name: str, protector: str, shop: Shop) -> dict[str, Probe]:
    machine = Machine.of(name, protector)
    check_remedies(machine.parts, shop)
    return {p.id: p for p in _all(machine, shop)}


def probes_of(machine: Machine, shop: Shop | None = None) -> dict[str, Probe]:
    """
    Every named probe of a machine, by name, in the order of a usual call.

    ``between.<node>-<node>`` probes are made on demand by `probe_of`.
    """
    if machine.arrangement.recognised_only:
        return {}
    return _known(machine.arrangement.id, machine.protector, shop or default_shop())


def probe_of(machine: Machine, name: str, shop: Shop | None = None) -> Probe:
    """
    One probe by name.

    Raises
    ------
    Unknown
        If the machine has no such probe.
    """
    known = probes_of(machine, shop)
    if name in known:
        return known[name]
    if name.startswith("between."):
        return _between(machine, name, shop or default_shop())
    raise Unknown(f"probe of {machine.arrangement.id}", name, [*known, "between.l-n"])


def _between(machine: Machine, name: str, shop: Shop) -> Probe:
    nodes = sorted({n for p in machine.parts for n in p.connect.values()} | {"shell"})
    a, _, b = name.removeprefix("between.").partition("-")
    for node in (a, b):
        if node not in nodes:
            raise Unknown("node", node, nodes)
    if a == b:
        raise Unknown("pair of nodes", name, ["between.l-n"])
    minutes, risk = shop.probe["between"]
    return Probe(
        name,
        f"Ohms from {a} to {b}, everything plugged on, machine unplugged from the outlet",
        "With the start gear on the pins, measure between the two points marked on the drawing.",
        Kind.BETWEEN,
        "resistance",
        points=(a, b),
        minutes=minutes,
        risk=risk,
        gates=_touching(machine),
        heat="external_protector",
    )
