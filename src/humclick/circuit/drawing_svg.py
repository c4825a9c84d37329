"""
A laid-out scene as SVG: shapes, colours, marks and shading.

Presentation attributes only: no script, no style, no font or picture fetched from elsewhere, so the drawing
passes the strictest content policy. Colours of marks and shading are the colour-blind-safe set of Okabe and
Ito; each mark also has its own outline and number, and each shading its percentage.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from html import escape

from humclick.circuit.scene import LONG, RING, WIDE, WIDTH, Box, Frame, Scene, Symbol, Text

__all__ = [
    "DARK",
    "LIGHT",
    "SHAPES",
    "Palette",
    "clean",
    "mark_outline",
    "opening",
    "render",
    "short",
    "words",
]

_FACE = "DejaVu Sans, Verdana, Arial, sans-serif"
_LETTERS = "DejaVu Sans Mono, Consolas, Courier New, monospace"


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of one drawing, as hexadecimal RGB."""

    paper: str
    ink: str
    soft: str
    shell: str
    suspect: str
    marks: tuple[str, str]


LIGHT = Palette("#ffffff", "#111111", "#555555", "#f1f3f5", "#e69f00", ("#0072b2", "#a63d00"))
DARK = Palette("#14181c", "#f4f4f4", "#b4bcc4", "#20272e", "#a86f00", ("#56b4e9", "#ff9d5c"))

#: Shapes along the x axis, centred on 0, 44 long; `{fill}` is replaced by the paper colour.
SHAPES = {
    "winding": '<path d="M-22 0H-18a4.5 6 0 0 1 9 0a4.5 6 0 0 1 9 0a4.5 6 0 0 1 9 0a4.5 6 0 0 1 9 0H22"/>',
    "coil": '<path d="M-22 0H-9M9 0H22"/><rect x="-9" y="-13" width="18" height="26" fill="{fill}"/>',
    "capacitor": '<path d="M-22 0H-4M4 0H22"/><path d="M-4 -13V13M4 -13V13" stroke-width="3.5"/>',
    "thermistor": (
        '<path d="M-22 0H-18M18 0H22"/><rect x="-18" y="-8" width="36" height="16" fill="{fill}"/>'
        '<path d="M-16 13H-9L12 -13"/>'
    ),
    "make_contact": '<path d="M-22 0H-12L10 -12M12 0H22"/><circle cx="-12" cy="0" r="2.5"/>',
    "break_contact": '<path d="M-22 0H-12L15 -7M12 -11V0H22"/><circle cx="-12" cy="0" r="2.5"/>',
    "thermal_contact": (
        '<path d="M-22 0H-12M12 0H22"/><rect x="-18" y="-13" width="36" height="26" fill="{fill}"/>'
        '<path d="M-22 0H-11Q0 -14 11 0H22"/>'
        '<circle cx="-11" cy="0" r="2.5"/><circle cx="11" cy="0" r="2.5"/>'
    ),
    "timer": (
        '<path d="M-22 0H-18M18 0H22"/><rect x="-18" y="-13" width="36" height="26" fill="{fill}"/>'
        '<circle cx="0" cy="0" r="9" fill="none"/><path d="M0 -6V0L5 3" fill="none"/>'
    ),
    "wire": '<path d="M-22 0H22"/>',
    "box": '<path d="M-22 0H-18M18 0H22"/><rect x="-18" y="-13" width="36" height="26" fill="{fill}"/>',
    "crank": (
        '<circle cx="0" cy="0" r="13" fill="{fill}"/><path d="M0 0L7 -7" stroke-width="3.5"/>'
        '<circle cx="7" cy="-7" r="3"/>'
    ),
}


def clean(text: str) -> str:
    """Text without the characters XML forbids, escaped for content and attributes alike."""
    allowed = "".join(c if _allowed(ord(c)) else "\ufffd" for c in text)
    return escape(allowed, quote=True)


