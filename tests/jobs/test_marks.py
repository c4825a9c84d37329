"""A mark on a photograph is an event with a place, and belongs to a photograph of the call."""

from __future__ import annotations

from typing import Any

import pytest

from humclick.errors import Refused
from humclick.jobs.event_tables import event_from, new_event, table_of
from humclick.jobs.events import UNTIMED
from humclick.jobs.fold import fold

PHOTO = new_event("photo", id="p1", at=UNTIMED, sha256="a" * 64)


def test_mark_is_read_and_written_as_a_table() -> None:
    """A mark keeps its photograph, its place in per cent and its label through a table and back."""
    mark = new_event("mark", id="m1", at=UNTIMED, sha256="a" * 64, x=12.5, y=80, label="C")
    assert event_from(table_of(mark)) == mark
    call = fold((PHOTO, mark))
    assert [(each.x, each.y, each.label) for each in call.marks] == [(12.5, 80.0, "C")]
    assert call.problems == ()


@pytest.mark.parametrize(
    ("given", "words"), [({"x": 101}, "x must be"), ({"y": -1}, "y must be"), ({"label": ""}, "label")]
)
def test_mark_outside_the_picture_or_without_a_label_is_refused(given: dict[str, Any], words: str) -> None:
    """A place outside the picture, or no label, is refused with the field's name."""
    with pytest.raises(Refused, match=words):
        new_event("mark", **{"sha256": "a" * 64, "x": 1, "y": 2, "label": "C", **given})


def test_mark_on_another_calls_photo_is_named_as_a_problem() -> None:
    """A mark on a photograph the call does not have is kept and named as a problem."""
    mark = new_event("mark", id="m1", at=UNTIMED, sha256="b" * 64, x=1, y=2, label="S")
    (problem,) = fold((PHOTO, mark)).problems
    assert "no photo" in problem.text
