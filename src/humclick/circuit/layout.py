"""
Where every part, node and word of a machine's wiring goes.

The outlet stands at the upper left, the control beside it, the start gear in the middle and the sealed shell
below. Three columns run down to the pins, in the order C, S, R, so that no wire crosses another. The gear is
not drawn from a picture per arrangement: its paths are walked from the line to the start socket, and each
element is set between the places of its two nodes. An element on no such path has a row of its own below
them, with the names of the nodes it joins. Parts of the frame of every machine are asked for by their role.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from humclick.arrangements.arrangement import PINS
from humclick.arrangements.machine import Machine
from humclick.circuit.layout_rows import lay_out_rows, node_name
from humclick.circuit.scene import (
    LINE,
    RING,
    WIDTH,
    Box,
    DrawnElement,
    Frame,
    Scene,
    Symbol,
    Text,
    fit_label,
    wrap,
)
from humclick.errors import DataError, OutOfRange
from humclick.messages import Message
from humclick.parts.family import GEAR_ROLES, Role
from humclick.readings.shown import percent

__all__ = ["lay_out", "machine_nodes", "node_name"]

_C, _SIDE, _S, _R = 36.0, 78.0, 200.0, 326.0  # columns: to C, a second gear path, to S, to R
_L = 110.0  # line conductor of the cord
_PITCH = 84.0  # from node to node down a gear path
_NOTE = 13.0  # size of what the letters mean
_EDGE = 12.0  # left and right edge of the shell
_APART = (92.0, 268.0)  # middles of two parts side by side
_REACH, _ROOM = 44.0, 164.0  # from such a middle to its nodes; width of its title
_SHELL = 288.0  # where the ground wire leaves the shell


def _elements(machine: Machine, translate: Callable[[str], str]) -> list[DrawnElement]:
    elements = []
    for placed in machine.parts:
        for i, drawn in enumerate(placed.family.drawn):
            a, b = (placed.connect[t] for t in drawn.ends)
            kind: Message = placed.family.title
            if drawn.word:
                kind = Message("{part} {element}", part=kind, element=drawn.word)
            title = translate(kind)
            if placed.family.role is Role.PROTECTOR and machine.protector == "integrated":
                title = translate(Message("{part} ({where})", part=kind, where=Message("in the starter")))
            elements.append(DrawnElement(placed.id, title, (a, b), drawn.symbol, drawn.token, i == 0))
    return elements


def lay_out(
    machine: Machine, suspects: Mapping[str, float] | None = None, translate: Callable[[str], str] = str
) -> Scene:
    """
    Lay out the drawing of a machine.

    Parameters
    ----------
    suspects : mapping of part id to float, optional
        Probability that the part is at fault; written beside it. [-]
    translate : callable
        A title into what is written: another language.

    Raises
    ------
    Unknown
        If a suspect is not a part of the machine.
    OutOfRange
        If a probability is not within 0 to 1.
    DataError
        If the arrangement joins its parts in a way this layout does not know.
    """
    shares: dict[str, str] = {}
    for part, share in (suspects or {}).items():
        machine.part(part)
        if not 0 <= share <= 1:
            raise OutOfRange(
                Message(
                    "probability of {part} must lie between 0 and 1, got {share}", part=part, share=str(share)
                )
            )
        shares[part] = percent(share)
    scene = Scene()
    kind = machine.arrangement
    title = translate(kind.title)
    heading = f"{kind.abbreviation}: {title}" if kind.abbreviation else title
    y = 8.0
    for line in wrap(heading, WIDTH - 24, 14, True, most=3):
        y += 17
        scene.texts.append(Text(12, y, line, "title", size=14, bold=True))
    if kind.recognised_only:
        _star(scene, machine, shares, y + 10, translate)
    elif kind.frame.rows:
        y = _caution(scene, translate(kind.caution), y + 10) if kind.caution else y
        _notes(scene, *lay_out_rows(scene, machine, shares, y + 10, translate))
    else:
        _single_phase(scene, machine, shares, y + 10, translate)
    return scene


class _Gear:
    """The start gear and windings, sorted by the nodes they join."""

    def __init__(self, machine: Machine, translate: Callable[[str], str]) -> None:
        self._left = _elements(machine, translate)
        self.translate = translate
        self.machine = machine
        self.frame = frozenset(p.id for p in machine.parts if p.family.role not in GEAR_ROLES)
        self.wired = {frozenset(pair) for pair in machine.wires}

    def take(self, a: str, b: str, *, of_gear: bool = False) -> DrawnElement | None:
        """Remove and return the element of the frame, or else of the start gear, between two nodes."""
        for element in self._left:
            if set(element.ends) == {a, b} and (element.part not in self.frame) is of_gear:
                self._left.remove(element)
                return element
        return None

    def paths(self, start: str, end: str) -> list[list[DrawnElement]]:
        """Remove and return all paths of elements from one node to another through inner nodes."""
        paths = []
        while path := self._walk(start, end, {"l", "n", "k", "r", "s", "c", *PINS} - {start, end}):
            paths.append(path)
            for element in path:
                self._left.remove(element)
        return paths

    def _walk(self, at: str, end: str, shut: set[str]) -> list[DrawnElement] | None:
        for element in self._left:
            if at in element.ends and element.part not in self.frame:
                (there,) = set(element.ends) - {at}
                if there == end:
                    return [element]
                if there not in shut and (rest := self._walk(there, end, shut | {at})):
                    return [element, *rest]
        return None

    def put_back(self, path: list[DrawnElement]) -> None:
        """Have a path drawn otherwise."""
        self._left += path

    def rest(self) -> list[DrawnElement]:
        """Remove and return what of the start gear stands on no path."""
        loose = [element for element in self._left if element.part not in self.frame]
        self._left = [element for element in self._left if element.part in self.frame]
        return loose

    def apart(self) -> list[DrawnElement]:
        """Remove and return what is measured by itself, outside the compressor's circuit."""
        alone = {p.id for p in self.machine.parts if p.family.apart}
        loose = [element for element in self._left if element.part in alone]
        self._left = [element for element in self._left if element.part not in alone]
        return loose

    def none_left(self) -> None:
        """Refuse a machine that was not drawn whole."""
        if self._left:
            names = ", ".join(f"{e.title} between {e.ends[0]} and {e.ends[1]}" for e in self._left)
            raise DataError(f"{self.machine.arrangement.id}: no place in the drawing for {names}")


