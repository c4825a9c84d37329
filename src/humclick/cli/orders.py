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


def _done(session: Session, rest: str) -> str:
    """Record that the safety steps shown are done; where nothing is live, the reading may follow."""
    briefing, probe = session.step.briefing, session.step.probe
    if not briefing.gates or probe is None:
        raise Refused(Message("no safety step is waiting; type the reading, or help"))
    answer = _answer(probe, in_english(probe, rest))
    if answer is not None and briefing.dead:
        answered = read(session, probe.id, rest, answer=answer, confirmed=briefing.names)
        session.screen.confirmed = True
        return answered
    if answer is not None and probe.quantity:
        raise Refused(
            Message(
                "type done alone; then, with the steps done, the reading: {typed}", typed=Verbatim(rest[:40])
            )
        )
    session.record(passed(session.flow, session.now(), briefing.names, rest))
    session.screen.confirmed = True
    return layout.lines(words.on_record(listed((step.gate.title for step in briefing.gates), "semicolon")))


def _answer(probe: Probe, text: str) -> Answer | None:
    """The reading or the answer that a text gives for a probe; None if it gives none."""
    try:
        return answer_to(probe, text) if text else None
    except HumclickError:
        return None


def _safety(session: Session, rest: str) -> str:
    """Show everything there is to read of safety before a probe, with the rules of the place."""
    call, name = session.call, _probe(session, rest)
    probe = session.probe(name)
    hazards = [meeting.hazard for meeting in briefed((), call, probe, session.flow.shop).hazards]
    return words.safety_in_words(call.gates_of(probe.gates), hazards, place_of(call.place))


def _cannot(session: Session, rest: str) -> str:
    gates, probe = session.step.briefing.gates, session.step.probe
    if probe is None:
        raise Refused(Message("nothing is asked for now"))
    if not gates:
        session.keep("skip", probe=probe.id, reason=f"cannot be done here. {rest}".strip())
        session.release(probe.id)
        return layout.lines(words.left_out(probe.id, Message("Not sure? Stop and hand over.")))
    offered = {
        str(hazard.said): (hazard, step.gate.name) for step in gates for hazard in stops_at(step.gate.name)
    }
    if not rest:
        question = say(Message("What is in the way? Type cannot and the number, or say it:"))
        rows = [f"  {k}  {say(hazard.said)}" for k, (hazard, _) in enumerate(offered.values(), start=1)]
        return "\n".join((question, *rows))
    if rest.isdecimal():
        hazard, gate = offered[one_of(Message("hazard"), rest, list(offered))]
    else:
        words_typed = english(rest, (hazard.said for hazard, _ in offered.values()))
        hazard, gate = stop_meant(gates[0].gate.name, words_typed), gates[0].gate.name
    return _stopped(session, hazard, gate, "" if rest.isdecimal() else rest)


def _stop(session: Session, rest: str) -> str:
    if not rest:
        rows = layout.table([(hazard.name, hazard.said) for hazard in stops().values()])
        return "\n".join((say(Message("What was found? Type stop and its name, or say it:")), rows))
    text = english(rest, (hazard.said for hazard in stops().values()))
    return _stopped(session, stop_meant("", text), "", rest)


def _stopped(session: Session, hazard: Stop, gate: str, typed: str) -> str:
    session.keep("hazard", hazard=hazard.name, gate=gate, words=typed)
    session.queue, session.chosen = [], ""
    return layout.lines(words.on_record(hazard.title))


def _cleared(session: Session, rest: str) -> str:
    open_ = session.call.stopped or session.call.stoppages
    if not open_:
        raise Refused(Message("nothing stops this call"))
    stoppage = open_[0]
    if not rest:
        raise Refused(Message("{answer} Type cleared and the answer", answer=stoppage.stop.answer))
    session.record(taking.cleared(session.flow, session.now(), stoppage.event, rest))
    return layout.lines(words.on_record(Message("{hazard}: cleared", hazard=stoppage.stop.title)))


