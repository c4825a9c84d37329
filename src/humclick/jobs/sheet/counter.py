"""The counter's page: what to ask for, part by part, and which marks are still to be read."""

from __future__ import annotations

from humclick.arrangements.machine import Machine
from humclick.errors import HumclickError, Unknown
from humclick.jobs.call import Call
from humclick.jobs.events import PartFitted
from humclick.jobs.flow import demands_of
from humclick.jobs.sheet.machine import machine_rows
from humclick.jobs.sheet.model import Account, CounterPage, FittedPart, Photo
from humclick.jobs.sheet.technician import clock
from humclick.messages import Message, counted
from humclick.replacement.demand import COMPRESSOR, PartDemand, replaced_parts
from humclick.replacement.marks import read_marks
from humclick.replacement.match import MatchGrade, match, worst

__all__ = ["counter_page"]

#: Before a verdict, marks of parts at least this probably needed are worth reading. [-]
_WORTH = 0.15
#: A compressor is not ordered on a suspicion: its many marks are asked for from here. [-]
_SEALED = 0.5


def counter_page(call: Call, account: Account) -> CounterPage:
    """
    The page for the parts counter.

    Before a verdict it lists the parts that may be needed, so that their marks are read while the machine
    is open; it then says not to order yet.
    """
    state = account.state
    photos = tuple(
        Photo(p.caption or Message("without caption"), p.sha256[:12], clock(p.at)) for p in call.photos
    )
    if call.machine is None:
        return CounterPage(
            Message("No machine is described"),
            Message("Nothing can be ordered from this sheet."),
            photos=photos,
        )
    rows = machine_rows(call.machine)
    wanted: tuple[str, ...] = ()
    if state.name == "open" and account.now is not None:
        likely = [(r, p) for r, p in account.now.advice.remedies if p >= _WORTH]
        wanted = tuple(
            r for r, p in likely if p >= _SEALED or replaced_parts(call.machine, r) != (COMPRESSOR,)
        )
    elif state.name in ("needed", "fitted", "repaired"):
        wanted = state.due or state.done
    parts = demands_of(call, wanted)
    asked_for = demands_of(call, (*state.done, *wanted))
    fitted = tuple(_fitted(call.machine, event, asked_for) for event in call.fitted)
    if not parts:
        headline = Message("Nothing to order yet")
        if state.name == "open":
            note = Message("No part stands out so far.")
        elif state.name in ("recognised", "handed", "stopped"):
            note = Message("Somebody else decides what this machine needs.")
        else:
            headline = Message("No new part is needed")
            note = Message("There is nothing to order from this sheet.")
    elif state.name == "open":
        headline = Message("Do not order yet")
        note = Message(
            "No verdict so far. Read these marks while the machine is open; it saves a second visit."
        )
    elif state.due:
        headline = counted("To order", "To order: {n} parts", len(parts))
        note = Message("Take the old part along. Where anything below is not met, ask before you buy.")
    else:
        headline = Message("Fitted on this call")
        note = Message("Kept so that the part can be checked or bought again.")
    return CounterPage(headline, note, parts, fitted, photos, rows)


def _fitted(machine: Machine, event: PartFitted, asked_for: tuple[PartDemand, ...]) -> FittedPart:
    """A fitted part, and how the marks written down of it match; silence where nothing can be compared."""
    try:
        title = machine.part(event.part).family.title
    except Unknown:
        title = Message.of(event.part)
    blank = FittedPart(title, event.note)
    demand = next((part for part in asked_for if part.part == event.part), None)
    if demand is None:
        return blank
    new, _ = read_marks([mark.rule for mark in demand.marks], [event.note])
    try:
        result = match(demand, new)
    except HumclickError:
        return blank
    lines = tuple(line for line in result.lines if line.new and line.fit is not MatchGrade.UNKNOWN)
    return FittedPart(title, event.note, str(worst(lines)), lines) if lines else blank