def _single_phase(
    scene: Scene, machine: Machine, shares: Mapping[str, str], top: float, translate: Callable[[str], str]
) -> None:
    gear = _Gear(machine, translate)
    y1 = _supply(scene, machine, gear, shares, top)
    guard = gear.take("n", "c")
    y2 = y1 + 36
    if guard:
        label = fit_label(guard.title, 180, most=3)
        y2 = y1 + (84 if len(label[0]) < 3 else 98)
        scene.element(guard, (_C, y1), (_C, y2))
        share = shares.get(guard.part)
        scene.label(label, _C + 20, (y1 + y2) / 2, share=share)
    elif frozenset(("n", "c")) in gear.wired:
        scene.wire((_C, y1), (_C, y2))
    y4, started = _start_gear(scene, gear, shares, y1, y2)
    coil = gear.take("s", "c", of_gear=True)
    y_sockets = y4 + 24
    if coil:
        lines, size = fit_label(coil.title, _S - _C - 8, most=2)
        y5 = y4 + 42 + (len(lines) - 1) * LINE
        scene.element(coil, (_S, y5), (_C, y5))
        scene.dots += [(_S, y5), (_C, y5)]
        for i, line in enumerate(reversed(lines)):
            scene.texts.append(Text((_S + _C) / 2, y5 - 20 - i * LINE, line, "label", "middle", size))
        y_sockets = y5 + 24
    y_sockets = _rows(scene, gear, shares, y_sockets)
    for name, x, above in (("c", _C, y2), ("s", _S, y4 if started else y_sockets - 24), ("r", _R, y4)):
        scene.wire((x, above), (x, y_sockets))
        scene.node(name, x, y_sockets)
    wiring = machine.having(Role.WIRING)
    y_pins = y_sockets + 54
    strip = Box(_C - 16, y_sockets + 15, _R + 16, y_pins - 15)
    scene.frames.append(Frame("strip", wiring.id, strip))
    lines, size = fit_label(translate(wiring.family.title), _S - _C - 22, most=1)
    scene.texts.append(Text(_C + 20, y_sockets + 32, lines[0], "label", size=size))
    if wiring.id in shares:
        scene.texts.append(
            Text((_S + _R) / 2, y_sockets + 32, shares[wiring.id], "share", "middle", bold=True)
        )
    for x in (_C, _S, _R):
        scene.wire((x, y_sockets), (x, y_pins))
    y_bottom = _inside_shell(scene, machine, gear, shares, y_pins)
    y_bottom = _apart(scene, gear, shares, y_bottom)
    gear.none_left()
    notes = Message(
        "Pins stand here as the circuit runs, not as they stand on the compressor. Small letters: wire side;"
        " capitals: outlet and pins. PE: the plug's ground pin."
    )
    _notes(scene, translate(notes), y_bottom + 10)