def _skip(session: Session, rest: str) -> str:
    first, _, more = rest.partition(" ")
    name = probe_named(first, session.flow.probes) if first else None
    if name is None:
        probe = session.step.probe
        if probe is None:
            raise Refused(Message("skip what? Write the probe's name: skip pins.shell no bare metal"))
        name, more = probe.id, rest
    session.keep("skip", probe=name, reason=more.strip())
    session.release(name)
    return layout.lines(words.left_out(name))


def _fitted(session: Session, rest: str) -> str:
    parts = [*(part.id for part in session.situation.machine.parts), COMPRESSOR]
    first, _, note = rest.partition(" ")
    part = named(rest, parts) or named(first, parts)
    if not rest or part is None:
        raise Unknown(Message("part"), rest[:60], parts)
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


def _wait(session: Session, rest: str) -> str:
    minutes = figure(rest, "wait", _MINUTES, Message("wait 10 or wait 1.5 h"))
    session.keep("wait", minutes=minutes)
    sentence = Message(
        "Waited {minutes:g} min since the last try; {warmth}.",
        minutes=session.call.waited,
        warmth=_WARMTH[session.call.hot],
    )
    return layout.lines(sentence)


def _stamp(session: Session, rest: str) -> str:
    part, _, text = rest.partition(" ")
    if not text.strip():
        raise Refused(Message("stamp of what? Write part and text: stamp start_capacitor 88-108 MFD 125 VAC"))
    known = [*(member.id for member in session.situation.machine.parts), COMPRESSOR]
    name = named(part, known)
    if name is None:
        raise Unknown(Message("part"), part[:60], known)
    session.keep("stamp", part=name, text=text.strip())
    return layout.lines(Message("Stamp of {part}: {text}", part=name, text=Verbatim(text.strip())))


def _note(session: Session, rest: str) -> str:
    session.keep("note", text=rest)
    return say(Message("Noted."))


def _told(event: Event) -> str:
    shared = {"kind", *(field.name for field in fields(Event))}
    table = {key: value for key, value in table_of(event).items() if key not in (*shared, "ended")}
    return f"{event.kind} {' '.join(str(value) for value in table.values())}".strip()


def _undo(session: Session, rest: str) -> str:
    if rest:
        raise Refused(
            Message("undo takes back the last thing; type undo alone, several times to go back further")
        )
    event = session.record(undone(session.flow, session.now()))[-1]
    assert isinstance(event, Undone)
    what = next(_told(past) for past in session.flow.events if past.id == event.of)
    if session.questions and session.call.machine is None:  # the machine itself was taken back
        session.questions = questions_for(session.flow.events, session.call)
    return layout.lines(Message("Taken back: {what}. (redo brings it back)", what=Verbatim(what)))


def _redo(session: Session, rest: str) -> str:
    last = to_redo(session.flow.events, session.call)
    session.record(redone(session.flow, session.now()))
    back = next((event for event in session.flow.events if event.id == last.of), None)
    if back is None:
        return ""
    return layout.lines(Message("Brought back: {what}.", what=Verbatim(_told(back))))


def _fix(session: Session, rest: str) -> str:
    """Put the doubted reading right as proposed; it stays on the call as it was typed."""
    before = session.flow.doubt
    after = taking.corrected(session.flow, session.now(), rest)
    done = session.record(after)
    weighed = session.flow.weighed
    finding = weighed.findings.get(before.of) if before is not None and weighed is not None else None
    said = Message("Corrected; what you typed first stays on the call.")
    pieces = [layout.lines(said)]
    if finding is not None:
        pieces.append(layout.lines(finding.text, "! " if finding.warns else "  "))
    elif done:
        pieces.append(layout.lines(Message("Read it again: lift the tips, press, same two points."), "  "))
    return "\n".join(pieces)


