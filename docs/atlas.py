"""
Draws the atlas, one picture a probe, and writes its page: ``python docs/atlas.py`` (some minutes).

What is said of every value is what the program says today; `tests/diagnosis/test_atlas.py` holds what must be
true of it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from html import escape
from pathlib import Path

from research.atlas import (
    COARSE,
    CONTEXTS,
    ENDS,
    MEDIUM,
    ROUGH,
    Cell,
    Place,
    machine,
    places,
    stretches,
    swept,
    values,
)

from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.probes import probes_of
from humclick.meters import Quantity
from humclick.readings import format_si, parse_reading

__all__ = ["FOLDER", "PAGE", "drawn", "one_a_probe", "page", "picture"]

FOLDER = Path(__file__).resolve().parent / "reference" / "atlas"
PAGE = FOLDER.parent / "atlas.md"
#: Left edge, width and height of a bar, and what stands below. [px]
_LEFT, _WIDTH, _ROW, _BAR, _TOP, _FOOT = 190, 560, 24, 17, 8, 40
_USUAL = "rsir-ptc"
#: A machine of less than that is drawn up to it. [V]
_LOW_VOLTS = 50.0
#: Room for nothing but zeros and for OL at the ends of the axis. [px]
_END = 26
#: Fill and letter of what is said: colour never stands alone.
_LOOKS = {
    Says.GOOD: ("#bfe3c6", "good"),
    Says.UNCLEAR: ("#fbe6a2", "?"),
    Says.BAD: ("#f2b0a1", "bad"),
    Says.UNKNOWN: ("#cfc6e6", "again"),
}
_WORDS = {
    Says.GOOD: "good",
    Says.UNCLEAR: "cannot tell",
    Says.BAD: "not healthy",
    Says.UNKNOWN: "no known condition",
}
_INK, _SOFT = "#1c2733", "#5b6875"
#: What stands above this line of the page is written by hand.
_MARK = "<!-- Below this line the page is written by docs/atlas.py. -->\n"


def one_a_probe() -> list[Place]:
    """One place for each probe: the first arrangement that has it, the most usual one where it does."""
    same = ("pins.1-3", "pins.2-3")
    first: dict[str, Place] = {}
    for place in sorted(places(), key=lambda place: place.arrangement != _USUAL):
        first.setdefault(place.probe, place)
    return [place for probe, place in first.items() if probe not in same]


def drawn(place: Place) -> dict[str, list[Cell]]:
    """What is said of a probe over its axis, by context."""
    figures = ROUGH if place.probe == "pins.1-2" else COARSE if "pins." in place.probe else MEDIUM
    return {name: swept(place, c, values(place, c, figures)) for name, c in CONTEXTS.items()}


def picture(place: Place, rows: dict[str, list[Cell]]) -> str:
    """The picture of one probe, as SVG."""
    quantity = _quantity(place)
    high = ENDS[quantity][1]
    if quantity is Quantity.VOLTAGE and _nominal(place) < _LOW_VOLTS:
        high = _LOW_VOLTS
    height = _TOP + _ROW * len(rows) + _FOOT
    title = probes_of(machine(place.arrangement, place.protector, plate=True))[place.probe].title
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_LEFT + _WIDTH + 12} {height}" role="img"'
        f' font-family="sans-serif" font-size="12"><title>{escape(str(title))}</title>',
        '<rect width="100%" height="100%" fill="#fff"/>',
    ]
    for k, (name, cells) in enumerate(rows.items()):
        y = _TOP + k * _ROW
        parts.append(
            f'<text x="{_LEFT - 8}" y="{y + 13}" text-anchor="end" fill="{_INK}">{_TITLES[name]}</text>'
        )
        parts += _bar(cells, quantity, high, y)
    parts += list(_ticks(quantity, high, _TOP + _ROW * len(rows)))
    return "".join((*parts, "</svg>\n"))


_TITLES = {
    "healthy": "nothing found yet",
    "fresh": "nothing known",
    "tried": "just hummed and clicked",
    "warm": "part is warm",
    "grounded": "winding grounded",
    "pocket": "pocket meter",
}


def _nominal(place: Place) -> float:
    return machine(place.arrangement, place.protector, plate=True).nameplate.volts


def _quantity(place: Place) -> Quantity:
    return Quantity(probes_of(machine(place.arrangement, place.protector, plate=True))[place.probe].quantity)


def _place(value: float, quantity: Quantity, high: float) -> float:
    """Where a value stands on an axis up to `high`: volts evenly, all else by decades. [SI], [px]"""
    low = ENDS[quantity][0]
    inner = _WIDTH - 2 * _END
    share = value / high
    if quantity is not Quantity.VOLTAGE:
        share = math.log(max(value, low) / low) / math.log(high / low)
    return _LEFT + _END + inner * min(max(share, 0.0), 1.0)


def _edges(cells: Sequence[Cell], quantity: Quantity, high: float) -> list[float]:
    """Where each value's stretch of the axis begins, and where the last ends. [px]"""
    shown = [parse_reading(cell.text, quantity) for cell in cells]
    at = []
    for reading in shown:
        if reading.value is None:
            at.append(_LEFT + _WIDTH - _END / 2)
        elif reading.below_resolution:
            at.append(_LEFT + _END / 2)
        else:
            at.append(_place(reading.value, quantity, high))
    return [_LEFT, *(0.5 * (a + b) for a, b in itertools.pairwise(at)), _LEFT + _WIDTH]


