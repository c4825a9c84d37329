"""
The effective current over time, from rms logs as they are and from waveforms half cycle by half cycle.

Amperes where the scale is known, else as recorded; times in seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from humclick.errors import Refused
from humclick.messages import Message
from humclick.recordings.recording import Recording
from humclick.recordings.timebase import swings

__all__ = ["Trace", "current_trace"]

#: Half cycles looked at for the offset. [-]
_MOST_OFFSET = 4000
_LINE = (50.0, 60.0)
#: From here on a sample stands at the cut-off, over it. [-]
_AT_CLIP = 0.9995


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Effective current over time."""

    #: Middle of each window and the current in it; missing windows are left out. [s] [A or as recorded]
    times: list[float]
    amps: list[float]
    step: float  #: Length of a window. [s]
    waveform: bool = False  #: Whether windows are half cycles of a waveform.
    hertz: float | None = None  #: 50 or 60 where the waveform tells it. [Hz]
    scale_known: bool = True  #: Whether the current is in amperes.
    clipped: bool = False  #: Whether peaks were cut off.
    notes: tuple[str, ...] = ()  #: What had to be guessed.


def current_trace(recording: Recording) -> Trace:
    """
    Effective current of a recording.

    Of a waveform, rms over half cycles, its offset taken off and cut-off peaks reckoned back from the share
    of the half cycle they stand at the limit (a sine cut at c for the share p has the peak c / cos(π p / 2)).
    Raises `Refused` if nothing is left of it.
    """
    notes = list(recording.notes)
    if not recording.waveform:
        times, amps = _pairs(recording)
        hertz = None
        step = recording.step
    else:
        frequency = swings(recording.values, recording.rate)
        hertz = min(_LINE, key=lambda f: abs(f - frequency))
        if frequency and abs(frequency - hertz) > 2.5:
            notes.append(
                f"The waveform swings {frequency:.1f} times a second; it was taken as mains of {hertz:g} Hz."
            )
        elif not frequency:
            notes.append("No mains current stands out in the waveform.")
        step = 0.5 / hertz
        per = recording.rate * step
        if per < 2:
            raise Refused(
                Message(
                    "{name}: {rate:g} samples a second are too few for a waveform",
                    name=recording.name,
                    rate=recording.rate,
                )
            )
        amps = _half_cycles(recording, per)
        times = [recording.start + (k + 0.5) * step for k in range(len(amps))]
        times = [t for t, a in zip(times, amps, strict=True) if a == a]
        amps = [a for a in amps if a == a]
    if len(amps) < 3:
        raise Refused(Message("{name}: holds too little to see a start in it", name=recording.name))
    return Trace(
        times=times,
        amps=amps,
        step=step,
        waveform=recording.waveform,
        hertz=hertz,
        scale_known=recording.scale_known,
        clipped=recording.clip is not None,
        notes=tuple(notes),
    )


def _pairs(recording: Recording) -> tuple[list[float], list[float]]:
    """Times and magnitudes of an rms log, missing ones left out; a log over its range stays at the range."""
    values, times = recording.values, recording.times
    if times is None:
        times = [recording.start + k * recording.step for k in range(len(values))]
    if recording.clip is not None:
        values = [recording.clip if v != v else v for v in values]
    pairs = [(t, abs(v)) for t, v in zip(times, values, strict=True) if math.isfinite(v)]
    return [t for t, _ in pairs], [v for _, v in pairs]


def _offset(values: Sequence[float], per: float) -> float:
    """Zero of the waveform: median over whole cycles of their means."""
    cycle = 2 * per
    count = int(len(values) / cycle)
    if count < 1:
        return 0.0
    jump = max(count // _MOST_OFFSET, 1)
    means = []
    for k in range(0, count, jump):
        piece = values[round(k * cycle) : round((k + 1) * cycle)]
        mean = sum(piece) / len(piece)
        if math.isfinite(mean):
            means.append(mean)
    return sorted(means)[len(means) // 2] if means else 0.0


def _half_cycles(recording: Recording, per: float) -> list[float]:
    """Rms of each half cycle; samples at the edges are shared between neighbours."""
    values = recording.values
    zero = _offset(values, per)
    clip = math.inf if recording.clip is None else (recording.clip - zero) * _AT_CLIP
    amps = []
    for k in range(int(len(values) / per)):
        first, end = int(k * per), (k + 1) * per
        piece = [v - zero for v in values[first : math.ceil(end)]]
        share = [1.0] * len(piece)
        share[0] -= k * per - first
        share[-1] -= max(first + len(piece) - end, 0.0)
        there = [(v, s) for v, s in zip(piece, share, strict=True) if math.isfinite(v)]
        count = sum(s for _, s in there)
        over = 0 if clip == math.inf else sum(abs(v) >= clip for v, _ in there)
        if count < 0.5 * per:
            amps.append(math.nan)
        elif over > 0.05 * count:
            amps.append(clip / math.cos(0.5 * math.pi * min(over / count, 0.8)) / math.sqrt(2.0))
        else:
            amps.append(math.sqrt(sum(s * v * v for v, s in there) / count))
    return amps
