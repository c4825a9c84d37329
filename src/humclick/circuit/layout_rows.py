"""
The drawing of a machine that is no single-phase one: rows of nodes from the line to the pins, units between.

Its frame lists the rows (`humclick.arrangements.frame.Frame.rows`); everything else follows from what the
parts connect. A part between two rows is an outline with its contacts in it; one that hangs on nodes of its
own stands beside; the windings hang in star below their pins.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from humclick.arrangements.frame import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.circuit.scene import LINE, RING, WIDTH, Box, DrawnElement, Frame, Scene, Symbol, Text, fit_label
from humclick.errors import DataError
from humclick.messages import Message
from humclick.parts.family import Role

__all__ = ["lay_out_rows", "node_name"]

_COLUMNS = (44.0, 120.0, 196.0)  # of a row of nodes
_LEFT, _RIGHT = 14.0, 226.0  # sides of a unit
_BESIDE = 246.0  # nodes it shares with what stands beside
_NEXT, _FAR = 268.0, 352.0  # sides of what stands beside
_HALF = 18.0  # from a node to the outline above or below it
_SYMBOL = 62.0  # height of a contact with its wires
_NOTES = Message(
    "Pins stand here as the circuit runs, not as they stand on the compressor. Small letters: wire side;"
    " capitals: supply and pins."
)


def node_name(node: str) -> str:
    """What a node is called: a letter, or the word for a shell, a star point, an end of a DC link."""
    words = {
        "shell": Message("shell"),
        "star": Message("star"),
        "plus": Message("plus"),
        "minus": Message("minus"),
    }
    return words.get(node, node)


def _elements(placed: PlacedPart) -> list[DrawnElement]:
    return [
        DrawnElement(
            placed.id,
            placed.family.title,
            (placed.connect[d.ends[0]], placed.connect[d.ends[1]]),
            d.symbol,
            d.token,
            i == 0,
        )
        for i, d in enumerate(placed.family.drawn)
    ]


class _Rows:
    def __init__(
        self, scene: Scene, machine: Machine, shares: Mapping[str, str], translate: Callable[[str], str]
    ) -> None:
        self.scene, self.machine, self.shares, self.translate = scene, machine, shares, translate
        self.rows = machine.arrangement.frame.rows
        self.row_of = {node: k for k, row in enumerate(self.rows) for node in row}
        self.left = {p.id: p for p in machine.parts}

    def between(self, upper: int) -> PlacedPart:
        """Remove and return the part between two rows."""
        for placed in self.left.values():
            rows = {self.row_of.get(node) for node in placed.connect.values()}
            if {upper, upper + 1} <= rows:
                return self.left.pop(placed.id)
        raise DataError(f"{self.machine.arrangement.id}: no part joins the rows {upper + 1} and {upper + 2}")

    def title(self, placed: PlacedPart, room: float, most: int) -> tuple[list[str], float]:
        """Its title as lines, and their size."""
        return fit_label(self.translate(placed.family.title), room, most=most)

    def nodes(self, names: Sequence[str], y: float) -> None:
        """A row of nodes; the pins' names stand inside the shell."""
        for name, x in zip(names, _COLUMNS, strict=False):
            pin = Text(x + 7, y + 29, name, "node", size=18, bold=True)
            self.scene.node(name, x, y, pin if name in self.machine.pins else None)

    def unit(self, upper: int, y: float) -> float:
        """Draw what is between a row at a height and the next; return the height of that."""
        scene, wires = self.scene, {frozenset(pair) for pair in self.machine.wires}
        across = zip(self.rows[upper], self.rows[upper + 1], strict=False)
        if all(frozenset(pair) in wires for pair in across):
            return self.plain(upper, y)
        placed = self.between(upper)
        if placed.family.role in (Role.SUPPLY, Role.WIRING):
            return self.cord(placed, upper, y)
        above, below = self.rows[upper], self.rows[upper + 1]
        own = [n for n in placed.connect.values() if n not in self.row_of and n != "shell"]
        beside = self.beside(set(own))
        held = {n for part in beside for n in part.connect.values()}
        inner = [n for n in own if n not in held]
        outer = [n for n in own if n in held]
        lines, size = self.title(placed, _RIGHT - _LEFT - 16, 2)
        top = y + _HALF
        at = top + 4 + LINE * (len(lines) + (placed.id in self.shares))
        scene.label(
            (lines, size), (_LEFT + _RIGHT) / 2, (top + 4 + at) / 2, "middle", self.shares.get(placed.id)
        )
        columns = dict(zip(above, _COLUMNS, strict=False)), dict(zip(below, _COLUMNS, strict=False))
        poles = [
            (e, columns[0][e.ends[0]])
            for e in _elements(placed)
            if columns[0].get(e.ends[0], -1.0) == columns[1].get(e.ends[1], -2.0)
        ]
        first = at + 6
        at += 6 + (_SYMBOL if poles else 0.0)
        if inner:
            at += 2 * RING + 4
            step = (_RIGHT - _LEFT) / len(inner)
            for k, name in enumerate(inner):
                x, y_in = _LEFT + 20 + k * step, at - RING - 4
                word = self.translate(node_name(name))
                scene.node(name, x, y_in, Text(x + RING + 3, y_in + 5, word, "node", size=15, bold=True))
        at = max(at, top + sum(self.high(part, outer) for part in beside))
        bottom = at + 4
        scene.frames.append(Frame("unit", placed.id, Box(_LEFT, top, _RIGHT, bottom)))
        for x in (_COLUMNS[k] for k in range(len(above))):
            if x not in [c for _, c in poles]:
                scene.wire((x, y), (x, top))
        for x in (_COLUMNS[k] for k in range(len(below))):
            if x not in [c for _, c in poles]:
                scene.wire((x, bottom), (x, bottom + _HALF))
        for element, x in poles:
            scene.wire((x, y), (x, top))
            scene.element(element, (x, first), (x, first + _SYMBOL - 8))
            scene.wire((x, bottom), (x, bottom + _HALF))
        low = top
        for part in beside:
            low = self.hang(part, [n for n in outer if n in part.connect.values()], low) + 12.0
        self.nodes(below, bottom + _HALF)
        return bottom + _HALF

    def plain(self, upper: int, y: float) -> float:
        """Draw plain wires from a row to the next."""
        low = y + 2 * _HALF + 10.0
        for x in _COLUMNS[: len(self.rows[upper])]:
            self.scene.wire((x, y), (x, low))
        self.nodes(self.rows[upper + 1], low)
        return low

    def cord(self, placed: PlacedPart, upper: int, y: float) -> float:
        """Draw wires with an outline round them, its title beside."""
        scene, share = self.scene, self.shares.get(placed.id)
        label = self.title(placed, WIDTH - _RIGHT - 22, 3)
        high = max(40.0, LINE * (len(label[0]) + (share is not None)))
        low = y + high + 2 * _HALF
        last = _COLUMNS[len(self.rows[upper]) - 1]
        scene.frames.append(Frame("cord", placed.id, Box(_LEFT, y + _HALF, last + 30, low - _HALF)))
        scene.label(label, _RIGHT + 12, y + _HALF + high / 2, share=share)
        for x in _COLUMNS[: len(self.rows[upper])]:
            scene.wire((x, y), (x, low))
        self.nodes(self.rows[upper + 1], low)
        return low

    def high(self, placed: PlacedPart, outer: Sequence[str]) -> float:
        """Room that a part beside a unit takes."""
        shared = [n for n in placed.connect.values() if n in outer]
        lines, _ = self.title(placed, _FAR - _NEXT - 8, 3)
        own = [n for n in placed.connect.values() if n not in shared and n not in self.row_of]
        high = max(14.0 + 40.0 * len(shared), 14.0 + LINE * (len(lines) + (placed.id in self.shares)))
        return high + 12.0 + (2 * _HALF if own else 0.0)

    def beside(self, nodes: set[str]) -> list[PlacedPart]:
        """Parts that hang on some nodes of a unit, and join no rows."""
        joined = set(self.row_of.values())
        found = []
        for placed in self.left.values():
            rows = {self.row_of[n] for n in placed.connect.values() if n in self.row_of}
            if set(placed.connect.values()) & nodes and len(rows) < 2 and rows <= joined:
                found.append(placed)
        return found

    def hang(self, placed: PlacedPart, nodes: Sequence[str], top: float) -> float:
        """Draw what stands beside a unit, on nodes they share and on its own; return the height below."""
        scene = self.scene
        del self.left[placed.id]
        lines, size = self.title(placed, _FAR - _NEXT - 8, 3)
        share = self.shares.get(placed.id)
        high = max(14.0 + 40.0 * len(nodes), 14.0 + LINE * (len(lines) + (share is not None)))
        scene.frames.append(Frame("unit", placed.id, Box(_NEXT, top, _FAR, top + high)))
        scene.label((lines, size), (_NEXT + _FAR) / 2, top + high / 2, "middle", share)
        for k, name in enumerate(nodes):
            y = top + 32.0 + 40.0 * k
            scene.wire((_RIGHT, y), (_BESIDE, y))
            scene.wire((_BESIDE, y), (_NEXT, y))
            scene.node(name, _BESIDE, y, Text(_BESIDE, y - 16, name, "node", "middle", 13.5, True))
        own = [n for n in placed.connect.values() if n not in nodes and n not in self.row_of]
        for k, name in enumerate(own):
            x = _NEXT + 20.0 + 44.0 * k
            scene.wire((x, top + high), (x, top + high + _HALF))
            scene.node(name, x, top + high + _HALF)
        return top + high + (2 * _HALF if own else 0.0)

    def windings(self, y: float) -> float:
        """Draw the shell below a row of pins; return the height of its lower edge."""
        scene, machine = self.scene, self.machine
        placed = self.left.pop(machine.having(Role.WINDINGS).id)
        guard = machine.has(Role.PROTECTOR)
        low = y + 152.0
        bottom = low + 44.0
        scene.frames.append(Frame("shell", "", Box(12, y, WIDTH - 12, bottom)))
        elements = _elements(placed)
        (hub,) = set.intersection(*(set(e.ends) for e in elements))
        pins = dict(zip(self.rows[-1], _COLUMNS, strict=True))
        for element in elements:
            (pin,) = set(element.ends) - {hub}
            scene.element(element, (pins[pin], y + 34), (pins[pin], low - 20))
            scene.wire((pins[pin], y), (pins[pin], y + 34))
            scene.wire((pins[pin], low - 20), (pins[pin], low))
        first, middle, last = _COLUMNS
        scene.wire((first, low), (middle, low))
        scene.wire((middle, low), (last, low))
        star = Text(middle + 17, low - 9, self.translate(Message("star")), "node", size=15, bold=True)
        scene.node(hub, middle, low, star)
        label = self.title(placed, WIDTH - 12 - 240, 3)
        scene.label(label, 232, y + 56, share=self.shares.get(placed.id))
        mechanism = self.left.pop(machine.having(Role.MECHANISM).id)
        scene.symbols.append(Symbol("crank", mechanism.id, 234, y + 128, 0, "(o)"))
        scene.label(self.title(mechanism, 86, 1), 258, y + 128, share=self.shares.get(mechanism.id))
        if guard is not None and guard.id in self.left and guard.family.sealed:
            del self.left[guard.id]
            scene.symbols.append(Symbol("thermal_contact", guard.id, 66, low + 44, 0, "[/]"))
            scene.label(self.title(guard, 150, 2), 96, low + 44, share=self.shares.get(guard.id))
            bottom += 40.0
            scene.frames[-1] = Frame("shell", "", Box(12, y, WIDTH - 12, bottom))
        return bottom

    def ground(self, y: float) -> float:
        """Draw the shell's node, and the ground wire below it where there is one."""
        scene, x = self.scene, 288.0
        label = Text(x, y - 18, self.translate(Message("shell")), "node", "middle", 15, True)
        scene.node("shell", x, y, label)
        wire = self.machine.has(Role.GROUND)
        if wire is None:
            return y + RING
        del self.left[wire.id]
        (element,) = _elements(wire)
        low = y + 84.0
        scene.element(element, (x, y), (x, low))
        (far,) = set(element.ends) - {"shell"}
        scene.node(far, x, low)
        scene.label(self.title(wire, 220, 1), x - 22, (y + low) / 2, "end", self.shares.get(wire.id))
        return low


def lay_out_rows(
    scene: Scene, machine: Machine, shares: Mapping[str, str], top: float, translate: Callable[[str], str]
) -> tuple[str, float]:
    """
    Draw a machine row by row from a height down.

    Returns the notes to be written below, and the height at which they begin. Raises `DataError` if a part of
    the machine has no place in the rows of its frame.
    """
    drawing = _Rows(scene, machine, shares, translate)
    y = top + 24
    drawing.nodes(drawing.rows[0], y)
    for upper in range(len(drawing.rows) - 1):
        y = drawing.unit(upper, y)
    y = drawing.ground(drawing.windings(y))
    if drawing.left:
        names = ", ".join(drawing.left)
        raise DataError(f"{machine.arrangement.id}: no place in the drawing for {names}")
    return translate(_NOTES), y + 10