def _bar(cells: Sequence[Cell], quantity: Quantity, high: float, y: int) -> Iterator[str]:
    edges, k = _edges(cells, quantity, high), 0
    for says, row in stretches(cells):
        left, right = edges[k], edges[k + len(row)]
        fill, word = _LOOKS[says]
        yield (
            f'<rect x="{left:.1f}" y="{y}" width="{right - left:.1f}" height="{_BAR}" fill="{fill}"'
            f' stroke="{_INK}" stroke-width=".6"/>'
        )
        if right - left > 7 * len(word):
            yield (
                f'<text x="{(left + right) / 2:.1f}" y="{y + 12.5}" text-anchor="middle" font-size="11"'
                f' fill="{_INK}">{word}</text>'
            )
        k += len(row)


def _ticks(quantity: Quantity, high: float, y: int) -> Iterator[str]:
    low = ENDS[quantity][0]
    step = high / 5.0 if quantity is Quantity.VOLTAGE else 0.0
    marks = [step * k for k in range(1, int(high / step) + 1)] if step else []
    if not step:
        first = math.ceil(math.log10(low) - 1e-9)
        last = math.floor(math.log10(high) + 1e-9)
        marks = [10.0**power for power in range(first, last + 1)]
    for mark in marks:
        x = _place(mark, quantity, high)
        text = (
            f"{mark * 1e3:g} mΩ"
            if quantity is Quantity.RESISTANCE and mark < 1
            else format_si(mark, quantity, 1)
        )
        yield f'<path d="M{x:.1f} {_TOP}V{y + 3}" stroke="{_SOFT}" stroke-width=".4"/>'
        yield (
            f'<text x="{x:.1f}" y="{y + 15}" text-anchor="middle" font-size="9.5" fill="{_SOFT}">{text}'
            "</text>"
        )
    ends = [(_LEFT + _END / 2, "0")]
    if quantity in (Quantity.RESISTANCE, Quantity.CAPACITANCE):
        ends.append((_LEFT + _WIDTH - _END / 2, "OL"))
    for x, text in ends:
        yield (
            f'<text x="{x:.1f}" y="{y + 29}" text-anchor="middle" font-size="10" fill="{_INK}">{text}</text>'
        )


def page(every: Sequence[tuple[Place, dict[str, list[Cell]]]]) -> str:
    """The page that shows them all."""
    written = PAGE.read_text(encoding="utf-8").partition(_MARK)[0]
    pieces = [written, _MARK, "\n| Context | The call as it stands |\n|---|---|\n"]
    pieces += [f"| {_TITLES[name]} | {context.title} |\n" for name, context in CONTEXTS.items()]
    for place, rows in every:
        title = probes_of(machine(place.arrangement, place.protector, plate=True))[place.probe].title
        name = place.probe.replace(".", "-")
        pieces.append(f"\n## `{place.probe}`\n\n{title}, on `{place.arrangement}`.\n\n")
        pieces.append(f"![What is said of every value of {place.probe}](atlas/{name}.svg)\n\n")
        pieces.append("| Shown | Says | In words | Next |\n|---|---|---|---|\n")
        for says, row in stretches(rows["healthy"]):
            middle = row[len(row) // 2]
            advice = swept(place, CONTEXTS["healthy"], (middle.text,), advised=True)[0].advice
            assert advice is not None
            following = f"`{advice.next.probe}`" if advice.next is not None else advice.kind
            span = row[0].text if len(row) == 1 else f"{row[0].text} to {row[-1].text}"
            pieces.append(f"| {span} | {_WORDS[says]} | {middle.finding.text} | {following} |\n")
    return "".join(pieces)


def main() -> None:
    """Draw and write all of it."""
    FOLDER.mkdir(exist_ok=True)
    every = []
    for place in one_a_probe():
        rows = drawn(place)
        every.append((place, rows))
        (FOLDER / f"{place.probe.replace('.', '-')}.svg").write_text(picture(place, rows), encoding="utf-8")
    PAGE.write_text(page(every), encoding="utf-8")


if __name__ == "__main__":
    main()
