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
from humclick.circuit.scene import Text, fitted
from humclick.errors import Refused, Unknown
from humclick.messages import N_, Message, listed

__all__ = ["LAYOUTS", "pin_names", "pins_svg", "pins_text", "relay_svg", "relay_text"]

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

    Parameters
    ----------
    labels : sequence of three
        C, R or S, or None (or an empty string) where not known.

    Raises
    ------
    Refused
        If there are not three labels, a letter is none of C, R and S, or a letter comes twice.
    """
    letters = [label for label in labels if label]
    if len(labels) != 3 or set(letters) - set(PINS) or len(set(letters)) != len(letters):
        raise Refused(
            f"pin labels must be three, in reading order, each C, R or S once or None; got {list(labels)!r}"
        )
    return tuple(label or str(i + 1) for i, label in enumerate(labels))


def _seen(layout: str, upside_down: bool) -> tuple[tuple[int, int], ...]:
    if layout not in LAYOUTS:
        raise Unknown("pin layout", layout, LAYOUTS)
    turn = -1 if upside_down else 1
    return tuple((turn * x, turn * y) for x, y in LAYOUTS[layout])


def _marked(names: tuple[str, ...], probe: tuple[str, str] | None) -> tuple[str, ...]:
    if probe is None:
        return ()
    for name in probe:
        if name not in names:
            raise Unknown("pin", name, names)
    if probe[0] == probe[1]:
        raise Refused(f"the two probes must stand on different pins, got {probe[0]} twice")
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
    said: Callable[[str], str] = str,
) -> str:
    """
    The pins as plain text.

    Parameters
    ----------
    layout : str
        A key of `LAYOUTS`.
    labels : sequence of three
        C, R, S in reading order, None where not known: those pins show their number, as ``<1>``.
    upside_down : bool
        As seen when the compressor stands on its head.
    probe : tuple of str, optional
        Names of two pins (letters, or numbers where not known), marked ``^1`` and ``^2``.

    Raises
    ------
    Unknown
        If there is no such layout or pin.
    Refused
        If the labels are not right, or both probes stand on one pin.
    """
    names = pin_names(labels)
    marked = _marked(names, probe)
    canvas = Canvas()
    across, down = 28, 12
    canvas.outline(2, 1, across, down)
    up = said(Message("up"))
    canvas.write(2, down + 1 if upside_down else 0, f"v {up}" if upside_down else f"^ {up}")
    for name, (dx, dy) in zip(names, _seen(layout, upside_down), strict=True):
        x, y = 15 + dx * 4, 6 + dy * 2
        canvas.write(x - 1, y, f"({name})" if name in PINS else f"<{name}>")
        if name in marked:
            canvas.write(x, y + 1, f"^{marked.index(name) + 1}")
    text = "\n".join(canvas.lines()) + f"\n  {said(_way(upside_down))}\n"
    if marked:
        below = Message(
            "probe ^1 on pin {first}, probe ^2 on pin {second}", first=marked[0], second=marked[1]
        )
        text += f"  {said(below)}\n"
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
    lines, size = fitted(text, 358, most=1, least=9.0)
    return words(Text(180, y, lines[0], "label", "middle", size), palette)


def pins_svg(
    layout: str,
    labels: Sequence[str | None] = _UNKNOWN,
    upside_down: bool = False,
    probe: tuple[str, str] | None = None,
    dark: bool = False,
    said: Callable[[str], str] = str,
) -> str:
    """
    The pins as SVG, 360 units wide; parameters and errors as for `pins_text`.

    A message is written as `said` makes of it: another language. Pins not identified have a broken outline
    and show their number; probe 1 is a ring, probe 2 a square.
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
    desc = said(listed(sentences, "space"))
    tag = f"p{crc32(f'{desc}{dark}'.encode()):08x}"
    out = opening(360, 330, said(Message("Pins of the compressor")), desc, palette, tag)
    out.append(
        f'<rect x="56" y="10" width="288" height="290" rx="70" fill="{palette.shell}" stroke="{palette.ink}" '
        'stroke-width="3.5"/>'
    )
    out.append(_up_arrow(28, 155, upside_down, palette, said(Message("up"))))
    for name, (dx, dy) in zip(names, _seen(layout, upside_down), strict=True):
        x, y = 200.0 + dx * 48, 150.0 + dy * (48 if layout == "column" else 62)
        if name in marked:
            which = marked.index(name)
            out.append(mark_outline(which, x, y, 36, palette))
            place = (x + 44, y + 5, "start") if layout == "column" else (x, y + 55, "middle")
            out.append(
                words(
                    Text(*place[:2], said(Message("probe {n}", n=which + 1)), "label", place[2], 15, True),
                    palette,
                )
            )
        dash = "" if name in PINS else ' stroke-dasharray="8 6"'
        out.append(
            f'<circle cx="{short(x)}" cy="{short(y)}" r="28" fill="{palette.paper}" stroke="{palette.ink}" '
            f'stroke-width="4"{dash}/>'
        )
        out.append(words(Text(x, y + 12, name, "node", "middle", 34, True), palette))
    out.append(_foot(said(_way(upside_down)), 321, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _relay_says(turned: bool) -> Message:
    if turned:
        return Message("turned over: the contacts close, if healthy")
    return Message("working position: plunger down, contacts open")


def relay_text(turned: bool = False) -> str:
    """
    The gravity relay as plain text, off the machine: in its working position, or turned over.

    The arrow shows which end of the relay is marked as up.
    """
    canvas = Canvas()
    canvas.outline(2, 1, 30, 11)

    def turn(y: int) -> int:
        return 12 - y if turned else y

    canvas.write(2, turn(0), "v up" if turned else "^ up")
    contacts, plunger = turn(3), turn(3 if turned else 8)
    for x, dx in ((8, -3), (24, 3)):
        canvas.stroke(x + dx * 2, contacts, x, contacts)
        canvas.write(x, contacts, "o")
    canvas.write(7, turn(7), "[coil")
    canvas.write(21, turn(7), "coil]")
    for y in range(min(plunger, turn(8)), max(plunger, turn(8)) + 1):
        canvas.write(15, y, "##")
    if turned:
        canvas.write(9, contacts, "=" * 15)
    else:
        canvas.write(9, turn(5), "=" * 15)
        for y in (6, 7):
            canvas.write(15, y, "##")
    return "\n".join(canvas.lines()) + f"\n  {_relay_says(turned)}\n"


def relay_svg(turned: bool = False, dark: bool = False, said: Callable[[str], str] = str) -> str:
    """The gravity relay as SVG, 360 units wide: in its working position, or turned over."""
    palette = DARK if dark else LIGHT
    says = said(_relay_says(turned))
    tag = f"g{crc32(f'{says}{dark}'.encode()):08x}"
    out = opening(360, 300, said(Message("Current relay off the machine")), says, palette, tag)
    out.append(
        f'<rect x="64" y="14" width="272" height="244" rx="14" fill="{palette.shell}" stroke="{palette.ink}" '
        'stroke-width="3.5"/>'
    )
    out.append(_up_arrow(32, 136, turned, palette, said(Message("up"))))

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
    out.append(words(Text(144, (low + high) / 2 + 5, said(Message("coil")), "label", "end", 15), palette))
    word = said(Message("closed") if turned else Message("open"))
    out.append(
        words(Text(200, contacts + (30 if turned else -20), word, "label", "middle", 15, True), palette)
    )
    out.append(_foot(says, 288, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"
