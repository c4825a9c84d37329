"""Events: typed reading, refusals, tables, schema."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from datetime import UTC, datetime
from typing import Any

import msgspec
import pytest
from hypothesis import given

from humclick.arrangements.machine import Machine
from humclick.diagnosis.situation import Heard
from humclick.errors import Refused
from humclick.jobs.event_tables import event_from, new_event, table_of
from humclick.jobs.events import HEARD, KINDS, Event, Waited
from humclick.jobs.fold import Call
from humclick.jobs.schema import call_schema, schema_of
from tests import strategies

COMMON = {"id": "a1", "at": "2026-03-02T09:30:00+01:00"}


@given(strategies.events())
def test_an_event_comes_back_from_its_table(event: Event) -> None:
    """Every event is read back from its table, and from that table sent as JSON."""
    assert event_from(table_of(event)) == event
    assert event_from(msgspec.json.decode(msgspec.json.encode(table_of(event)))) == event


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({}, "kind is missing; it is one of opened, machine"),
        ({"kind": "redaing"}, "did you mean reading"),
        ({"kind": 3}, "kind must be one of"),
        ({"kind": "wait"}, "minutes is missing"),
        ({"kind": "wait", "minutes": "3"}, "minutes must be a number; got text in quotes"),
        ({"kind": "wait", "minutes": -3}, "minutes must be 0 or more"),
        ({"kind": "wait", "minutes": float("nan")}, "minutes must be 0 or more"),
        ({"kind": "wait", "minutes": float("inf")}, "minutes must be 0 or more"),
        ({"kind": "wait", "minutes": 10**400}, "minutes"),
        ({"kind": "wait", "minutes": True}, "minutes must be a number; got true or false"),
        ({"kind": "reading", "probe": "pins.C-R", "value": 4.7}, 'value = "4.7"'),
        ({"kind": "reading", "probe": "pins.C-R", "value": "4.7", "notes": ""}, "did you mean note"),
        ({"kind": "reading", "probe": "", "value": "4.7"}, "probe must not be empty"),
        ({"kind": "wait", "minutes": 1, "at": "yesterday"}, "at must be a date and time with its zone"),
        ({"kind": "wait", "minutes": 1, "at": datetime(2026, 1, 1)}, "at needs its time zone"),
        ({"kind": "wait", "minutes": 1, "at": "0001-01-01T00:00:00+05:00"}, "between 1970 and 2200"),
        ({"kind": "wait", "minutes": 1, "id": "no spaces"}, "id must be"),
        ({"kind": "wait", "minutes": 1, "device": None}, "device must be text"),
        ({"kind": "decision", "remedies": "replace relay"}, "remedies must be a list"),
        ({"kind": "decision", "remedies": []}, "1 to 20"),
        ({"kind": "complaint", "heard": "hum_clik"}, "did you mean hum_click"),
        ({"kind": "photo", "sha256": "abc"}, "64 digits"),
        ({"kind": "note", "text": "\x1b[31mred"}, r"U\+001B"),
        ({"kind": "note", "text": "a\u202eb"}, r"U\+202E"),
        ({"kind": "note", "text": "\ud800"}, r"U\+D800"),
        ({"kind": "note", "text": "x" * 5001}, "5000 characters at most"),
        ({"kind": "meter", "own": {"namee": "x"}}, "did you mean name"),
        ({"kind": "meter", "own": {"a": 1}, "name": "good"}, "name and own are both given"),
        ({"kind": "meter", "lead_ohms": -0.1}, "lead_ohms must be 0 or more"),
        ({"kind": "machine", "arrangement": "psc", "volts": 0}, "volts must be above 0"),
    ],
)
def test_a_wrong_field_is_refused_with_the_right_form(table: dict[str, Any], says: str) -> None:
    """What an event cannot hold is refused, the field named and the right form said."""
    with pytest.raises(Refused, match=says):
        event_from({**COMMON, **table})


def test_a_new_event_has_its_own_id_and_the_time() -> None:
    """New events have different ids and the time now with its zone."""
    first, second = (new_event("wait", minutes=1, device="bench") for _ in range(2))
    assert first.id != second.id
    assert abs((datetime.now(UTC) - first.at).total_seconds()) < 60
    assert first.device == "bench"


def test_events_cannot_be_changed() -> None:
    """An event is frozen."""
    event = new_event("wait", minutes=1)
    assert isinstance(event, Waited)
    with pytest.raises(FrozenInstanceError):
        event.minutes = 2.0  # type: ignore[misc]


def test_a_complaint_takes_the_answers_of_a_start_attempt() -> None:
    """The complaint is one of the answers of a start attempt, or unknown."""
    assert set(HEARD) == {*(str(heard) for heard in Heard), "unknown"}


def test_the_schema_names_every_kind_and_field() -> None:
    """The schema of a call has one closed shape for each kind, and only what must be written is required."""
    shapes = call_schema()["properties"]["event"]["items"]["oneOf"]
    by_kind = {shape["properties"]["kind"]["const"]: shape for shape in shapes}
    assert set(by_kind) == set(KINDS)
    assert all(shape["additionalProperties"] is False for shape in shapes)
    assert by_kind["reading"]["required"] == ["kind", "probe", "value"]
    assert by_kind["complaint"]["properties"]["heard"]["enum"] == list(HEARD)


@given(strategies.events())
def test_every_event_written_has_the_keys_of_the_schema(event: Event) -> None:
    """The table of an event has no key outside the schema and every key it requires."""
    shapes = call_schema()["properties"]["event"]["items"]["oneOf"]
    (shape,) = [s for s in shapes if s["properties"]["kind"]["const"] == event.kind]
    table = table_of(event)
    assert set(shape["required"]) <= set(table) <= set(shape["properties"])


@pytest.mark.parametrize("result", [Machine, Call])
def test_results_have_a_schema(result: type) -> None:
    """The schema of a results dataclass lists its fields, complex numbers included."""
    schema = schema_of(result)
    assert result.__name__ in schema["$defs"]
    assert schema["$schema"].startswith("https://json-schema.org/")
