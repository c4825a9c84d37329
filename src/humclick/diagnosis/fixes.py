"""
Fixes: what a doubted reading was most likely meant to be, each to be recorded with one tap or key.

A reading that no known condition gives was mistyped, taken between other points or taken too early; which of
them it can have been is tried on the same judgement that doubts it. Nothing is ever corrected unasked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.findings import finding_of
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.model import Probe, Says
from humclick.diagnosis.pins_named import NamedPins, named_pins
from humclick.diagnosis.probes import probe_of, probes_of
from humclick.diagnosis.sayings import WARM
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.errors import ReadingRefused
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings import format_si, parse_reading

__all__ = ["Change", "Fix", "fixes"]

#: What a unit typed wrong multiplies by; the usual slip first. [-]
_UNITS = (1e3, 1e-3)
_SLIPPED = Message("Did a tip slip, was a part still plugged on, or the wrong range set?")
_SLIPPED_LIVE = Message("Did a tip slip, or was the wrong range set?")
_STRIKE = Message("Strike it out and read again")
#: Digits of a value that is proposed. [-]
_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Change:
    """
    What is changed of one reading; what is empty stays.

    Attributes
    ----------
    of : str
        The event of the reading.
    value, probe, temperature : str
        As they would have been typed. With none of them the reading is struck out.
    """

    of: str
    value: str = ""
    probe: str = ""
    temperature: str = ""


@dataclass(frozen=True, slots=True)
class Fix:
    """
    One way to put a doubted reading right.

    Attributes
    ----------
    name : str
        ``unit``, ``points``, ``warm``, ``pins`` or ``strike``.
    question : str
        What may have happened.
    answer : str
        What saying yes does.
    changes : tuple of Change
        What is recorded then.
    """

    name: str
    question: Message
    answer: Message
    changes: tuple[Change, ...]


def fixes(situation: Situation, shop: Shop, of: str) -> tuple[Fix, ...]:
    """
    How a reading may be put right, the likeliest first; none where it is not doubted.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop
        Odds and slips.
    of : str
        The event of the reading.

    Raises
    ------
    Unknown
        If its probe is none of the machine's.
    """
    seen = next((o for o in situation.observations if o.id == of), None)
    if seen is None or seen.reading is None:
        return ()
    judged = judge(replace(situation, observations=()), shop)
    probe = probe_of(situation.machine, seen.probe, shop)
    pins = named_pins(situation, shop)
    if pins is not None and seen.probe in pins.readings and pins.doubted:
        return tuple(_of_pins(situation, pins))
    finding = finding_of(judged.bench, situation, seen)
    if finding.says is not Says.UNKNOWN and not finding.slip:
        return ()
    found = {fix.name: fix for fix in _tried(judged.bench, situation, seen, probe)}
    order = {WARM: ("warm", "unit", "points"), "wild": ("points", "unit", "warm")}
    first = order.get(finding.slip, ("unit", "points", "warm"))
    return tuple(found[name] for name in (*first, "strike") if name in found)


def _tried(bench: Bench, situation: Situation, seen: Observation, probe: Probe) -> Iterator[Fix]:
    """Every way that makes sense of a reading, and to strike it out."""
    if not probe.proves_safety:
        yield from _in_units(bench, situation, seen, probe)
        yield from _elsewhere(bench, situation, seen, probe)
    if probe.opens_with_heat and seen.temperature.kind != "hot":
        finding = finding_of(bench, situation, seen)
        if finding.slip == WARM:
            yield Fix(
                "warm",
                Message("Was it still warm?"),
                Message("Yes, record it as warm"),
                (Change(seen.id, temperature="hot"),),
            )
    yield Fix(
        "strike",
        _SLIPPED_LIVE if probe.live else _SLIPPED,
        _STRIKE,
        (Change(seen.id),),
    )


def _in_units(bench: Bench, situation: Situation, seen: Observation, probe: Probe) -> Iterator[Fix]:
    """The same figure in another unit, where a good part reads so."""
    value = seen.reading.value if seen.reading is not None else None
    quantity = Quantity(probe.quantity)
    for factor in _UNITS if value else ():
        assert value is not None
        typed = format_si(value * factor, quantity, _DIGITS)
        text = _short(typed)
        try:
            meant = replace(seen, reading=parse_reading(text, quantity))
        except ReadingRefused:
            continue
        if finding_of(bench, situation, meant).says is Says.GOOD:
            yield Fix(
                "unit",
                Message("Did you mean {value}?", value=text),
                Message("Yes, record {value}", value=text),
                (Change(seen.id, value=text),),
            )
            return


def _short(text: str) -> str:
    """A value without the zeros at its end: ``4.70000 kΩ`` is ``4.7 kΩ``."""
    figure, _, unit = text.partition(" ")
    return f"{figure.rstrip('0').rstrip('.') if '.' in figure else figure} {unit}"


def _elsewhere(bench: Bench, situation: Situation, seen: Observation, probe: Probe) -> Iterator[Fix]:
    """The same value between two other points of the part, where a good one reads so and this one never."""
    taken = {o.probe for o in situation.observations}
    for other in probes_of(situation.machine, bench.shop).values():
        same = other.quantity == probe.quantity and other.part == probe.part and other.live == probe.live
        pins = probe.pins_named and other.pins_named
        if not same or other.id in taken or not (probe.part or pins) or other.proves_safety:
            continue
        if finding_of(bench, situation, replace(seen, probe=other.id)).says is Says.GOOD:
            yield Fix(
                "points",
                Message("Or was this: {title}?", title=other.title),
                Message("Yes, record it there"),
                (Change(seen.id, probe=other.id),),
            )
            return


def _of_pins(situation: Situation, pins: NamedPins) -> Iterator[Fix]:
    """Three readings between the pins that do not fit: name the pins anew, or strike out what is in doubt."""
    last = {o.probe: o.id for o in situation.observations if o.reading is not None}
    if pins.names:
        yield Fix(
            "pins",
            Message("Were the pins taken for one another?"),
            Message("Yes, name the readings anew"),
            tuple(Change(last[probe], probe=right) for probe, right in pins.names.items() if probe != right),
        )
    several = len(pins.suspects) > 1
    yield Fix(
        "strike",
        Message("Was the starter still on the pins?") if pins.conclusion == "gear_on" else _SLIPPED,
        Message("Strike all three out and read again") if several else _STRIKE,
        tuple(Change(last[probe]) for probe in pins.suspects),
    )
