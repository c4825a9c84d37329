"""
A recording's course, short enough to be kept in the record of a call and drawn again anywhere.

Of a current, the largest effective value of each of a few hundred equal pieces of time; of a sound, its
level there. With it the stretches that were recognised. Seconds; amperes, or as recorded; decibels below
full scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from humclick.recordings.currents import Trace
    from humclick.recordings.recording import Recording
    from humclick.recordings.sound import SoundRecognition
    from humclick.recordings.stretches import CurrentStretch

__all__ = ["MOST_PIECES", "Course", "course_of_current", "course_of_sound"]

#: Pieces of time a course has at most. [-]
MOST_PIECES = 240
#: Samples of a sound looked at in each piece. [-]
_SAMPLES = 800
#: Level of a piece with no sound in it. [dB]
_SILENT = -90.0
#: Stretches kept. [-]
_MOST_SPANS = 200


@dataclass(frozen=True, slots=True)
class Course:
    """A recording, short."""

    seconds: float  #: Its length. [s]
    unit: str  #: ``A``, ``dB``, or empty where the scale is unknown.
    values: tuple[float, ...]  #: One for each equal piece of time.
    #: (start, end, kind): what was recognised; of a current what each attempt came to, of a sound ``locked``,
    #: ``running`` and, with no length, ``click``. [s]
    spans: tuple[tuple[float, float, str], ...]


def course_of_current(trace: Trace, stretches: Sequence[CurrentStretch], heard: Sequence[str]) -> Course:
    """
    The course of a current.

    Examples
    --------
    >>> from humclick.recordings.stretches import current_stretches
    >>> from humclick.recordings.currents import Trace
    >>> trace = Trace(times=[0.1 * k for k in range(40)], amps=[0.0] * 10 + [5.0] * 10 + [0.0] * 20, step=0.1)
    >>> course = course_of_current(trace, current_stretches(trace), ["hum_click"])
    >>> max(course.values), course.spans[0][2]
    (5.0, 'hum_click')
    """
    begin = trace.times[0] - trace.step / 2
    seconds = trace.times[-1] + trace.step / 2 - begin
    pieces = min(MOST_PIECES, len(trace.times))
    values: list[float | None] = [None] * pieces
    for at, amps in zip(trace.times, trace.amps, strict=True):
        k = min(pieces - 1, int((at - begin) / seconds * pieces))
        before = values[k]
        values[k] = amps if before is None else max(before, amps)
    spans = [
        (max(0.0, stretch.on - begin), min(seconds, stretch.off - begin), what)
        for stretch, what in zip(stretches, heard, strict=False)
    ]
    return _short(seconds, "A" if trace.scale_known else "", _filled(values), spans)


def course_of_sound(recording: Recording, recognition: SoundRecognition) -> Course:
    """The course of a sound: its level against full scale, from some samples of each piece."""
    values = recording.values
    count = len(values)
    pieces = max(1, min(MOST_PIECES, count // 64))
    full = _full_scale(values)
    levels = []
    for k in range(pieces):
        first, last = k * count // pieces, (k + 1) * count // pieces
        some = [float(v) for v in values[first : last : max(1, (last - first) // _SAMPLES)]]
        power = math.fsum(v * v for v in some if v == v) / max(1, len(some)) / (full * full)
        levels.append(max(_SILENT, 10 * math.log10(power)) if power > 0 else _SILENT)
    spans = [
        (stretch.start, stretch.end, stretch.kind)
        for stretch in recognition.stretches
        if stretch.kind != "quiet"
    ]
    spans += [(at, at, "click") for at in recognition.clicks]
    return _short(recording.seconds, "dB", levels, sorted(spans))


def _full_scale(values: Sequence[float]) -> float:
    """What counts as 0 dB: 1, as WAV files are read, or the largest sample where one is larger."""
    some = values[:: max(1, len(values) // 20_000)]
    return max(1.0, *(abs(float(v)) for v in some if v == v)) if len(some) else 1.0


def _filled(values: Sequence[float | None]) -> list[float]:
    """Pieces with nothing in them are as the one before."""
    last, filled = 0.0, []
    for value in values:
        last = last if value is None else value
        filled.append(last)
    return filled


def _short(
    seconds: float, unit: str, values: Sequence[float], spans: Sequence[tuple[float, float, str]]
) -> Course:
    rounded = tuple((round(start, 2), round(end, 2), kind) for start, end, kind in spans[:_MOST_SPANS])
    return Course(round(seconds, 3), unit, tuple(float(f"{value:.3g}") for value in values), rounded)