def _supply(scene: Scene, machine: Machine, gear: _Gear, shares: Mapping[str, str], top: float) -> float:
    supply = machine.having(Role.SUPPLY)
    ends = supply.connect
    y0 = top + 38
    y1 = y0 + 62
    scene.frames.append(Frame("outlet", supply.id, Box(12, top, 134, y0)))
    scene.frames.append(Frame("cord", supply.id, Box(_C - 12, y0 + 17, _L + 12, y1 - 17)))
    scene.texts.append(Text((_C + _L) / 2, y0 - 19, *_narrow(gear.translate(Message("outlet")), 46)))
    scene.texts.append(Text((_C + _L) / 2, (y0 + y1) / 2 + 5, *_narrow(gear.translate(Message("cord")), 64)))
    for x, outer, inner, anchor in ((_C, "from_n", "n", "start"), (_L, "from_l", "l", "end")):
        name = ends[outer]
        scene.node(name, x, y0, Text(x, y0 - 18, name, "node", "middle", 15, True))
        name = ends[inner]
        label = Text(
            x + (RING + 3) * (1 if anchor == "start" else -1), y1 + 5, name, "node", anchor, 15, True
        )
        scene.node(name, x, y1, label)
        scene.wire((x, y0), (x, y1))
    share = shares.get(supply.id)
    scene.label(fit_label(gear.translate(supply.family.title), 200, most=1), 144, top + 16, share=share)
    control = gear.take("l", "k")
    if control is None:
        raise DataError(f"{machine.arrangement.id}: nothing between the cord and the start gear")
    scene.element(control, (_L, y1), (_R, y1))
    share = shares.get(control.part)
    title = fit_label(control.title, 180, most=1)
    scene.label(title, (_L + _R) / 2, y1 - 17 - LINE / 2 * (1 + (share is not None)), "middle", share)
    scene.node("k", _R, y1)
    return y1


def _start_gear(
    scene: Scene, gear: _Gear, shares: Mapping[str, str], y1: float, y2: float
) -> tuple[float, bool]:
    """Draw what stands between the line and the start socket: where its paths meet, and whether any does."""
    wired = frozenset("kr") in gear.wired
    chain = [] if wired else next(iter(gear.paths("k", "r")), [])
    if not chain and not wired:
        raise DataError(f"{gear.machine.arrangement.id}: neither a wire nor a part joins k and r")
    below = y2 + _PITCH * len(chain)
    ways = [(y2, path) for path in sorted(gear.paths("k", "s"), key=len)]
    ways += [(below if chain else y2, path) for path in sorted(gear.paths("r", "s"), key=len)]
    while len(ways) > 2:  # two have a column, each further one rows of its own
        gear.put_back(ways.pop(min(range(len(ways)), key=lambda i: len(ways[i][1])))[1])
    y4 = max([below if chain else y2 + _PITCH, *(top + _PITCH * len(path) for top, path in ways)])
    scene.wire((_R, y1), (_R, y2))
    columns = [_SIDE, _S][-len(ways) :] if ways else []
    for top in dict.fromkeys(top for top, _ in ways):
        across = [x for x, way in zip(columns, ways, strict=True) if way[0] == top]
        scene.dots.append((_R, top))
        scene.wire((_R, top), (across[0], top))
        scene.dots += [(x, top) for x in across[1:]]
    if len(ways) > 1:
        scene.wire((columns[0], y4), (_S, y4))
        scene.dots += [(x, y4) for x in columns[1:]]
    for x, (top, path) in zip(columns, ways, strict=True):
        room = 124.0 if len(ways) == 1 else 98.0 if x == _S else 84.0
        _down(scene, path, x, (top, y4), shares, room, -1 if len(ways) == 1 else 1)
    if chain:
        _down(scene, chain, _R, (y2, below), shares, 84.0, -1)
    if below < y4:
        scene.wire((_R, below), (_R, y4))
    return y4, bool(ways)


