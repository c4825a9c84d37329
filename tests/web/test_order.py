"""Pages do not hang on the order in which a store hands out a call's events."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.jobs.call_file import read_call
from humclick.jobs.events import UNTIMED, Event, Undone
from humclick.jobs.order import merge
from humclick.jobs.standing import decision_in_force, provisional
from humclick.jobs.warmth import since
from humclick.web.desk import Desk
from humclick.web.engine import answer
from humclick.web.exchange import CallGiven, Request, plain_table
from humclick.web.pages.record import last_entry
from tests import strategies
from tests.sample import sampled
from tests.web.bench import EXAMPLES

CALLS = sorted(EXAMPLES.glob("*/call.toml"))
NOW = "2026-03-02T12:00:00+01:00"


def counted(events: tuple[Event, ...]) -> tuple[Event, ...]:
    """As devices would have written them, their ids sorting backwards and their clocks at odds."""
    names = {event.id: f"{999 - number:03d}" for number, event in enumerate(events)}
    return tuple(
        replace(
            replace(event, of=names[event.of]) if isinstance(event, Undone) else event,
            id=names[event.id],
            at=UNTIMED + timedelta(days=400 * (number * 7 % 11 + 1)),
            device=("phone-b", "phone-a")[number % 5 == 0],
            turn=number + 1,
        )
        for number, event in enumerate(events)
    )


def asked(tables: list[dict[str, Any]], path: str, **given: Any) -> dict[str, Any]:
    """The engine's reply."""
    request = {"path": path, "now": NOW, "device": "phone-a", "call": {"id": "c", "events": tables}, **given}
    reply: dict[str, Any] = json.loads(answer(json.dumps(request)))
    return reply


def mixed(events: tuple[Event, ...], seed: int) -> list[dict[str, Any]]:
    """Tables in another order, some of them twice."""
    tables = [plain_table(event) for event in (*events, *events[::2])]
    Random(seed).shuffle(tables)
    return tables


def plain(events: tuple[Event, ...]) -> list[dict[str, Any]]:
    """Tables in order."""
    return [plain_table(event) for event in merge(events)]


def standing(tables: list[dict[str, Any]]) -> list[Any]:
    """What else walks the events: undo target, what was decided, since when it rests, what is provisional."""
    desk = Desk(Request(path="/call/c", call=CallGiven("c", tables), device="phone-a"))
    entry = last_entry(desk)
    last = decision_in_force(desk.flow.events, desk.call)
    return [
        entry and entry.id,
        last,
        since(desk.flow, desk.request.now),
        provisional(desk.flow.events, desk.call),
        desk.flow.events,
        desk.call,
    ]


@pytest.mark.parametrize("path", sampled(CALLS, CALLS[::3]), ids=[path.parent.name for path in CALLS])
def test_an_example_shows_the_same_pages_in_whatever_order_it_comes(path: str) -> None:
    """Record, plate, photos and the call itself are the same, and so are the undo target and its answer."""
    events = counted(read_call(path))
    right = plain(events)
    pages = ("/call/c/record", "/call/c/plate", "/call/c/photos", "/call/c")
    shown = [asked(right, page) for page in pages]
    for seed in (1, 2):
        other = mixed(events, seed)
        assert standing(other) == standing(right)
        assert [asked(other, page) for page in pages] == shown
        one, two = (asked(tables, "/call/c/undo", method="POST") for tables in (right, other))
        assert one["append"][0]["of"] == two["append"][0]["of"]
        assert one["append"][0]["turn"] == two["append"][0]["turn"]


@settings(max_examples=60, deadline=None)
@given(strategies.calls(), st.integers(0, 2**32))
def test_any_call_shows_the_same_record_in_whatever_order_it_comes(
    events: tuple[Event, ...], seed: int
) -> None:
    """Generated calls too: record, plate form and undo hang on the events alone."""
    right, other = plain(events), mixed(merge(events), seed)
    assert standing(other) == standing(right)
    for page in ("/call/c/record", "/call/c/plate"):
        assert asked(other, page) == asked(right, page)
