"""
The icons as PNG, for the home screens that take no SVG: drawn from our own two SVG files.

Only what those files hold is understood: rectangles, circles, and paths of straight lines and quadratic
curves, with one shift and scale. Lengths in units of the drawing, sizes in pixels.
"""

from __future__ import annotations

import io
import itertools
import math
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator, Mapping
from pathlib import Path

from PIL import Image, ImageDraw

from humclick.errors import Refused

__all__ = ["SIZES", "icons", "png_of"]

#: What phones ask for. [px]
SIZES = (192, 512)
#: Drawn so much larger, then made smaller, for smooth edges. [-]
_FINER = 4
#: Straight pieces of a curve. [-]
_PIECES = 24
_WORD = re.compile(r"[A-Za-z]|-?(?:\d*\.\d+|\d+)")
_SHIFT = re.compile(r"translate\(([\d.]+) ([\d.]+)\) scale\(([\d.]+)\)")

Point = tuple[float, float]


def icons(folder: Path) -> dict[str, bytes]:
    """PNG files of every SVG in a folder, by name: ``icons/mark-192.png``."""
    return {
        f"icons/{path.stem}-{size}.png": png_of(path.read_text("utf-8"), size)
        for path in sorted(folder.glob("*.svg"))
        for size in SIZES
    }


def png_of(svg: str, size: int) -> bytes:
    """
    A square PNG of one of our drawings.

    Parameters
    ----------
    svg : str
        The drawing.
    size : int
        Side of the picture. [px]

    Raises
    ------
    Refused
        If the drawing holds what is not understood here.
    """
    root = ElementTree.fromstring(svg)
    side = float(root.get("viewBox", "0 0 64 64").split()[2])
    image = Image.new("RGB", (size * _FINER, size * _FINER), "#ffffff")
    _draw(ImageDraw.Draw(image), root, size * _FINER / side, (0.0, 0.0), 1.0, {})
    buffer = io.BytesIO()
    image.resize((size, size), Image.Resampling.LANCZOS).quantize(64).save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


def _draw(
    on: ImageDraw.ImageDraw,
    parent: ElementTree.Element,
    pixels: float,
    shift: Point,
    scale: float,
    inherited: Mapping[str, str],
) -> None:
    for each in parent:
        name, look = each.tag.rpartition("}")[2], {**inherited, **each.attrib}
        k = pixels * scale
        width = float(look.get("stroke-width", 0)) * k
        if name == "g":
            found = _SHIFT.fullmatch(each.get("transform", "translate(0 0) scale(1)"))
            if found is None:
                raise Refused(f"{each.get('transform')}: a shift and a scale are understood")
            dx, dy, by = map(float, found.groups())
            _draw(on, each, pixels, (shift[0] + dx, shift[1] + dy), scale * by, look)
        elif name == "rect":
            x, y, w, h = (float(look.get(key, 0)) for key in ("x", "y", "width", "height"))
            corners = [
                (pixels * shift[0] + k * a, pixels * shift[1] + k * b) for a, b in ((x, y), (x + w, y + h))
            ]
            if look.get("fill", "none") != "none":
                on.rectangle(corners, fill=look["fill"])
            if "stroke" in look:
                loop = _box(corners[0], corners[1])
                _stroke(on, loop, width, look["stroke"], square=True)
        elif name == "circle":
            x, y = pixels * shift[0] + k * float(look["cx"]), pixels * shift[1] + k * float(look["cy"])
            outer = k * float(look["r"]) + width / 2
            _disc(on, (x, y), outer, look.get("stroke", look.get("fill", "#000000")))
            _disc(on, (x, y), outer - width, look.get("fill", "#000000"))
        elif name == "path":
            points = [(pixels * shift[0] + k * a, pixels * shift[1] + k * b) for a, b in _points(look["d"])]
            _stroke(on, points, width, look.get("stroke", "#000000"))
        else:
            raise Refused(f"<{name}> is not understood in an icon")


def _box(first: Point, last: Point) -> list[Point]:
    (left, top), (right, bottom) = first, last
    return [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]


def _disc(on: ImageDraw.ImageDraw, middle: Point, radius: float, colour: str) -> None:
    (x, y) = middle
    on.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)


def _stroke(
    on: ImageDraw.ImageDraw, points: list[Point], width: float, colour: str, square: bool = False
) -> None:
    """A line through points with round, or square, ends and corners."""
    for (ax, ay), (bx, by) in itertools.pairwise(points):
        length = math.hypot(bx - ax, by - ay) or 1.0
        nx, ny = (by - ay) / length * width / 2, (ax - bx) / length * width / 2
        on.polygon(
            [(ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny)], fill=colour
        )
    for x, y in points:
        half = width / 2
        if square:
            on.rectangle((x - half, y - half, x + half, y + half), fill=colour)
        else:
            _disc(on, (x, y), half, colour)


def _points(path: str) -> Iterator[Point]:
    """The points of a path of M, L, h, q and t."""
    words = iter(_WORD.findall(path))
    command, at, control = "", (0.0, 0.0), (0.0, 0.0)
    for word in words:
        if word.isalpha():
            command, word = word, next(words)
        first = float(word)
        start = at
        if command in ("M", "L"):
            at = control = (first, float(next(words)))
            yield at
        elif command == "h":
            at = control = (at[0] + first, at[1])
            yield at
        elif command in ("q", "t"):
            if command == "q":
                control = (start[0] + first, start[1] + float(next(words)))
                end = (start[0] + float(next(words)), start[1] + float(next(words)))
            else:  # as before, mirrored at the point between
                control = (2 * start[0] - control[0], 2 * start[1] - control[1])
                end = (start[0] + first, start[1] + float(next(words)))
            for step in range(1, _PIECES + 1):
                t = step / _PIECES
                a, b, c = (1 - t) ** 2, 2 * t * (1 - t), t * t
                yield (
                    a * start[0] + b * control[0] + c * end[0],
                    a * start[1] + b * control[1] + c * end[1],
                )
            at = end
        else:
            raise Refused(f"{command!r} is not understood in the path of an icon")