def _down(
    scene: Scene,
    path: list[DrawnElement],
    x: float,
    between: tuple[float, float],
    shares: Mapping[str, str],
    room: float,
    side: int,
) -> None:
    """Draw a path down one column, with the nodes inside it, labels on the side where there is room."""
    top, bottom = between
    step = (bottom - top) / len(path)
    for i, element in enumerate(path):
        above, below = top + i * step, top + (i + 1) * step
        scene.element(element, (x, above), (x, below))
        share = shares.get(element.part) if element.first else None
        anchor = "end" if side < 0 else "start"
        scene.label(fit_label(element.title, room, most=3), x + side * 20, (above + below) / 2, anchor, share)
        if i + 1 < len(path):
            (name,) = set(element.ends) & set(path[i + 1].ends)
            scene.node(name, x, below)


def _rows(scene: Scene, gear: _Gear, shares: Mapping[str, str], y: float) -> float:
    """Draw what stands on no path, one row each between the columns of C and S; return the height below."""
    left, right = _SIDE, _S - (_SIDE - _C)
    for element in gear.rest():
        lines, size = fit_label(element.title, _S - _C - 16, most=2)
        share = shares.get(element.part) if element.first else None
        above = LINE * (len(lines) + (share is not None))
        y += above + 28.0
        scene.element(element, (left, y), (right, y))
        scene.label((lines, size), (left + right) / 2, y - 18 - above / 2, "middle", share)
        for name, x, side in ((element.ends[0], left, -1), (element.ends[1], right, 1)):
            there = name in scene.nodes or name in ("c", "r", "s", *PINS, "shell")
            apart = side * (6 if there else RING + 3)
            text = Text(x + apart, y + 5, name, "node", "start" if side > 0 else "end", 15, True)
            if there:
                scene.dots.append((x, y))
                scene.texts.append(text)
            else:
                scene.node(name, x, y, text)
        y += 24.0
    return y


def _apart(scene: Scene, gear: _Gear, shares: Mapping[str, str], y: float) -> float:
    """Draw what is measured by itself, two in a row below the rest; return the height below."""
    elements = gear.apart()
    for pair in (elements[i : i + 2] for i in range(0, len(elements), 2)):
        labels = [fit_label(element.title, _ROOM, most=2) for element in pair]
        above = max(
            LINE * (len(label[0]) + (element.part in shares))
            for element, label in zip(pair, labels, strict=True)
        )
        y += above + 34.0
        for element, label, middle in zip(pair, labels, _APART, strict=False):
            left, right = middle - _REACH, middle + _REACH
            scene.element(element, (left, y), (right, y))
            scene.label(label, middle, y - 18 - above / 2, "middle", shares.get(element.part))
            for name, x, side in ((element.ends[0], left, -1), (element.ends[1], right, 1)):
                anchor = "start" if side > 0 else "end"
                scene.node(name, x, y, Text(x + side * (RING + 3), y + 5, name, "node", anchor, 15, True))
        y += 20.0
    return y


def _inside_shell(scene: Scene, machine: Machine, gear: _Gear, shares: Mapping[str, str], y: float) -> float:
    rail, y_bottom = y + 150, y + 212
    scene.frames.append(Frame("shell", "", Box(_EDGE, y, WIDTH - _EDGE, y_bottom)))
    for name, x in zip(("C", "S", "R"), (_C, _S, _R), strict=True):
        _pin(scene, name, x, y, -1 if x == _R else 1)
    guard = gear.take("C", "c0")
    inner = "c0" if guard else "C"
    if guard:
        scene.element(guard, (_C, y + 16), (_C, y + 124))
        scene.wire((_C, y), (_C, y + 16))
        scene.label(fit_label(guard.title, 118, most=3), _C + 20, y + 70, share=shares.get(guard.part))
        scene.wire((_C, y + 124), (_C, rail))
        scene.node("c0", _C, rail, Text(_C + RING + 3, rail - 7, "c0", "node", size=15, bold=True))
    else:
        scene.wire((_C, y), (_C, rail))
    for pin, x, middle, side in (("S", _S, y + 62, 1), ("R", _R, y + 114, -1)):
        winding = gear.take(inner, pin)
        if winding is None:
            raise DataError(f"{machine.arrangement.id}: no winding between {inner} and {pin}")
        scene.element(winding, (x, middle - 26), (x, middle + 26))
        scene.wire((x, y), (x, middle - 26))
        scene.wire((x, middle + 26), (x, rail))
        anchor = "start" if side > 0 else "end"
        share = shares.get(winding.part)
        scene.label(
            fit_label(winding.title, 98 if side > 0 else 100, most=2), x + side * 20, middle, anchor, share
        )
    scene.wire((_C, rail), (_R, rail))
    scene.dots.append((_S, rail))
    mechanism = machine.having(Role.MECHANISM)
    scene.symbols.append(Symbol("crank", mechanism.id, 76, rail + 30, 0, "(o)"))
    scene.label(
        fit_label(gear.translate(mechanism.family.title), 130, most=1),
        104,
        rail + 30,
        share=shares.get(mechanism.id),
    )
    _shell_node(scene, _SHELL, y_bottom, gear.translate)
    ground = gear.take("shell", "PE")
    if ground is None:
        raise DataError(f"{machine.arrangement.id}: nothing between the shell and the plug's ground pin")
    y_plug = y_bottom + _PITCH
    scene.element(ground, (_SHELL, y_bottom), (_SHELL, y_plug))
    scene.node("PE", _SHELL, y_plug, Text(_SHELL + RING + 4, y_plug + 5, "PE", "node", size=15, bold=True))
    title = fit_label(ground.title, 220, most=1)
    scene.label(title, _SHELL - 22, (y_bottom + y_plug) / 2, "end", shares.get(ground.part))
    return y_plug


