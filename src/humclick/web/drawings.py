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
from humclick.web.language import Language

__all__ = ["ICONS", "Wiring", "icon", "recoloured", "wiring"]

_PINS = '<circle cx="38" cy="52" r="5"/><circle cx="58" cy="52" r="5"/><circle cx="48" cy="34" r="5"/>'
_CAN = '<path d="M30 22v34a18 7 0 0 0 36 0V22"/><ellipse cx="48" cy="22" rx="18" ry="7"/>'
_OVAL = '<rect x="24" y="24" width="48" height="38" rx="19"/><path d="M36 24v-9M60 24v-9"/>'
_WAVE = '<path d="M8 36q5-18 10 0t10 0t10 0t10 0"/>'
_ROTOR = '<circle cx="48" cy="36" r="22"/><path d="M48 36V18M48 36l15 9M48 36l-15 9"/>'

#: Shapes by name, on a ground 96 wide and 72 high.
ICONS: dict[str, str] = {
    # what is heard
    "silent": '<path d="M16 36h64"/>',
    "hum": f'{_WAVE}<path d="M48 36q5-18 10 0t10 0t10 0t10 0"/>',
    "hum_click": f'{_WAVE}<path d="M48 36h8M56 36l16-16M74 36h14"/><circle cx="56" cy="36" r="3"/>',
    "starts_then_trips": (
        '<circle cx="30" cy="36" r="18"/>'
        '<path d="M30 36V21M30 36l13 8M30 36l-13 8M50 36h8l14-14M76 36h12"/>'
        '<circle cx="58" cy="36" r="3"/>'
    ),
    "breaker": (
        '<rect x="32" y="8" width="32" height="56"/><path d="M48 16v8M48 24l-9 18M48 50v8M39 29h18"/>'
    ),
    "runs": f'{_ROTOR}<path d="M78 28a32 32 0 0 1-8 28l9-1M70 56l1-9"/>',
    "unknown": '<path d="M36 26q0-14 13-14t13 13q0 9-13 14v8M49 56v2"/>',
    # what feeds it
    "feed-mains": '<path d="M20 30h30v22H20zM26 30V18M44 30V18M50 41h12q14 0 14 14v7"/>',
    "feed-board": (
        '<rect x="12" y="14" width="40" height="44"/>'
        '<path d="M20 24h10v10H20zM36 22v12M20 44h24M20 50h16"/>'
        '<path d="M52 24h14q14 0 14 12M52 36h26M52 48h14q14 0 14-12"/>'
    ),
    "feed-contactor": (
        "<"
        'path d="M24 8v14M48 8v14M72 8v14M24 50v14M48 50v14M72 50v14M24 50l-9-22M48 50l-9-22M72 50l-9-22"/>'
        '<path d="M14 38h52" stroke-dasharray="3 4"/>'
    ),
    # what sits on the pins
    "pins-pill": (
        '<path d="M18 14h60v44H18z"/><circle cx="48" cy="36" r="13"/><path d="M40 44l16-16"/>'
        '<path d="M10 24h8M10 48h8"/>'
    ),
    "pins-relay": (
        '<path d="M22 10h52v52H22z"/><path d="M34 26h28M34 32h28M34 38h28M34 44h28" stroke-width="4"/>'
        '<path d="M84 54V18M78 26l6-8 6 8"/>'
    ),
    "pins-box": (
        '<path d="M14 12h68v48H14z"/><rect x="36" y="26" width="24" height="20"/>'
        '<path d="M36 31h-8M36 41h-8M60 31h8M60 41h8"/>'
    ),
    "pins-wires": f'{_PINS}<path d="M48 29V10M33 52H14M63 52h19"/>',
    # capacitors
    "capacitors-none": '<path d="M10 36h28M58 36h28M38 20v32M58 20v32" stroke-dasharray="4 5"/>',
    "capacitors-start": f'{_CAN}<path d="M42 20v-9M54 20v-9"/>',
    "capacitors-run": _OVAL,
    "capacitors-both": (
        '<g transform="translate(-22 0)"><path d="M30 22v34a18 7 0 0 0 36 0V22"/>'
        '<ellipse cx="48" cy="22" rx="18" ry="7"/></g>'
        '<rect x="52" y="24" width="38" height="36" rx="18"/><path d="M64 24v-9M78 24v-9"/>'
    ),
    # what is added
    "added-numbered": (
        '<path d="M20 16h56v40H20z"/><path d="M30 56v8M48 56v8M66 56v8"/>'
        "<"
        'text x="30" y="48" text-anchor="middle">1</text><text x="48" y="48" text-anchor="middle">2</text>'
        '<text x="66" y="48" text-anchor="middle">5</text>'
    ),
    "added-switch": '<path d="M24 20h48v32H24zM24 36H8M72 36h16"/><path d="M36 36h8l10-9M58 36h4"/>',
    "added-disc": '<circle cx="48" cy="36" r="20"/><path d="M38 46l20-20M28 36H8M68 36h20"/>',
    "added-nothing": '<path d="M10 36h76" stroke-dasharray="4 5"/>',
    "kit-maker": (
        '<path d="M12 10h72v52H12z"/>'
        '<circle cx="32" cy="36" r="12"/><rect x="54" y="24" width="22" height="24"/>'
    ),
    "kit-kit": (
        '<path d="M10 16h30v40H10z"/>'
        '<circle cx="72" cy="36" r="14"/><path d="M40 28h12q6 0 8 3M40 44h12q6 0 8-3"/>'
    ),
    # protectors
    "protector-external": (
        '<circle cx="48" cy="36" r="20"/>'
        '<circle cx="48" cy="36" r="12"/><path d="M28 36H10M68 36h18M40 39q8-12 16 0"/>'
    ),
    "protector-integrated": (
        '<path d="M12 12h72v48H12z"/>'
        '<circle cx="62" cy="36" r="13"/><path d="M55 39q7-10 14 0M24 24h18v24H24z"/>'
    ),
    "protector-internal": (
        '<path d="M18 58V30q0-18 30-18t30 18v28z"/>'
        '<circle cx="48" cy="40" r="10"/><path d="M42 43q6-8 12 0"/>'
    ),
    "not-sure": '<path d="M36 26q0-14 13-14t13 13q0 9-13 14v8M49 56v2"/>',
}


