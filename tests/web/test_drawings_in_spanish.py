"""The wiring keeps its labels apart in the longer language too."""

from __future__ import annotations

from itertools import combinations

import pytest

from humclick.arrangements.machine import Machine
from humclick.circuit.layout import lay_out
from humclick.circuit.scene import Box
from humclick.web.language import language
from tests.circuit.test_drawing import all_suspect, every_machine, solid


@every_machine
@pytest.mark.parametrize("suspected", [False, True])
def test_spanish_labels_touch_nothing_and_are_whole(name: str, protector: str, suspected: bool) -> None:
    """Texts, symbols and probe marks keep clear of each other in Spanish, and no label is cut."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine, all_suspect(machine) if suspected else None, language("es").plain)
    page = Box(0, 0, 360, scene.height)
    things = solid(scene)
    assert [what for what, box in things if not page.holds(box)] == []
    assert [(a, b) for (a, p), (b, q) in combinations(things, 2) if p.meets(q)] == []
    assert [text.text for text in scene.texts if "…" in text.text] == []
