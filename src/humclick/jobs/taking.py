"""
What an answer does to a call: the events it makes, or why it is refused.

Every face gives its answers here: each function takes a `Flow` and gives the one after it, whose `fresh`
holds what is to be written down. It is taken whole or not at all: what is refused leaves nothing behind.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from humclick.arrangements.arrangement import arrangement
from humclick.errors import Refused
from humclick.jobs.entry import Answer, answer_to, one_of
from humclick.jobs.events import HazardFound, MachineRead, Undone
from humclick.jobs.standing import (
    HAZARD_STANDS,
    given_last,
    live,
    to_redo,
    to_undo,
)
from humclick.messages import N_, Message
from humclick.meters import Quantity
from humclick.readings.typed import EXAMPLES
from humclick.safety import gate as gate_named

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe
    from humclick.jobs.briefing import Briefing
    from humclick.jobs.flow import Flow

__all__ = [
    "BarredNow",
    "GatesFirst",
    "arrangement_named",
    "cleared",
    "corrected",
    "decided",
    "passed",
    "redone",
    "refuse_unready",
    "take",
    "undone",
]


class BarredNow(Refused):
    """A reading cannot be taken now: `briefing` says what forbids it, or comes before it."""

    def __init__(self, briefing: Briefing) -> None:
        super().__init__(Message("not now: {reasons:semicolon}", reasons=briefing.held_back))
        self.briefing = briefing


class GatesFirst(Refused):
    """Safety steps come before a reading: those of `briefing`."""

    def __init__(self, briefing: Briefing) -> None:
        titles = tuple(gate.gate.title for gate in briefing.gates)
        super().__init__(Message("first the safety steps: {steps:semicolon}", steps=titles))
        self.briefing = briefing


def take(
    flow: Flow,
    now: datetime,
    probe: Probe,
    text: str,
    *,
    answer: Answer | None = None,
    warmth: str = "",
    confirmed: Collection[str] = (),
    already: bool = False,
    note: str = "",
) -> Flow:
    """
    A reading, a look or an attempt, as typed at a probe; `now` is what this device's clock says.

    `answer` is what the text was understood as, where somebody read it already; `warmth` goes before what
    stands in the text; `confirmed` names the safety steps confirmed with it. One that was taken `already` is
    marked, and nothing is asked before it. Raises `BarredNow` or `GatesFirst` if it is not to be taken now,
    `Refused` if it cannot be understood, or the call cannot use it.
    """
    if not already:
        refuse_unready(flow, flow.briefing(probe), confirmed)
    if not text:
        if not probe.quantity:
            raise Refused(Message("nothing is entered yet; enter one of the answers"))
        form = N_("nothing is entered yet; enter what the display shows, such as {example}")
        raise Refused(Message.of(form, example=EXAMPLES[Quantity(probe.quantity)]))
    read = answer or answer_to(probe, text, warmth)
    _refuse_unmeasured(flow, probe)
    names = flow.briefing(probe).names if confirmed else ()
    after = passed(flow, now, [name for name in confirmed if name in names])
    content = {"probe": probe.id, "value": read.value, "temperature": read.warmth, "note": note}
    return after.keep("reading", now, reading=read.reading, **content)


def _refuse_unmeasured(flow: Flow, probe: Probe) -> None:
    """Refuse microfarads of a meter that has no such range: they were read with another one."""
    meter = probe.meter or flow.call.meter
    if probe.quantity != Quantity.CAPACITANCE or meter.measures(Quantity.CAPACITANCE):
        return
    raise Refused(
        Message(
            "a {meter} shows no microfarads: name the meter it was read with, or measure ohms: the reading of"
            " a sound capacitor starts low and climbs",
            meter=Message.of(meter.title),
        )
    )


def refuse_unready(flow: Flow, briefing: Briefing, confirmed: Collection[str] = ()) -> None:
    """Refuse what is barred now, and what safety steps come before that were not confirmed with it."""
    if flow.call.stopped or briefing.barred:
        raise BarredNow(briefing)
    if briefing.gates and not (briefing.dead and list(confirmed) == list(briefing.names)):
        raise GatesFirst(briefing)


def arrangement_named(flow: Flow, now: datetime, name: str, others: Collection[str] = ()) -> Flow:
    """
    The start arrangement, or another one; what else is known of the machine stays. Raises `Unknown` for none.

    Its usual protector is taken where it does not come with the one known. If what was seen fits `others` as
    well, it is taken for now only, which is said on the record.
    """
    known = given_last(flow.events, flow.call, MachineRead)
    protector = known.get("protector", "")
    if protector not in arrangement(name).protectors:
        protector = ""
    fits = {"provisional": bool(others), "also_fits": list(others)}
    if known.get("volts") and not arrangement(name).frame.serves(known["volts"]):
        known["volts"] = None  # of another kind of machine: to be read again
    return flow.keep("machine", now, **{**known, "arrangement": name, "protector": protector, **fits})


def passed(flow: Flow, now: datetime, names: Iterable[str], words: str = "") -> Flow:
    """Safety steps were done: every gate is an event of its own, with what it was about."""
    wanted = [gate_named(name).name for name in names]
    known = {gate.name: gate.matter for gate in flow.call.gates_of(wanted)} if wanted else {}
    for name in wanted:
        matter = known.get(name, "") if flow.call.machine is not None else ""
        flow = flow.keep("gate", now, gate=name, words=words, matter=matter)
    return flow


def corrected(flow: Flow, now: datetime, name: str = "") -> Flow:
    """
    The doubted reading is put right in a way proposed (`Flow.doubt`): the first, or by name or number.

    It is a correction of that reading, not another one; what was written stays on the call. Raises `Refused`
    where no reading is doubted, `Unknown` for no such way.
    """
    doubt = flow.doubt
    if doubt is None:
        raise Refused(Message("no reading is in doubt now; to take the last one back, type undo"))
    names = [fix.name for fix in doubt.fixes]
    fix = doubt.fixes[names.index(one_of(Message("way to put it right"), name, names)) if name else 0]
    for change in fix.changes:
        flow = flow.keep(
            "correction",
            now,
            of=change.of,
            value=change.value,
            probe=change.probe,
            temperature=change.temperature,
        )
    return flow


def cleared(flow: Flow, now: datetime, event: str, how: str) -> Flow:
    """
    A hazard, by the event that recorded it, was cleared, and how. Only this reopens the call.

    Raises `Refused` if nothing is open under that event, or it is not said how.
    """
    stoppage = next((open_hazard for open_hazard in flow.call.stoppages if open_hazard.event == event), None)
    if stoppage is None:
        raise Refused(Message("this call is not stopped for that now"))
    if not how:
        raise Refused(stoppage.stop.answer)
    if stoppage.stop.proof:
        flow = passed(flow, now, [stoppage.stop.proof], how)
    if any(open_hazard.event == event for open_hazard in flow.call.stoppages):
        flow = flow.keep("cleared", now, of=event, words=how)
    return flow


def decided(flow: Flow, now: datetime, remedies: Iterable[str], words: str = "") -> Flow:
    """What is to be done, by names of remedies or the beginning of such."""
    names = [one_of(Message("remedy"), typed, list(flow.shop.remedies)) for typed in remedies]
    return flow.keep("decision", now, remedies=list(dict.fromkeys(names)), words=words)


def undone(flow: Flow, now: datetime, of: str = "") -> Flow:
    """An event is taken back, or brought back if it was: the one named, else the last; no hazard is."""
    event = next((written for written in flow.events if written.id == of), None) if of else None
    if of and event is None:
        raise Refused(Message("there is no event {of} to take back", of=repr(of[:40])))
    event = event or to_undo(flow.events, flow.call)
    if isinstance(event, HazardFound):
        raise Refused(HAZARD_STANDS)
    name = event.id
    if name in flow.call.undone:  # an undo of the undo in force brings it back
        undos = [e for e in live(flow.events, flow.call) if isinstance(e, Undone) and e.of == name]
        name = undos[-1].id if undos else name
    return flow.keep("undo", now, of=name)


def redone(flow: Flow, now: datetime) -> Flow:
    """What was taken back last is brought back; refused if the last thing done was no undo."""
    return flow.keep("undo", now, of=to_redo(flow.events, flow.call).id)
