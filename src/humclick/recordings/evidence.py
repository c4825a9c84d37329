"""
From a recording to evidence: of the line current, or of the sound.

Amperes, seconds, hertz; probabilities in [-].
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from humclick.recordings.course import Course, course_of_current, course_of_sound
from humclick.recordings.currents import Trace, current_trace
from humclick.recordings.features import RecordingMeasured, measure_recording
from humclick.recordings.recognise import Plate, Recognition, recognise
from humclick.recordings.recording import Recording
from humclick.recordings.sound import SoundRecognition, listen
from humclick.recordings.stretches import current_stretches

__all__ = ["Evidence", "current_evidence", "evidence_of", "is_sound"]

#: Sound is recorded at this rate or more. [Hz]
_LEAST_SOUND_RATE = 4000.0
#: A clamp's waveform has at least this share of its power at the mains frequency. [-]
_MAINS_SHARE = 0.3


def is_sound(recording: Recording) -> bool:
    """
    Whether a waveform is sound rather than the current of a clamp.

    A clamp's current swings at the mains frequency itself, a hum at twice that.
    """
    if not recording.waveform or recording.scale_known or recording.rate < _LEAST_SOUND_RATE:
        return False
    width = int(recording.rate / 2)
    pieces = [
        recording.values[k : k + width]
        for k in range(0, max(len(recording.values) - width, 1), max(width, len(recording.values) // 60))
    ]
    piece = max(pieces, key=lambda p: _power(p[:: max(len(p) // 2000, 1)]))
    values = [float(v) for v in piece if v == v]
    total = _power(values)
    if total <= 0.0:
        return True
    at_mains = max(_at(values, f, recording.rate) for f in (50.0, 60.0))
    return at_mains < _MAINS_SHARE * total


def _power(values: Any) -> float:
    plain = [float(v) for v in values if v == v]
    middle = sum(plain) / max(len(plain), 1)
    return sum((v - middle) ** 2 for v in plain) / max(len(plain), 1)


def _at(values: list[float], hertz: float, rate: float) -> float:
    """Power of the sine of one frequency, by Goertzel's recursion."""
    turn = 2.0 * math.cos(2 * math.pi * hertz / rate)
    middle = sum(values) / len(values)
    a = b = 0.0
    for v in values:
        a, b = v - middle + turn * a - b, a
    return 2.0 * (a * a + b * b - turn * a * b) / len(values) ** 2


def current_evidence(
    recording: Recording, plate: Plate | None = None
) -> tuple[RecordingMeasured, Recognition]:
    """
    What a recording of the line current measures and shows.

    Raises `Refused` if it holds too little.
    """
    return _weighed(current_trace(recording), plate or Plate())


def _weighed(trace: Trace, plate: Plate) -> tuple[RecordingMeasured, Recognition]:
    lra = plate.locked_rotor_amps
    measured = measure_recording(trace, current_stretches(trace, lra), lra)
    return measured, recognise(measured, plate)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a recording shows, whatever it is of."""

    recording: Recording
    recognition: Recognition | SoundRecognition  #: What it shows, of a current or of a sound.
    course: Course
    measured: RecordingMeasured | None = None  #: Its attempts measured; of a current only.


def evidence_of(
    recording: Recording, plate: Plate, *, sound: bool | None = None, hertz: float | None = None
) -> Evidence:
    """
    What a recording shows, of the line current or of the sound.

    `sound` says whether a waveform is sound, looked for in it if left out; `hertz` is the line frequency,
    where it is known. [Hz] Raises `Refused` if it holds too little.
    """
    if is_sound(recording) if sound is None else sound:
        heard = listen(recording, hertz=hertz)
        return Evidence(recording=recording, recognition=heard, course=course_of_sound(recording, heard))
    trace = current_trace(recording)
    measured, recognition = _weighed(trace, plate)
    stretches = [attempt.stretch for attempt in measured.attempts]
    course = course_of_current(trace, stretches, recognition.heard)
    return Evidence(recording=recording, recognition=recognition, course=course, measured=measured)
