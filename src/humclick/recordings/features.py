"""
What an attempt measures: peak, locked-rotor plateau, run-up, trip and restart, each with its uncertainty.

Amperes where the scale is known, else as recorded; times in seconds after power came on.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from humclick.recordings.currents import Trace
from humclick.recordings.stretches import CurrentStretch

__all__ = ["AttemptMeasured", "MeasuredFigure", "RecordingMeasured", "measure_recording"]

#: What a clamp's gain may be out by. [-]
_GAIN = 0.015
#: Windows skipped at the start of a waveform: the switching transient. [-]
_TRANSIENT = 2
#: So many values alike within this factor, no less than this share of the largest, are a shelf. [-]
_SHELF, _SHELF_FLAT, _SHELF_LEAST = 4, 1.04, 0.85
#: The plateau is sought in the first second. [s]
_PLATEAU = 1.0
#: Current fallen to this share of the plateau has left it. [-]
_LEFT = 0.9
#: The level after the plateau is taken here. [s]
_SETTLED = (1.7, 2.6)
#: Below this share of the plateau a machine runs. [-]
_RUNS = 0.5
#: A plateau seen in one window only may be higher by this, and by so much more a second of window. [-] [1/s]
_ONE_WINDOW = 0.05
_SLOW_WINDOW = 1.1
#: Windows from here on are too long for a start of a tenth of a second. [s]
_SLOW = 0.08
#: The same where its start was not seen, of the plate's locked-rotor amperes. [-]
_RUNS_OF_LRA = 0.33
#: Around the last level the current has arrived. [-]
_ARRIVED = 0.08


@dataclass(frozen=True, slots=True)
class MeasuredFigure:
    """A measured quantity."""

    amount: float  #: In `unit`.
    plus_minus: float  #: 95 % of what it may be lies within. In `unit`.
    unit: str  #: ``A``, ``s``, ``%``, or empty where the scale is unknown.


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptMeasured:
    """What one attempt measures; None where the recording does not show it."""

    stretch: CurrentStretch  #: Where it lies.
    #: Largest effective current, and the level with the rotor still locked.
    peak: MeasuredFigure
    plateau: MeasuredFigure
    fall: MeasuredFigure | None = None  #: When the current left the plateau.
    level: MeasuredFigure | None = None  #: Level about two seconds on.
    run_up: MeasuredFigure | None = None  #: Time to speed, where it runs.
    #: When the last step down was over: the start winding, or what is in series with it, let go.
    lets_go: MeasuredFigure | None = None
    run: MeasuredFigure | None = None  #: Running current.
    end: MeasuredFigure | None = None  #: Current before it stopped or the recording ended.
    trip: MeasuredFigure | None = None  #: When current stopped by itself.

    @property
    def runs(self) -> bool:
        """Whether the machine came to speed and its current fell to a running level."""
        return self.run is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingMeasured:
    """What a recording measures."""

    attempts: tuple[AttemptMeasured, ...]  #: In order.
    seconds: float  #: Length of the recording. [s]
    restarts: tuple[MeasuredFigure, ...]  #: From one attempt's end to the next one's start.
    duty: MeasuredFigure  #: Share of the time in which current flows.
    hertz: float | None  #: Of the mains, where it shows. [Hz]
    #: Whether currents are amperes; whether peaks were cut off.
    scale_known: bool
    clipped: bool
    step: float  #: Time between values. [s]
    notes: tuple[str, ...]  #: What had to be guessed.


def measure_recording(
    trace: Trace, stretches: Sequence[CurrentStretch], locked_rotor_amps: float | None = None
) -> RecordingMeasured:
    """
    Measure every attempt of a recording.

    Each quantity has the spread that sampling, noise and the clamp's gain leave. A current far below
    `locked_rotor_amps`, that of the nameplate, that lasts is a running one whose start was not seen. [A]
    """
    seconds = trace.times[-1] - trace.times[0] + trace.step
    restarts = tuple(
        MeasuredFigure(b.on - a.off, 1.4 * trace.step, "s") for a, b in itertools.pairwise(stretches)
    )
    on = sum(a.seconds for a in stretches)
    notes = trace.notes
    if trace.step > _SLOW:
        notes += (
            f"A value every {trace.step:.2g} s is too slow for a start that is over in a tenth of a second; "
            "log faster, or use the meter's inrush function.",
        )
    return RecordingMeasured(
        attempts=tuple(_attempt(trace, stretch, locked_rotor_amps) for stretch in stretches),
        seconds=seconds,
        restarts=restarts,
        duty=MeasuredFigure(100 * on / seconds, 100 * min(len(stretches) * trace.step / seconds, 1.0), "%"),
        hertz=trace.hertz,
        scale_known=trace.scale_known,
        clipped=trace.clipped,
        step=trace.step,
        notes=notes,
    )


def _smooth(values: list[float]) -> list[float]:
    """Median of three; the ends as they are."""
    if len(values) < 3:
        return list(values)
    inner = [sorted(values[k - 1 : k + 2])[1] for k in range(1, len(values) - 1)]
    return [values[0], *inner, values[-1]]


def _noise(values: Sequence[float]) -> float:
    """Scatter from one value to the next, over the level. [-]"""
    level = median(values)
    if len(values) < 5 or level <= 0:
        return 0.02
    jumps = sorted(abs(b - a) for a, b in itertools.pairwise(values))
    return min(jumps[len(jumps) // 2] / 0.954 / level, 0.3)


def _amps(trace: Trace, value: float, noise: float, count: int) -> MeasuredFigure:
    """A current with the spread of its noise, the clamp's gain and cut-off peaks."""
    gain = _GAIN if trace.scale_known else 0.0
    share = 1.96 * math.hypot(gain, noise / math.sqrt(max(count, 1)), 0.08 if trace.clipped else 0.0)
    return MeasuredFigure(value, value * share, "A" if trace.scale_known else "")


