"""
Small drawings of what is seen under the cover and of what is heard, made here from plain shapes.

Lines take the colour of the text around them; each drawing has a caption beside it, so it is hidden from a
reader who cannot see it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import draw_svg
from humclick.circuit.drawing_svg import LIGHT, mark, mix
from humclick.circuit.layout import lay_out, node_name
from humclick.circuit.scene import LONG, RING, Scene, Symbol
from humclick.diagnosis.probes import Probe
from humclick.sourced import read_data
from humclick.web.language import Language


def icon(name: str) -> Markup:
    """One small drawing; a question mark where there is none of that name."""
    icons = read_data("humclick.web", "icons.toml")
    shapes = icons.get(name, icons["not-sure"])
    return Markup(  # our own shapes
        f'<svg class="icon" viewBox="0 0 96 72" aria-hidden="true" focusable="false">{shapes}</svg>'
    )


#: Colours of the paper drawing and the class that takes their place, so that one drawing serves both looks.
_CLASSES = {
    LIGHT.paper: "paper",
    LIGHT.ink: "ink",
    LIGHT.soft: "soft",
    LIGHT.shell: "shell",
    LIGHT.marks[0]: "mark-1",
    LIGHT.marks[1]: "mark-2",
    LIGHT.suspect: "warn",
}
_COLOUR = re.compile(r'(?<= )(fill|stroke)="(#[0-9a-f]{6})"')
#: Room left above and below the two points and the part, and where no part is drawn. [units of the drawing]
_AROUND, _ALONE = 52.0, 76.0
#: What a meter reads between two bare pins.
_WINDINGS = frozenset({"start_winding", "run_winding"})


def recoloured(svg: str, shares: tuple[float, ...] = ()) -> str:
    """A drawing on light paper, shaded by ``shares``, in the page's own colours: dark where the page is."""
    shades = {mix(LIGHT.suspect, LIGHT.paper, 0.06 + 0.94 * p): f"share-{round(p * 10)}" for p in shares}

    def change(match: re.Match[str]) -> str:
        kind, colour = match[1], match[2]
        name = shades.get(colour) or _CLASSES.get(colour)
        return match[0] if name is None else f'{kind}="var(--draw-{name})"'

    return _COLOUR.sub(change, svg)


@dataclass(frozen=True, slots=True)
class Wiring:
    """The wiring of a machine, ready for a page."""

    #: The whole drawing.
    whole: Markup
    #: The part around the two points, drawn from the same shapes; empty where there are none.
    window: Markup
    #: The two nodes, or empty.
    points: tuple[str, ...] = ()
    #: The part taken off whose own two ends are marked, by its title; empty where the nodes are.
    part: str = ""


def wiring(
    machine: Machine,
    language: Language,
    points: tuple[str, str] | None = None,
    shares: Mapping[str, float] | None = None,
    probe: Probe | None = None,
) -> Wiring:
    """
    The wiring of a machine for a page: whole, and the part around the two points to probe.

    Parts are shaded by their shares. A part that is probed by itself is marked at its own ends, for its wires
    are off.
    """
    shares = shares or {}
    scene = lay_out(machine, shares, language.plain)
    symbol = _own_symbol(scene, probe) if points and probe is not None else None
    clamped = points if points and probe is not None and probe.quantity == "current" else None
    svg = draw_svg(
        machine, None if symbol or clamped else points, shares, clamp=clamped, translate=language.plain
    )
    if symbol is not None:
        svg = svg.replace("</svg>", f"{_at_ends(symbol)}</svg>")
    svg = recoloured(svg, tuple(shares.values()))
    titles = {part.id: part.family.title for part in machine.parts}
    whole = svg.replace("<svg ", '<svg class="wiring" id="wiring" ', 1)
    return Wiring(
        Markup(whole),  # escaped where it is drawn
        _window(scene, points, symbol, probe.part if probe is not None else "") if points else Markup(),
        tuple(map(node_name, points or ())),
        "" if symbol is None else titles.get(symbol.part, ""),
    )


def _own_symbol(scene: Scene, probe: Probe) -> Symbol | None:
    """The one symbol of a part that is measured by itself, wires off; None for all else."""
    if not probe.part or probe.quantity not in ("resistance", "capacitance"):
        return None
    symbols = [symbol for symbol in scene.symbols if symbol.part == probe.part]
    if len(symbols) > 1:
        symbols = [symbol for symbol in symbols if (symbol.kind == "coil") == probe.id.endswith(".coil")]
    return symbols[0] if len(symbols) == 1 else None


def _at_ends(symbol: Symbol) -> str:
    """The two probe marks at the ends of a symbol."""
    turn, reach = math.radians(symbol.angle), LONG / 2 + RING - 4
    dx, dy = reach * math.cos(turn), reach * math.sin(turn)
    return mark(0, symbol.x - dx, symbol.y - dy, LIGHT) + mark(1, symbol.x + dx, symbol.y + dy, LIGHT)


def _window(scene: Scene, points: tuple[str, str], alone: Symbol | None, part: str) -> Markup:
    """The piece of the drawing that holds both points and what lies between, in the drawing's own units."""
    ys = [scene.nodes[name].y for name in points] if alone is None else [alone.y]
    between = _WINDINGS if set(points) <= {"C", "S", "R"} else {part}
    drawn = [] if alone is not None else [symbol.y for symbol in scene.symbols if symbol.part in between]
    around = _AROUND if drawn else _ALONE
    top = max(0.0, min(ys + drawn) - around)
    below = RING + 8 if "shell" in points else around  # under the shell stands only what the letters mean
    end = min(scene.height, max(ys + drawn) + below)
    boxes = [text.box for text in scene.texts]
    for _ in boxes:  # no line of text is cut: the edge moves out to its end
        cut = [box for box in boxes if box.top < top < box.bottom]
        top = min((box.top - 2 for box in cut), default=top)
    for _ in boxes:
        cut = [box for box in boxes if box.top < end < box.bottom]
        end = max((box.bottom + 2 for box in cut), default=end)
    high = end - top
    return Markup(
        '<svg class="wiring window" viewBox="0 {} 360 {}" aria-hidden="true" focusable="false">'
        '<use href="#wiring"/></svg>'
    ).format(f"{top:g}", f"{high:g}")
