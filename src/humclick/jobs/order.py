"""
The order of a call's events, and how copies of a call become one.

Clocks of different devices disagree, so ``at`` is what somebody's clock said: it is shown, and decides
nothing where there are turns. ``turn`` is a logical clock (L. Lamport, "Time, Clocks, and the Ordering of
Events in a Distributed System", 1978): one more than the largest its device knew of in the call. Order is by
turn, then device, then that device's own clock, then id. Events without a turn (0: written by hand, or by an
earlier version) come before all that have one, by time, then id.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime

from humclick.jobs.event_tables import table_of
from humclick.jobs.events import Event

__all__ = ["MOST_AHEAD", "conflicts", "in_order", "last_turn", "merge", "next_turn", "place"]

#: A turn farther than this above the next lower one of its call is not believed. A device that makes no
#: mistake never goes so far: a call has no more events (`humclick.jobs.call_file.MOST_EVENTS`).
MOST_AHEAD = 5000


def last_turn(events: Iterable[Event]) -> int:
    """
    The largest turn that is believed; 0 where nobody counted.

    A turn more than `MOST_AHEAD` above the next lower one is not believed, so one damaged or invented event
    neither stands last for ever nor leaves no turn for the next.
    """
    last = 0
    for turn in sorted({event.turn for event in events}):
        if turn > last + MOST_AHEAD:
            break
        last = turn
    return last


def next_turn(events: Iterable[Event]) -> int:
    """The turn of a new event after these."""
    return last_turn(events) + 1


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """
    Events in the one order everything uses.

    First those without a turn that is believed (`last_turn`), by time, then by id; those that a file holds
    without a time are numbered by it (`UNTIMED`), so they keep its order. Then by turn, device, that device's
    own clock, and id. The order hangs on the events alone, not on the order in which they come.
    """
    events = tuple(events)
    last = last_turn(events)
    return tuple(sorted(events, key=lambda event: place(event, last)))


def place(event: Event, last: int) -> tuple[int, str, datetime, str]:
    """Where an event stands among others whose largest turn that is believed is `last`: it sorts by this."""
    counted = event.turn if event.turn <= last else 0
    return counted, event.device if counted else "", event.at, event.id


def _first(event: Event) -> tuple[int, datetime, str]:
    return event.turn, event.at, json.dumps(table_of(event), sort_keys=True, default=str)


def merge(*calls: Iterable[Event]) -> tuple[Event, ...]:
    """
    Union of the events of several copies of a call, in order.

    Commutative, associative and idempotent. Of two different events under one id (`conflicts`) the one of the
    lower turn is kept, then the earlier, then the one whose text sorts first.
    """
    by_id: dict[str, Event] = {}
    for event in (event for call in calls for event in call):
        other = by_id.get(event.id)
        if other is None or (other != event and _first(event) < _first(other)):
            by_id[event.id] = event
    return in_order(by_id.values())


def conflicts(*calls: Iterable[Event]) -> tuple[str, ...]:
    """Ids under which different events stand: somebody changed an event instead of undoing it."""
    by_id: dict[str, Event] = {}
    clashing = set()
    for event in (event for call in calls for event in call):
        if by_id.setdefault(event.id, event) != event:
            clashing.add(event.id)
    return tuple(sorted(clashing))
