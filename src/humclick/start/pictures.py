"""
Curves of a start as SVG and PNG.

Panels stand one below the other over one time axis. Each curve has its own colour, its own dashes and its
name beside it; a measured curve is a row of rings. Colours are the colour-blind-safe set of Okabe and Ito.
An SVG holds a title and a description, no style sheet, no script and no date, and its coordinates are
rounded: the same curves give the same file.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from html import escape
from typing import Any

from humclick.errors import Refused
from humclick.messages import Message, Verbatim
from humclick.start.curves import Panel
from humclick.start.run import Switched

__all__ = ["picture_png", "picture_svg"]

_PAPER, _INK, _SOFT, _GRID = "#ffffff", "#111111", "#555555", "#d5d9de"
#: Colour and dashes of the first curve, the second …
_LINES = (
    ("#0072b2", "solid"),
    ("#a63d00", (0, (6, 2))),
    ("#008060", (0, (2, 1.5))),
    ("#7a4a86", (0, (8, 2, 2, 2))),
)
#: Width, height of a panel, and margins: left, right, above, below. [inches of 72 points]
_WIDE, _HIGH, _LEFT, _RIGHT, _ABOVE, _BELOW, _BETWEEN = 7.2, 1.35, 0.78, 1.35, 0.5, 0.5, 0.16
_SIZE = 9.0
#: Most points of a curve; there are fewer dots across a panel.
_POINTS = 700
_STYLE: dict[Any, Any] = {
    "svg.fonttype": "none",
    "path.simplify": False,
    "font.family": ["DejaVu Sans"],
    "font.size": _SIZE,
    "axes.edgecolor": _SOFT,
    "axes.linewidth": 0.8,
    "axes.labelcolor": _INK,
    "xtick.color": _SOFT,
    "ytick.color": _SOFT,
    "xtick.labelcolor": _INK,
    "ytick.labelcolor": _INK,
    "text.color": _INK,
}
#: Words of an event beside its line, where its own are too long for it.
_WORDS = {
    "start current has halved": "starter has let go",
    "three quarters of synchronous speed": "¾ speed",
}


def picture_svg(
    panels: Sequence[Panel],
    title: str,
    description: str,
    *,
    events: Sequence[Switched] = (),
    tag: str = "start",
) -> str:
    """
    Panels as one SVG document.

    `description` is what a reader who cannot see it is told. `events` are marked through all panels (see
    `humclick.start.curves.notable_events`). `tag` begins every identifier, so that two pictures can stand on
    one page. Raises `Refused` without a panel, or if the tag is not a word of letters, digits and hyphens.
    """
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", tag):
        raise Refused(
            Message(
                "the tag of a picture is a word of letters, digits and hyphens, got {tag}",
                tag=Verbatim(repr(tag)),
            )
        )
    out = io.StringIO()
    _draw(panels, title, events, out, "svg", tag)
    return _cleaned(out.getvalue(), title, description, tag)


def picture_png(
    panels: Sequence[Panel], title: str, *, events: Sequence[Switched] = (), dots: float = 144.0
) -> bytes:
    """
    Panels as PNG.

    `dots` are those to the inch; the picture is 7.2 inches wide. [1/in] Raises `Refused` without a panel.
    """
    out = io.BytesIO()
    _draw(panels, title, events, out, "png", "start", dots)
    return out.getvalue()


def _draw(
    panels: Sequence[Panel],
    title: str,
    events: Sequence[Switched],
    out: Any,
    kind: str,
    tag: str,
    dots: float = 72.0,
) -> None:
    if not panels:
        raise Refused(Message("a picture needs one panel of curves at least"))
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    rows = _rows(events)
    above = _ABOVE + 0.16 * (max(rows, default=0) + 1 if events else 0)
    high = above + len(panels) * (_HIGH + _BETWEEN) - _BETWEEN + _BELOW
    with rc_context({**_STYLE, "svg.hashsalt": tag}):
        figure = Figure(figsize=(_WIDE, high), facecolor=_PAPER)
        (FigureCanvasSVG if kind == "svg" else FigureCanvasAgg)(figure)
        figure.text(_LEFT / _WIDE, 1 - 0.22 / high, title, fontsize=_SIZE + 3, fontweight="bold", va="center")
        last = max(float(c.time[-1]) for panel in panels for c in panel.curves if len(c.time))
        for k, panel in enumerate(panels):
            bottom = high - above - (k + 1) * _HIGH - k * _BETWEEN
            width = (_WIDE - _LEFT - _RIGHT) / _WIDE
            axes = figure.add_axes((_LEFT / _WIDE, bottom / high, width, _HIGH / high))
            _panel(axes, panel, last, k == len(panels) - 1)
            for event in events:
                axes.axvline(event.time, color=_SOFT, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
            if k == 0:
                _event_words(axes, events, rows, last)
        figure.savefig(
            out, format=kind, dpi=dots, metadata={"Date": None} if kind == "svg" else {"Software": None}
        )


def _panel(axes: Any, panel: Panel, last: float, lowest: bool) -> None:
    axes.set_facecolor(_PAPER)
    axes.grid(True, color=_GRID, linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    lines = 0
    for curve in panel.curves:
        if curve.measured:
            axes.plot(
                curve.time, curve.values, color=_INK, linestyle="none", marker="o", markersize=3.6,
                markerfacecolor=_PAPER, markeredgewidth=1.0, zorder=4,
            )  # fmt: skip
            continue
        colour, dashes = _LINES[lines % len(_LINES)]
        every = -(-len(curve.time) // _POINTS)
        axes.plot(
            curve.time[::every],
            curve.values[::every],
            color=colour,
            linestyle=dashes,
            linewidth=1.6,
            zorder=3,
        )
        lines += 1
    axes.set_xlim(0, last)
    low, high = axes.get_ylim()
    if panel.zero and low >= -0.05 * high:
        axes.set_ylim(0, high)
    axes.set_ylabel(f"{panel.title}\n[{panel.unit}]", fontsize=_SIZE)
    axes.locator_params(axis="y", nbins=4)
    axes.locator_params(axis="x", nbins=8)
    if lowest:
        axes.set_xlabel("time after power comes [s]")
    else:
        axes.tick_params(labelbottom=False)
    _names(axes, panel)


def _names(axes: Any, panel: Panel) -> None:
    """Names right of the curves at the height of their ends, moved apart where they would touch."""
    low, high = axes.get_ylim()
    gap = 0.125
    ends = [
        (min(max((float(c.values[-1]) - low) / (high - low), 0.02), 0.98), k)
        for k, c in enumerate(panel.curves)
        if len(c.values)
    ]
    places: list[tuple[float, int]] = []
    for height, k in sorted(ends):
        places.append((max(height, places[-1][0] + gap) if places else height, k))
    over = max(0.0, places[-1][0] - 1.0) if places else 0.0
    lines = {k: n for n, k in enumerate(k for k, c in enumerate(panel.curves) if not c.measured)}
    for height, k in places:
        colour, dashes = (_INK, "none") if k not in lines else _LINES[lines[k] % len(_LINES)]
        y = height - over
        if k in lines:
            axes.plot(
                (1.015, 1.075), (y, y), transform=axes.transAxes, color=colour, linestyle=dashes,
                linewidth=1.6, clip_on=False,
            )  # fmt: skip
        else:
            axes.plot(
                (1.045,), (y,), transform=axes.transAxes, color=_INK, linestyle="none", marker="o",
                markersize=3.6, markerfacecolor=_PAPER, clip_on=False,
            )  # fmt: skip
        axes.text(1.09, y, panel.curves[k].name, transform=axes.transAxes, va="center", fontsize=_SIZE - 0.5)


def _rows(events: Sequence[Switched]) -> list[int]:
    """In which row above the panels each event is named: the latest lowest."""
    return list(range(len(events) - 1, -1, -1))


def _event_words(axes: Any, events: Sequence[Switched], rows: Sequence[int], last: float) -> None:
    for event, row in zip(events, rows, strict=True):
        y = 1.05 + 0.16 / _HIGH * row
        late = event.time > 0.62 * last
        axes.text(
            event.time / last + (-0.008 if late else 0.008), y,
            f"{_WORDS.get(event.what, event.what)} {event.time:.2f} s",
            transform=axes.transAxes, fontsize=_SIZE - 1, color=_SOFT, ha="right" if late else "left",
        )  # fmt: skip
        axes.plot(
            (event.time / last,) * 2, (1.0, y + 0.08), transform=axes.transAxes, color=_SOFT, linewidth=0.8,
            linestyle=(0, (1, 2)), clip_on=False,
        )  # fmt: skip


# -- SVG ----------------------------------------------------------------------------------------------------

_FONT = re.compile(r"font: (?:(bold|[0-9]+) )?([0-9.]+)px ([^;\"]*)")


def _attributes(match: re.Match[str]) -> str:
    """A style as presentation attributes."""
    attributes: dict[str, str] = {}
    for piece in match[1].split(";"):
        name, _, value = piece.strip().partition(": ")
        if name == "font":
            font = _FONT.fullmatch(f"font: {value}")
            if font is not None:
                attributes["font-size"] = font[2]
                if font[1]:
                    attributes["font-weight"] = font[1]
        elif name:
            attributes[name] = value
    return " ".join(f'{name}="{escape(value, quote=True)}"' for name, value in attributes.items())


def _rounded(match: re.Match[str]) -> str:
    text = f"{round(float(match[0]), 1) + 0.0:.1f}"
    return text.removesuffix(".0")


def _cleaned(svg: str, title: str, description: str, tag: str) -> str:
    """What a browser needs of it, in attributes alone, with words for who cannot see it."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"<style[^>]*>.*?</style>\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->\s*", "", body, flags=re.DOTALL)
    body = re.sub(r"<defs>\s*</defs>\s*", "", body)
    body = re.sub(r' id="(?:figure|axes|patch|line2d|text|xtick|ytick|matplotlib\.axis|Line)[^"]*"', "", body)
    body = re.sub(r'style="([^"]*)"', _attributes, body)
    body = re.sub(r'(?<= id=")(?=[mp][0-9a-f]{10})|(?<=#)(?=[mp][0-9a-f]{10})', f"{tag}-", body)
    body = re.sub(r"<[^>]*>", lambda tag: re.sub(r"-?[0-9]+\.[0-9]{2,}", _rounded, tag[0]), body)
    box = re.search(r'viewBox="([^"]*)"', body)
    view = box[1] if box else "0 0 520 500"
    wide, high = view.split()[2:4]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'viewBox="{view}" width="{wide}" height="{high}" role="img" aria-labelledby="{tag}-t {tag}-d" '
        'font-family="DejaVu Sans, Verdana, Arial, sans-serif" '
        'stroke-linejoin="round" stroke-linecap="butt">\n'
        f'<title id="{tag}-t">{escape(title)}</title>\n<desc id="{tag}-d">{escape(description)}</desc>\n'
    )
    inside = body[body.index(">") + 1 :]
    inside = "\n".join(line.strip() for line in inside.splitlines() if line.strip())
    return head + inside + "\n"