def _allowed(code: int) -> bool:
    return (
        0x20 <= code < 0x7F or 0xA0 <= code < 0xD800 or 0xE000 <= code < 0xFFFE or 0x10000 <= code <= 0x10FFFF
    )


def short(value: float) -> str:
    """A coordinate with at most two decimals and no needless zeros."""
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")


def mix(colour: str, paper: str, share: float) -> str:
    """A colour thinned with the paper: 0 is paper, 1 is colour."""
    ends = [[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in (paper, colour)]
    return "#" + "".join(f"{round(p + (q - p) * share):02x}" for p, q in zip(*ends, strict=True))


def opening(width: float, height: float, title: str, desc: str, palette: Palette, tag: str) -> list[str]:
    """First lines of a drawing: size, accessible title and description, paper."""
    return [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {short(width)} {short(height)}" '
        f'width="{short(width)}" height="{short(height)}" role="img" '
        f'aria-labelledby="{tag}-t {tag}-d" font-family="{_FACE}" fill="none" stroke-linecap="round" '
        'stroke-linejoin="round">',
        f'<title id="{tag}-t">{clean(title)}</title>',
        f'<desc id="{tag}-d">{clean(desc)}</desc>',
        f'<rect width="{short(width)}" height="{short(height)}" fill="{palette.paper}"/>',
    ]


def words(text: Text, palette: Palette) -> str:
    """One line of text."""
    colour = palette.soft if text.role == "note" else palette.ink
    extra = ' font-weight="bold"' if text.bold else ""
    extra += f' font-family="{_LETTERS}"' if text.role == "node" and len(text.text) < 3 else ""
    extra += f' text-anchor="{text.anchor}"' if text.anchor != "start" else ""
    return (
        f'<text x="{short(text.x)}" y="{short(text.y)}" font-size="{short(text.size)}" '
        f'fill="{colour}"{extra}>{clean(text.text)}</text>'
    )


def mark_outline(which: int, x: float, y: float, half: float, palette: Palette) -> str:
    """The outline of a probe mark: a ring for probe 1, a square for probe 2, each in its own colour."""
    shape = (
        f'<circle cx="{short(x)}" cy="{short(y)}" r="{short(half)}"'
        if which == 0
        else f'<rect x="{short(x - half)}" y="{short(y - half)}" width="{short(2 * half)}" '
        f'height="{short(2 * half)}"'
    )
    return f'{shape} fill="{palette.paper}" stroke="{palette.marks[which]}" stroke-width="4"/>'


def mark(which: int, x: float, y: float, palette: Palette) -> str:
    """A probe mark with its number."""
    return mark_outline(which, x, y, RING - 2, palette) + (
        f'<text x="{short(x)}" y="{short(y + 5.5)}" font-size="16" font-weight="bold" fill="{palette.ink}" '
        f'text-anchor="middle">{which + 1}</text>'
    )


def clamp_mark(x: float, y: float, palette: Palette) -> str:
    """A clamp meter round a wire: a ring with an A in it, and the gap of its jaws."""
    return (
        f'<circle cx="{short(x)}" cy="{short(y)}" r="{short(RING)}" fill="{palette.paper}" '
        f'stroke="{palette.marks[0]}" stroke-width="4.5" stroke-dasharray="{short(RING * 5.9)} 5" '
        f'transform="rotate(-83 {short(x)} {short(y)})"/>'
        f'<text x="{short(x)}" y="{short(y + 5.5)}" font-size="16" font-weight="bold" fill="{palette.ink}" '
        'text-anchor="middle">A</text>'
    )


def _rect(box: Box, fill: str, stroke: str, wide: float, corner: float, dash: str = "") -> str:
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{short(box.left)}" y="{short(box.top)}" width="{short(box.right - box.left)}" '
        f'height="{short(box.bottom - box.top)}" rx="{short(corner)}" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="{short(wide)}"{dashed}/>'
    )


