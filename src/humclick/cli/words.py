"""
Advice as plain text: what is wrong, what to do next, and why, in lines of at most 78 columns.

Probabilities are shown in per cent, times in minutes, money in the shop's unit.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from humclick.cli.language import say
from humclick.cli.layout import bar, label, lines, numbered, underlined
from humclick.diagnosis.beyond import four_or_more
from humclick.messages import N_, Message, Value, counted, listed
from humclick.readings.shown import percent
from humclick.sizes.sound import appliances

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.advice import Advice, Suspect
    from humclick.diagnosis.advice import Value as Worth
    from humclick.diagnosis.guard_states import GuardState
    from humclick.diagnosis.power import Bar
    from humclick.diagnosis.probes import Probe
    from humclick.diagnosis.reasons import Explanation, WhatIf
    from humclick.jobs.briefing import Briefing, HazardShown, RemedyBriefing
    from humclick.jobs.call import Call, Problem
    from humclick.jobs.result import AdviceResult, DefendedVerdict
    from humclick.replacement.demand import PartDemand
    from humclick.safety import Fact, Gate, Place, PlaceRule

#: Heading of what is suspected once something was put right.
LEFT = Message("Left to suspect now")
#: Suspects less probable than this are not named. [-]
_SHOWN = 0.005
#: Where a protector sits.
_SITS = frozenset({N_("external"), N_("integrated"), N_("internal")})
#: Keeps the words of a tick on one line.
_TIED = "\N{NO-BREAK SPACE}"


def events_in_words(number: int) -> Message:
    """How many events there are."""
    return counted("{n} event", "{n} events", number)


def paragraphs(*texts: str) -> Message:
    """Sentences one after the other, as the language sets them apart."""
    return listed(filter(None, texts), "space")


def on_record(what: Message) -> Message:
    """Says that something was written down."""
    return Message("Recorded: {what}.", what=what)


def left_out(probe: str, more: str = "") -> Message:
    """Says that a probe is left out."""
    return paragraphs(Message("{probe} is left out.", probe=probe), more)


def machine_in_words(machine: Machine) -> str:
    """The machine in one paragraph."""
    kind, plate = machine.arrangement, machine.nameplate
    sits = machine.protector
    phrases: list[Value] = [Message("{title} ({name})", title=kind.title, name=kind.id)]
    phrases.append(Message("protector {place}", place=Message.of(sits) if sits in _SITS else sits))
    phrases.append(machine.supply)
    if plate.locked_rotor_amps is not None:
        phrases.append(f"LRA {plate.locked_rotor_amps:g} A")
    if plate.rated_load_amps is not None:
        phrases.append(f"RLA {plate.rated_load_amps:g} A")
    if plate.horsepower is not None:
        phrases.append(f"{plate.horsepower:.3g} hp")
    if plate.cooling is not None:
        phrases.append(f"{plate.cooling:.4g} W")
    if plate.appliance:
        phrases.append(appliances()[plate.appliance])
    phrases.append(plate.refrigerant or Message("refrigerant not read"))
    return lines(listed(phrases), label(Message("Machine")), "  ")


def arrangements_in_words(advice: Advice | AdviceResult) -> str:
    """The start arrangements it may have, with bars; empty where it is known."""
    rows = [
        lines(
            Message("{title} ({name})", title=each.title, name=each.name),
            f"  {percent(each.probability):>5}  {bar(each.probability)}  ",
        )
        for each in advice.arrangements
    ]
    if not rows:
        return ""
    note: Message = Message("Not settled. Settle it: arrangement and its name.")
    if advice.unweighed >= _SHOWN:
        others = Message(
            "Others that fit too hold {share} by how common they are.", share=percent(advice.unweighed)
        )
        note = paragraphs(note, others)
    return "\n".join((label(Message("Start arrangement")).rstrip(), *rows, lines(note, "         "), ""))


def suspects_in_words(suspects: Sequence[Suspect], none_of_these: float, beyond: float, most: int = 4) -> str:
    """The most probable suspects with bars."""
    worth = [s for k, s in enumerate(suspects[:most]) if k == 0 or s.probability >= _SHOWN]
    rows = [lines(s.label, f"  {percent(s.probability):>5}  {bar(s.probability)}  ") for s in worth]
    rest = max(0.0, 1.0 - sum(s.probability for s in worth) - none_of_these)
    tail: list[Value] = [
        Message("all other combinations {chance}", chance=percent(rest)),
        Message("causes not on the list {chance}", chance=percent(none_of_these)),
    ]
    if beyond > 0.001:
        tail.append(four_or_more(beyond).small())
    return "\n".join((*rows, lines(listed(tail), "         ")))


def standing_in_words(result: AdviceResult, most: int = 6) -> str:
    """What is suspected; where something was decided or done, what was suspected before it as well."""
    now = suspects_in_words(result.suspects, result.none_of_these, result.beyond, most)
    turn = result.turns[-1] if result.turns else None
    if turn is None or (turn.suspects == result.suspects and not result.done):
        return "\n".join((underlined(Message("Suspects")), now))
    pieces = []
    if turn.suspects:
        rest = max(0.0, 1.0 - sum(s.probability for s in turn.suspects))
        then = Message("Suspects before the repair") if turn.done else Message("Suspects when it was decided")
        pieces += [underlined(then), suspects_in_words(turn.suspects, rest, 0.0, most)]
    pieces += [underlined(LEFT if result.done else Message("Suspects now")), now]
    return "\n".join(pieces)


def why_in_words(result: AdviceResult) -> str:
    """Why it was decided, as it stood then, and what is left now."""
    turn = result.turns[-1] if result.turns else None
    now = result.explanation
    if turn is None or (turn.done and turn.outcome not in ("", "runs")):  # nothing decided, or done in vain
        return explanation_in_words(now) if now is not None else ""
    pieces = []
    if turn.explanation is not None:
        then = Message("Before the repair:") if turn.done else Message("When it was decided:")
        pieces += [say(then), explanation_in_words(turn.explanation)]
    if now is not None and result.done:
        pieces += [say(Message("Now:")), lines(now.sentence)]
    return "\n".join(pieces)


def _effort(value: Worth) -> Message:
    cost = Message("time and risk together {cost:.2f} money", cost=value.cost)
    spent: list[Value] = [f"{value.minutes:g} min", cost]
    if value.waits:
        spent.insert(1, Message("first let it cool for {minutes:g} min", minutes=value.waits))
    return listed(spent, "semicolon")


def _asked(title: Message, probe: str, how: Message) -> list[str]:
    """The probe that comes next, by its title and its name, and how it is done."""
    head = Message("{title}  [{probe}]", title=title, probe=probe)
    text = [lines(head, label(Message("Next")), "      ")]
    return text if how == title else [*text, lines(how, label(Message("How"), 2, 6))]


def next_in_words(value: Worth, guards: Sequence[GuardState] = ()) -> str:
    """The probe advised: what, how, why, and what it costs."""
    pieces = _asked(value.title, value.probe, value.how)
    if value.waits:
        wait = Message(
            "Let it cool for {minutes:g} minutes (then type: wait {minutes:g}).", minutes=value.waits
        )
        pieces.insert(0, lines(wait))
    pieces.append(lines(Message("{reason}.", reason=value.reason.capital()), label(Message("Why"), 2, 6)))
    pieces.append(lines(_effort(value), label(Message("Cost"), 2, 6)))
    if guards[1:]:
        names = tuple(guard.title for guard in guards[1:])
        also = Message("Also before {before}: {names:semicolon}.", before=guards[0].before, names=names)
        pieces.append(lines(also, "  "))
    return "\n".join(pieces)


def probe_in_words(probe: Probe) -> str:
    """A probe asked for by name."""
    cost = lines(f"{probe.minutes:g} min", label(Message("Cost"), 2, 6))
    return "\n".join((*_asked(probe.title, probe.id, probe.how), cost))


def gate_in_words(gate: Gate, *, full: bool = True, new: bool = True) -> str:
    """A safety gate with all its steps, or in a line of ticks."""
    first = label(Message("SAFETY FIRST") if new else Message("SAFETY AGAIN"))
    if not full:
        ticks = "  ".join(f"[ ] {say(tick)}".replace(" ", _TIED) for tick in gate.ticks)
        return lines(f"{say(gate.title)}: {ticks}", first, "  ").replace(_TIED, " ")
    meaning = [lines(listed(gate.said, "space"), "  ")] if gate.said else []
    return "\n".join([f"{first}{say(gate.title)}", *meaning, numbered(gate.steps)])


def hazards_in_words(hazards: Sequence[HazardShown]) -> list[str]:
    """What a probe or a remedy meets: in full where it is new, else in one line."""
    pieces = [lines(meeting.hazard.sentence, "! ") for meeting in hazards if meeting.full]
    short = listed((meeting.hazard.tick for meeting in hazards if not meeting.full), "semicolon")
    return [*pieces, *([lines(short, label(Message("Mind"), 2))] if short else [])]


def gates_in_words(briefing: Briefing) -> str:
    """All that stands before a probe, to be confirmed together."""
    pieces = [lines(entry.sentence, "! ") for entry in briefing.cautions]
    pieces += [gate_in_words(entry.gate, full=entry.full, new=entry.new) for entry in briefing.gates]
    if briefing.defer:
        pieces.append(lines(briefing.defer, "  "))
    return "\n".join(pieces)


def safety_in_words(gates: Sequence[Gate], hazards: Sequence[Fact], place: Place) -> str:
    """All there is to read of safety: steps, why, how long, by which rule, and the rules of the place."""
    pieces = []
    for fact in gates:
        pieces += [gate_in_words(fact), lines(fact.why, label(Message("Why"), 2))]
        pieces.append(lines(Message("It holds {time}.", time=fact.lasts), "  "))
        pieces.append(lines(fact.source, label(Message("Rule"), 2)))
    cited = (Message("{said} ({source})", said=fact.sentence, source=fact.source) for fact in hazards)
    pieces += [lines(fact, "! ") for fact in cited]
    pieces.append(lines(place.title, label(Message("Rules of"))))
    pieces += [lines(_ruled(rule, titled=True), "  ") for rule in place.rules.values()]
    return "\n".join(pieces)


def _ruled(rule: PlaceRule, *, titled: bool = False) -> Message:
    text: Message = rule.text
    if titled:
        text = Message("{title}. {text}", title=rule.title, text=rule.text)
    return Message("{said} ({source})", said=text, source=rule.source)


def remedy_in_words(briefing: RemedyBriefing) -> list[str]:
    """What doing a remedy meets, and what takes a certificate."""
    pieces = hazards_in_words(briefing.hazards)
    if briefing.refrigerant is not None:
        kind = briefing.refrigerant
        meant = Message("{title}. {text}", title=kind.title.capital(), text=listed(kind.said, "space"))
        pieces.insert(0, lines(meant, "! "))
    if briefing.certificate is not None:
        pieces.append(lines(_ruled(briefing.certificate), "! "))
    return pieces


def remedies_typed(remedies: Iterable[str]) -> Message:
    """Remedies by the names under which they are typed."""
    return listed(map(Message.of, remedies), "and")


def verdict_in_words(verdict: DefendedVerdict) -> str:
    """A verdict and what stands behind it."""
    stated = Message("{sentence}.", sentence=verdict.sentence)
    pieces = [lines(stated, label(Message("Verdict")), "  ")]
    pieces.append(lines(verdict.because, label(Message("Why"), 2, 7)))
    for guard in verdict.guards:
        state = Message("done") if guard.done else Message("OPEN")
        if guard.waived and not guard.done:
            state = Message("waived, {reason}", reason=guard.waived)
        line = Message("{guard}: {state}", guard=guard.title, state=state)
        pieces.append(lines(line, label(Message("Guard"), 2, 7)))
    if verdict.flip_factor is not None:
        flip = Message(
            "{rival} would have to be {factor:.3g} times as likely before any test as assumed.",
            rival=remedies_typed(verdict.rival),
            factor=verdict.flip_factor,
        )
        pieces.append(lines(flip, label(Message("To change this"), 2), "         "))
    tail = [Message("expected cost of deciding now {cost:.2f} money", cost=verdict.expected_loss)]
    if verdict.margin is not None:
        tail.append(
            Message(
                "the best further probe would lose {loss:.2f} more than it saves",
                loss=max(verdict.margin, 0.0),
            )
        )
    pieces.append(lines(listed(tail, "semicolon"), label(Message("Cost"), 2, 7)))
    return "\n".join(pieces)


def demand_in_words(demand: PartDemand) -> str:
    """What to ask for at the counter, for one part."""
    part = paragraphs(Message("{sentence}.", sentence=demand.title), demand.before)
    pieces = [lines(part, label(Message("Part"), 2, 7))]
    must, never = (f"    {say(word)}".ljust(10) + " " for word in (Message("must"), Message("never")))
    for mark in demand.marks:
        if mark.value is not None or mark.limit is not None:
            pieces.append(lines(Message("{mark}: {text}", mark=mark.rule.title, text=mark.text), must))
    pieces += [lines(rule.text, never) for rule in demand.never]
    if demand.missing:
        titles = listed((missing.title for missing in demand.missing), "semicolon")
        unread = Message("{marks} (the sheet says where)", marks=titles)
        pieces.append(lines(unread, label(Message("read on the old part"), 4), " " * 11))
    return "\n".join(pieces)


def explanation_in_words(explanation: Explanation) -> str:
    """How strongly each reading speaks, for a lead technician."""
    pieces = [lines(explanation.sentence)]
    for reason in explanation.reasons:
        pieces.append(lines(reason.shown, "  "))
        weighed = Message(
            "{words} ({decibans:+.1f} decibans; without it {chance})",
            words=reason.words,
            decibans=reason.decibans,
            chance=percent(reason.without),
        )
        pieces.append(lines(weighed, "      "))
    return "\n".join(pieces)


def what_if_in_words(probe: str, outcomes: Sequence[WhatIf]) -> str:
    """What each outcome of a probe would change."""
    if not outcomes:
        return lines(Message("{probe} would change nothing now.", probe=probe))
    pieces = [lines(Message("If {probe} shows:", probe=probe))]
    for outcome in outcomes:
        chance = Message("{what} ({chance})", what=outcome.outcome, chance=percent(outcome.probability))
        pieces.append(lines(chance, "  "))
        then = tuple(
            Message("{what} {chance}", what=Message.of(remedy), chance=percent(p))
            for remedy, p in outcome.remedies[:3]
        )
        acting = remedies_typed(outcome.decision)
        pieces.append(lines(Message("{then}; acting then: {decision}", then=then, decision=acting), "      "))
    return "\n".join(pieces)


def problems_in_words(problems: Sequence[Problem]) -> str:
    """What in a call could not be used."""
    first = label(Message("not used"), 2)
    return "\n".join(
        lines(Message("{text} (event {event})", text=problem.text, event=problem.event), first, "    ")
        for problem in problems
    )


def advice_in_words(result: AdviceResult, call: Call) -> str:
    """All of the advice on a call."""
    from humclick.diagnosis.findings import HEARD

    pieces = [machine_in_words(call.machine)] if call.machine else []
    heard = HEARD[result.complaint] if result.complaint else Message("not known")
    pieces.append(lines(heard, label(Message("Complaint"))))
    if result.findings:
        pieces.append(underlined(Message("Readings")))
    for finding in result.findings:
        pieces.append(lines(finding.text, f"{'!' if finding.warns else ' '} {finding.probe}: ", "    "))
    pieces += [lines(text, "! ") for text in result.cautions]
    pieces += [lines(text, "! ") for text in (*_unproved(result), *result.contradictions)]
    if result.problems:
        pieces += [underlined(Message("Could not be used")), problems_in_words(result.problems)]
    pieces += [words for words in (arrangements_in_words(result),) if words]
    pieces += [*bars_in_words(result.bars), standing_in_words(result), ""]
    if result.kind == "stop":
        return "\n".join((*pieces, lines(Message("{sentence}.", sentence=result.heading))))
    pieces += _onward(result, call)
    if result.explanation is not None:
        pieces += [underlined(Message("Why")), why_in_words(result)]
    return "\n".join(pieces)


def titles_of(missing: Sequence[str]) -> tuple[Message, ...]:
    """Safety gates without a record by their titles; what forbade a reading is in words already."""
    from humclick.safety import gates  # here: help needs none

    known = gates()
    return tuple(known[name].title if name in known else Message.of(name) for name in missing)


def _unproved(result: AdviceResult) -> list[Message]:
    """Readings that were taken without a safety step on record."""
    missing = tuple(sorted({gate for names in result.unproved.values() for gate in names}))
    if not missing:
        return []
    return [
        counted(
            "{n} reading taken without a record of: {missing:semicolon}",
            "{n} readings taken without a record of: {missing:semicolon}",
            len(result.unproved),
            missing=titles_of(missing),
        )
    ]


def _onward(result: AdviceResult, call: Call) -> list[str]:
    """What to do next on a call that goes on."""
    from humclick.jobs.flow import demands_of

    pieces = []
    if result.kind in ("work", "prove", "repaired"):
        pieces.append(lines(Message("{sentence}.", sentence=result.heading), "", "  "))
    if result.kind == "work":
        do = Message("Do it, write down what was installed, then start it and listen.")
        pieces.append(lines(do, label(Message("Next")), "      "))
    elif result.verdict is not None and result.kind != "prove":
        pieces.append(verdict_in_words(result.verdict))
        pieces += [demand_in_words(thing) for thing in demands_of(call, result.verdict.due)]
    if result.next is not None:
        pieces.append(next_in_words(result.next, result.guards))
        before = listed((thing.title for thing in call.gates_before(result.next.gates)), "semicolon")
        if before:
            pieces.append(lines(before, label(Message("First"), 2)))
        others = listed(map(_other, result.alternatives[:3]))
        if others:
            meanwhile = result.next.waits > 0
            pieces.append(lines(others, label(Message("Meanwhile") if meanwhile else Message("Else"), 2)))
    return pieces


def _other(value: Worth) -> Message:
    """A probe that would do as well, and its minutes."""
    if value.waits:
        return Message(
            "{probe} ({minutes:g} min, after {waits:g} min of cooling)",
            probe=value.probe,
            minutes=value.minutes,
            waits=value.waits,
        )
    return Message("{probe} ({minutes:g} min)", probe=value.probe, minutes=value.minutes)


def bars_in_words(bars: Sequence[Bar], known: Collection[str] = ()) -> list[str]:
    """What ends the call, or forbids power now; those told before in a line."""
    pieces = []
    for bar_ in bars:
        head = Message("STOP: {title}.", title=bar_.title)
        if not bar_.whole:
            head = Message("Do not power it: {title}.", title=bar_.title)
        pieces.append(lines(paragraphs(head, "" if bar_.name in known else bar_.reason), "!! "))
    return pieces
