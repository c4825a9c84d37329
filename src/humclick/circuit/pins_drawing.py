"""
The three pins as the eye meets them, and the gravity relay in its two positions.

Pins are numbered in reading order: looking straight at them with the compressor the right way up, left to
right, then top to bottom. A number or a letter belongs to its pin: turning the compressor upside down
moves it with the pin and never renames it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from zlib import crc32

from humclick.arrangements.arrangement import PINS
from humclick.circuit.drawing_svg import DARK, LIGHT, Palette, mark_outline, opening, short, words
from humclick.circuit.drawing_text import Canvas
from humclick.circuit.scene import Text, fit_label
from humclick.errors import Refused, Unknown
from humclick.messages import N_, Message, Verbatim, listed

__all__ = ["LAYOUTS", "pin_names", "pins_svg", "pins_text", "relay_svg"]

#: Place of each pin in reading order, in steps right of and below the middle.
LAYOUTS: dict[str, tuple[tuple[int, int], ...]] = {
    N_("one above two"): ((0, -1), (-1, 1), (1, 1)),
    N_("two above one"): ((-1, -1), (1, -1), (0, 1)),
    N_("row"): ((-2, 0), (0, 0), (2, 0)),
    N_("column"): ((0, -2), (0, 0), (0, 2)),
}

_UNKNOWN = (None, None, None)


def pin_names(labels: Sequence[str | None] = _UNKNOWN) -> tuple[str, ...]:
    """
    What each pin is called, in reading order: its letter where known, else its number.

    Raises `Refused` if there are not three labels, a letter is none of C, R and S, or comes twice.
    """
    letters = [label for label in labels if label]
    if len(labels) != 3 or set(letters) - set(PINS) or len(set(letters)) != len(letters):
        raise Refused(
            Message(
                "pin labels must be three, in reading order, each C, R or S once or None; got {labels}",
                labels=Verbatim(repr(list(labels))),
            )
        )
    return tuple(label or str(i + 1) for i, label in enumerate(labels))


def _places(layout: str, upside_down: bool) -> tuple[tuple[int, int], ...]:
    if layout not in LAYOUTS:
        raise Unknown(Message("pin layout"), layout, LAYOUTS)
    turn = -1 if upside_down else 1
    return tuple((turn * x, turn * y) for x, y in LAYOUTS[layout])


def _marked(names: tuple[str, ...], probe: tuple[str, str] | None) -> tuple[str, ...]:
    if probe is None:
        return ()
    for name in probe:
        if name not in names:
            raise Unknown(Message("pin"), name, names)
    if probe[0] == probe[1]:
        raise Refused(Message("the two probes must stand on different pins, got {node} twice", node=probe[0]))
    return probe


def _way(upside_down: bool) -> Message:
    if upside_down:
        return Message("looking at the pins, compressor upside down")
    return Message("looking at the pins, compressor the right way up")


def pins_text(
    layout: str,
    labels: Sequence[str | None] = _UNKNOWN,
    upside_down: bool = False,
    probe: tuple[str, str] | None = None,
    translate: Callable[[str], str] = str,
) -> str:
    """
    The pins as plain text.

    `labels` are C, R, S in reading order, None where not known: those pins show their number, as ``<1>``.
    `upside_down` is as seen when the compressor stands on its head. `probe` names two pins, marked ``^1`` and
    ``^2``. Raises `Unknown` for a layout or pin there is not, and `Refused` if the labels are not right, or
    both probes stand on one pin.
    """
    names = pin_names(labels)
    marked = _marked(names, probe)
    canvas = Canvas()
    across, down = 28, 12
    canvas.outline(2, 1, across, down)
    up = translate(Message("up"))
    canvas.write(2, down + 1 if upside_down else 0, f"v {up}" if upside_down else f"^ {up}")
    for name, (dx, dy) in zip(names, _places(layout, upside_down), strict=True):
        x, y = 15 + dx * 4, 6 + dy * 2
        canvas.write(x - 1, y, f"({name})" if name in PINS else f"<{name}>")
        if name in marked:
            canvas.write(x, y + 1, f"^{marked.index(name) + 1}")
    text = "\n".join(canvas.lines()) + f"\n  {translate(_way(upside_down))}\n"
    if marked:
        below = Message(
            "probe ^1 on pin {first}, probe ^2 on pin {second}", first=marked[0], second=marked[1]
        )
        text += f"  {translate(below)}\n"
    return text


def _up_arrow(x: float, y: float, turned: bool, palette: Palette, up: str) -> str:
    turn = -1 if turned else 1
    tip, tail = y - 30 * turn, y + 30 * turn
    shaft = (
        f'<path d="M{short(x)} {short(tail)}V{short(tip)}M{short(x - 9)} {short(tip + 12 * turn)}'
        f'L{short(x)} {short(tip)}L{short(x + 9)} {short(tip + 12 * turn)}" stroke="{palette.ink}" '
        f'stroke-width="3.5"/>'
    )
    return shaft + words(Text(x, tip + (22 if turned else -12), up, "label", "middle", 15, True), palette)


def _foot(text: str, y: float, palette: Palette) -> str:
    """What stands under a drawing, smaller where it is long."""
    lines, size = fit_label(text, 358, most=1, least=9.0)
    return words(Text(180, y, lines[0], "label", "middle", size), palette)


def pins_svg(
    layout: str,
    labels: Sequence[str | None] = _UNKNOWN,
    upside_down: bool = False,
    probe: tuple[str, str] | None = None,
    dark: bool = False,
    translate: Callable[[str], str] = str,
) -> str:
    """
    The pins as SVG, 360 units wide; parameters and errors as for `pins_text`.

    A message is written as `translate` makes of it: another language. Pins not identified have a broken
    outline and show their number; probe 1 is a ring, probe 2 a square.
    """
    names = pin_names(labels)
    marked = _marked(names, probe)
    palette = DARK if dark else LIGHT
    sentences = [
        Message(
            "{layout}, {way}; in reading order the right way up: {names}.",
            layout=Message.of(layout),
            way=_way(upside_down),
            names=names,
        )
    ]
    if marked:
        sentences.append(
            Message("Probe 1 on pin {first}, probe 2 on pin {second}.", first=marked[0], second=marked[1])
        )
    desc = translate(listed(sentences, "space"))
    tag = f"p{crc32(f'{desc}{dark}'.encode()):08x}"
    out = opening(360, 330, translate(Message("Pins of the compressor")), desc, palette, tag)
    out.append(
        f'<rect x="56" y="10" width="288" height="290" rx="70" fill="{palette.shell}" stroke="{palette.ink}" '
        'stroke-width="3.5"/>'
    )
    out.append(_up_arrow(28, 155, upside_down, palette, translate(Message("up"))))
    for name, (dx, dy) in zip(names, _places(layout, upside_down), strict=True):
        x, y = 200.0 + dx * 48, 150.0 + dy * (48 if layout == "column" else 62)
        if name in marked:
            which = marked.index(name)
            out.append(mark_outline(which, x, y, 36, palette))
            place = (x + 44, y + 5, "start") if layout == "column" else (x, y + 55, "middle")
            out.append(
                words(
                    Text(
                        *place[:2], translate(Message("probe {n}", n=which + 1)), "label", place[2], 15, True
                    ),
                    palette,
                )
            )
        dash = "" if name in PINS else ' stroke-dasharray="8 6"'
        out.append(
            f'<circle cx="{short(x)}" cy="{short(y)}" r="28" fill="{palette.paper}" stroke="{palette.ink}" '
            f'stroke-width="4"{dash}/>'
        )
        out.append(words(Text(x, y + 12, name, "node", "middle", 34, True), palette))
    out.append(_foot(translate(_way(upside_down)), 321, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _relay_says(turned: bool) -> Message:
    if turned:
        return Message("turned over: the contacts close, if healthy")
    return Message("working position: plunger down, contacts open")


def relay_svg(turned: bool = False, dark: bool = False, translate: Callable[[str], str] = str) -> str:
    """The gravity relay as SVG, 360 units wide: in its working position, or turned over."""
    palette = DARK if dark else LIGHT
    says = translate(_relay_says(turned))
    tag = f"g{crc32(f'{says}{dark}'.encode()):08x}"
    out = opening(360, 300, translate(Message("Current relay off the machine")), says, palette, tag)
    out.append(
        f'<rect x="64" y="14" width="272" height="244" rx="14" fill="{palette.shell}" stroke="{palette.ink}" '
        'stroke-width="3.5"/>'
    )
    out.append(_up_arrow(32, 136, turned, palette, translate(Message("up"))))

    def at(y: float) -> float:
        return 272 - y if turned else y

    contacts = at(66)
    bar = at(74) if turned else at(112)
    ink = f'stroke="{palette.ink}"'
    for x, edge in ((140, 64), (260, 336)):
        out.append(f'<path d="M{edge} {short(contacts)}H{x}" {ink} stroke-width="3"/>')
        out.append(
            f'<circle cx="{x}" cy="{short(contacts)}" r="7" fill="{palette.paper}" {ink} stroke-width="3"/>'
        )
    low, high = sorted((at(140), at(220)))
    for x in (150, 218):
        out.append(
            f'<rect x="{x}" y="{short(low)}" width="32" height="{short(high - low)}" fill="{palette.paper}" '
            f'{ink} stroke-width="2.5"/>'
        )
    end = at(190) if turned else at(228)
    top, foot = sorted((bar, end))
    out.append(
        f'<rect x="190" y="{short(top)}" width="20" height="{short(foot - top)}" fill="{palette.soft}" {ink} '
        'stroke-width="2"/>'
    )
    out.append(f'<path d="M136 {short(bar)}H264" {ink} stroke-width="7"/>')
    out.append(
        words(Text(144, (low + high) / 2 + 5, translate(Message("coil")), "label", "end", 15), palette)
    )
    word = translate(Message("closed") if turned else Message("open"))
    out.append(
        words(Text(200, contacts + (30 if turned else -20), word, "label", "middle", 15, True), palette)
    )
    out.append(_foot(says, 288, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"
