"""
The effective current over time, from rms logs as they are and from waveforms half cycle by half cycle.

Amperes where the scale is known, else as recorded; times in seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from humclick.errors import Refused
from humclick.recordings.recording import Recording, numpy
from humclick.recordings.timebase import swings

__all__ = ["Trace", "current_trace"]

#: Samples of a waveform worked on at a time. [-]
_BLOCK = 4_000_000
#: Half cycles looked at for the offset. [-]
_MOST_OFFSET = 4000
#: Half cycles of fewer samples than this share those at their edges. [-]
_FEW = 60
_LINE = (50.0, 60.0)
#: From here on a sample stands at the cut-off, over it. [-]
_AT_CLIP = 0.9995


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """
    Effective current over time.

    Attributes
    ----------
    times, amps : list of float
        Middle of each window and the current in it; missing windows are left out. [s] [A or as recorded]
    step : float
        Length of a window. [s]
    waveform : bool
        Whether windows are half cycles of a waveform.
    hertz : float or None
        50 or 60 where the waveform tells it. [Hz]
    scale_known : bool
        Whether the current is in amperes.
    clipped : bool
        Whether peaks were cut off.
    notes : tuple of str
        What had to be guessed.
    """

    times: list[float]
    amps: list[float]
    step: float
    waveform: bool = False
    hertz: float | None = None
    scale_known: bool = True
    clipped: bool = False
    notes: tuple[str, ...] = ()


def current_trace(recording: Recording) -> Trace:
    """
    Effective current of a recording.

    Parameters
    ----------
    recording : Recording
        An rms log or a waveform.

    Returns
    -------
    Trace
        Of a waveform, rms over half cycles, its offset taken off and cut-off peaks reckoned back from the
        share of the half cycle they stand at the limit (a sine cut at c for the share p has the peak
        c / cos(π p / 2)).

    Raises
    ------
    Refused
        If nothing is left of it.
    """
    notes = list(recording.notes)
    if not recording.waveform:
        times, amps = _pairs(recording)
        hertz = None
        step = recording.step
    else:
        found = swings(recording.values, recording.rate)
        hertz = min(_LINE, key=lambda f: abs(f - found))
        if found and abs(found - hertz) > 2.5:
            notes.append(
                f"The waveform swings {found:.1f} times a second; it was taken as mains of {hertz:g} Hz."
            )
        elif not found:
            notes.append("No mains current stands out in the waveform.")
        step = 0.5 / hertz
        per = recording.rate * step
        if per < 2:
            raise Refused(f"{recording.name}: {recording.rate:g} samples a second are too few for a waveform")
        amps = _half_cycles(recording, per) if numpy is not None else _half_cycles_plain(recording, per)
        times = [recording.start + (k + 0.5) * step for k in range(len(amps))]
        times = [t for t, a in zip(times, amps, strict=True) if a == a]
        amps = [a for a in amps if a == a]
    if len(amps) < 3:
        raise Refused(f"{recording.name}: holds too little to see a start in it")
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
    values = [float(v) for v in recording.values]
    if recording.times is not None:
        times = [float(t) for t in recording.times]
    else:
        times = [recording.start + k * recording.step for k in range(len(values))]
    if recording.clip is not None:
        values = [recording.clip if v != v else v for v in values]
    pairs = [(t, abs(v)) for t, v in zip(times, values, strict=True) if math.isfinite(v)]
    return [t for t, _ in pairs], [v for _, v in pairs]


def _offset(values: Any, per: float) -> float:
    """Zero of the waveform: median over whole cycles of their means."""
    cycle = 2 * per
    count = int(len(values) / cycle)
    if count < 1:
        return 0.0
    jump = max(count // _MOST_OFFSET, 1)
    means = []
    for k in range(0, count, jump):
        piece = values[round(k * cycle) : round((k + 1) * cycle)]
        mean = float(piece.mean()) if numpy is not None else sum(piece) / len(piece)
        if math.isfinite(mean):
            means.append(mean)
    return sorted(means)[len(means) // 2] if means else 0.0


def _half_cycles(recording: Recording, per: float) -> list[float]:
    """Rms of each half cycle, with numpy."""
    assert numpy is not None
    values = recording.values
    zero = _offset(values, per)
    clip = None if recording.clip is None else (recording.clip - zero) * _AT_CLIP
    if per < _FEW and clip is None:
        return _shared_edges(values, per, zero)
    found: list[Any] = []
    edges = numpy.rint(numpy.arange(int(len(values) / per) + 1) * per).astype(numpy.int64)
    many = max(int(_BLOCK / per), 1)
    for first in range(0, len(edges) - 1, many):
        cut = edges[first : first + many + 1]
        piece = values[cut[0] : cut[-1]] - numpy.float32(zero)
        starts = cut[:-1] - cut[0]
        here = numpy.isfinite(piece)
        whole = bool(here.all())
        if not whole:
            piece = numpy.where(here, piece, numpy.float32(0.0))
        there = numpy.add.reduceat(here, starts, dtype=numpy.int64) if not whole else numpy.diff(cut)
        with numpy.errstate(invalid="ignore", divide="ignore", over="ignore"):
            rms = numpy.sqrt(numpy.add.reduceat(piece * piece, starts) / there)
            rms = numpy.where(there >= 0.5 * per, rms, numpy.nan)
            if clip is not None:
                share = numpy.add.reduceat(numpy.abs(piece) >= clip, starts, dtype=numpy.int64) / there
                peak = clip / numpy.cos(0.5 * math.pi * numpy.minimum(share, 0.8))
                rms = numpy.where(share > 0.05, peak / math.sqrt(2.0), rms)
        found += rms.tolist()
    return [float(v) for v in found]


def _shared_edges(values: Any, per: float, zero: float) -> list[float]:
    """Rms of half cycles of few samples, those at the edges shared between neighbours; with numpy."""
    assert numpy is not None
    here = numpy.isfinite(values)
    squares = numpy.where(here, values - zero, 0.0).astype(numpy.float64) ** 2
    places = numpy.arange(len(values) + 1)
    edges = numpy.arange(int(len(values) / per) + 1) * per
    sums, counts = (
        numpy.diff(numpy.interp(edges, places, numpy.concatenate(([0.0], numpy.cumsum(each)))))
        for each in (squares, here)
    )
    rms = numpy.sqrt(sums / numpy.maximum(counts, 1e-9))
    return [float(v) for v in numpy.where(counts >= 0.5 * per, rms, numpy.nan)]


def _half_cycles_plain(recording: Recording, per: float) -> list[float]:
    """Rms of each half cycle, in plain Python."""
    values = recording.values
    zero = _offset(values, per)
    clip = math.inf if recording.clip is None else (recording.clip - zero) * _AT_CLIP
    found = []
    for k in range(int(len(values) / per)):
        a, b = k * per, (k + 1) * per
        first, last = int(a), min(int(b), len(values) - 1)
        total = count = 0.0
        over = 0
        for i in range(first, last + 1):
            if math.isfinite(values[i]):
                share = min(b, i + 1) - max(a, i)
                total += share * (values[i] - zero) ** 2
                count += share
                over += abs(values[i] - zero) >= clip
        if count < 0.5 * per:
            found.append(math.nan)
        elif over > 0.05 * count:
            found.append(clip / math.cos(0.5 * math.pi * min(over / count, 0.8)) / math.sqrt(2.0))
        else:
            found.append(math.sqrt(total / count))
    return found
