"""
What a drawing is made of: texts, symbols, wires, nodes and outlines, each with the room it takes.

Lengths in user units of the drawing, 360 wide; at 360 pixels one unit is one pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache

from humclick.sourced import read_data

__all__ = [
    "FONT",
    "LINE",
    "LONG",
    "RING",
    "WIDE",
    "WIDTH",
    "Box",
    "DrawnElement",
    "Frame",
    "Node",
    "Scene",
    "Symbol",
    "Text",
    "Wire",
    "advance",
    "fit_label",
    "wrap",
]

WIDTH = 360.0  #: Width of every drawing.
FONT = 14.5  #: Size of the smallest text.
LINE = 17.0  #: Distance between lines of text.
RING = 13.0  #: Half the width of a probe mark, kept free round every node.
LONG, WIDE = 44.0, 30.0  #: Length of a symbol along its wire, and width across.


@cache
def _advances() -> tuple[dict[str, float], float, float]:
    table = read_data("humclick.circuit", "symbols.toml")["advance"]
    letters = {c: float(row["value"]) for row in table["classes"] for c in str(row["chars"])}
    return letters, float(table["widest"]["value"]), float(table["bold"]["value"])


def advance(text: str, size: float = FONT, bold: bool = False) -> float:
    """Width to reserve for a line of text, never less than it takes."""
    letters, widest, heavier = _advances()
    wide = sum(letters.get(c, widest) for c in text) * size
    return wide * heavier if bold else wide


def wrap(text: str, width: float, size: float = FONT, bold: bool = False, most: int = 4) -> list[str]:
    """Break text into at most `most` lines of a width; longer text ends in an ellipsis."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and advance(longer, size, bold) <= width:
            lines[-1] = longer
            continue
        lines.append("")
        for letter in word:
            if lines[-1] and advance(lines[-1] + letter, size, bold) > width:
                lines.append("")
            lines[-1] += letter
    if len(lines) > most:
        lines = lines[:most]
        while lines[-1] and advance(lines[-1] + "…", size, bold) > width:
            lines[-1] = lines[-1][:-1]
        lines[-1] += "…"
    return lines


def fit_label(text: str, width: float, most: int = 4, least: float = 11.5) -> tuple[list[str], float]:
    """
    Lines of a label and their size: smaller only where a word, or the whole, would not fit otherwise.

    Parameters
    ----------
    width : float
        Room for it. [units of the drawing]
    most : int
        Lines at most. [-]
    least : float
        Smallest size of letters. [units of the drawing]

    Returns
    -------
    lines : list of str
        What to write under each other.
    size : float
        Of the letters. [units of the drawing]
    """
    size = FONT
    while size > least:
        longest = max((advance(word, size) for word in text.split()), default=0.0)
        if longest <= width and len(wrap(text, width, size, most=99)) <= most:
            break
        size -= 0.5
    return wrap(text, width, size, most=most), size


@dataclass(frozen=True, slots=True)
class DrawnElement:
    """One element to draw: which part, what it is called, the nodes it joins, its shape and its token."""

    part: str
    title: str
    ends: tuple[str, str]
    symbol: str
    token: str
    first: bool


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle, top smaller than bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: Box) -> bool:
        """Whether the other lies wholly inside."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text; `anchor` is start, middle or end; `role` says what it is."""

    x: float
    y: float
    text: str
    role: str
    anchor: str = "start"
    size: float = FONT
    bold: bool = False

    @property
    def box(self) -> Box:
        """Room the line takes in the widest usual face."""
        wide = advance(self.text, self.size, self.bold)
        left = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return Box(left, self.y - 0.78 * self.size, left + wide, self.y + 0.22 * self.size)


@dataclass(frozen=True, slots=True)
class Symbol:
    """A part's element: its shape lies along `angle`. [°]"""

    kind: str
    part: str
    x: float
    y: float
    angle: float = 0.0
    token: str = ""

    @property
    def box(self) -> Box:
        """Room the symbol takes."""
        turn = math.radians(self.angle)
        across = abs(LONG * math.cos(turn)) + abs(WIDE * math.sin(turn))
        down = abs(LONG * math.sin(turn)) + abs(WIDE * math.cos(turn))
        return Box(self.x - across / 2, self.y - down / 2, self.x + across / 2, self.y + down / 2)


@dataclass(frozen=True, slots=True)
class Wire:
    """A plain wire through points."""

    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Node:
    """A node of the machine, where a probe can be put."""

    name: str
    x: float
    y: float

    @property
    def box(self) -> Box:
        """Room kept for a probe mark."""
        return Box(self.x - RING, self.y - RING, self.x + RING, self.y + RING)


@dataclass(frozen=True, slots=True)
class Frame:
    """An outline that may hold text and be crossed by wires: outlet, cord, plug strip, shell, caution."""

    kind: str
    part: str
    box: Box


@dataclass(slots=True)
class Scene:
    """A laid-out drawing."""

    texts: list[Text] = field(default_factory=list)
    symbols: list[Symbol] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    nodes: dict[str, Node] = field(default_factory=dict)
    frames: list[Frame] = field(default_factory=list)
    dots: list[tuple[float, float]] = field(default_factory=list)
    height: float = 0.0

    def node(self, name: str, x: float, y: float, label: Text | None = None) -> None:
        """Put a node and its letter, by default to its right."""
        self.nodes[name] = Node(name, x, y)
        self.texts.append(label or Text(x + RING + 3, y + 5, name, "node", size=15, bold=True))

    def wire(self, *points: tuple[float, float]) -> None:
        """Draw a wire through points."""
        self.wires.append(Wire(points))

    def element(self, drawn: DrawnElement, start: tuple[float, float], end: tuple[float, float]) -> Symbol:
        """Draw an element half-way between two points, wired to both."""
        (x1, y1), (x2, y2) = start, end
        length = math.hypot(x2 - x1, y2 - y1)
        mid = ((x1 + x2) / 2, (y1 + y2) / 2)
        reach = LONG / 2 / length
        dx, dy = (x2 - x1) * reach, (y2 - y1) * reach
        self.wire(start, (mid[0] - dx, mid[1] - dy))
        self.wire((mid[0] + dx, mid[1] + dy), end)
        angle = math.degrees(math.atan2(y2 - y1, x2 - x1))
        symbol = Symbol(drawn.symbol, drawn.part, *mid, round(angle, 3), drawn.token)
        self.symbols.append(symbol)
        return symbol

    def label(
        self,
        label: tuple[list[str], float],
        x: float,
        y: float,
        anchor: str = "start",
        share: str | None = None,
    ) -> None:
        """Write the lines of `fit_label` about the height `y`, with the share below in bold."""
        lines, size = label
        count = len(lines) + (share is not None)
        base = y - count * LINE / 2 + 12
        for i, line in enumerate(lines):
            self.texts.append(Text(x, base + i * LINE, line, "label", anchor, size))
        if share is not None:
            self.texts.append(Text(x, base + len(lines) * LINE, share, "share", anchor, bold=True))
