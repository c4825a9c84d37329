"""
How warm a part is taken to be, and how long the machine has stood, as far as it was written down. Minutes.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from humclick.diagnosis.situation import warmth
from humclick.jobs.events import ComplaintHeard, PartFitted, ReadingTaken, RecordingTaken, Waited
from humclick.jobs.standing import live
from humclick.meters import Quantity
from humclick.safety import energises

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe
    from humclick.jobs.flow import Flow

__all__ = ["felt", "since", "stood"]

#: Longest time a machine is taken to have stood since something was written down. [min]
_LONGEST_STAND = 48 * 60


def since(flow: Flow, now: datetime) -> datetime | None:
    """When the machine was last under power or was last written down to have cooled; None if not known."""
    at: datetime | None = None
    for event in live(flow.events, flow.call):
        counts = isinstance(event, ComplaintHeard | Waited)
        if isinstance(event, ReadingTaken) and flow.has(event.probe):
            counts = energises(flow.probe(event.probe).gates)
        if counts:
            at = min(event.at, now) if event.timed else None  # no clock adds to a wait
    return at


def stood(flow: Flow, now: datetime) -> float | None:
    """How long it has stood by now, as far as is written down; None if not known. [min]"""
    began = since(flow, now)
    minutes = None if began is None else (now - began).total_seconds() / 60
    return minutes if minutes is not None and 0 <= minutes <= _LONGEST_STAND else None


def felt(flow: Flow, now: datetime, probe: Probe) -> str:
    """How warm the part last felt was, where nothing happened since and it cannot have cooled; else empty."""
    readings = {reading.event: reading for reading in flow.call.readings}
    for event in reversed(live(flow.events, flow.call)):
        if isinstance(event, ComplaintHeard | Waited | PartFitted | RecordingTaken):
            return ""
        reading = readings.get(event.id)
        if reading is None:
            continue
        if energises(flow.probe(reading.probe).gates):
            return ""
        if reading.reading is None or reading.reading.quantity is not Quantity.RESISTANCE:
            continue
        felt_then = (
            reading.temperature.kind if isinstance(event, ReadingTaken) and event.temperature.strip() else ""
        )
        minutes = (now - event.at).total_seconds() / 60 if event.timed else 0.0
        cooled = felt_then == "hot" and warmth(True, minutes, probe.heat).kind != "hot"
        return felt_then if felt_then in ("cold", "hot") and not cooled else ""
    return ""
