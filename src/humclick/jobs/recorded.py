"""
A recording of a start, read and put into a call: by clamp or microphone.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from humclick.jobs.event_tables import new_event
from humclick.jobs.events import RecordingTaken

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.recordings.evidence import Evidence
    from humclick.recordings.recognise import Plate

__all__ = ["plate_of", "recording_event"]


def plate_of(machine: Machine | None) -> Plate:
    """What a machine's plate and start gear tell the reading of a recording."""
    from humclick.parts.family import Role
    from humclick.recordings import GEARS
    from humclick.recordings.recognise import Plate

    if machine is None:
        return Plate()
    parts = {part.id for part in machine.parts}
    starter = machine.has(Role.STARTER)
    law = (starter.family.in_time or starter.family.name) if starter else ""
    gear = law if law in GEARS else None
    return Plate(
        machine.nameplate.locked_rotor_amps, machine.nameplate.rated_load_amps, gear, frozenset(parts)
    )


def recording_event(
    evidence: Evidence, *, sha256: str = "", device: str = "", at: datetime | None = None, turn: int = 0
) -> RecordingTaken:
    """
    The event that puts a recording into a call.

    Parameters
    ----------
    evidence : Evidence
        What the recording shows (`humclick.recordings.evidence.evidence_of`).
    sha256 : str
        Of the file.
    device, at, turn
        Who writes it, when (now if left out), and its turn in the call.
    """
    from humclick.recordings.recognise import Shown

    shown, course = evidence.shown, evidence.course
    given: dict[str, Any] = {"of": "sound"}
    if isinstance(shown, Shown):
        given = {"of": "current", "causes": {c: max(x, -1e4) for c, x in shown.log_likelihood.items()}}
    event = new_event(
        "recording",
        device=device,
        at=at,
        turn=turn,
        name=evidence.recording.name[:300],
        sha256=sha256,
        heard=list(shown.heard[:500]),
        words=" ".join(shown.sentences),
        seconds=course.seconds,
        unit=course.unit,
        course=list(course.values),
        spans=[list(span) for span in course.spans],
        **given,
    )
    assert isinstance(event, RecordingTaken)
    return event
