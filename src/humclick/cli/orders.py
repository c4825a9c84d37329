"""
What can be ordered in a call besides readings: ``wait 10``, ``undo``, ``why`` and the like.

Each order is a word at the beginning of a line; what stands behind it is its own business. Minutes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

from humclick.arrangements.arrangement import arrangements
from humclick.circuit.drawing import draw_text
from humclick.cli import layout, words
from humclick.cli.ending import proof_in_words
from humclick.cli.language import say
from humclick.cli.opening import FACTS, arrangements_in_words, questions_for, set_fact
from humclick.cli.own_words import english, in_english
from humclick.cli.reading import read
from humclick.diagnosis.probes import Probe
from humclick.diagnosis.reasons import WhatIf
from humclick.errors import HumclickError, Refused, Unknown
from humclick.jobs import taking
from humclick.jobs.briefing import briefed
from humclick.jobs.entry import Answer, answer_to, figure, named, one_of, probe_named
from humclick.jobs.event_tables import table_of
from humclick.jobs.events import Event, Undone
from humclick.jobs.fold import COMPRESSOR
from humclick.jobs.result import result_of
from humclick.jobs.standing import UNNAMED_PINS, to_redo
from humclick.jobs.taking import decided, passed, redone, undone
from humclick.messages import Message, Verbatim, listed
from humclick.meters import meters
from humclick.readings.shown import percent
from humclick.safety import Stop, place_of, stop_meant, stops, stops_at

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.flow import Flow

__all__ = ["ORDERS", "Order", "order_in"]

_MINUTES = {
    **dict.fromkeys(("", "min", "minute", "minutes", "m"), 1.0),
    **dict.fromkeys(("h", "hour", "hours"), 60.0),
}


@dataclass(frozen=True, slots=True)
class Order:
    """An order: what follows the word, what it does, and how."""

    form: str
    says: str
    does: Callable[[Session, str], str]


def done(session: Session, rest: str) -> str:
    """Record that the safety steps shown are done; where nothing is live, the reading may follow."""
    briefing, probe = session.briefing(), session.asked
    if not briefing.gates or probe is None:
        raise Refused(Message("no safety step is waiting; type the reading, or help"))
    answer = _answer(probe, in_english(probe, rest))
    if answer is not None and briefing.dead:
        said = read(session, probe.id, rest, answer=answer, confirmed=briefing.names)
        session.screen.confirmed = True
        return said
    if answer is not None and probe.quantity:
        raise Refused(
            Message(
                "type done alone; then, with the steps done, the reading: {typed}", typed=Verbatim(rest[:40])
            )
        )
    session.record(passed(session.flow, session.now(), briefing.names, rest))
    session.screen.confirmed = True
    return layout.lines(words.recorded(listed((each.gate.title for each in briefing.gates), "semicolon")))


def _answer(probe: Probe, text: str) -> Answer | None:
    """The reading or the answer that a text gives for a probe; None if it gives none."""
    try:
        return answer_to(probe, text) if text else None
    except HumclickError:
        return None


def safety(session: Session, rest: str) -> str:
    """Show everything there is to read of safety before a probe, with the rules of the place."""
    call, name = session.call, _probe(session, rest)
    probe = session.probe(name)
    shown = [each.hazard for each in briefed((), call, probe, session.shop).hazards]
    return words.safety_in_words(call.gates_of(probe.gates), shown, place_of(call.place))


def cannot(session: Session, rest: str) -> str:
    """Record what stands in the way of the safety steps shown: a hazard, which stops the work."""
    gates, probe = session.briefing().gates, session.asked
    if probe is None:
        raise Refused(Message("nothing is asked for now"))
    if not gates:
        session.keep("skip", probe=probe.id, reason=f"cannot be done here. {rest}".strip())
        session.release(probe.id)
        return layout.lines(words.left_out(probe.id, Message("Not sure? Stop and hand over.")))
    offered = {
        str(each.said): (each, shown.gate.name) for shown in gates for each in stops_at(shown.gate.name)
    }
    if not rest:
        asked = say(Message("What is in the way? Type cannot and the number, or say it:"))
        rows = [f"  {k}  {say(each.said)}" for k, (each, _) in enumerate(offered.values(), start=1)]
        return "\n".join((asked, *rows))
    if rest.isdecimal():
        found, gate = offered[one_of("hazard", rest, list(offered))]
    else:
        said = english(rest, (each.said for each, _ in offered.values()))
        found, gate = stop_meant(gates[0].gate.name, said), gates[0].gate.name
    return _stopped(session, found, gate, "" if rest.isdecimal() else rest)


def stop(session: Session, rest: str) -> str:
    """Record a hazard that stops the work, at any time."""
    if not rest:
        rows = layout.table([(each.name, each.said) for each in stops().values()])
        return "\n".join((say(Message("What was found? Type stop and its name, or say it:")), rows))
    said = english(rest, (each.said for each in stops().values()))
    return _stopped(session, stop_meant("", said), "", rest)


def _stopped(session: Session, found: Stop, gate: str, told: str) -> str:
    session.keep("hazard", hazard=found.name, gate=gate, words=told)
    session.queue, session.chosen = [], ""
    return layout.lines(words.recorded(found.title))


def hazard_cleared(session: Session, rest: str) -> str:
    """Record how a hazard that stopped the work was cleared; only this reopens the call."""
    open_ = session.call.stopped or session.call.stoppages
    if not open_:
        raise Refused(Message("nothing stops this call"))
    stoppage = open_[0]
    if not rest:
        raise Refused(Message("{answer} Type cleared and the answer", answer=stoppage.stop.answer))
    session.record(taking.cleared(session.flow, session.now(), stoppage.event, rest))
    return layout.lines(words.recorded(Message("{hazard}: cleared", hazard=stoppage.stop.title)))


def skip(session: Session, rest: str) -> str:
    """Leave out a probe that cannot be done here."""
    first, _, more = rest.partition(" ")
    name = probe_named(first, session.flow.probes) if first else None
    if name is None:
        probe = session.asked
        if probe is None:
            raise Refused(Message("skip what? Write the probe's name: skip pins.shell no bare metal"))
        name, more = probe.id, rest
    session.keep("skip", probe=name, reason=more.strip())
    session.release(name)
    return layout.lines(words.left_out(name))


def fitted(session: Session, rest: str) -> str:
    """Record that a new part was fitted."""
    parts = [*(part.id for part in session.situation.machine.parts), COMPRESSOR]
    first, _, note = rest.partition(" ")
    part = named(rest, parts) or named(first, parts)
    if not rest or part is None:
        raise Unknown("part", rest[:60], parts)
    session.keep("fitted", part=part, note=note.strip() if named(rest, parts) is None else "")
    new = Message(
        "New: {part}. Older readings of the old one stay, and no longer count for it.", part=Verbatim(part)
    )
    return layout.lines(new)


_WARMTH = {
    True: Message("still taken as hot"),
    False: Message("taken as cold now"),
    None: Message("how warm it is, is not known"),
}


def wait(session: Session, rest: str) -> str:
    """Record that the machine was left alone for some minutes."""
    minutes = figure(rest, "wait", _MINUTES, Message("wait 10 or wait 1.5 h"))
    session.keep("wait", minutes=minutes)
    told = Message(
        "Waited {minutes:g} min since the last try; {warmth}.",
        minutes=session.call.waited,
        warmth=_WARMTH[session.call.hot],
    )
    return layout.lines(told)


def stamp(session: Session, rest: str) -> str:
    """Record what is stamped on a part."""
    part, _, text = rest.partition(" ")
    if not text.strip():
        raise Refused(Message("stamp of what? Write part and text: stamp start_capacitor 88-108 MFD 125 VAC"))
    known = [*(each.id for each in session.situation.machine.parts), COMPRESSOR]
    found = named(part, known)
    if found is None:
        raise Unknown("part", part[:60], known)
    session.keep("stamp", part=found, text=text.strip())
    return layout.lines(Message("Stamp of {part}: {text}", part=found, text=Verbatim(text.strip())))


def note(session: Session, rest: str) -> str:
    """Keep a note."""
    session.keep("note", text=rest)
    return say(Message("Noted."))


def _told(event: Event) -> str:
    shared = {"kind", *(each.name for each in fields(Event))}
    table = {key: value for key, value in table_of(event).items() if key not in (*shared, "ended")}
    return f"{event.kind} {' '.join(str(value) for value in table.values())}".strip()


def undo(session: Session, rest: str) -> str:
    """Take back the last line that was kept."""
    if rest:
        raise Refused(
            Message("undo takes back the last thing; type undo alone, several times to go back further")
        )
    of = _undo_kept(session, undone(session.flow, session.now()))
    if session.questions and session.call.machine is None:  # the machine itself was taken back
        session.questions = questions_for(session.events, session.call)
    return layout.lines(Message("Taken back: {what}. (redo brings it back)", what=Verbatim(of)))


def redo(session: Session, rest: str) -> str:
    """Bring back what was taken back last."""
    last = to_redo(session.events, session.call)
    session.record(redone(session.flow, session.now()))
    back = next((event for event in session.events if event.id == last.of), None)
    if back is None:
        return ""
    return layout.lines(Message("Brought back: {what}.", what=Verbatim(_told(back))))


def _undo_kept(session: Session, after: Flow) -> str:
    """Write down that something was taken back; what it was."""
    undo = session.record(after)[-1]
    assert isinstance(undo, Undone)
    return _told(next(event for event in session.events if event.id == undo.of))


_UNJUDGED = Message("nothing can be judged yet")


def why(session: Session, rest: str) -> str:
    """Say how strongly each reading speaks, or why a probe is advised."""
    if not rest:
        if session.advice is None:
            raise Refused(_UNJUDGED)
        return words.why_in_words(result_of(session.call, session.shop, why=True, advice=session.advice))
    name = _probe(session, rest)
    advice = session.advice
    if advice is None:
        raise Refused(_UNJUDGED)
    for value in (advice.next, *advice.alternatives):
        if value is not None and value.probe == name:
            worth = Message("Worth {worth:.2f} money, its cost taken off.", worth=value.worth)
            return f"{words.next_in_words(value)}\n{layout.lines(worth, '  ')}"
    told = words.what_if_in_words(name, _what_if(session, name))
    least = Message("{probe} is not among the probes worth most now.", probe=name)
    return f"{layout.lines(least)}\n{told}"


def _probe(session: Session, text: str) -> str:
    """Name of the probe meant, or of the one asked for where nothing is said."""
    if not text:
        probe = session.asked
        if probe is None:
            raise Refused(Message("which probe? Write its name, such as: what if pins.C-R"))
        return probe.id
    return session.probe(probe_named(text, session.flow.probes) or text).id


def _what_if(session: Session, probe: str) -> Sequence[WhatIf]:
    return session.flow.weighed.what_if(probe) if session.flow.weighed is not None else ()


def what(session: Session, rest: str) -> str:
    """Say what each outcome of a probe would change."""
    first, _, name = rest.partition(" ")
    name = name.strip() if first.casefold() == "if" else rest
    found = _probe(session, name)
    return words.what_if_in_words(found, _what_if(session, found))


def suspects(session: Session, rest: str) -> str:
    """Show all suspects, what is needed how probably, and readings that do not fit."""
    weighed, advice = session.flow.weighed, session.advice
    if weighed is None or advice is None:
        session.situation  # noqa: B018  says what is missing
        return ""
    result = result_of(session.call, session.shop, advice=advice)
    needed = Message("May still be needed") if result.done else Message("Needed")
    shown = [words.standing_in_words(result, 8), layout.label(needed).rstrip()]
    for remedy, p in advice.remedies:
        shown.append(layout.lines(Message.of(remedy), f"  {percent(p):>5}  {layout.bar(p)}  "))
    shown += [layout.lines(text, "!! ") for text in weighed.contradictions]
    return "\n".join(shown)


def draw(session: Session, rest: str) -> str:
    """Draw the wiring, with the points of a probe."""
    machine = session.situation.machine
    probe = session.asked
    name = _probe(session, rest) if rest else probe.id if probe is not None else ""
    if not name:
        return draw_text(machine, translate=say)
    asked = session.probe(name)
    return draw_text(machine, asked.points, asked.clamp, translate=say)


def pins(session: Session, rest: str) -> str:
    """Take the three readings between pins that are not named yet."""
    values = rest.split()
    if values and len(values) != 3:
        raise Refused(
            Message(
                "pins takes three readings, 1-2, 1-3, 2-3, such as: pins 4.0 11.0 15.0; or none to be asked"
            )
        )
    session.probe(UNNAMED_PINS[0])
    if not values:
        session.queue = list(UNNAMED_PINS)
        number = Message(
            "Number the pins on your photo: left to right, then top to bottom, compressor the right way up."
        )
        return layout.lines(number)
    session.queue = list(UNNAMED_PINS)
    try:
        return "\n".join(
            read(session, name, value, already=True) for name, value in zip(UNNAMED_PINS, values, strict=True)
        )
    finally:
        session.queue = []


def list_(session: Session, rest: str) -> str:
    """List probes, or arrangements, parts, remedies, meters."""
    what = one_of("list", rest or "probes", ["probes", "arrangements", "parts", "remedies", "meters"])
    if what == "arrangements":
        return arrangements_in_words()
    if what == "remedies":
        return layout.table([(name, each.title) for name, each in session.shop.remedies.items()])
    if what == "meters":
        return layout.table([(name, each.title) for name, each in meters().items()])
    if what == "parts":
        return layout.table([(part.id, part.family.title) for part in session.situation.machine.parts])
    taken = {reading.probe for reading in session.call.readings}
    rows = []
    for name, probe in session.flow.probes.items():
        skipped = Message("left out") if name in session.call.skipped else ""
        state = Message("taken") if name in taken else skipped
        rows.append((name, f"{probe.minutes:g} min", state, probe.title))
    if not rows:
        some = tuple(arrangements()[:3])
        raise Refused(Message("no probes yet: name the arrangement first ({names} …)", names=some))
    return layout.table(rows)


def decide(session: Session, rest: str) -> str:
    """Record what is to be done: the verdict, or remedies by name."""
    advice = session.advice
    names = list(session.shop.remedies)
    if rest:
        between = "|".join({" and ", re.escape(say(Message(" and "))), ","})
        given = [
            one_of("remedy", english(each, names), names) for each in re.split(between, rest) if each.strip()
        ]
    elif advice is not None and advice.verdict is not None:
        given = list(advice.verdict.due)
    else:
        raise Refused(
            Message("there is no verdict yet; name what you decide, such as: decide replace starter")
        )
    if not given:
        raise Refused(Message("nothing is left to decide; to decide otherwise name a remedy (list remedies)"))
    session.record(decided(session.flow, session.now(), given))
    said = layout.lines(Message("Decided: {remedies}.", remedies=words.remedies_named(given)))
    proof = proof_in_words(session, given) if session.call.machine is not None else ""
    return f"{said}\n{proof}" if proof else said


def sheet(session: Session, rest: str) -> str:
    """Write the job sheet beside the call file, or where it is told."""
    from humclick.cli.sheet import write_sheet

    path = Path(rest).expanduser() if rest else session.path.with_suffix(".html")
    write_sheet(session.call, session.shop, path, quiet=True)
    return layout.lines(Message("Sheet written to {path}", path=Verbatim(path)))


def machine(session: Session, rest: str) -> str:
    """Show what is known of the machine, the meter and the complaint."""
    call = session.call
    nulled = Message("nulled") if call.leads.nulled else Message("not nulled")
    told = Message("Meter: {meter}, leads {nulled}.", meter=call.meter.name, nulled=nulled)
    complaint = str(call.complaint) if call.complaint else Message("not known")
    heard = words.paragraphs(Message("Complaint: {complaint}.", complaint=complaint), call.words)
    shown = (words.machine_in_words(session.situation.machine), layout.lines(told), layout.lines(heard))
    return "\n".join(shown)


def leave(session: Session, rest: str) -> str:
    """Leave; everything is kept."""
    session.over = True
    return ""


def help_(session: Session, rest: str) -> str:
    """Show what can be typed."""
    rows: list[tuple[str, str]] = [
        (
            Message("READING"),
            Message("what the display shows for the probe asked for: 4.7, 4k7, OL, 14.84 uF, 118 V"),
        ),
        ("… hot, cold, @35 C", Message("how warm the part was, behind the reading")),
        (
            Message("PROBE READING"),
            Message("any probe, in any order, several lines at once: ptc.ohms 4.7 cold, or C-R 3.2"),
        ),
        (Message("PROBE"), Message("ask for another probe")),
    ]
    for name, order in ORDERS.items():
        if order.says:
            rows.append((f"{name} {say(order.form)}".strip(), order.says))
    return layout.table(rows)


def _fact(name: str) -> Order:
    def does(session: Session, rest: str) -> str:
        return set_fact(session, name, rest)

    return Order("…", "", does)


#: Every order by its word.
ORDERS: dict[str, Order] = {
    "done": Order(
        Message("[READING]"),
        Message("the safety steps shown are done; with power off, with the reading"),
        done,
    ),
    "safety": Order(
        Message("[PROBE]"), Message("all there is to read of safety before it, with sources"), safety
    ),
    "cannot": Order(
        Message("[NUMBER or WORDS]"), Message("they cannot be done: say what is in the way"), cannot
    ),
    "stop": Order(Message("[HAZARD]"), Message("a hazard was found: the work stops here"), stop),
    "cleared": Order(
        Message("HOW"), Message("how the hazard was cleared; only this reopens the call"), hazard_cleared
    ),
    "skip": Order(Message("[PROBE] [REASON]"), Message("leave a probe out"), skip),
    "fitted": Order(Message("PART"), Message("a new part was fitted"), fitted),
    "wait": Order(Message("MINUTES"), Message("it was left to cool"), wait),
    "stamp": Order(
        Message("PART TEXT"), Message("what stands on a part: stamp start_capacitor 88-108 MFD"), stamp
    ),
    "note": Order(Message("TEXT"), Message("keep a note"), note),
    "undo": Order("", Message("take back the last thing"), undo),
    "redo": Order("", Message("bring it back"), redo),
    "why": Order(Message("[PROBE]"), Message("why it looks so, or why this probe"), why),
    "what": Order(Message("if PROBE"), Message("what each outcome of a probe would change"), what),
    "suspects": Order("", Message("all suspects and remedies"), suspects),
    "draw": Order(Message("[PROBE]"), Message("the wiring, with the points to probe"), draw),
    "pins": Order(Message("[1-2 1-3 2-3]"), Message("three readings between pins not named yet"), pins),
    "list": Order(Message("[WHAT]"), Message("probes; or arrangements, parts, remedies, meters"), list_),
    "decide": Order(Message("[REMEDIES]"), Message("record the decision"), decide),
    "sheet": Order(Message("[FILE]"), Message("write the job sheet"), sheet),
    "machine": Order(
        "", Message("what is known; to correct it: {facts} and the right value", facts=tuple(FACTS)), machine
    ),
    "help": Order("", Message("this list"), help_),
    "quit": Order("", Message("leave; everything is kept"), leave),
    **{name: _fact(name) for name in FACTS},
}
_ALSO = {"exit": "quit", "q": "quit", "h": "help", "yes": "decide", "whatif": "what", "probes": "list"}


def order_in(line: str) -> Callable[[Session], str] | None:
    """The order a line gives, ready to be carried out; None if it gives none."""
    first, _, rest = line.partition(" ")
    word = first.casefold().removesuffix(":")
    order = ORDERS.get(_ALSO.get(word, word))
    if order is None:
        return None
    does = order.does
    return lambda session: does(session, rest.strip())
