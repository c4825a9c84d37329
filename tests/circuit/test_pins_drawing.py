"""Pins as the eye meets them, both ways up, and the relay both ways up."""

from __future__ import annotations

import re
from itertools import permutations
from xml.etree import ElementTree

import pytest

from humclick.circuit.pins_drawing import LAYOUTS, pin_names, pins_svg, pins_text, relay_svg
from humclick.circuit.scene import advance
from humclick.errors import Refused, Unknown

SVG = "{http://www.w3.org/2000/svg}"


def seen(svg: str) -> dict[str, tuple[float, float]]:
    """Where each pin's name stands."""
    found = [e for e in ElementTree.fromstring(svg).iter(f"{SVG}text") if e.get("font-size") == "34"]
    return {e.text or "": (float(e.attrib["x"]), float(e.attrib["y"]) - 12) for e in found}


def read(text: str) -> list[str]:
    """Names of pins in a text drawing, left to right and top to bottom."""
    return re.findall(r"[(<]([CRS123])[)>]", text.split("looking")[0])


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("labels", [*permutations("CRS"), (None, None, None), ("C", None, None)])
def test_names_stand_in_reading_order_and_turn_with_their_pins(
    layout: str, labels: tuple[str | None, str | None, str | None]
) -> None:
    """The right way up names read in order; upside down every pin is at the opposite place, same name."""
    names = list(pin_names(labels))
    assert read(pins_text(layout, labels)) == names
    assert read(pins_text(layout, labels, upside_down=True)) == names[::-1]
    upright, turned = seen(pins_svg(layout, labels)), seen(pins_svg(layout, labels, upside_down=True))
    assert list(upright) == names
    for name, (x, y) in upright.items():
        assert turned[name] == (400 - x, 300 - y)
    by_place = sorted(upright, key=lambda n: (upright[n][1], upright[n][0]))
    assert by_place == names


def test_unknown_pins_are_numbered_and_look_different() -> None:
    """A pin without a letter shows its number, in a broken outline."""
    assert pin_names((None, "R", "")) == ("1", "R", "3")
    root = ElementTree.fromstring(pins_svg("row", (None, "R", None)))
    assert sum("stroke-dasharray" in e.attrib for e in root.iter(f"{SVG}circle")) == 2
    assert "<1>" in pins_text("row", (None, "R", None))


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("upside_down", [False, True])
@pytest.mark.parametrize("pair", list(permutations("123", 2)))
def test_two_pins_to_probe_are_marked_by_number_and_shape(
    layout: str, upside_down: bool, pair: tuple[str, str]
) -> None:
    """Probe 1 has a ring and probe 2 a square round the right pin, clear of the other pins."""
    svg = pins_svg(layout, upside_down=upside_down, probe=pair)
    places = seen(svg)
    root = ElementTree.fromstring(svg)
    ring = next(e for e in root.iter() if e.get("stroke") == "#0072b2")
    square = next(e for e in root.iter() if e.get("stroke") == "#a63d00")
    assert (float(ring.attrib["cx"]), float(ring.attrib["cy"])) == places[pair[0]]
    assert (float(square.attrib["x"]) + 36, float(square.attrib["y"]) + 36) == places[pair[1]]
    tags = [e for e in root.iter(f"{SVG}text") if (e.text or "").startswith("probe")]
    assert [e.text for e in tags] == (
        ["probe 1", "probe 2"] if _first(places, pair) else ["probe 2", "probe 1"]
    )
    for e in tags:
        x, y, wide = float(e.attrib["x"]), float(e.attrib["y"]), advance(e.text or "", 15, True)
        left = x if "text-anchor" not in e.attrib else x - wide / 2
        assert left > 56
        assert left + wide < 344
        for px, py in places.values():
            assert left >= px + 30 or left + wide <= px - 30 or y - 12 >= py + 30 or y + 4 <= py - 30
    text = pins_text(layout, upside_down=upside_down, probe=pair)
    assert f"probe ^1 on pin {pair[0]}, probe ^2 on pin {pair[1]}" in text
    assert text.count("^1") == text.count("^2") == 2


def _first(places: dict[str, tuple[float, float]], pair: tuple[str, str]) -> bool:
    order = list(places)
    return order.index(pair[0]) < order.index(pair[1])


def test_the_arrow_tells_which_way_is_up() -> None:
    """The mark for up stands above the right way up and below upside down, and the words agree."""
    assert pins_text("row").splitlines()[0].strip() == "^ up"
    turned = pins_text("row", upside_down=True)
    assert "v up\n  looking at the pins, compressor upside down" in turned
    assert pins_svg("row") != pins_svg("row", upside_down=True)


@pytest.mark.parametrize("labels", [("C", "C", "R"), ("C", "R"), ("C", "R", "X")])
def test_labels_that_cannot_be_are_refused(labels: tuple[str, ...]) -> None:
    """Three labels, each of C, R and S at most once: anything else is refused."""
    with pytest.raises(Refused, match="each C, R or S once"):
        pins_text("row", labels)


def test_unknown_layouts_and_pins_are_refused() -> None:
    """A layout or pin that is not there is refused by name, and so is one pin probed twice."""
    with pytest.raises(Unknown, match="pin layout 'ring'"):
        pins_svg("ring")
    with pytest.raises(Unknown, match="unknown pin 'C'"):
        pins_text("row", probe=("C", "1"))
    with pytest.raises(Refused, match="different pins"):
        pins_svg("row", probe=("1", "1"))


@pytest.mark.parametrize("dark", [False, True])
def test_drawings_parse_and_describe_themselves(dark: bool) -> None:
    """Pins and relay are images with a title and a description, with no style, script or link."""
    drawings = [pins_svg(layout, dark=dark) for layout in LAYOUTS]
    drawings += [relay_svg(turned, dark) for turned in (False, True)]
    for svg in drawings:
        root = ElementTree.fromstring(svg)
        assert root.attrib["role"] == "img"
        assert root.findtext(f"{SVG}title")
        assert root.findtext(f"{SVG}desc")
        assert not {a for e in root.iter() for a in e.attrib if a in ("style", "class") or "href" in a}
        for e in root.iter(f"{SVG}text"):
            wide = advance(e.text or "", float(e.attrib["font-size"]), e.get("font-weight") == "bold")
            assert float(e.attrib["font-size"]) >= 13
            x = float(e.attrib["x"])
            left = x - {"middle": wide / 2, "end": wide}.get(e.get("text-anchor", ""), 0.0)
            assert left >= 0
            assert left + wide <= 360
