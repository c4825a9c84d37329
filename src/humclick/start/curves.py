"""
Curves of a start: what is drawn of it, in a terminal here, on paper by `humclick.start.pictures`.

Time runs from the moment power comes [s]; currents are rms [A], speed is the shaft's [rev/min], torque the
motor's [N m], temperatures are in [°C]. A measured recording is laid over the simulated line current by
moving it in time until the two rise together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from humclick.errors import OutOfRange, Refused
from humclick.messages import Message, listed
from humclick.start.run import Run, Switched

__all__ = [
    "Curve",
    "MeasuredCurrent",
    "Overlay",
    "Panel",
    "curves_text",
    "describe_run",
    "lay_over",
    "measured_current",
    "notable_events",
    "panels_of",
    "panels_to_compare",
]

Array = NDArray[np.float64]

#: A temperature that moves less is not drawn. [K]
_STILL = 0.5
#: Where a current counts as risen, of its highest. [-]
_RISEN = 0.3
#: Samples in a half cycle from which a recording with both signs is a waveform. [-]
_FINE = 4
_BLANK = re.compile(r"\x1b\[[0-9;]*m")
_MARKS = "#o+x"


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of a picture."""

    name: str  #: As written beside it.
    time: Array  #: After power came. [s]
    values: Array  #: In the unit of its panel.
    measured: bool = False  #: Whether it was measured, not simulated.


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves over one time axis and one scale."""

    #: What is drawn, and its unit.
    title: str
    unit: str
    curves: tuple[Curve, ...]  #: At least one.
    zero: bool = True  #: Whether the scale begins at nothing.


@dataclass(frozen=True, slots=True)
class MeasuredCurrent:
    """A recording as rms values."""

    time: Array  #: Rising. [s]
    amps: Array  #: Rms. [A]


@dataclass(frozen=True, slots=True)
class Overlay:
    """A recording laid over a simulated start."""

    measured: MeasuredCurrent  #: Moved in time.
    shift: float  #: By which it was moved; added to its own times. [s]
    #: Root mean square of measured less simulated where both are, over the highest simulated current. [-]
    apart: float
    #: Measured over simulated, median where the simulated current is above a tenth of its highest. [-]
    factor: float


def measured_current(time: ArrayLike, amps: ArrayLike, hertz: float = 60.0) -> MeasuredCurrent:
    """
    Take a recording; a waveform becomes rms values over a cycle.

    `amps` are rms or momentary with both signs [A], `time` rises [s], and `hertz` is the line frequency [Hz].
    Raises `Refused` if the two differ in length, have fewer than two values, or time does not rise, and
    `OutOfRange` if the values have both signs but too few a cycle to be a waveform.
    """
    t, i = np.asarray(time, dtype=float).ravel(), np.asarray(amps, dtype=float).ravel()
    if len(t) != len(i) or len(t) < 2:
        raise Refused(
            Message(
                "a recording needs as many times as amps, two at least; got {times} and {amps}",
                times=len(t),
                amps=len(i),
            )
        )
    keep = np.isfinite(t) & np.isfinite(i)
    t, i = t[keep], i[keep]
    if len(t) < 2 or np.any(np.diff(t) <= 0):
        raise Refused(Message("the times of a recording must rise from sample to sample"))
    top = float(np.abs(i).max())
    if top == 0 or i.min() > -0.05 * top:
        return MeasuredCurrent(t, np.abs(i))
    step = float(np.median(np.diff(t)))
    if step * 2 * hertz * _FINE > 1:
        raise OutOfRange(
            Message(
                "amps have both signs, so they should be a waveform, but {rate:.3g} samples a "
                "second are too few for {hertz:g} Hz; give rms values or at least {least:g} a "
                "second",
                rate=1 / step,
                hertz=hertz,
                least=2 * hertz * _FINE,
            )
        )
    width = max(1, round(1 / hertz / step))
    square = np.convolve(i * i, np.full(width, 1.0 / width), mode="same")
    every = max(1, width // 2)
    return MeasuredCurrent(t[::every], np.sqrt(square[::every]))


def _rise(time: Array, amps: Array) -> float:
    """When a current first passes a share of its highest, between two samples. [s]"""
    level = _RISEN * float(amps.max())
    at = int(np.argmax(amps >= level))
    if at == 0 or amps[at] == amps[at - 1]:
        return float(time[at])
    share = (level - amps[at - 1]) / (amps[at] - amps[at - 1])
    return float(time[at - 1] + share * (time[at] - time[at - 1]))


def lay_over(run: Run, measured: MeasuredCurrent) -> Overlay:
    """
    Move a recording in time until it rises with the simulated line current.

    `measured` is one attempt, with what goes before it or without. Raises `Refused` if one of the two has no
    current.

    The first guess brings together where each passes 30 % of its highest value; the best shift within a
    quarter of a second of it has the least mean square distance, the scale of the recording left free.
    """
    if not len(run.line) or run.line.max() <= 0 or measured.amps.max() <= 0:
        raise Refused(
            Message("there is no current in one of the two, so they cannot be laid over each other")
        )
    top = float(run.line.max())
    guess = _rise(run.time, run.line) - _rise(measured.time, measured.amps)

    before = 0.0 if measured.amps[0] < _RISEN * measured.amps.max() else math.nan

    def both_at(shift: float) -> tuple[Array, Array]:
        amps = np.interp(run.time, measured.time + shift, measured.amps, left=before, right=math.nan)
        both = np.isfinite(amps)
        return amps[both], run.line[both]

    def unlike(shift: float) -> float:
        """Mean square distance with the scale left free: a clamp that reads high moves nothing."""
        amps, line = both_at(shift)
        if len(amps) < len(run.time) / 4:
            return math.inf
        scale = float(amps @ line) / float(line @ line)
        return float(np.mean((amps - scale * line) ** 2)) / max(scale, 0.1) ** 2

    shifts = guess + np.linspace(-0.25, 0.25, 251)
    shift = float(min(shifts, key=lambda shift: (unlike(float(shift)), abs(float(shift) - guess))))
    if not math.isfinite(unlike(shift)):
        shift = guess
    amps, line = both_at(shift)
    if not len(amps):
        raise Refused(
            Message("the recording ends before its current rises, so it cannot be laid over the simulation")
        )
    strong = line > 0.1 * top
    factor = float(np.median(amps[strong] / line[strong])) if strong.any() else math.nan
    apart = float(np.sqrt(np.mean((amps - line) ** 2))) / top
    return Overlay(MeasuredCurrent(measured.time + shift, measured.amps), shift, apart, factor)


def _until(run: Run, seconds: float | None) -> NDArray[np.bool_]:
    return np.ones(len(run.time), dtype=bool) if seconds is None else run.time <= seconds


def panels_of(
    run: Run, measured: MeasuredCurrent | None = None, *, seconds: float | None = None
) -> tuple[Panel, ...]:
    """
    What is drawn of a run: current, speed, torque, temperature.

    A recording is drawn with the current; it is laid over already (see `lay_over`). Everything is drawn up to
    `seconds`, or all. [s] Temperatures that do not move are left out. Raises `Refused` if nothing is left.
    """
    keep = _until(run, seconds)
    if keep.sum() < 2:
        raise Refused(Message("there are fewer than two half cycles of this run to draw"))
    t = run.time[keep]

    def curve(name: str, values: Array, scale: float = 1.0) -> Curve:
        return Curve(name, t, values[keep] * scale)

    amps = [curve("line", run.line), curve("start winding", run.start)]
    if measured is not None:
        last = math.inf if seconds is None else seconds
        within = (measured.time >= 0) & (measured.time <= min(last, float(t[-1])))
        amps.append(Curve("measured", measured.time[within], measured.amps[within], True))
    warm = [
        curve(name, values)
        for name, values in (
            ("run winding", run.run_winding),
            ("start winding", run.start_winding),
            ("starter", run.ptc),
            ("protector", run.protector),
        )
        if np.ptp(values[keep]) > _STILL
    ]
    panels = [
        Panel("current", "A", tuple(amps)),
        Panel("speed", "rev/min", (curve("shaft", run.speed, 30 / math.pi),)),
        Panel("torque", "N m", (curve("motor", run.torque),)),
    ]
    if warm:
        panels.append(Panel("temperature", "°C", tuple(warm), zero=False))
    return tuple(panels)


def panels_to_compare(runs: Sequence[tuple[str, Run]]) -> tuple[Panel, ...]:
    """
    Several runs beside each other: line current, speed, start winding's temperature.

    Up to four pairs of a name and a run; raises `Refused` for none, or more than four.
    """
    if not 1 <= len(runs) <= len(_MARKS):
        raise Refused(
            Message("one to {most} runs can be compared in a picture, got {n}", most=len(_MARKS), n=len(runs))
        )

    def curves(values: str, scale: float = 1.0) -> tuple[Curve, ...]:
        return tuple(Curve(name, run.time, getattr(run, values) * scale) for name, run in runs)

    return (
        Panel("line current", "A", curves("line")),
        Panel("speed", "rev/min", curves("speed", 30 / math.pi)),
        Panel("start winding", "°C", curves("start_winding"), zero=False),
    )


def describe_run(run: Run) -> Message:
    """A run in sentences, for a reader who cannot see its curves."""
    t, line = run.time, run.line
    if not len(t):
        return Message("Nothing was recorded.")
    fast = float(np.abs(run.speed).max()) * 30 / math.pi
    sentences = [
        Message(
            "{seconds:.2g} seconds: the line current reaches {most} A and ends at {last} A.",
            seconds=float(t[-1]),
            most=_amps(line.max(), 3),
            last=_amps(line[-1], 3),
        ),
        Message("The shaft reaches {speed:.0f} revolutions a minute.", speed=fast)
        if fast > 30
        else Message("The shaft does not turn."),
        Message(
            "The start winding carries {most} A at most, {last} A at the end, and warms by {rise:.0f} K.",
            most=_amps(run.start.max(), 2),
            last=_amps(run.start[-1], 2),
            rise=float(np.ptp(run.start_winding)),
        ),
    ]
    sentences += [
        Message("{event} at {seconds:.2f} s.", event=Message.of(event.what).capital(), seconds=event.time)
        for event in notable_events(run)
    ]
    return listed(sentences, "space")


def _amps(value: float, digits: int) -> str:
    """Amperes in digits that mean something; what is left of rounding is zero. [A]"""
    return f"{float(value) if abs(value) >= _LEAST_AMPS else 0.0:.{digits}g}"


#: Below this a current is what rounding left. [A]
_LEAST_AMPS = 1e-6

#: Events drawn, each kind at most twice.
_NOTABLE = (
    "start contact opens",
    "start contact closes",
    "start current has halved",
    "three quarters of synchronous speed",
    "protector opens",
    "protector closes",
    "breaker opens",
)


def notable_events(run: Run, seconds: float | None = None) -> tuple[Switched, ...]:
    """
    Events of a run that are worth a line in a picture.

    Up to `seconds`, or all [s]: the first and, where it happens again, the last of each kind, in order of
    time.
    """
    last = math.inf if seconds is None else seconds
    events = []
    for what in _NOTABLE:
        same = [e for e in run.events if e.what == what and e.time <= last]
        events += same[:1] + same[1:][-1:]
    return tuple(sorted(events, key=lambda event: event.time))


# -- in a terminal ------------------------------------------------------------------------------------------


def curves_text(
    panels: Sequence[Panel], *, width: int = 76, height: int = 11, plain: bool | None = None
) -> str:
    """
    Panels one below the other as text.

    `width` and `height` are those of each panel. [characters] `plain` keeps to the letters of ASCII; left
    out, finer block letters are used where plotext is there. Raises `OutOfRange` if it is to be narrower than
    40 or lower than 5 characters.
    """
    if width < 40 or height < 5:
        raise OutOfRange(
            Message(
                "curves need 40 by 5 characters at least, got {width} by {height}", width=width, height=height
            )
        )
    fine = None if plain else _plotext()
    lines = []
    for panel in panels:
        names = ", ".join(
            f"{_MARKS[k % len(_MARKS)]} {curve.name}" if fine is None or k else curve.name
            for k, curve in enumerate(panel.curves)
        )
        single = len(panel.curves) == 1
        lines.append(f"{panel.title} [{panel.unit}]" + ("" if single else f": {names}"))
        lines.append(_plain(panel, width, height) if fine is None else _fine(fine, panel, width, height))
    return "\n".join(lines)


def _plotext() -> Any:
    """The figure of plotext, where one of the release we know is installed."""
    try:
        import plotext

        figure = plotext.figure
        return figure if hasattr(figure, "plot_size") and hasattr(figure, "signal") else None
    except (ImportError, OSError, AttributeError):
        return None


def _fine(draw: Any, panel: Panel, width: int, height: int) -> str:
    """One panel by plotext; colours are left out, since a mark tells the curves apart."""
    draw.clear()
    draw.plot_size(width, height)
    draw.theme("colorless")
    for k, curve in enumerate(panel.curves):
        time, values = list(map(float, curve.time)), list(map(float, curve.values))
        signal = draw.signal(time, values, marker=_MARKS[k % len(_MARKS)] if k else "hd")
        draw.draw(signal if curve.measured else signal.lines())
    text = _BLANK.sub("", str(draw.build()))
    draw.clear()
    return "\n".join(line.rstrip() for line in text.splitlines())


def _plain(panel: Panel, width: int, height: int) -> str:
    """One panel in plain letters; the first curve lies on top."""
    label = 9
    wide = width - label - 2
    last = max(float(curve.time[-1]) for curve in panel.curves if len(curve.time))
    low = min(float(np.min(curve.values)) for curve in panel.curves if len(curve.time))
    high = max(float(np.max(curve.values)) for curve in panel.curves if len(curve.time))
    low = min(low, 0.0) if panel.zero else low
    high = high if high > low else low + 1.0
    grid = [[" "] * wide for _ in range(height)]
    for k in reversed(range(len(panel.curves))):
        curve = panel.curves[k]
        columns = np.minimum((curve.time / last * wide).astype(int), wide - 1)
        rows = np.rint((high - curve.values) / (high - low) * (height - 1)).astype(int)
        for column, row in zip(columns, rows, strict=True):
            grid[min(max(int(row), 0), height - 1)][max(int(column), 0)] = _MARKS[k % len(_MARKS)]
    ends = {0: f"{high:.4g}", height - 1: f"{low:.4g}"}
    lines = [f"{ends.get(k, ''):>{label}} |{''.join(row)}" for k, row in enumerate(grid)]
    lines.append(f"{'':>{label}} +{'-' * wide}")
    lines.append(f"{'':>{label + 2}}0 s{f'{last:.3g} s':>{wide - 3}}")
    return "\n".join(line.rstrip() for line in lines)
