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

__all__ = [
    "THEMES",
    "CallGiven",
    "PhotoGiven",
    "Reply",
    "Request",
    "Settings",
    "events_in",
    "plain_table",
    "request_from",
]

#: Looks that can be chosen; the first follows the device.
THEMES = ("auto", "light", "dark")


@dataclass(frozen=True, slots=True)
class Settings:
    """
    What a person chose once: language, look, meter.

    Attributes
    ----------
    language : str
        ``en`` or ``es``; empty for the request's own.
    theme : str
        ``auto``, ``light`` or ``dark``.
    meter : str
        Class of meter a new call begins with; empty for the program's usual one.
    leads_nulled : bool
        Whether that meter subtracts its leads.
    shop : str
        Name of the shop, put on every new call.
    place : str
        Whose safety rules hold on a new call: one of `humclick.safety.PLACES`; empty for the strictest.
    """

    language: str = ""
    theme: str = "auto"
    meter: str = ""
    leads_nulled: bool = False
    shop: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True)
class CallGiven:
    """A call as kept: its id and its events as plain tables (`humclick.jobs.event_tables.table_of`)."""

    id: str
    events: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class PhotoGiven:
    """A photograph in store: SHA-256 of its bytes, caption, and size in pixels."""

    hash: str
    caption: str = ""
    width: int = 0
    height: int = 0


@dataclass(frozen=True, slots=True)
class Request:
    """
    One question to the engine.

    Attributes
    ----------
    path, method : str
        As of HTTP; ``GET`` or ``POST``.
    query, form : mapping
        Names and values; a value is text or a list of texts.
    now : datetime
        The caller's clock, with its zone. The engine has none of its own.
    device : str
        Which phone or desk asks; written into new events.
    language : str
        ``en`` or ``es``.
    call : CallGiven or None
        The call the path names.
    calls : list or None
        Summaries of all calls, for the list.
    photos : list of PhotoGiven
        Photographs of the call that are in store here.
    place : str
        ``server`` or ``browser``.
    secure : bool
        Whether the page stands in a secure context, which working without a network needs.
    settings : Settings
        As the last reply to ``/settings`` gave them.
    follow : bool
        After a form that was taken, hand over the page that ``go`` names as well.
    prepare : bool
        The form is not sent yet: work its answer out, so that it is there when it is. Nothing is to be kept.
    """

    path: str
    method: str = "GET"
    query: dict[str, Any] = field(default_factory=dict)
    form: dict[str, Any] = field(default_factory=dict)
    now: datetime = datetime(1970, 1, 1, tzinfo=UTC)
    device: str = ""
    language: str = "en"
    call: CallGiven | None = None
    calls: list[dict[str, Any]] | None = None
    photos: list[PhotoGiven] = field(default_factory=list)
    place: str = "server"
    secure: bool = True
    settings: Settings = field(default_factory=Settings)
    follow: bool = False
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
    """
    The engine's answer.

    Attributes
    ----------
    status : int
        200, 303, 404 or 422.
    title : str
        Of the page.
    html : str
        What stands inside ``<main>``. Beside ``go``: the page that stands there; empty where it is still to
        be asked for.
    append : sequence of tables
        Events to be kept, in order, before anything else is done.
    id : str
        The call they belong to; for a new call, its new id.
    go : str or None
        Where to go next.
    summary : mapping or None
        The call's line in the list, after ``append``.
    announce : str
        Said to a screen reader.
    settings : mapping or None
        New settings to be kept on this device and sent with every request.
    language : str
        The language the page is in.
    header : str
        What stands inside ``<header>``: the name and the ways to other pages.
    """

    status: int = 200
    title: str = ""
    html: str = ""
    append: Sequence[Mapping[str, Any]] = ()
    id: str = ""
    go: str | None = None
    summary: Mapping[str, Any] | None = None
    announce: str = ""
    settings: Mapping[str, Any] | None = None
    language: str = "en"
    header: str = ""

    def text(self) -> str:
        """The reply as JSON."""
        return json.dumps(asdict(self), ensure_ascii=False)


def events_in(tables: Iterable[Mapping[str, Any]], unread: list[str] | None = None) -> tuple[Event, ...]:
    """
    The events of a call from their tables, each once and in order, in whatever order the tables come.

    Every request comes through here, so whatever walks events sees them as the call went.

    Parameters
    ----------
    tables : iterable of tables
        As a phone or a file hands them out.
    unread : list of str, optional
        Takes what is said of tables that cannot be read; they are passed over.
    """
    found = []
    for table in tables:
        try:
            found.append(event_from(table))
        except HumclickError as error:  # written by a later version, or damaged: kept, not used
            if unread is not None:
                unread.append(str(error))
    return merge(found)


def plain_table(event: Event) -> dict[str, Any]:
    """An event as JSON holds it: its time as text."""
    return {**table_of(event), "at": event.at.isoformat()}


def request_from(text: str) -> Request:
    """
    Read a request.

    Raises
    ------
    Refused
        If it is not of the right shape.
    """
    try:
        request = msgspec.json.decode(text, type=Request)
    except (msgspec.ValidationError, msgspec.DecodeError) as error:
        raise Refused(f"the request is not understood: {error}") from None
    if request.now.tzinfo is None:
        raise Refused("now needs its zone, such as 2026-03-02T09:30:00+01:00")
    return request