def _attempt(trace: Trace, stretch: CurrentStretch, lra: float | None) -> AttemptMeasured:
    raw = trace.amps[stretch.first : stretch.last]
    times = [t - stretch.on for t in trace.times[stretch.first : stretch.last]]
    ends = 0 if stretch.cut else 1
    whole = raw[: len(raw) - ends] or raw
    noise = _noise(whole[len(whole) // 2 :])
    early = [v for v, t in zip(raw, times, strict=True) if t <= _PLATEAU]
    if trace.waveform:
        early = early[_TRANSIENT if len(early) > _TRANSIENT + 2 else 0 :]
    elif trace.step <= _SLOW:
        early = _after_switching(early)
    plateau = max(_smooth(early) if trace.waveform and len(early) >= 8 else early)
    held = [v for v in early if v > 0.95 * plateau]
    if len(held) >= 3:
        plateau = median(held)
    brief = _ONE_WINDOW + (_SLOW_WINDOW * min(trace.step, 0.6) if trace.step > _SLOW else 0.0)
    fall = _fall(raw, times, plateau, stretch, trace)
    settled = [v for v, t in zip(whole, times, strict=False) if _SETTLED[0] <= t <= _SETTLED[1]]
    level = median(settled) if settled else None
    tail = _tail(whole, times)
    end = median(tail) if tail else None
    last = end if end is not None else level
    runs = last is not None and last < _RUNS * plateau and stretch.seconds > 1.0
    if lra is not None and trace.scale_known and last is not None and stretch.seconds > 5.0:
        runs = runs or last < _RUNS_OF_LRA * lra
    width = trace.step
    return AttemptMeasured(
        stretch=stretch,
        peak=_amps(trace, max(raw), noise, 1),
        plateau=_amps(trace, plateau, max(noise, brief) if len(held) < 2 else noise, len(held)),
        fall=None if fall is None else MeasuredFigure(fall, max(width, 0.02), "s"),
        level=None if level is None else _amps(trace, level, noise, len(settled)),
        run_up=_run_up(raw, times, plateau, last, width) if runs and last is not None else None,
        lets_go=_lets_go(raw, times, plateau, level, width),
        run=_amps(trace, last, noise, len(tail)) if runs and last is not None else None,
        end=None if end is None else _amps(trace, end, noise, len(tail)),
        trip=None if stretch.cut else MeasuredFigure(stretch.seconds, 1.4 * width, "s"),
    )


def _after_switching(early: list[float]) -> list[float]:
    """
    Values of a fast log from where the switching transient is over.

    Its first value or two may hold that transient, and stand alone above a shelf of the rotor at rest.
    """
    top = early.index(max(early))
    shelf = early[top + 1 : top + 1 + _SHELF]
    if top > 1 or len(shelf) < _SHELF or max(shelf) > _SHELF_FLAT * min(shelf):
        return early
    return early[top + 1 :] if min(shelf) >= _SHELF_LEAST * early[top] else early


def _tail(whole: list[float], times: list[float]) -> list[float]:
    """Values of the last fifth, at most ten seconds, of an attempt that lasts."""
    if times[-1] < 3.0:
        return []
    begin = max(times[-1] * 0.8, times[-1] - 10.0)
    return [v for v, t in zip(whole, times, strict=False) if t >= begin] or whole[-1:]


def _fall(
    raw: list[float], times: list[float], plateau: float, stretch: CurrentStretch, trace: Trace
) -> float | None:
    """When the current left the plateau for good, within the first seconds."""
    reached = next((k for k, v in enumerate(raw) if v >= 0.97 * plateau), 0)
    for k in range(reached, len(raw) - 1):
        if times[k] > 6.0:
            return None
        if raw[k] < _LEFT * plateau and raw[k + 1] < _LEFT * plateau:
            before = raw[k - 1] if k else plateau
            share = (before - _LEFT * plateau) / (before - raw[k]) if before > raw[k] else 0.5
            gap = times[k] - times[k - 1] if k else trace.step
            return max(times[k] - gap + gap * min(max(share, 0.0), 1.0), 0.3 * trace.step)
    return None


def _run_up(
    raw: list[float], times: list[float], plateau: float, last: float, width: float
) -> MeasuredFigure | None:
    """When the current had fallen half of the way, in proportion, to the running level."""
    middle = math.sqrt(plateau * last)
    for k in range(1, len(raw)):
        if raw[k] < middle and max(raw[:k]) > middle:
            return MeasuredFigure(times[k], max(width, 0.02), "s")
    return None


def _lets_go(
    raw: list[float], times: list[float], plateau: float, level: float | None, width: float
) -> MeasuredFigure | None:
    """When the current had come to the level it then keeps, where that is another one."""
    if level is None or level > 0.96 * plateau:
        return None
    away = [k for k, t in enumerate(times) if t < _SETTLED[0] and raw[k] > level * (1 + _ARRIVED)]
    return MeasuredFigure(times[away[-1]] + 0.5 * width, max(width, 0.02), "s") if away else None
