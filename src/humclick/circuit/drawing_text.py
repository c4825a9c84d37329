"""
A laid-out scene as plain text: box-drawing characters, at most 78 columns.

Node 1 to probe is written ``(1)``, node 2 ``[2]``, any other node ``o``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from humclick.circuit.scene import LINE, WIDTH, Frame, Scene, Text

__all__ = ["COLUMNS", "Canvas", "text_sheet"]

COLUMNS = 78

_UP, _RIGHT, _DOWN, _LEFT = 1, 2, 4, 8
_STROKES = {
    _UP: "│", _DOWN: "│", _UP | _DOWN: "│", _LEFT: "─", _RIGHT: "─", _LEFT | _RIGHT: "─",
    _DOWN | _RIGHT: "┌", _DOWN | _LEFT: "┐", _UP | _RIGHT: "└", _UP | _LEFT: "┘",
    _UP | _DOWN | _RIGHT: "├", _UP | _DOWN | _LEFT: "┤", _DOWN | _LEFT | _RIGHT: "┬",
    _UP | _LEFT | _RIGHT: "┴", _UP | _DOWN | _LEFT | _RIGHT: "┼",
}  # fmt: skip


class Canvas:
    """Character cells: strokes joined where they meet, and words over them."""

    def __init__(self) -> None:
        self._strokes: dict[tuple[int, int], int] = {}
        self._letters: dict[tuple[int, int], str] = {}

    def stroke(self, x1: int, y1: int, x2: int, y2: int) -> None:
        """Draw a level or upright stroke between two cells; a slanting one as a run of slashes."""
        if x1 != x2 and y1 != y2:
            slash = "\\" if (x2 - x1) * (y2 - y1) > 0 else "/"
            steps = max(abs(x2 - x1), abs(y2 - y1))
            for i in range(steps + 1):
                cell = (round(x1 + (x2 - x1) * i / steps), round(y1 + (y2 - y1) * i / steps))
                self._letters.setdefault(cell, slash)
            return
        for x in range(min(x1, x2), max(x1, x2) + 1):
            for y in range(min(y1, y2), max(y1, y2) + 1):
                bits = 0
                bits |= _LEFT if x > min(x1, x2) else 0
                bits |= _RIGHT if x < max(x1, x2) else 0
                bits |= _UP if y > min(y1, y2) else 0
                bits |= _DOWN if y < max(y1, y2) else 0
                self._strokes[x, y] = self._strokes.get((x, y), 0) | bits

    def outline(self, x1: int, y1: int, x2: int, y2: int) -> None:
        """Draw a box."""
        self.stroke(x1, y1, x2, y1)
        self.stroke(x1, y2, x2, y2)
        self.stroke(x1, y1, x1, y2)
        self.stroke(x2, y1, x2, y2)

    def write(self, x: int, y: int, text: str) -> None:
        """Write a word over whatever is there."""
        for i, letter in enumerate(text):
            self._letters[x + i, y] = letter

    def lines(self) -> list[str]:
        """The rows, without trailing blanks."""
        cells = {at: _STROKES.get(bits, " ") for at, bits in self._strokes.items()} | self._letters
        height = max(y for _, y in cells) + 1
        width = max(x for x, _ in cells) + 1
        return ["".join(cells.get((x, y), " ") for x in range(width)).rstrip() for y in range(height)]


def _column(x: float) -> int:
    return round(x / WIDTH * (COLUMNS - 2))


def _row(y: float) -> int:
    return round(y / LINE)


def without_controls(text: str) -> str:
    """Text with every character a terminal might act on replaced."""
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def _place(text: Text) -> tuple[int, int, str]:
    word = without_controls(text.text)
    shift = {"start": 0.0, "middle": len(word) / 2, "end": float(len(word))}[text.anchor]
    column = math.floor(_column(text.x) - shift + (1 if text.anchor == "end" else 0))
    return max(0, min(column, COLUMNS - len(word))), _row(text.y - 0.28 * text.size), word


def _frame(canvas: Canvas, frame: Frame) -> None:
    if frame.kind in ("shell", "outlet", "caution", "unit"):
        box = frame.box
        canvas.outline(_column(box.left), _row(box.top), _column(box.right), _row(box.bottom))


def text_sheet(scene: Scene, probe: Iterable[str]) -> str:
    """Write a scene as lines of text."""
    canvas = Canvas()
    for frame in scene.frames:
        _frame(canvas, frame)
    for wire in scene.wires:
        for (x1, y1), (x2, y2) in zip(wire.points, wire.points[1:], strict=False):
            canvas.stroke(_column(x1), _row(y1), _column(x2), _row(y2))
    for symbol in scene.symbols:
        if symbol.angle % 90 == 0 and symbol.kind != "crank":
            box = symbol.box
            upright = symbol.angle % 180 != 0
            ends = (
                (symbol.x, box.top, symbol.x, box.bottom)
                if upright
                else (box.left, symbol.y, box.right, symbol.y)
            )
            canvas.stroke(_column(ends[0]), _row(ends[1]), _column(ends[2]), _row(ends[3]))
        canvas.write(_column(symbol.x) - len(symbol.token) // 2, _row(symbol.y), symbol.token)
    for text in scene.texts:
        canvas.write(*_place(text))
    marked = tuple(probe)
    for node in scene.nodes.values():
        sign = ("(1)", "[2]")[marked.index(node.name)] if node.name in marked else "o"
        canvas.write(_column(node.x) - len(sign) // 2, _row(node.y), sign)
    return "\n".join(canvas.lines()) + "\n"
