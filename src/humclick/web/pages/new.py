"""A new call: what is heard, and whose machine it is."""

from __future__ import annotations

import json
import uuid
from contextlib import suppress

from humclick.diagnosis.findings import HEARD
from humclick.errors import HumclickError
from humclick.jobs.events import HEARD as COMPLAINTS
from humclick.messages import N_, Message
from humclick.web.desk import Desk, FormRefused
from humclick.web.drawings import icon
from humclick.web.exchange import Reply
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """The question: what do you hear?"""
    complaints = [(name, HEARD[name]) for name in COMPLAINTS if name in HEARD and name != "runs"]
    return page("new.html", desk, N_("New call"), complaints=complaints, icon=icon)


def take(desk: Desk) -> Reply:
    """Open a call."""
    request = desk.request
    heard = request.given("heard") or "unknown"
    if heard not in COMPLAINTS:
        raise FormRefused(
            "heard", Message("choose what is heard; {heard} is none of the answers", heard=repr(heard[:40]))
        )
    desk.id = uuid.uuid4().hex[:16]
    desk.keep(
        "opened",
        shop=request.settings.shop,
        place=request.settings.place,
        customer=request.given("customer"),
        equipment=request.given("equipment"),
    )
    if request.settings.meter:
        desk.keep("meter", name=request.settings.meter, leads_nulled=request.settings.leads_nulled)
    desk.keep("complaint", heard=heard, words=request.given("words"))
    return desk.go(desk.path() if _same_machine(desk) else desk.path("identify"))


def _same_machine(desk: Desk) -> bool:
    """Take machine and stamps over from an earlier call; what cannot be used is left out."""
    typed = desk.request.given("machine")
    if not typed:
        return False
    try:
        earlier = json.loads(typed)
        machine, stamps = dict(earlier["machine"]), list(earlier["stamps"])
        desk.keep("machine", **machine)
    except (ValueError, TypeError, KeyError, HumclickError):
        return False
    for stamp in stamps[:50]:
        if isinstance(stamp, list) and len(stamp) == 2:
            with suppress(HumclickError):
                desk.keep("stamp", part=str(stamp[0]), text=str(stamp[1]))
    return True