def _frame(frame: Frame, palette: Palette, shade: Mapping[str, str]) -> str:
    box = frame.box
    fill = shade.get(frame.part, palette.paper)
    stroke = palette.ink if frame.part in shade else palette.soft
    match frame.kind:
        case "shell":
            top, low = 20.0, 46.0
            flat = box.right - box.left
            return (
                f'<path d="M{short(box.left)} {short(box.top + top)}q0 -{top:g} {top:g} -{top:g}'
                f"h{short(flat - 2 * top)}q{top:g} 0 {top:g} {top:g}V{short(box.bottom - low)}"
                f'q0 {low:g} -{low:g} {low:g}h-{short(flat - 2 * low)}q-{low:g} 0 -{low:g} -{low:g}z" '
                f'fill="{palette.shell}" stroke="{palette.ink}" stroke-width="3.5"/>'
            )
        case "caution":
            x, y = box.left + 24, (box.top + box.bottom) / 2
            return (
                _rect(box, palette.paper, palette.ink, 3, 4)
                + f'<path d="M{short(x)} {short(y - 17)}L{short(x + 17)} {short(y + 14)}H{short(x - 17)}Z" '
                f'fill="{palette.suspect}" stroke="{palette.ink}" stroke-width="2.5"/>'
                f'<path d="M{short(x)} {short(y - 6)}V{short(y + 3)}M{short(x)} {short(y + 9)}v0.1" '
                f'stroke="#111111" stroke-width="3.5"/>'
            )
        case "outlet":
            return _rect(box, fill, stroke, 2, 8)
        case "cord":
            return _rect(box, fill, stroke, 1.5, 12)
        case _:
            return _rect(box, fill, stroke, 1.5, 3, "5 3")


def _symbol(symbol: Symbol, palette: Palette, shade: Mapping[str, str]) -> str:
    place = f'transform="translate({short(symbol.x)} {short(symbol.y)})'
    if symbol.angle:
        place += f" rotate({short(symbol.angle)})"
    halo = ""
    if symbol.part in shade:
        across = 2 * RING + 4 if symbol.kind == "crank" else LONG
        box = Box(-across / 2, -WIDE / 2, across / 2, WIDE / 2)
        halo = _rect(box, shade[symbol.part], palette.ink, 1, 4, "2 2")
    shape = SHAPES[symbol.kind].replace("{fill}", shade.get(symbol.part, palette.paper))
    return f'<g {place}" stroke="{palette.ink}" stroke-width="2.2">{halo}{shape}</g>'


def render(
    scene: Scene,
    title: str,
    desc: str,
    palette: Palette,
    probe: Iterable[str],
    suspects: Mapping[str, float],
    tag: str,
    clamp: tuple[float, float] | None = None,
) -> str:
    """Write a scene as one SVG document; the order of the lines follows the scene alone."""
    shade = {part: mix(palette.suspect, palette.paper, 0.06 + 0.94 * p) for part, p in suspects.items()}
    out = opening(WIDTH, scene.height, title, desc, palette, tag)
    out += [_frame(frame, palette, shade) for frame in scene.frames]
    for wire in scene.wires:
        path = "L".join(f"{short(x)} {short(y)}" for x, y in wire.points)
        out.append(f'<path d="M{path}" stroke="{palette.ink}" stroke-width="2.2"/>')
    out += [_symbol(symbol, palette, shade) for symbol in scene.symbols]
    out += [f'<circle cx="{short(x)}" cy="{short(y)}" r="3.5" fill="{palette.ink}"/>' for x, y in scene.dots]
    marked = tuple(probe)
    for node in scene.nodes.values():
        if node.name not in marked:
            out.append(
                f'<circle cx="{short(node.x)}" cy="{short(node.y)}" r="5.5" fill="{palette.paper}" '
                f'stroke="{palette.ink}" stroke-width="2.5"/>'
            )
    out += [words(text, palette) for text in scene.texts]
    out += [mark(i, scene.nodes[n].x, scene.nodes[n].y, palette) for i, n in enumerate(marked)]
    if clamp is not None:
        out.append(clamp_mark(*clamp, palette))
    out.append("</svg>")
    return "\n".join(out) + "\n"
