"""The record: every event in order, each of which can be taken back and brought back."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.findings import HEARD, shown_text
from humclick.errors import HumclickError
from humclick.jobs.events import (
    ComplaintHeard,
    DecisionTaken,
    Event,
    GatePassed,
    HazardCleared,
    HazardFound,
    MachineRead,
    MeterTaken,
    NoteWritten,
    Opened,
    PartFitted,
    PhotoTaken,
    ProbeSkipped,
    ReadingCorrected,
    ReadingTaken,
    RecordingTaken,
    StampRead,
    Undone,
    Waited,
)
from humclick.jobs.standing import given_last, to_undo
from humclick.jobs.taking import undone
from humclick.messages import N_, NOTHING, Message, Value, listed
from humclick.meters import meters
from humclick.safety import gates, stop_at
from humclick.sizes.sound import appliances
from humclick.web.desk import Desk, beside
from humclick.web.exchange import Reply
from humclick.web.typeset import page

#: Kinds of events in words.
KINDS: dict[str, str] = {
    "opened": N_("Call opened"),
    "machine": N_("Machine"),
    "meter": N_("Meter"),
    "stamp": N_("Stamp"),
    "complaint": N_("Complaint"),
    "gate": N_("Safety step passed"),
    "hazard": N_("Hazard found"),
    "cleared": N_("Hazard cleared"),
    "reading": N_("Reading"),
    "correction": N_("Reading corrected"),
    "skip": N_("Left out"),
    "wait": N_("Waited"),
    "fitted": N_("New part"),
    "photo": N_("Photo"),
    "mark": N_("Mark on a photo"),
    "note": N_("Note"),
    "recording": N_("Recording"),
    "decision": N_("Decision"),
    "undo": N_("Taken back"),
}
#: The answer that says nothing.
_NOT_SURE = N_("not sure")
#: Kinds of recordings in words.
RECORDED: dict[str, str] = {"current": N_("Current of a start"), "sound": N_("Sound of a start")}


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One event as shown."""

    id: str
    kind: str
    at: datetime
    #: What it is about, in words that can be translated.
    title: str
    #: What was written down, kept as it is.
    value: str = ""
    #: What it means.
    finding: str = ""
    #: Whether it is not what a healthy part gives.
    warns: bool = False
    sign: Message = NOTHING
    #: Whether it is taken back.
    undone: bool = False
    #: Whether it is a reading that was corrected or struck out later, as it was first written.
    corrected: bool = False
    #: Why it could not be used.
    problem: str = ""
    #: Safety gates it needed that are not on record, by their titles.
    unproved: tuple[str, ...] = ()
    probe: str = ""
    #: Whether a meter showed it.
    measured: bool = False


def _alternates(name: str) -> bool:
    """Whether machines of an arrangement run on alternating current; one that is not known does."""
    return name not in arrangements() or arrangement(name).frame.alternates


def _said(desk: Desk, event: Event) -> tuple[str, str]:
    """Title and value of an event."""
    match event:
        case Opened():
            return "", " · ".join(text for text in (event.customer, event.equipment) if text)
        case MachineRead():
            volts = f"{event.volts:g} V " if event.volts is not None else ""
            figures = [f"{volts}{event.hertz:g} Hz" if _alternates(event.arrangement) else f"{volts}DC"]
            if event.locked_rotor_amps is not None:
                figures.append(f"LRA {event.locked_rotor_amps:g} A")
            if event.rated_load_amps is not None:
                figures.append(f"RLA {event.rated_load_amps:g} A")
            if event.horsepower is not None:
                figures.append(f"{event.horsepower:.3g} hp")
            if event.cooling is not None:
                figures.append(f"{event.cooling:.4g} W")
            figures += [event.refrigerant] if event.refrigerant else []
            kind, text = appliances().get(event.appliance), ", ".join(figures)
            return event.arrangement, listed((text, kind)) if kind is not None else text
        case MeterTaken():
            known_meter = meters().get(event.name)
            return "", event.name if known_meter is None else known_meter.title
        case StampRead():
            return event.part, event.text
        case ComplaintHeard():
            return HEARD.get(event.heard) or Message("not known"), event.words
        case GatePassed():
            known = gates().get(event.gate)
            return known.title if known else event.gate, event.words
        case HazardFound():
            return stop_at(event.gate, event.hazard).title, event.words
        case HazardCleared():
            return "", event.words
        case ReadingTaken():
            return _probe_title(desk, event.probe), event.value
        case ReadingCorrected():
            return _corrected(desk, event)
        case ProbeSkipped():
            return _probe_title(desk, event.probe), event.reason
        case Waited():
            return "", f"{event.minutes:g} min"
        case PartFitted():
            return event.part, event.note
        case PhotoTaken():
            return "", event.caption
        case RecordingTaken():
            return Message.of(RECORDED[event.of]), event.name
        case NoteWritten():
            return "", event.text
        case DecisionTaken():
            return listed(map(desk.remedy, event.remedies), "and"), event.words
        case _:
            return "", ""


