"""
The questions at the beginning of a call: the machine, the meter, what was heard.

Each answer is kept at once; Enter keeps what stands in brackets. Volts, hertz, amperes, ohms.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.cli import layout, words
from humclick.cli.language import say
from humclick.cli.own_words import english
from humclick.diagnosis.findings import HEARD
from humclick.diagnosis.recognise import candidates, seen_under_cover
from humclick.errors import Refused
from humclick.jobs.entry import figure, one_of, plain
from humclick.jobs.events import HEARD as COMPLAINTS
from humclick.jobs.events import ComplaintHeard, Event, MachineRead, MeterTaken, ReadingTaken
from humclick.jobs.standing import given_last
from humclick.jobs.taking import arrangement_named
from humclick.messages import N_, Message
from humclick.meters import Quantity, meters
from humclick.readings import parse_reading
from humclick.sizes.entry import cooling_from, horsepower_from
from humclick.sizes.sound import appliances

if TYPE_CHECKING:
    from humclick.arrangements.machine import Nameplate
    from humclick.cli.session import Session
    from humclick.jobs.call import Call
    from humclick.jobs.flow import Flow

_UNKNOWN = ("?", N_("unknown"), N_("not sure"), "don't know")


def questions_for(events: Sequence[Event], call: Call) -> list[str]:
    """Questions still to be asked: all, or all but the arrangement, until the complaint is known."""
    if call.machine is None:
        return list(_ASKED)
    if any(isinstance(event, ComplaintHeard | ReadingTaken) for event in events):
        return []
    return [name for name in list(_ASKED)[1:] if name != "hertz" or call.machine.alternates]


_NOT_READ = Message("not read")


def _with(question: Message, now: str) -> str:
    """A question with what Enter keeps."""
    return layout.lines(Message("{question} [{now}]", question=question, now=now))


# -- what is asked ------------------------------------------------------------------------------------------


def arrangements_in_words() -> str:
    """Every arrangement with what is seen under the cover."""
    entries = []
    for name in arrangements():
        kind = arrangement(name)
        title: Message = kind.title
        if kind.abbreviation:
            title = Message("{arrangement} ({letters})", arrangement=title, letters=kind.abbreviation)
        entries.append(
            Message("{name}: {title}. Seen: {seen:semicolon}", name=name, title=title, seen=kind.seen)
        )
    return layout.numbered(entries)


def _arrangement(session: Session) -> str:
    question = Message("Which start arrangement is it? Its number or name, or ? if you cannot tell.")
    return f"{arrangements_in_words()}\n{layout.lines(question)}"


def _protector(session: Session) -> str:
    machine = session.situation.machine
    choices = layout.numbered(map(Message.of, machine.arrangement.protectors))
    question = _with(Message("Where is the overload protector?"), Message.of(machine.protector))
    return f"{choices}\n{question}"


def _plate(session: Session) -> Nameplate:
    return session.situation.machine.nameplate


def _meter(session: Session) -> str:
    choices = layout.numbered(
        Message("{name}: {title}", name=name, title=meter.title) for name, meter in meters().items()
    )
    question = _with(Message("Which kind of meter do you use?"), session.call.meter.name)
    return f"{choices}\n{question}"


def _leads(session: Session) -> str:
    question = Message(
        "Test leads: nulled by the meter, or what does it show with the tips held together, such as 0.3?"
    )
    return _with(question, Message("not known"))


def _complaint(session: Session) -> str:
    choices = layout.numbered(HEARD[name] for name in COMPLAINTS if name in HEARD)
    question = Message(
        "What is heard when it should start? The number or the words; more words may follow; or ?"
    )
    return f"{choices}\n{layout.lines(question)}"


#: The questions in order.
_ASKED: dict[str, Callable[[Session], str]] = {
    "arrangement": _arrangement,
    "protector": _protector,
    "volts": lambda s: _with(Message("Volts on the nameplate?"), f"{_plate(s).volts:g}"),
    "hertz": lambda s: _with(Message("Hertz on the nameplate?"), f"{_plate(s).hertz:g}"),
    "lra": lambda s: _with(Message("Locked-rotor amps (LRA) on the nameplate?"), _NOT_READ),
    "rla": lambda s: _with(Message("Rated-load amps (RLA) on the nameplate?"), _NOT_READ),
    "refrigerant": lambda s: _with(
        Message("Refrigerant on the nameplate?"), _plate(s).refrigerant or _NOT_READ
    ),
    "meter": _meter,
    "leads": _leads,
    "complaint": _complaint,
}


def question_in_words(session: Session) -> str:
    """The question that is to be answered now."""
    return "\n" + _ASKED[session.questions[0]](session)


def question_again(session: Session) -> str:
    """The same question without its list, so that what was said to the last answer stays on the screen."""
    question = _ASKED[session.questions[0]](session).splitlines()
    listed = [k for k, line in enumerate(question) if re.match(r" {2,3}\d+  |      ", line)]
    listless = question[listed[-1] + 1 :] if listed else question
    more = [say(Message("Enter shows the list again."))] if session.questions[0] == "arrangement" else []
    return "\n".join((*listless, *more))


def answer_question(session: Session, line: str) -> str:
    """Take an answer to the question asked; one that is refused is asked for again."""
    name = session.questions[0]
    if name == "arrangement" and (not line or line == "?"):
        look = Message(
            "Power off first; then look under the terminal cover, take a photo, and compare with the list."
            " If you must go and look, type quit: the call is kept."
        )
        weigh = Message(
            "Still cannot tell? Type not sure: every arrangement is weighed, and each look narrows them."
        )
        return "\n".join((layout.lines(look), layout.lines(weigh)))
    if name not in ("complaint", "arrangement") and _unsaid(line):
        session.answered(name)
        return ""
    return set_fact(session, name, line or "?")


def _unsaid(text: str) -> bool:
    """Whether a text says that it is not known."""
    return not text or plain(english(text, _UNKNOWN)) in _UNKNOWN


# -- what is kept -------------------------------------------------------------------------------------------


def _machine(session: Session, **changed: Any) -> str:
    now = given_last(session.flow.events, session.call, MachineRead)
    if not now:
        raise Refused(Message("first the arrangement: type arrangement and its name (list arrangements)"))
    return _described(session, session.flow.keep("machine", session.now(), **{**now, **changed}))


def _described(session: Session, after: Flow) -> str:
    """Keep what the machine is; what can no longer be used comes back."""
    before = {problem.event for problem in session.call.problems}
    session.record(after)
    new = [problem for problem in session.call.problems if problem.event not in before]
    return words.problems_in_words(new)


def _weigh_all(session: Session) -> str:
    """Every arrangement is weighed, the most usual one that fits what was seen first."""
    seen = seen_under_cover((r.probe, r.answer) for r in session.call.readings)
    first, *others = (name for name in candidates(seen) if arrangement(name).judged)
    return _described(session, arrangement_named(session.flow, session.now(), first, others))


def _set_arrangement(session: Session, text: str) -> str:
    if _unsaid(text):
        return _weigh_all(session)
    titles = {name: arrangement(name).title for name in arrangements()}
    name = one_of(Message("arrangement"), text, arrangements(), titles)
    problems = _described(session, arrangement_named(session.flow, session.now(), name))
    if len(arrangement(name).protectors) < 2:
        session.answered("protector")
    if not arrangement(name).frame.alternates:
        session.answered("hertz")
    return problems


def _set_protector(session: Session, text: str) -> str:
    kinds = session.situation.machine.arrangement.protectors
    return _machine(session, protector=one_of(Message("protector"), english(text, kinds), kinds))


def _amount(text: str, quantity: Quantity) -> float:
    reading = parse_reading(text, quantity)
    if reading.value is None:
        raise Refused(Message("a figure is needed here, not over limit"))
    return reading.value


def _set_hertz(session: Session, text: str) -> str:
    machine = session.call.machine
    if machine is not None and not machine.alternates:
        raise Refused(Message("this machine runs on direct current: it has no hertz"))
    return _machine(session, hertz=figure(text, "hertz", {"": 1.0, "hz": 1.0, "hertz": 1.0}, "60 or 60 Hz"))


def _meter_now(session: Session) -> dict[str, Any]:
    return given_last(session.flow.events, session.call, MeterTaken)


def _set_meter(session: Session, text: str) -> str:
    session.keep(
        "meter", **{**_meter_now(session), "own": {}, "name": one_of(Message("meter"), text, list(meters()))}
    )
    return ""


_NULLED = (N_("nulled"), N_("not nulled"))


def _set_leads(session: Session, text: str) -> str:
    answer = plain(english(text, _NULLED))
    nulled = answer in ("nulled", "null", "yes")
    leads: dict[str, Any] = {"leads_nulled": nulled}
    if not nulled and answer not in ("not nulled", "no"):
        leads["lead_ohms"] = _amount(text, Quantity.RESISTANCE)
    session.keep("meter", **{**_meter_now(session), **leads})
    return ""


def _set_complaint(session: Session, text: str) -> str:
    names = [name for name in COMPLAINTS if name in HEARD]
    parts = re.split(r"\s*[,;:]\s*|\s+", text, maxsplit=1)
    if _unsaid(text) or _unsaid(parts[0]):
        heard, more = "unknown", "" if _unsaid(text) else parts[-1]
    elif parts[0].isdecimal() and len(parts) > 1:
        heard, more = one_of(Message("complaint"), parts[0], names, HEARD), parts[1]
    else:
        head, _, more = text.partition(";")
        heard = one_of(Message("complaint"), english(head, (HEARD[name] for name in names)), names, HEARD)
    session.keep("complaint", heard=heard, words=more.strip())
    return ""


def _set_appliance(session: Session, text: str) -> str:
    titles = {name: str(title) for name, title in appliances().items()}
    name = one_of(Message("kind of appliance"), english(text, titles.values()), list(titles), titles)
    return _machine(session, appliance=name)


#: What is known of machine, meter and complaint, and how each is set. [V] [Hz] [A] [Ω]
FACTS: dict[str, Callable[[Session, str], str]] = {
    "arrangement": _set_arrangement,
    "protector": _set_protector,
    "volts": lambda s, t: _machine(s, volts=_amount(t, Quantity.VOLTAGE)),
    "hertz": _set_hertz,
    "lra": lambda s, t: _machine(s, locked_rotor_amps=_amount(t, Quantity.CURRENT)),
    "rla": lambda s, t: _machine(s, rated_load_amps=_amount(t, Quantity.CURRENT)),
    "hp": lambda s, t: _machine(s, horsepower=horsepower_from(t)),
    "cooling": lambda s, t: _machine(s, cooling=cooling_from(t)),
    "appliance": _set_appliance,
    "refrigerant": lambda s, t: _machine(s, refrigerant=t),
    "meter": _set_meter,
    "leads": _set_leads,
    "complaint": _set_complaint,
}


def set_fact(session: Session, name: str, text: str) -> str:
    """Keep a fact of machine, meter or complaint; refused where it cannot be meant."""
    if not text.strip():
        raise Refused(Message("{name} of what? Write it behind the word, or see: help", name=name))
    answer = FACTS[name](session, text.strip())
    session.answered(name)
    return answer