def _why(session: Session, rest: str) -> str:
    """Say how strongly each reading speaks, or why a probe is advised."""
    name = _probe(session, rest) if rest else ""
    advice = session.flow.advice
    if advice is None:
        raise Refused(Message("nothing can be judged yet"))
    if not rest:
        return words.why_in_words(result_of(session.call, session.flow.shop, why=True, advice=advice))
    for value in (advice.next, *advice.alternatives):
        if value is not None and value.probe == name:
            worth = Message("Worth {worth:.2f} money, its cost taken off.", worth=value.worth)
            return f"{words.next_in_words(value)}\n{layout.lines(worth, '  ')}"
    least = Message("{probe} is not among the probes worth most now.", probe=name)
    return f"{layout.lines(least)}\n{words.what_if_in_words(name, _what_if(session, name))}"


def _probe(session: Session, text: str) -> str:
    """Name of the probe meant, or of the one asked for where nothing is said."""
    if not text:
        probe = session.step.probe
        if probe is None:
            raise Refused(Message("which probe? Write its name, such as: what if pins.C-R"))
        return probe.id
    return session.probe(probe_named(text, session.flow.probes) or text).id


def _what_if(session: Session, probe: str) -> Sequence[WhatIf]:
    return session.flow.weighed.what_if(probe) if session.flow.weighed is not None else ()


def _what(session: Session, rest: str) -> str:
    first, _, name = rest.partition(" ")
    name = name.strip() if first.casefold() == "if" else rest
    probe = _probe(session, name)
    return words.what_if_in_words(probe, _what_if(session, probe))


def _suspects(session: Session, rest: str) -> str:
    weighed, advice = session.flow.weighed, session.flow.advice
    if weighed is None or advice is None:
        session.situation  # noqa: B018  says what is missing
        return ""
    result = result_of(session.call, session.flow.shop, advice=advice)
    needed = Message("May still be needed") if result.done else Message("Needed")
    pieces = [words.standing_in_words(result, 8), layout.label(needed).rstrip()]
    for remedy, p in advice.remedies:
        pieces.append(layout.lines(Message.of(remedy), f"  {percent(p):>5}  {layout.bar(p)}  "))
    pieces += [layout.lines(text, "!! ") for text in weighed.contradictions]
    return "\n".join(pieces)


def _draw(session: Session, rest: str) -> str:
    machine = session.situation.machine
    probe = session.step.probe
    name = _probe(session, rest) if rest else probe.id if probe is not None else ""
    if not name:
        return draw_text(machine, translate=say)
    marked = session.probe(name)
    return draw_text(machine, marked.points, marked.clamp, translate=say)


def _pins(session: Session, rest: str) -> str:
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


def _list(session: Session, rest: str) -> str:
    what = one_of(
        Message("list"), rest or "probes", ["probes", "arrangements", "parts", "remedies", "meters"]
    )
    if what == "arrangements":
        return arrangements_in_words()
    if what == "remedies":
        return layout.table([(name, entry.title) for name, entry in session.flow.shop.remedies.items()])
    if what == "meters":
        return layout.table([(name, entry.title) for name, entry in meters().items()])
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


def _decide(session: Session, rest: str) -> str:
    advice = session.flow.advice
    names = list(session.flow.shop.remedies)
    if rest:
        between = "|".join({" and ", re.escape(say(Message(" and "))), ","})
        remedies = [
            one_of(Message("remedy"), english(name, names), names)
            for name in re.split(between, rest)
            if name.strip()
        ]
    elif advice is not None and advice.verdict is not None:
        remedies = list(advice.verdict.due)
    else:
        raise Refused(
            Message("there is no verdict yet; name what you decide, such as: decide replace starter")
        )
    if not remedies:
        raise Refused(Message("nothing is left to decide; to decide otherwise name a remedy (list remedies)"))
    session.record(decided(session.flow, session.now(), remedies))
    sentence = layout.lines(Message("Decided: {remedies}.", remedies=words.remedies_typed(remedies)))
    proof = proof_in_words(session, remedies) if session.call.machine is not None else ""
    return f"{sentence}\n{proof}" if proof else sentence


