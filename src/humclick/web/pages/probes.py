"""Another probe: every one of the machine, those worth most first."""

from __future__ import annotations

from humclick.errors import Refused
from humclick.messages import N_, Message
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.pages import call
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """The list of probes."""
    weighed = desk.flow.weighed
    known = desk.flow.probes
    if desk.call.stopped:  # nothing is offered
        return call.show(desk)
    if weighed is None or not known:
        raise Refused(Message("no machine is described yet"))
    advice = weighed.advice
    worth = [v for v in (advice.next, *advice.alternatives) if v is not None] if advice is not None else []
    best = [(known[v.probe], v) for v in worth if v.probe in known]
    named = {probe.id for probe, _value in best}
    rest = [probe for name, probe in known.items() if name not in named]
    taken = {reading.probe for reading in desk.call.readings}
    lists = {"best": best, "rest": rest, "taken": taken, "skipped": desk.call.skipped}
    return page("probes.html", desk, N_("Choose a probe"), **lists)
