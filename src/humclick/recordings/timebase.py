"""
From stamps and cells to a recording: units of time, gaps, coarse and running-back stamps, cut-off peaks.

Times in seconds, rates in hertz.
"""

from __future__ import annotations

import itertools
import math
from array import array
from collections.abc import Iterable, Sequence
from operator import sub

from humclick.errors import Refused
from humclick.messages import Message
from humclick.recordings.columns import Layout
from humclick.recordings.recording import MOST_VALUES, RATES, Recording

__all__ = ["clip_of", "on_time_base", "swings"]

#: Below this a waveform of the mains cannot be told from its aliases. [Hz]
_LEAST_WAVE_RATE = 200.0
#: Share of samples at the very top among the high ones above which peaks count as cut off. [-]
_CUT = 0.25
_LINE = (50.0, 60.0)
#: Fewer half swings than this in a second, or a thousand samples, are no mains waveform. [-]
_LEAST_SWINGS = 8


def _median(values: Iterable[float]) -> float:
    ordered = sorted(values)
    return ordered[len(ordered) // 2]


def _steps(times: Sequence[float]) -> Sequence[float]:
    return array("d", map(sub, times[1:], times))


def clip_of(values: Sequence[float]) -> float | None:
    """
    Magnitude at which the peaks are cut off.

    As recorded; None where the peaks are whole.
    """
    top, low = (best(filter(math.isfinite, values), default=0.0) for best in (max, min))
    middle = 0.5 * (top + low)
    reach = 0.5 * (top - low)
    if reach <= 0:
        return None
    at_top = sum(v > top - 1e-4 * reach for v in values)
    high = sum(v > middle + 0.8 * reach for v in values)
    return top if at_top > 20 and at_top > _CUT * high else None


def swings(values: Sequence[float], rate: float) -> float:
    """
    How often the loudest second swings through its middle and back, while it does.

    Zero where it does not swing. [Hz]
    """
    width = max(int(rate), 16)
    pieces = [
        values[i : i + width]
        for i in range(0, max(len(values) - width, 0) + 1, max(width, len(values) // 200))
    ]

    def spread(piece: Sequence[float]) -> float:
        some = [float(v) for v in piece[:: max(len(piece) // 400, 1)] if v == v]
        return max(some) - min(some) if some else 0.0

    piece = [float(v) for v in max(pieces, key=spread) if v == v]
    if len(piece) < 16:
        return 0.0
    reach = 0.25 * spread(piece)
    middle = 0.5 * (max(piece) + min(piece))
    side = 0
    at: list[int] = []
    for k, v in enumerate(piece):
        now = 1 if v > middle + reach else -1 if v < middle - reach else 0
        if now and now != side:
            at.append(k)
            side = now
    halves = [b - a for a, b in itertools.pairwise(at)]
    if len(halves) < _LEAST_SWINGS:
        return 0.0
    usual = sorted(halves)[len(halves) // 2]
    near = [h for h in halves if 0.7 * usual <= h <= 1.4 * usual]
    if len(near) < 0.7 * len(halves):
        return 0.0
    return 0.5 * rate * len(near) / sum(near)


def _from_line(values: Sequence[float], rounds: Sequence[float], name: str) -> tuple[float, str]:
    """Sample rate of a waveform from the mains frequency in it, where only a real recorder's rate fits."""
    turns = swings(values, 1000.0) / 1000.0  # swings a sample
    if turns > 0.0:
        near = [(abs(math.log(r * turns / f)), r, f) for r in rounds for f in _LINE]
        best = min(near)
        if best[0] < 0.04:
            return best[1], (
                f"No sample rate is told; {best[1]:g} Hz makes the mains in it {best[2]:g} Hz. "
                "Give --rate if that is wrong."
            )
    raise Refused(
        Message("{name}: tells no times and no sample rate; give the samples a second with --rate", name=name)
    )


def on_time_base(
    name: str,
    layout: Layout,
    times: Sequence[float],
    values: Sequence[float],
    bad: int,
    over: int,
    rate: float | None,
    rounds: Sequence[float],
) -> Recording:
    """
    The recording on its time base.

    `bad` counts rows that could not be read, `over` cells over the range. `rate` is that handed over by the
    person, `rounds` are those that recorders really have. [Hz] Raises `Refused` if nothing is left, times run
    back, or no rate can be found.
    """
    notes = list(layout.notes)
    count = len(values)
    there = sum(map(math.isfinite, values))
    if there < 4:
        raise Refused(Message("{name}: holds {there} samples; at least 4 are needed", name=name, there=there))
    if bad:
        notes.append(f"{bad} rows could not be read and were left out.")
    rate = rate or (layout.rate if layout.kind in ("", "count") else None)
    start, step, stamps = 0.0, 0.0, None
    if layout.kind in ("number", "count") and rate is None:
        times, remarks = _in_seconds(layout, times, values, rounds, name)
        notes += remarks
    if rate is not None:
        step = 1.0 / rate
    elif layout.time is None:
        line_rate, remark = _from_line(values, rounds, name)
        notes.append(remark)
        step = 1.0 / line_rate
    else:
        start, step, stamps, values, remarks = _even(times, values, layout, name)
        notes += remarks
    if layout.kind in ("clock", "datetime"):
        if stamps is not None:
            stamps = array("d", (t - start for t in stamps))
        start = 0.0
    if not (step > 0 and math.isfinite(step) and RATES[0] <= 1 / step <= RATES[1]):
        raise Refused(
            Message(
                "{name}: its times make {rate:g} samples a second, which cannot be right; give "
                "the true rate with --rate",
                name=name,
                rate=1 / step if step else math.inf,
            )
        )
    return _with_scale(name, layout, values, start, step, stamps, over, count - there + bad, notes)


def _with_scale(
    name: str,
    layout: Layout,
    values: Sequence[float],
    start: float,
    step: float,
    stamps: Sequence[float] | None,
    over: int,
    missing: int,
    notes: list[str],
) -> Recording:
    """The recording with its unit, its kind and its peaks looked at."""
    if layout.factor != 1.0:
        values = array("d", (v * layout.factor for v in values))
    if not layout.amps_unit:
        notes.append("No unit is told for the current: its shape and times are used, not its size.")
    elif layout.amps_unit == "mV":
        notes.append(
            "It is in a clamp's millivolts, and how many stand for an ampere is not told: give --scale."
        )
    rate = 1.0 / step
    top = max(map(abs, filter(math.isfinite, values)))
    below = sum(v < -0.02 * top for v in values) / len(values)
    swinging = swings(values, rate) if rate >= _LEAST_WAVE_RATE else 0.0
    waveform = rate >= _LEAST_WAVE_RATE and (40.0 < swinging < 70.0 or below > 0.05)
    if below > 0.05 and not waveform:
        raise Refused(
            Message(
                "{name}: a current that changes its sign at {rate:g} samples a second is "
                "neither an rms log nor a waveform; log rms values, or the waveform at "
                "{least:g} Hz or more",
                name=name,
                rate=rate,
                least=_LEAST_WAVE_RATE,
            )
        )
    clip = clip_of(values) if waveform else (top if over else None)
    if over:
        notes.append(f"{over} samples were over the range of the meter.")
    if clip is not None:
        notes.append(
            "The peaks are cut off; currents are reckoned from the rest of each half cycle and are uncertain."
        )
    if missing:
        notes.append(f"{missing} samples are missing.")
    return Recording(
        name=name,
        values=values,
        step=step,
        start=start,
        times=stamps,
        unit=layout.amps_unit,
        waveform=waveform,
        clip=clip,
        missing=missing,
        notes=tuple(dict.fromkeys(notes)),
    )


def _in_seconds(
    layout: Layout, times: Sequence[float], values: Sequence[float], rounds: Sequence[float], name: str
) -> tuple[Sequence[float], list[str]]:
    """Times in seconds, from numbers or sample numbers."""
    step = _median(_steps(times))
    if layout.kind == "count" or (
        not layout.unit and abs(step - 1.0) < 1e-9 and swings(values, 1000.0) > 3.0
    ):
        line_rate, remark = _from_line(values, rounds, name)
        return _times(times, 1.0 / line_rate), [remark]
    if layout.unit:
        return (times if layout.unit == 1.0 else _times(times, layout.unit)), []
    if step >= 5.0 and abs(step - round(step)) < 1e-6:
        return _times(times, 1e-3), [f"Times {step:g} apart were taken as milliseconds."]
    return times, ["Times were taken as seconds."]


def _times(times: Sequence[float], factor: float) -> Sequence[float]:
    return array("d", (t * factor for t in times))


def _even(
    times: Sequence[float], values: Sequence[float], layout: Layout, name: str
) -> tuple[float, float, Sequence[float] | None, Sequence[float], list[str]]:
    """Start, step, stamps where uneven, values on the even base, notes."""
    notes: list[str] = []
    steps = _steps(times)
    if layout.kind == "clock" and layout.day is None:
        times, steps = _past_midnight(times, steps)
    back = sum(s < 0 for s in steps)
    if back > max(2, len(times) // 20):
        raise Refused(
            Message(
                "{name}: its times run back {back} times; sort the rows by time, or give --rate",
                name=name,
                back=back,
            )
        )
    if back:
        times, values = _forward(times, values)
        steps = _steps(times)
        notes.append(f"{back} rows whose time runs back were left out.")
    same = sum(s <= 0 for s in steps)
    if len(times) < 4 or same == len(steps):
        raise Refused(
            Message("{name}: its times do not move on; give the samples a second with --rate", name=name)
        )
    if same > len(steps) // 4:
        moves = [k + 1 for k, s in enumerate(steps) if s > 0]
        first, last = (moves[0], moves[-1]) if len(moves) > 1 else (0, len(times) - 1)
        step = (float(times[last]) - float(times[first])) / (last - first)
        notes.append("The time stamps are coarser than the samples, which were spread evenly between them.")
        return float(times[0]), step, None, values, notes
    middle = _median(s for s in steps if s > 0)
    near = [s for s in steps if 0.5 * middle < s < 1.5 * middle]
    step = sum(near) / len(near)
    longer = [s for s in steps if s > 1.5 * step]
    gaps, lost = len(longer), sum(s / step - 1 for s in longer)
    uneven = len(steps) - len(near) - gaps
    if uneven > len(steps) // 10 or lost > min(2.0 * len(times), MOST_VALUES):
        return float(times[0]), step, times, values, notes
    if gaps:
        notes.append(f"Samples are missing at {gaps} place{'' if gaps == 1 else 's'}.")
        values = _filled(steps, values, step)
    return float(times[0]), step, None, values, notes


def _past_midnight(times: Sequence[float], steps: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
    """Times of day that run on after midnight."""
    if min(steps) >= -40_000.0:
        return times, steps
    days, last, on = 0.0, times[0], array("d")
    for t in times:
        days += 86_400.0 * (t - last < -40_000.0)
        last = t
        on.append(t + days)
    return on, _steps(on)


def _forward(times: Sequence[float], values: Sequence[float]) -> tuple[Sequence[float], Sequence[float]]:
    """Rows whose time is not before the latest so far."""
    which = [t >= latest for t, latest in zip(times, itertools.accumulate(times, max), strict=True)]
    stamps, cells = (array("d", itertools.compress(column, which)) for column in (times, values))
    return stamps, cells


def _filled(steps: Sequence[float], values: Sequence[float], step: float) -> Sequence[float]:
    """Values with nan where samples are missing."""
    whole = array("d", values[:1])
    for gap, value in zip(steps, values[1:], strict=True):
        whole.extend([math.nan] * max(round(gap / step) - 1, 0))
        whole.append(value)
    return whole
