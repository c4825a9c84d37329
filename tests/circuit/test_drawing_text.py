"""A scene in characters: strokes that join, words over them, nothing a terminal could act on."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.circuit.drawing_text import COLUMNS, Canvas, text_sheet, without_controls
from humclick.circuit.layout import lay_out
from humclick.circuit.scene import Text
from tests.visit import MACHINES, machine_of


def drawn(*strokes: tuple[int, int, int, int]) -> list[str]:
    canvas = Canvas()
    for stroke in strokes:
        canvas.stroke(*stroke)
    return canvas.lines()


def test_strokes_join_where_they_meet() -> None:
    """Corners, tees and a cross, whichever way each was drawn."""
    assert drawn((0, 1, 4, 1), (2, 2, 2, 0)) == ["  │", "──┼──", "  │"]
    assert drawn((2, 0, 0, 0), (0, 2, 0, 0), (2, 2, 2, 0), (0, 2, 2, 2)) == ["┌─┐", "│ │", "└─┘"]
    assert drawn((0, 0, 4, 0), (2, 0, 2, 1)) == ["──┬──", "  │"]
    assert drawn((0, 1, 4, 1), (2, 0, 2, 1)) == ["  │", "──┴──"]
    assert drawn((1, 0, 1, 2), (1, 1, 2, 1)) == [" │", " ├─", " │"]
    assert drawn((1, 0, 1, 2), (0, 1, 1, 1)) == [" │", "─┤", " │"]
    assert drawn((0, 0, 2, 2)) == ["\\", " \\", "  \\"]
    assert drawn((0, 2, 2, 0)) == ["  /", " /", "/"]


def test_a_box_is_its_outline_and_words_stand_over_strokes() -> None:
    """What is written last is what is read."""
    canvas = Canvas()
    canvas.outline(0, 0, 5, 2)
    canvas.write(1, 0, "lid")
    assert canvas.lines() == ["┌lid─┐", "│    │", "└────┘"]


@given(text=st.text(max_size=30))
def test_nothing_reaches_the_terminal_that_it_acts_on(text: str) -> None:
    """Every character is without_controls, and those that were are as they were."""
    shown = without_controls(text)
    assert shown.isprintable()
    assert len(shown) == len(text)
    assert all(a == b or not a.isprintable() for a, b in zip(text, shown, strict=True))


@pytest.mark.parametrize(("name", "guard"), MACHINES)
def test_every_word_and_every_probed_node_of_a_scene_is_on_the_sheet(name: str, guard: str) -> None:
    """In at most 78 columns, with ``(1)`` and ``[2]`` at the two nodes probed and nowhere else."""
    scene = lay_out(machine_of(name, guard))
    probe = tuple(scene.nodes)[:2]
    text = text_sheet(scene, probe)
    assert max(map(len, text.splitlines())) <= COLUMNS
    assert text.count("(1)") == text.count("[2]") == 1
    assert text_sheet(scene, ()).count("(1)") == 0
    for symbol in scene.symbols:
        assert symbol.token in text
    words = [t.text for t in scene.texts if isinstance(t, Text) and len(t.text) > 3]
    missing = [word for word in words if word not in text]
    assert len(missing) <= len(words) // 10, missing