def icon(name: str) -> Markup:
    """One small drawing; a question mark where there is none of that name."""
    shapes = ICONS.get(name, ICONS["not-sure"])
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

    def change(found: re.Match[str]) -> str:
        kind, colour = found[1], found[2]
        name = shades.get(colour) or _CLASSES.get(colour)
        return found[0] if name is None else f'{kind}="var(--draw-{name})"'

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
    own = _own_symbol(scene, probe) if points and probe is not None else None
    clamped = points if points and probe is not None and probe.quantity == "current" else None
    svg = draw_svg(
        machine, None if own or clamped else points, shares, clamp=clamped, translate=language.plain
    )
    if own is not None:
        svg = svg.replace("</svg>", f"{_at_ends(own)}</svg>")
    svg = recoloured(svg, tuple(shares.values()))
    whole = svg.replace("<svg ", '<svg class="wiring" id="wiring" ', 1)
    return Wiring(
        Markup(whole),  # escaped where it is drawn
        _window(scene, points, own, probe.part if probe is not None else "") if points else Markup(),
        tuple(map(node_name, points or ())),
        next((each.family.title for each in machine.parts if own is not None and each.id == own.part), ""),
    )


def _own_symbol(scene: Scene, probe: Probe) -> Symbol | None:
    """The one symbol of a part that is measured by itself, wires off; None for all else."""
    if not probe.part or probe.quantity not in ("resistance", "capacitance"):
        return None
    found = [symbol for symbol in scene.symbols if symbol.part == probe.part]
    if len(found) > 1:
        found = [symbol for symbol in found if (symbol.kind == "coil") == probe.id.endswith(".coil")]
    return found[0] if len(found) == 1 else None


def _at_ends(symbol: Symbol) -> str:
    """The two probe marks at the ends of a symbol."""
    turn, reach = math.radians(symbol.angle), LONG / 2 + RING - 4
    dx, dy = reach * math.cos(turn), reach * math.sin(turn)
    return mark(0, symbol.x - dx, symbol.y - dy, LIGHT) + mark(1, symbol.x + dx, symbol.y + dy, LIGHT)


def _window(scene: Scene, points: tuple[str, str], own: Symbol | None, part: str) -> Markup:
    """The piece of the drawing that holds both points and what lies between, in the drawing's own units."""
    ys = [scene.nodes[name].y for name in points] if own is None else [own.y]
    between = _WINDINGS if set(points) <= {"C", "S", "R"} else {part}
    drawn = [] if own is not None else [symbol.y for symbol in scene.symbols if symbol.part in between]
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
