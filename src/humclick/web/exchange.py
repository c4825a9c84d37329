"""
What goes into the engine and what comes out: the shapes of a request and of a reply.

Both are plain JSON, the same on the server and in the browser. A call travels as its events.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any

import msgspec

from humclick.errors import HumclickError, Refused
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.events import Event
from humclick.jobs.fold import merge
from humclick.messages import Message, Verbatim

#: Looks that can be chosen; the first follows the device.
THEMES = ("auto", "light", "dark")


@dataclass(frozen=True, slots=True)
class Settings:
    """What a person chose once: language, look, meter."""

    #: Empty for the request's own.
    language: str = ""
    #: One of `THEMES`.
    theme: str = "auto"
    #: Class of meter a new call begins with; empty for the program's usual one.
    meter: str = ""
    #: Whether that meter subtracts its leads.
    leads_nulled: bool = False
    #: Name of the shop, put on every new call.
    shop: str = ""
    #: Whose safety rules hold on a new call: one of `humclick.safety.PLACES`; empty for the strictest.
    place: str = ""


@dataclass(frozen=True, slots=True)
class CallGiven:
    """A call as kept: its id and its events as plain tables (`humclick.jobs.event_tables.table_of`)."""

    id: str
    events: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class StoredPhoto:
    """A photograph in store: SHA-256 of its bytes, caption, and size in pixels."""

    hash: str
    caption: str = ""
    width: int = 0
    height: int = 0


@dataclass(frozen=True, slots=True)
class Request:
    """One question to the engine."""

    path: str
    method: str = "GET"
    #: Names and values, as in ``form``; a value is text or a list of texts.
    query: dict[str, Any] = field(default_factory=dict)
    form: dict[str, Any] = field(default_factory=dict)
    #: The caller's clock, with its zone. The engine has none of its own.
    now: datetime = datetime(1970, 1, 1, tzinfo=UTC)
    #: Which phone or desk asks; written into new events.
    device: str = ""
    language: str = "en"
    #: The call the path names.
    call: CallGiven | None = None
    #: Summaries of all calls, for the list.
    calls: list[dict[str, Any]] | None = None
    #: Photographs of the call that are in store here.
    photos: list[StoredPhoto] = field(default_factory=list)
    #: ``server`` or ``browser``.
    place: str = "server"
    #: Whether the page stands in a secure context, which working without a network needs.
    secure: bool = True
    #: As the last reply to ``/settings`` gave them.
    settings: Settings = field(default_factory=Settings)
    #: After a form that was taken, hand over the page that ``go`` names as well.
    follow: bool = False
    #: The form is not sent yet: work its answer out, so that it is there when it is. Nothing is to be kept.
    prepare: bool = False

    def asked(self, name: str) -> str:
        """One value of the query; empty if it is not there."""
        return _first(self.query, name)

    def given(self, name: str) -> str:
        """One value of the form, without spaces around it; empty if it is not there."""
        return _first(self.form, name).strip()

    def given_all(self, name: str) -> tuple[str, ...]:
        """Every value of a name in the form."""
        value = self.form.get(name, ())
        return tuple(map(str, value)) if isinstance(value, list) else (str(value),) if value != () else ()


def _first(values: Mapping[str, Any], name: str) -> str:
    value = values.get(name, "")
    if isinstance(value, list):
        value = value[0] if value else ""
    return str(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """The engine's answer."""

    #: 200, 303, 404 or 422.
    status: int = 200
    title: str = ""
    #: What stands inside ``<main>``. Beside ``go``: the page there; empty if still to be asked for.
    html: str = ""
    #: Events to be kept, in order, before anything else is done.
    append: Sequence[Mapping[str, Any]] = ()
    #: The call they belong to; for a new call, its new id.
    id: str = ""
    #: Where to go next.
    go: str | None = None
    #: The call's line in the list, after ``append``.
    summary: Mapping[str, Any] | None = None
    #: Said to a screen reader.
    announce: str = ""
    #: New settings to be kept on this device and sent with every request.
    settings: Mapping[str, Any] | None = None
    language: str = "en"
    #: What stands inside ``<header>``: the name and the ways to other pages.
    header: str = ""

    def text(self) -> str:
        """The reply as JSON."""
        return json.dumps(asdict(self), ensure_ascii=False)


def events_in(tables: Iterable[Mapping[str, Any]], unread: list[str] | None = None) -> tuple[Event, ...]:
    """
    The events of a call from their tables, each once and in order, in whatever order the tables come.

    Every request comes through here, so whatever walks events sees them as the call went. Tables that cannot
    be read are passed over; ``unread`` takes what is said of them.
    """
    events = []
    for table in tables:
        try:
            events.append(event_from(table))
        except HumclickError as error:  # written by a later version, or damaged: kept, not used
            if unread is not None:
                unread.append(str(error))
    return merge(events)


def plain_table(event: Event) -> dict[str, Any]:
    """An event as JSON holds it: its time as text."""
    return {**table_of(event), "at": event.at.isoformat()}


def request_from(text: str) -> Request:
    """Read a request; refused if it is not of the right shape."""
    try:
        request = msgspec.json.decode(text, type=Request)
    except (msgspec.ValidationError, msgspec.DecodeError) as error:
        raise Refused(Message("the request is not understood: {reason}", reason=Verbatim(error))) from None
    if request.now.tzinfo is None:
        raise Refused(Message("now needs its zone, such as 2026-03-02T09:30:00+01:00"))
    return request
