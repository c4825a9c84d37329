"""
The engine of the pages: a request in, a page or new events out, both as JSON.

The server's page routes and the phone's worker call the same `answer`. It reads no file but the program's
own, looks at no clock and starts no thread: what it needs of the world stands in the request.

Request and reply are `humclick.web.exchange.Request` and `Reply`. In short::

    request  {path, method, query, form, now, device, language, call: {id, events} | null,
              calls: [summary] | null, photos: [{hash, caption, width, height}], place, secure, settings,
              follow, prepare}
    reply    {status, title, html, append: [event], id, go, summary, announce, settings, language, header}

After a POST the caller keeps ``append`` under the call ``id`` first, durably, and then asks for ``go``, or
shows ``html`` where it came with it (`follow`); with ``html`` alone (status 422) the page is shown as it is,
and nothing is kept. ``settings`` belong to the device: they are kept and sent with every request. ``summary``
replaces the call's line in the list.

A form that is likely to be sent can be sent before with `prepare`, and a page be asked for: nothing is kept
then, and when it is sent in earnest its answer is there.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from urllib.parse import parse_qs, urlsplit

from humclick.errors import HumclickError
from humclick.messages import Message
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import CallGiven, Reply, Request, request_from
from humclick.web.pages import (
    answers,
    call,
    calls,
    decision,
    frame,
    identify,
    new,
    offline,
    photos,
    pins,
    plate,
    probes,
    record,
    recordings,
    settings,
    sheet,
    why,
)

Handler = Callable[[Desk], Reply]

#: Ids of events that were worked out before their forms were sent, by what was asked.
_PREPARED: dict[str, list[str]] = {}
_MOST_PREPARED = 60


@dataclass(frozen=True, slots=True)
class _Route:
    """What answers a path: `show` a GET, `take` a POST, and the page to show again if a form is refused."""

    show: Handler | None = None
    take: Handler | None = None
    again: Handler | None = None


#: Pages without a call.
_PAGES = {
    "": _Route(calls.show),
    "new": _Route(new.show, new.take),
    "settings": _Route(settings.show, settings.take),
    "about-offline": _Route(offline.show),
}

#: Pages and forms of one call, by what stands behind its id.
_OF_CALL = {
    "": _Route(call.show),
    "reading": _Route(take=answers.take_reading, again=call.show),
    "correct": _Route(take=answers.take_correction, again=call.show),
    "gate": _Route(take=answers.take_gate, again=call.show),
    "hazard": _Route(take=answers.take_hazard, again=call.show),
    "cleared": _Route(take=answers.take_cleared, again=call.show),
    "skip": _Route(take=answers.take_skip, again=call.show),
    "wait": _Route(take=answers.take_wait, again=call.show),
    "timer": _Route(take=answers.take_timer, again=call.show),
    "note": _Route(take=record.take_note, again=record.show),
    "undo": _Route(take=record.take_undo, again=record.show),
    "decide": _Route(take=decision.take_decision, again=call.show),
    "fitted": _Route(take=decision.take_fitted, again=call.show),
    "identify": _Route(identify.show, identify.take),
    "plate": _Route(plate.show, plate.take),
    "stamp": _Route(take=plate.take_stamp, again=plate.show),
    "pins": _Route(pins.show),
    "why": _Route(why.show),
    "whatif": _Route(why.show_what_if),
    "probes": _Route(probes.show),
    "record": _Route(record.show),
    "photos": _Route(photos.show, photos.take),
    "mark": _Route(take=photos.take_mark, again=photos.show),
    "recordings": _Route(recordings.show),
    "sheet": _Route(sheet.show),
}


def answer(request: str) -> str:
    """
    Answer one request: a `Request` as JSON in, a `Reply` as JSON out.

    Refused if the request itself is not of the right shape. A form that cannot be taken raises nothing: its
    page comes back with status 422 and the message beside the field.
    """
    question = request_from(request)
    key = _asked(question)
    desk = Desk(question, () if question.prepare else _PREPARED.pop(key, ()))
    reply = _answered(desk)
    if question.prepare and key and reply.append:
        _PREPARED[key] = [str(table["id"]) for table in reply.append]
        if len(_PREPARED) > _MOST_PREPARED:
            del _PREPARED[next(iter(_PREPARED))]
    path = question.path
    if question.follow and reply.go and _can_follow(reply):
        onward = _onward(question, reply)
        path, page = onward.path, _answered(Desk(onward, after=desk))
        announced = reply.announce or page.announce
        reply = replace(reply, title=page.title, html=page.html, announce=announced)
    return replace(reply, header=frame.header(desk.language, path), language=desk.language.code).text()


def _asked(question: Request) -> str:
    """What a form asks of a call as it stands."""
    if question.method.upper() != "POST" or question.call is None:
        return ""
    events = sorted(str(table.get("id")) for table in question.call.events)
    return json.dumps(
        [question.path, question.call.id, events, question.form, question.device], sort_keys=True
    )


def _can_follow(reply: Reply) -> bool:
    """Whether the next page needs nothing of the caller's store but what the request and the reply hold."""
    return str(reply.go).startswith("/call/") and all(table["kind"] != "photo" for table in reply.append)


def _onward(question: Request, reply: Reply) -> Request:
    """The request for the page a reply sends to."""
    where = urlsplit(str(reply.go))
    events = [*(question.call.events if question.call is not None else ()), *map(dict, reply.append)]
    return replace(
        question,
        path=where.path,
        method="GET",
        query=dict(parse_qs(where.query, keep_blank_values=True)),
        form={},
        call=CallGiven(reply.id or (question.call.id if question.call is not None else ""), events),
    )


def _route(desk: Desk) -> _Route | None:
    pieces = [piece for piece in desk.request.path.split("/") if piece]
    if not pieces:
        return _PAGES[""]
    if pieces[0] == "call" and len(pieces) in (2, 3):
        if desk.request.call is None or desk.request.call.id != pieces[1]:
            return None
        return _OF_CALL.get(pieces[2] if len(pieces) == 3 else "")
    return _PAGES.get(pieces[0]) if len(pieces) == 1 else None


def _answered(desk: Desk) -> Reply:
    route = _route(desk)
    posted = desk.request.method.upper() == "POST"
    handler = None if route is None else route.take if posted else route.show
    if route is None or handler is None:
        return frame.missing(desk)
    try:
        return handler(desk)
    except FormRefused as refused:
        return _again(desk, route, refused.field, refused.message)
    except HumclickError as error:
        return _again(desk, route, "", error.message)


def _again(desk: Desk, route: _Route, field: str, message: Message) -> Reply:
    """The page of a form that was refused, with the message and nothing kept."""
    fresh = Desk(desk.request)
    fresh.errors = {field: message}
    show = route.again or route.show
    if show is None or desk.request.method.upper() != "POST":
        return frame.missing(fresh, message)
    try:
        return replace(show(fresh), status=422, announce=fresh.language.plain(message))
    except HumclickError as error:  # the page itself cannot be shown with what was asked
        return frame.missing(fresh, error.message)
