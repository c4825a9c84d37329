"""
A recording of a start, read and put into a call: by clamp or microphone.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from humclick.errors import Refused
from humclick.jobs.events import RecordingTaken, new_event

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.recordings.recognise import Plate
    from humclick.recordings.recording import Recording

__all__ = ["plate_of", "recording_event"]


def plate_of(machine: Machine | None) -> Plate:
    """What a machine's plate and start gear tell the reading of a recording."""
    from humclick.recordings.recognise import GEARS, Plate

    if machine is None:
        return Plate()
    parts = {part.id for part in machine.parts}
    gear = next((g for g in GEARS if g in parts), None)
    return Plate(
        machine.nameplate.locked_rotor_amps, machine.nameplate.rated_load_amps, gear, frozenset(parts)
    )


def recording_event(
    recording: Recording,
    *,
    plate: Plate,
    sound: bool | None = None,
    hertz: float | None = None,
    sha256: str = "",
    device: str = "",
    at: datetime | None = None,
) -> RecordingTaken:
    """
    The event that puts a recording into a call.

    Parameters
    ----------
    recording : Recording
        As read.
    plate : Plate
        What is known of the machine.
    sound : bool, optional
        Whether a waveform is sound; looked for in it if left out.
    hertz : float, optional
        Line frequency, where it is known. [Hz]
    sha256 : str
        Of the file.
    device, at
        Who writes it, and when; now if left out.

    Raises
    ------
    Refused
        If the recording holds too little.
    """
    from humclick.recordings.attempts import attempts
    from humclick.recordings.course import course_of_current, course_of_sound
    from humclick.recordings.currents import current_trace
    from humclick.recordings.evidence import is_sound
    from humclick.recordings.features import measured
    from humclick.recordings.recognise import recognise
    from humclick.recordings.sound import listen

    if is_sound(recording) if sound is None else sound:
        heard = listen(recording, hertz=hertz)
        course = course_of_sound(recording, heard)
        given: dict[str, Any] = {
            "of": "sound",
            "heard": list(heard.heard[:500]),
            "words": " ".join(heard.sentences),
        }
    else:
        trace, lra = current_trace(recording), plate.locked_rotor_amps
        found = attempts(trace, lra)
        shown = recognise(measured(trace, found, lra), plate)
        course = course_of_current(trace, found, shown.heard)
        causes = {cause: max(x, -1e4) for cause, x in shown.log_likelihood.items()}
        given = {
            "of": "current",
            "heard": list(shown.heard[:500]),
            "causes": causes,
            "words": " ".join(shown.sentences),
        }
    given |= {
        "seconds": course.seconds,
        "unit": course.unit,
        "course": list(course.values),
        "spans": [list(span) for span in course.spans],
    }
    event = new_event("recording", device=device, at=at, name=recording.name[:300], sha256=sha256, **given)
    if not isinstance(event, RecordingTaken):
        raise Refused("a recording event was expected")
    return event
