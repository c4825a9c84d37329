"""
The drawing of a recording: current or level over time, with the stretches that were recognised.

SVG made of the course that the event keeps, the same on the server and in the browser. Seconds to the right.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup, escape

from humclick.diagnosis.findings import HEARD
from humclick.jobs.events import RecordingTaken
from humclick.messages import N_, Message
from humclick.web.language import Language

#: Width and height of the whole, and the room around the plot. [px of the drawing]
_WIDE, _HIGH, _LEFT, _RIGHT, _TOP, _BOTTOM = 360.0, 230.0, 44.0, 8.0, 34.0, 30.0
#: Names of what is heard in a sound; an attempt's outcome has its own.
_NAMES = {"locked": N_("hums"), "running": N_("runs"), "click": N_("click")}
#: A stretch narrower than this has no room for its number. [px of the drawing]
_ROOM = 14.0
#: Lowest level drawn of a sound. [dB]
_FLOOR = -70.0


def course_svg(event: RecordingTaken, language: Language) -> Markup:
    """A recording drawn; empty where its course was not kept."""
    if len(event.course) < 2 or event.seconds <= 0:
        return Markup("")
    sound = event.unit == "dB"
    low = _FLOOR if sound else 0.0
    high = 0.0 if sound else max(1.05 * max(event.course), 1e-9)
    ticks = [-60.0, -40.0, -20.0, 0.0] if sound else _round_steps(high, 4)
    plot = _Plot(event.seconds, low, high)
    description = escape(_said(event, language))
    pieces = [f'<svg class="course" viewBox="0 0 {_WIDE:g} {_HIGH:g}" role="img" aria-label="{description}">']
    pieces += [_band(plot, k, *span) for k, span in enumerate(event.spans) if span[2] != "click"]
    for tick in ticks:
        y = plot.y(tick)
        pieces.append(f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{_WIDE - _RIGHT:g}"/>')
        words = language.number(tick)
        pieces.append(f'<text x="{_LEFT - 5:g}" y="{y + 4:.1f}" text-anchor="end">{words}</text>')
    for tick in (0.0, *_round_steps(event.seconds, 5)):
        x = plot.x(tick)
        pieces.append(f'<path class="grid" d="M{x:.1f} {_HIGH - _BOTTOM:g}v5"/>')
        words = language.number(tick) if x < _WIDE - _RIGHT - _ROOM else ""  # there stands the unit
        pieces.append(f'<text x="{x:.1f}" y="{_HIGH - 10:g}" text-anchor="middle">{words}</text>')
    pieces.append(f'<text x="{_WIDE - _RIGHT:g}" y="{_HIGH - 10:g}" text-anchor="end">s</text>')
    pieces.append(f'<text x="4" y="14">{escape(event.unit)}</text>')
    pieces.append(f'<path class="line" d="{_line(plot, event.course)}"/>')
    pieces += [
        f'<path class="click" d="M{plot.x(start):.1f} {_TOP:g}V{_HIGH - _BOTTOM:g}"/>'
        for start, _, kind in event.spans
        if kind == "click"
    ]
    return Markup("".join(pieces) + "</svg>")  # every text in it is ours, a number, or escaped


class _Plot:
    """Where a time and a value lie in the drawing."""

    def __init__(self, seconds: float, low: float, high: float) -> None:
        self._seconds, self._low, self._high = seconds, low, high

    def x(self, at: float) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * min(1.0, max(0.0, at / self._seconds))

    def y(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        return _HIGH - _BOTTOM - (_HIGH - _TOP - _BOTTOM) * min(1.0, max(0.0, share))


def _line(plot: _Plot, values: Sequence[float]) -> str:
    width = plot._seconds / len(values)
    points = (f"{plot.x((k + 0.5) * width):.1f} {plot.y(value):.1f}" for k, value in enumerate(values))
    return "M" + "L".join(points)


def _band(plot: _Plot, number: int, start: float, end: float, kind: str) -> str:
    """A stretch as a ground under the curve, with its number above."""
    left, right = plot.x(start), max(plot.x(end), plot.x(start) + 1.0)
    name = "running" if kind in ("running", "runs") else "locked"
    place = f'x="{left:.1f}" y="{_TOP:g}" width="{right - left:.1f}" height="{_HIGH - _TOP - _BOTTOM:g}"'
    box = f'<rect class="span {name}" {place}/>'
    if right - left < _ROOM:
        return box
    middle = (left + right) / 2
    return (
        box
        + f'<text class="number" x="{middle:.1f}" y="{_TOP - 6:g}" text-anchor="middle">{number + 1}</text>'
    )


def _round_steps(most: float, about: int) -> list[float]:
    """Round numbers up to a largest one, about so many."""
    raw = most / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next((power * k for k in (1.0, 2.0, 5.0) if power * k >= raw), power * 10.0)
    return [k * step for k in range(1, int(most / step + 1e-9) + 1)]


def stretches(event: RecordingTaken, language: Language) -> list[tuple[int, str, str, str]]:
    """Number, begin, end and words of each stretch that is marked. [s]"""
    rows = []
    for k, (start, end, kind) in enumerate(event.spans):
        if kind != "click":
            words = (
                language.text(_NAMES[kind])
                if kind in _NAMES
                else language.plain(HEARD.get(kind, Message.of(kind)))
            )
            rows.append((k + 1, language.figures(f"{start:.1f}"), language.figures(f"{end:.1f}"), words))
    return rows


def _said(event: RecordingTaken, language: Language) -> str:
    """The drawing in words, for those who do not see it."""
    _ = language.text
    of = _("Level of the sound over time") if event.unit == "dB" else _("Current over time")
    spans = (f"{n}: {start} s – {end} s {words}" for n, start, end, words in stretches(event, language)[:12])
    return ". ".join([of, *spans])
