"""What the fold has to know of a probe and its meter, and what an answer typed for it means."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from humclick.arrangements.machine import Machine
from humclick.errors import Unknown
from humclick.jobs.events import MeterTaken, ReadingTaken
from humclick.messages import Message
from humclick.meters import Meter, Quantity, default_meter, meter, meter_from_table
from humclick.parts.family import families, family
from humclick.readings import Reading, parse_reading

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe

__all__ = ["Parsed", "hazard_seen", "known_probe", "meter_taken", "top_of", "understood"]

#: Answers that say nothing.
_NOT_SURE = ("not sure", "?", "unknown", "don't know")


#: Readings that were understood, by their text and quantity.
Parsed = dict[tuple[str, str], Reading]


def known_probe(machine: Machine, name: str) -> Probe:
    """One probe of a machine by name; raises `Unknown` if there is none."""
    from humclick.diagnosis.probes import probe_of  # here: reading a call file needs no judgement

    return probe_of(machine, name)


def understood(event: ReadingTaken, probe: Probe, parsed: Parsed) -> tuple[Reading | None, str]:
    """The reading or the answer; an answer that says nothing is empty."""
    if probe.quantity:
        known = parsed.get((event.value, probe.quantity))
        if known is None:
            known = parsed[event.value, probe.quantity] = parse_reading(event.value, Quantity(probe.quantity))
        return known, ""
    words = _plain(event.value)
    if words in _NOT_SURE:
        return None, ""
    by_plain = {_plain(str(outcome)): str(outcome) for outcome in probe.outcomes}
    if words not in by_plain:
        raise Unknown(
            Message("answer to {probe}", probe=event.probe),
            event.value,
            [str(outcome) for outcome in probe.outcomes],
        )
    return None, by_plain[words]


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def hazard_seen(event: ReadingTaken) -> str:
    """The hazard that an answer shows, on whatever machine; empty where it shows none."""
    return _stops_seen().get((event.probe, _plain(event.value)), "")


@cache
def _stops_seen() -> Mapping[tuple[str, str], str]:
    """Hazards by the probe and the answer, in plain letters, that show them, on whatever machine."""
    return {
        (f"{name}.{look.name}", _plain(answer)): stop
        for name in families()
        for look in family(name).looks
        for answer, stop in look.stops.items()
    }


def top_of(used: Meter) -> float:
    """What OL of a meter's ohms exceeds; 0 where it has no ohms. [Ω]"""
    return used.highest(Quantity.RESISTANCE) if used.measures(Quantity.RESISTANCE) else 0.0


def meter_taken(event: MeterTaken) -> Meter:
    """The meter in use after an event."""
    if event.own:
        return meter_from_table(event.own, "own meter")
    return meter(event.name) if event.name else default_meter()
