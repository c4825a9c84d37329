"""
Events as plain tables, those of TOML or JSON: reading them, writing them, and what is said of one refused.

A table may leave out ``at`` and ``id``; `humclick.jobs.call_file` says what they become.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from dataclasses import MISSING, fields
from datetime import datetime
from difflib import get_close_matches
from typing import Any

import msgspec

from humclick.errors import HumclickError, Refused
from humclick.jobs.events import KINDS, Event
from humclick.jobs.fields import choice_of
from humclick.messages import N_, Message

__all__ = ["event_from", "new_event", "table_of"]

_WORDS = {
    "float": Message("a number"),
    "int": Message("a whole number"),
    "str": Message("text in quotes"),
    "bool": Message("true or false"),
    "array": Message("a list"),
    "object": Message("a table"),
    "datetime": Message("a date and time with its zone, such as 2026-03-02T09:30:00+01:00"),
    "date": Message("a date without a time"),
    "time": Message("a time without a date"),
    "null": Message("nothing"),
}


def _explained(error: msgspec.ValidationError) -> Message:
    """A message of the typed reading in plain words, the field first."""
    if isinstance(error.__cause__, HumclickError):
        return error.__cause__.message
    message = str(error)
    place = re.search(r" - at `(?:\$)?\.?([^`]*)`$", message)
    if place:
        message = message[: place.start()]
    name = place[1] if place else ""
    missing = re.fullmatch(r"Object missing required field `(\w+)`", message)
    if missing:
        return Message("{name} is missing", name=missing[1])
    expected = re.fullmatch(r"Expected `([^`]*)`, got `([^`]*)`", message)
    if expected:
        wanted = tuple(_WORDS.get(w.strip(), w.strip()) for w in expected[1].split("|"))
        form = N_("{name} must be {wanted:or}; got {given}")
        if name == "value":
            form = N_('{name} must be {wanted:or}, as the display shows it: value = "4.7"; got {given}')
        got = _WORDS.get(expected[2], expected[2])
        return Message.of(form, name=name or "it", wanted=wanted, given=got)
    if message.startswith("Invalid RFC3339"):
        return Message("{name} must be {wanted}", name=name, wanted=_WORDS["datetime"])
    text = message if not name or message.startswith(name) else f"{name} {message[:1].lower()}{message[1:]}"
    return Message.of(text)


def event_from(table: Mapping[str, Any]) -> Event:
    """
    One event from a plain table; ``at`` and ``id`` must be there.

    Raises
    ------
    Refused
        If the kind or a field is unknown, missing or not usable. The message begins with the field's name
        and says what would be right.

    Examples
    --------
    >>> event_from({"kind": "wait", "id": "w1", "at": "2026-03-02T09:30:00+01:00", "minutes": 10}).minutes
    10.0
    """
    _refuse_broken_letters(table)
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        if kind is None:
            raise Refused(Message("kind is missing; it is one of {kinds}", kinds=", ".join(KINDS)))
        raise Refused(Message("kind must be {allowed}", allowed=choice_of(str(kind)[:60], KINDS)))
    wanted = KINDS[kind]
    names = [field.name for field in fields(wanted)]
    for key in table:
        if key != "kind" and key not in names:
            near = get_close_matches(str(key), names, n=1, cutoff=0.5)
            hint = Message("it has {names}", names=tuple(names))
            if near:
                hint = Message("did you mean {names:or}?", names=tuple(near))
            raise Refused(
                Message(
                    "{key} is not a field of {kind}; {hint}",
                    key=ascii(str(key))[1:-1][:60],
                    kind=kind,
                    hint=hint,
                )
            )
    try:
        return msgspec.convert({key: value for key, value in table.items() if key != "kind"}, wanted)
    except msgspec.ValidationError as error:
        raise Refused(_explained(error)) from None
    except OverflowError:
        raise Refused(Message("a number is too large to be meant")) from None


def _refuse_broken_letters(table: Mapping[str, Any]) -> None:
    """Refuse half a letter (a lone surrogate) in any text of a table, however deep: no file can hold it."""
    waiting: list[tuple[str, Any]] = [(ascii(str(key))[1:-1][:60], value) for key, value in table.items()]
    waiting += [(name, key) for (name, _), key in zip(waiting, table, strict=True)]
    while waiting:
        name, value = waiting.pop()
        if isinstance(value, str):
            broken = next((letter for letter in value if 0xD800 <= ord(letter) <= 0xDFFF), "")
            if broken:
                raise Refused(
                    Message(
                        "{name} holds a character that cannot be shown (U+{value:04X}); remove it",
                        name=name,
                        value=ord(broken),
                    )
                )
        elif isinstance(value, Mapping):
            waiting += [(name, part) for pair in value.items() for part in pair]
        elif isinstance(value, list | tuple):
            waiting += [(name, part) for part in value]


def new_event(
    kind: str, *, device: str = "", at: datetime | None = None, id: str = "", turn: int = 0, **content: Any
) -> Event:
    """
    A new event, with an id of its own and the time now unless given; raises `Refused` as `event_from`.

    Examples
    --------
    >>> new_event("reading", probe="pins.C-R", value="4.7").kind
    'reading'
    """
    moment = datetime.now().astimezone() if at is None else at
    return event_from(
        {
            "kind": kind,
            "id": id or uuid.uuid4().hex[:16],
            "at": moment,
            "device": device,
            "turn": turn,
            **{name: str(value) if isinstance(value, Message) else value for name, value in content.items()},
        }
    )


def table_of(event: Event) -> dict[str, Any]:
    """
    An event as a plain table: kind, id and at first, then what differs from the default.

    Examples
    --------
    >>> from humclick.jobs.events import UNTIMED
    >>> table_of(new_event("wait", id="w1", at=UNTIMED, minutes=5))["minutes"]
    5.0
    """
    table: dict[str, Any] = {"kind": event.kind, "id": event.id, "at": event.at}
    for field in fields(event):
        value = getattr(event, field.name)
        default = field.default_factory() if field.default_factory is not MISSING else field.default
        if field.name not in ("id", "at") and value != default:
            table[field.name] = _listed(value)
    return table


def _listed(value: Any) -> Any:
    """Tuples, those within tuples too, as lists."""
    return [_listed(item) for item in value] if isinstance(value, tuple) else value
