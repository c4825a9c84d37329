"""A data file that is wrong says which file, which field, and what would be right."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pytest

from humclick.errors import DataError, Refused
from humclick.typed_data import brief, named_values, typed_value


class Words(str):
    """A text of a type of its own."""

    @classmethod
    def of(cls, text: str) -> Words:
        """Made of a text."""
        return cls(text)


NOTHING = Words("")


@dataclass(frozen=True, slots=True)
class Row:
    """A row of an invented file."""

    name: str
    minutes: float
    words: Words = NOTHING
    points: tuple[str, str] | None = None


def test_a_right_table_becomes_a_value() -> None:
    """Whole numbers are numbers, lists are tuples, and a type with `of` makes its own."""
    row = typed_value({"name": "a", "minutes": 3, "words": "hold", "points": ["C", "R"]}, Row, "one.toml")
    assert row == Row("a", 3.0, Words("hold"), ("C", "R"))
    assert isinstance(row.words, Words)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"name": "a"}, "one.toml: minutes is missing"),
        ({"name": "a", "minutes": "3"}, "one.toml: minutes must be a number, got '3'"),
        ({"name": "a", "minutes": True}, "one.toml: minutes must be a number, got True"),
        ({"name": "a", "minute": 3}, "one.toml: there is no field 'minute'; did you mean minutes?"),
        ({"name": "a", "minutes": 3, "points": ["C"]}, "one.toml: points"),
        (
            {"name": "a", "minutes": 3, "points": ["C", 4]},
            "one.toml: points, row 2 must be text in quotes",
        ),
        ([], "one.toml: it must be a table, got a list"),
    ],
)
def test_a_wrong_table_is_refused_by_its_field(table: Any, says: str) -> None:
    """The message begins with the file, names the field, shows what stands there and says what must."""
    for refuse in (DataError, Refused):
        with pytest.raises(refuse) as caught:
            typed_value(table, Row, "one.toml", refuse)
        assert str(caught.value).startswith(says)


def test_rows_are_read_by_their_names() -> None:
    """A row that is wrong is told by its name."""
    rows: list[Mapping[str, Any]] = [{"name": "a", "minutes": 1}, {"name": "b", "minutes": 2}]
    assert list(named_values(rows, Row, "one.toml")) == ["a", "b"]
    with pytest.raises(DataError, match=r"one\.toml, b: minutes is missing"):
        named_values([*rows[:1], {"name": "b"}], Row, "one.toml")


@pytest.mark.parametrize(
    ("value", "shown"),
    [({}, "a table"), ([1], "a list"), (None, "nothing"), (10**30, "a number of more than twenty digits")],
)
def test_what_came_is_shown_short(value: object, shown: str) -> None:
    """A table, a list and an endless number are named and not shown."""
    assert brief(value) == shown
    assert len(brief("x" * 1000)) == 58
