"""The forms of the call screen: what is answered there, and where it leads."""

from __future__ import annotations

import re
from datetime import timedelta

from humclick.diagnosis.probes import Probe
from humclick.errors import Refused
from humclick.jobs import taking
from humclick.jobs.standing import UNNAMED_PINS
from humclick.jobs.warmth import stood
from humclick.messages import Message
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply
from humclick.web.pages import call

_FIGURE = re.compile(r"[<>]?[0-9.,\s]+")
#: Longest discharge or cooling timer. [s]
_LONGEST = 6 * 3600


def take_reading(desk: Desk) -> Reply:
    """Keep a reading, a look or an attempt."""
    request = desk.request
    probe = desk.flow.probe(request.given("probe"))
    if request.given("press"):  # a key of the keypad, where no script runs
        return call.show(desk)
    text = request.given("value")
    if probe.quantity and _FIGURE.fullmatch(text) and request.given("unit"):
        text = f"{text} {request.given('unit')}"
    with beside("value"):
        try:
            desk.flow = taking.take(
                desk.flow,
                request.now,
                probe,
                text,
                warmth=request.given("warmth"),
                confirmed=request.given("passed").split(),
                already=bool(request.given("taken") or request.asked("taken")),
                note=request.given("note"),
            )
        except taking.BarredNow:
            raise Refused(
                Message("this is not safe to do now; for a reading taken already, say so below")
            ) from None
        except taking.GatesFirst:
            raise Refused(
                Message("first the safety steps; for a reading taken already, say so below")
            ) from None
    return desk.go(_after_reading(desk, probe), call.announced(desk))


def _after_reading(desk: Desk, probe: Probe) -> str:
    """The next pair of unnamed pins while they are being found, else the call."""
    if probe.id in UNNAMED_PINS:
        taken = {r.probe for r in desk.call.readings}
        for name in UNNAMED_PINS:
            if name not in taken:
                return f"{desk.path()}?probe={name}"
    return desk.path()


def take_correction(desk: Desk) -> Reply:
    """Keep that the doubted reading was meant or taken otherwise, as proposed beside it."""
    request = desk.request
    with beside("fix"):
        desk.flow = taking.corrected(desk.flow, request.now, request.given("fix"))
    return desk.go(desk.path(), call.announced(desk))


def _same_probe(desk: Desk) -> str:
    """The call again, with the probe that was chosen."""
    chosen = desk.request.given("chosen")
    if not chosen:
        return desk.path()
    now = "&now=1" if desk.request.given("now") else ""
    return f"{desk.path()}?probe={desk.flow.probe(chosen).id}{now}"


def take_gate(desk: Desk) -> Reply:
    """Keep that the safety steps that stood together were done: every gate is an event of its own."""
    with beside("gate"):
        names, words = desk.request.given("gate").split(), desk.request.given("words")
        desk.flow = taking.passed(desk.flow, desk.request.now, names, words)
    return desk.go(_same_probe(desk))


def take_hazard(desk: Desk) -> Reply:
    """Keep that a hazard was found, or that a safety step cannot be done: the work stops."""
    request = desk.request
    name, _, at = request.given("hazard").partition("@")
    with beside("hazard"):
        desk.keep("hazard", hazard=name, gate=at, words=request.given("words"))
    return desk.go(desk.path(), desk.flow.heading)


def take_cleared(desk: Desk) -> Reply:
    """Keep how a hazard was cleared: only this reopens the call."""
    request = desk.request
    with beside("words"):
        desk.flow = taking.cleared(desk.flow, request.now, request.given("of"), request.given("words"))
    return desk.go(desk.path())


def take_skip(desk: Desk) -> Reply:
    """Keep that a probe cannot be done here; the plan goes on without it."""
    request = desk.request
    probe = desk.flow.probe(request.given("probe"))
    reason = request.given("reason")
    gate = request.given("gate")
    if gate:
        words = Message("cannot be done safely here: {gate}", gate=gate)
        reason = f"{words}. {reason}" if reason else words
    desk.keep("skip", probe=probe.id, reason=reason)
    return desk.go(desk.back())


def take_wait(desk: Desk) -> Reply:
    """Keep that the machine was left alone: for the minutes typed, else for as long as it has truly stood."""
    typed = desk.request.given("minutes").replace(",", ".")
    stands = stood(desk.flow, desk.request.now)
    if not typed and desk.request.given("elapsed") and stands is not None:
        desk.keep("wait", minutes=round(stands, 1))
        return desk.go(_same_probe(desk))
    try:
        minutes = float(typed)
    except ValueError:
        raise FormRefused(
            "minutes",
            Message("{typed} is not a number of minutes; write it such as 10", typed=repr(typed[:40])),
        ) from None
    with beside("minutes"):
        desk.keep("wait", minutes=minutes)
    return desk.go(_same_probe(desk))


def take_timer(desk: Desk) -> Reply:
    """Start a timer: its end goes into the address, so that a locked screen or a reload loses nothing."""
    try:
        seconds = float(desk.request.given("seconds"))
    except ValueError:
        raise FormRefused("seconds", Message("a timer needs its seconds")) from None
    if not 0 < seconds <= _LONGEST:
        raise Refused(Message("a timer runs from 1 second to {hours} hours", hours=_LONGEST // 3600))
    until = (desk.request.now + timedelta(seconds=seconds)).isoformat(timespec="seconds").replace("+", "%2B")
    path = _same_probe(desk)
    return desk.go(f"{path}{'&' if '?' in path else '?'}until={until}")