def _caution(scene: Scene, text: str, top: float) -> float:
    """Write what is to be known before all; return the height below."""
    lines = wrap(text, 288, most=12)
    bottom = top + len(lines) * LINE + 14
    scene.frames.append(Frame("caution", "", Box(8, top, WIDTH - 8, bottom)))
    for i, line in enumerate(lines):
        scene.texts.append(Text(56, top + 18 + i * LINE, line, "caution"))
    return bottom


def _star(
    scene: Scene, machine: Machine, shares: Mapping[str, str], top: float, translate: Callable[[str], str]
) -> None:
    y = _caution(scene, translate(machine.arrangement.caution), top) + 30
    middle = (WIDTH / 2, y + 130.0)
    low = middle[1] + 78
    places = dict(zip(PINS, ((middle[0], y), (45.0, low), (WIDTH - 45, low)), strict=True))
    scene.frames.append(Frame("shell", "", Box(45, y, WIDTH - 45, low + 70)))
    elements = _elements(machine, translate)
    hubs = set.intersection(*(set(e.ends) for e in elements))
    if len(elements) != 3 or len(hubs) != 1:
        raise DataError(f"{machine.arrangement.id}: drawn as three windings in star, and is not that")
    (hub,) = hubs
    for element in elements:
        (pin,) = set(element.ends) - hubs
        scene.element(element, places[pin], middle)
        _pin(scene, pin, *places[pin], -1 if pin == "S" else 1)
    label = Text(middle[0] + 8, middle[1] - 17, translate(node_name(hub)), "node", size=15, bold=True)
    scene.node(hub, *middle, label)
    part = elements[0]
    scene.label(
        fit_label(part.title, 170, most=2), middle[0], middle[1] + 90, "middle", shares.get(part.part)
    )
    _shell_node(scene, 230, low + 70, translate)
    notes = Message("Pins stand here as the circuit runs, not as they stand on the compressor.")
    _notes(scene, translate(notes), low + 80)


def _narrow(text: str, width: float) -> tuple[str, str, str, float]:
    """Text, role, anchor and size of a word inside an outline."""
    lines, size = fit_label(text, width, most=1)
    return lines[0], "note", "middle", size


def _pin(scene: Scene, name: str, x: float, y: float, side: int) -> None:
    anchor = "start" if side > 0 else "end"
    scene.node(name, x, y, Text(x + side * 7, y + 29, name, "node", anchor, 18, True))


def _shell_node(scene: Scene, x: float, y: float, translate: Callable[[str], str]) -> None:
    scene.node("shell", x, y, Text(x, y - 18, translate(Message("shell")), "node", "middle", 15, True))


def _notes(scene: Scene, text: str, top: float) -> None:
    y = top
    for line in wrap(text, WIDTH - 16, _NOTE, most=5):
        y += LINE
        scene.texts.append(Text(12, y, line, "note", size=_NOTE))
    scene.height = y + 10


def machine_nodes(machine: Machine) -> set[str]:
    """Every node of a machine: those its parts and wires join, and the shell."""
    nodes = {node for placed in machine.parts for node in placed.connect.values()}
    return nodes | {node for pair in machine.wires for node in pair} | {"shell"}