def _corrected(desk: Desk, event: ReadingCorrected) -> tuple[str, str]:
    """What a correction is of, and what it says instead."""
    before = next((e for e in desk.flow.events if e.id == event.of and isinstance(e, ReadingTaken)), None)
    if before is None:
        return "", event.value
    title = _probe_title(desk, event.probe or before.probe)
    if event.strikes:
        return title, Message("{value} struck out", value=before.value)
    if event.value:
        return title, Message("{value} in place of {before}", value=event.value, before=before.value)
    if event.temperature:
        return title, Message("{value}, read while warm", value=before.value)
    return title, Message("{value}, read here", value=before.value)


def _probe_title(desk: Desk, name: str) -> str:
    try:
        return desk.flow.probe(name).title
    except HumclickError:
        return name


def with_titles(desk: Desk, message: Message) -> str:
    """A message in the page's language; probes by their part or title, bare pins by letters."""
    known = desk.flow.probes
    parts = desk.call.machine.parts if desk.call.machine is not None else ()

    def title(value: str) -> Value:
        if value not in known:
            return value
        if value.startswith("pins."):
            return value.removeprefix("pins.").replace("-", "–")
        return next((part.family.title for part in parts if part.id == known[value].part), known[value].title)

    return desk.language.plain(message.with_values(title))


def _titled(desk: Desk, title: str) -> str:
    """Names of arrangements and parts in words."""
    machine = desk.call.machine
    if machine is not None:
        if title == machine.arrangement.id:
            return machine.arrangement.title
        for part in machine.parts:
            if part.id == title:
                return part.family.title
    return title


def entries(desk: Desk) -> list[RecordLine]:
    """Every event but undos, in order, with what it means."""
    findings = desk.flow.weighed.findings if desk.flow.weighed is not None else {}
    observations = desk.flow.weighed.situation.observations if desk.flow.weighed is not None else ()
    texts = {observation.id: shown_text(observation) for observation in observations}
    problems = {problem.event: problem.text for problem in desk.call.problems}
    readings = {reading.event: reading for reading in desk.call.readings}
    lines = []
    for event in desk.flow.events:
        if isinstance(event, Undone):
            continue
        title, value = _said(desk, event)
        was = event.id in desk.call.corrected  # what is said of it stands beside its correction
        finding = findings.get(event.of if isinstance(event, ReadingCorrected) else "" if was else event.id)
        reading = readings.get(event.id)
        lines.append(
            RecordLine(
                id=event.id,
                kind=event.kind,
                at=event.at,
                title=_titled(desk, title),
                value=("" if was else texts.get(event.id)) or HEARD.get(value) or Message.of(value)
                if isinstance(event, ReadingTaken)
                else value,
                finding=finding.text if finding else "",
                warns=finding.warns if finding else False,
                sign=finding.sign if finding else NOTHING,
                undone=event.id in desk.call.undone and not isinstance(event, HazardFound),
                corrected=was,
                problem=problems.get(event.id, ""),
                unproved=(*(gates()[name].title for name in reading.unproved), *reading.against)
                if reading
                else (),
                probe=event.probe if isinstance(event, ReadingTaken) else "",
                measured=reading is not None and reading.reading is not None,
            )
        )
    return lines


def last_entry(desk: Desk) -> RecordLine | None:
    """The last thing done, where it can be taken back."""
    try:
        last = to_undo(desk.flow.events, desk.call)
    except HumclickError:
        return None
    return next((entry for entry in reversed(entries(desk)) if entry.id == last.id), None)


def show(desk: Desk) -> Reply:
    """The record."""
    header = desk.call.header
    heading = {"equipment": header.equipment if header else "", "customer": header.customer if header else ""}
    return page(
        "record.html",
        desk,
        N_("Record"),
        entries=entries(desk),
        kinds=KINDS,
        torn=desk.unread,
        heading=heading,
        machine_of=_machine_again(desk),
    )


def _machine_again(desk: Desk) -> str:
    """The machine and its stamps as JSON, for a new call on the same one."""
    machine = given_last(desk.flow.events, desk.call, MachineRead)
    if not machine:
        return ""
    stamps = [[stamp.part, stamp.text] for stamp in desk.call.stamps]
    return json.dumps({"machine": machine, "stamps": stamps}, ensure_ascii=False, separators=(",", ":"))


def take_undo(desk: Desk) -> Reply:
    """Take an event back, or bring it back: the one named, else the last."""
    with beside("of"):
        desk.flow = undone(desk.flow, desk.request.now, desk.request.given("of"))
    return desk.go(desk.back())


def take_note(desk: Desk) -> Reply:
    """Keep a note."""
    with beside("text"):
        desk.keep("note", text=desk.request.given("text"))
    return desk.go(desk.back("record"))