def _sheet(session: Session, rest: str) -> str:
    from humclick.cli.sheet import write_sheet

    path = Path(rest).expanduser() if rest else session.path.with_suffix(".html")
    write_sheet(session.call, session.flow.shop, path, quiet=True)
    return layout.lines(Message("Sheet written to {path}", path=Verbatim(path)))


def _machine(session: Session, rest: str) -> str:
    call = session.call
    nulled = Message("nulled") if call.leads.nulled else Message("not nulled")
    meter = Message("Meter: {meter}, leads {nulled}.", meter=call.meter.name, nulled=nulled)
    complaint = str(call.complaint) if call.complaint else Message("not known")
    heard = words.paragraphs(Message("Complaint: {complaint}.", complaint=complaint), call.words)
    pieces = (words.machine_in_words(session.situation.machine), layout.lines(meter), layout.lines(heard))
    return "\n".join(pieces)


def _leave(session: Session, rest: str) -> str:
    session.over = True
    return ""


def _help(session: Session, rest: str) -> str:
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
        _done,
    ),
    "safety": Order(
        Message("[PROBE]"), Message("all there is to read of safety before it, with sources"), _safety
    ),
    "cannot": Order(
        Message("[NUMBER or WORDS]"), Message("they cannot be done: say what is in the way"), _cannot
    ),
    "stop": Order(Message("[HAZARD]"), Message("a hazard was found: the work stops here"), _stop),
    "cleared": Order(
        Message("HOW"), Message("how the hazard was cleared; only this reopens the call"), _cleared
    ),
    "skip": Order(Message("[PROBE] [REASON]"), Message("leave a probe out"), _skip),
    "fitted": Order(Message("PART"), Message("a new part was fitted"), _fitted),
    "wait": Order(Message("MINUTES"), Message("it was left to cool"), _wait),
    "stamp": Order(
        Message("PART TEXT"), Message("what stands on a part: stamp start_capacitor 88-108 MFD"), _stamp
    ),
    "note": Order(Message("TEXT"), Message("keep a note"), _note),
    "undo": Order("", Message("take back the last thing"), _undo),
    "redo": Order("", Message("bring it back"), _redo),
    "fix": Order(Message("[NUMBER]"), Message("correct the doubted reading as proposed; f is enough"), _fix),
    "why": Order(Message("[PROBE]"), Message("why it looks so, or why this probe"), _why),
    "what": Order(Message("if PROBE"), Message("what each outcome of a probe would change"), _what),
    "suspects": Order("", Message("all suspects and remedies"), _suspects),
    "draw": Order(Message("[PROBE]"), Message("the wiring, with the points to probe"), _draw),
    "pins": Order(Message("[1-2 1-3 2-3]"), Message("three readings between pins not named yet"), _pins),
    "list": Order(Message("[WHAT]"), Message("probes; or arrangements, parts, remedies, meters"), _list),
    "decide": Order(Message("[REMEDIES]"), Message("record the decision"), _decide),
    "sheet": Order(Message("[FILE]"), Message("write the job sheet"), _sheet),
    "machine": Order(
        "", Message("what is known; to correct it: {facts} and the right value", facts=tuple(FACTS)), _machine
    ),
    "help": Order("", Message("this list"), _help),
    "quit": Order("", Message("leave; everything is kept"), _leave),
    **{name: _fact(name) for name in FACTS},
}
_ALSO = {
    "exit": "quit",
    "q": "quit",
    "h": "help",
    "f": "fix",
    "yes": "decide",
    "whatif": "what",
    "probes": "list",
}


def order_in(line: str) -> Callable[[Session], str] | None:
    """The order a line gives, ready to be carried out; None if it gives none."""
    first, _, rest = line.partition(" ")
    word = first.casefold().removesuffix(":")
    order = ORDERS.get(_ALSO.get(word, word))
    if order is None:
        return None
    does = order.does
    return lambda session: does(session, rest.strip())
