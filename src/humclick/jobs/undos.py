"""Which events of a call are taken back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from difflib import get_close_matches

from humclick.jobs.events import Event, Undone
from humclick.messages import N_, Message

__all__ = ["taken_back"]

#: So many problems get a hint at the nearest right name.
_HINTS = 20


def taken_back(
    events: Sequence[Event], problem: Callable[[str, Message, str], None]
) -> tuple[frozenset[str], bool]:
    """
    Ids of events taken back, and whether any undo names an event that is not there, which may come yet.

    An event is taken back by an undo that is itself in force; circles of undos do nothing. Each id stands
    once in `events`. `problem` takes what cannot be used: the undo's id, why, and what it named.
    """
    known = {event.id: event for event in events}
    undos = [event for event in events if isinstance(event, Undone)]
    against: dict[str, list[str]] = {}
    astray = 0
    for undo in undos:
        if undo.of not in known:
            near = get_close_matches(undo.of, known, n=1) if astray < _HINTS else ()
            astray += 1
            text = Message("there is no event {of} to undo", of=repr(undo.of))
            if near:
                form = N_("there is no event {of} to undo; did you mean {near}?")
                text = Message.of(form, of=repr(undo.of), near=near[0])
            problem(undo.id, text, undo.of)
        against.setdefault(undo.of, []).append(undo.id)
    waiting = {event.id: len(against.get(event.id, ())) for event in events}
    ready = [name for name, open_ in waiting.items() if not open_]
    gone: set[str] = set()
    while ready:
        event = known[ready.pop()]
        waiting.pop(event.id)
        if isinstance(event, Undone) and event.of in waiting:
            if event.id not in gone:
                gone.add(event.of)
            waiting[event.of] -= 1
            if not waiting[event.of]:
                ready.append(event.of)
    for name in sorted(waiting):
        problem(name, Message("these undos take each other back in a circle; they do nothing"), "")
    return frozenset(gone | set(waiting)), bool(astray)
