"""The technician's page: every reading in order, what it means, and what stands behind the verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, Value
from humclick.diagnosis.beyond import four_or_more
from humclick.diagnosis.findings import shown_text
from humclick.diagnosis.power import Earth, earth
from humclick.diagnosis.reasons import Reason
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Observation
from humclick.errors import Unknown
from humclick.jobs.call import Call, ReadingKept
from humclick.jobs.events import ReadingTaken, Undone
from humclick.jobs.fold import known_probe
from humclick.jobs.history import State, heading, titles
from humclick.jobs.sheet.customer import remedy_title
from humclick.jobs.sheet.machine import machine_rows
from humclick.jobs.sheet.model import Account, Done, Entry, Judgement, Row, Standing, TechnicianPage
from humclick.jobs.standing import onward, probes_now, provisional
from humclick.messages import N_, NOTHING, Message, counted, listed
from humclick.readings import PartTemperature
from humclick.readings.shown import minutes_of
from humclick.safety import cautions_for, flammable, gates, gates_for, place_of, stop_at

__all__ = ["clock", "technician_page"]

#: How warm a part was.
_WARMTH = {"cold": Message("cold"), "hot": Message("hot")}
_NO_CAPTION = Message("without caption")
#: Parts less probable than this are not shaded in the drawing. [-]
_SHADED = 0.02
#: Reasons that weigh less and move nothing are only counted. [decibans]
_LOUD = 1.0
#: Suspects, other probes and remedies shown, and remedies this improbable left out. [-]
_ROWS, _FAINT = 6, 0.0005
#: What follows the work.
_RECORD_AND_PROVE = Message("Write down what was installed, start it and listen: that proves the repair")


def clock(at: datetime) -> str:
    """Time of day; empty where nobody wrote it down."""
    return at.strftime("%H:%M") if at.year > 1970 else ""


def technician_page(call: Call, account: Account, shop: Shop | None = None) -> TechnicianPage:
    """The page for whoever comes next to this machine."""
    shop = shop or default_shop()
    problems = tuple(
        Message("{problem} – written: {text}", problem=p.text, text=p.kept) if p.kept else p.text
        for p in call.problems
    )
    skipped = tuple(
        Message(
            "{title}: {value}",
            title=_title(call.machine, probe),
            value=reason or Message("no reason given"),
        )
        for probe, reason in call.skipped.items()
    )
    advice = account.now.advice if account.now is not None else None
    page = TechnicianPage(
        headline=heading(
            account.state, advice, shop, call.machine.arrangement.title if call.machine else NOTHING
        ),
        verdict_note=_note(account, shop),
        record=_record(call, account, shop),
        taken_back=_taken_back(call),
        problems=problems,
        skipped=skipped,
    )
    if call.machine is None:
        return page
    shares = {p: s for p, s in (account.now.shares if account.now else {}).items() if s >= _SHADED}
    page = replace(
        page,
        machine=machine_rows(call.machine),
        wiring=call.machine,
        shares=shares,
        cautions=_cautions(call, account.now.advice if account.now else None),
    )
    return page if account.now is None else _with_judgement(page, call, account, account.now, shop)


def _taken_back(call: Call) -> Message:
    count = sum(event.id in call.undone and not isinstance(event, Undone) for event in call.events)
    count += sum(right is None for right in call.corrected.values())
    if not count:
        return NOTHING
    return counted(
        "{n} entry was taken back; it stays in the call.",
        "{n} entries were taken back; they stay in the call.",
        count,
    )


def _standings(account: Account, now: Judgement, shop: Shop) -> tuple[Standing, ...]:
    """What was suspected before the repair or the decision, and what is suspected now, each said to be so."""
    if not account.two:
        return (_standing(now, Message("Suspects"), Message("What is needed, how probably"), shop),)
    after = bool(account.state.done)
    left = _standing(
        now,
        Message("Left to suspect now") if after else Message("Suspects now"),
        Message("What may still be needed, how probably")
        if after
        else Message("What is needed now, how probably"),
        shop,
    )
    if account.before is None:
        return (left,)
    titles_before = (
        (Message("Suspects before the repair"), Message("What was needed before the repair, how probably"))
        if account.state.turn is not None and account.state.turn.done
        else (
            Message("Suspects when it was decided"),
            Message("What was needed when it was decided, how probably"),
        )
    )
    return (_standing(account.before, *titles_before, shop), left)


def _standing(judgement: Judgement, title: Message, needed: Message, shop: Shop) -> Standing:
    advice = judgement.advice
    return Standing(
        title,
        needed,
        tuple(
            Row(s.label, _percent(s.probability), ", ".join(f"{p}.{m}" for p, m in s.parts))
            for n, s in enumerate(advice.suspects[:_ROWS])
            if n == 0 or s.probability >= _FAINT
        ),
        tuple(Row(remedy_title(r, shop), _percent(p)) for r, p in advice.remedies[:_ROWS] if p >= _FAINT),
    )


def _left_out(advice: Advice) -> tuple[Message, ...]:
    """What judgement leaves out, and what it rests on."""
    return (
        Message(
            "None of these (a cause that is not on the list): {chance}.",
            chance=_percent(advice.none_of_these),
        ),
        Message("Left out as too improbable: at most {chance} together.", chance=_percent(advice.left_out)),
        Message("{said}; they are not worked out.", said=four_or_more(advice.beyond)),
        Message("Probabilities rest on the shop's prior odds and on typical values where no stamp was read."),
    )


def _with_judgement(
    page: TechnicianPage, call: Call, account: Account, now: Judgement, shop: Shop
) -> TechnicianPage:
    advice, state = now.advice, account.state
    page = replace(
        page,
        standings=_standings(account, now, shop),
        next=_next(call, now, state, shop),
        contradictions=now.contradictions,
        left_out=_left_out(advice),
    )
    behind = account.behind
    if call.stopped:
        return replace(page, explanation=Message("Stopped for safety: the suspects are as they stood then."))
    if behind is None:
        return replace(
            page,
            explanation=Message(
                "What stood when it was decided cannot be worked out: no machine was described then."
            ),
        )
    why = behind.explanation
    loud = [r for r in why.reasons if abs(r.decibans) >= _LOUD or r.moved]
    quiet = len(why.reasons) - len(loud)
    then = state.turn is not None and not state.failed
    verdict = behind.advice.verdict
    guards = verdict.guards if verdict else behind.advice.guards
    return replace(
        page,
        figures=_figures(behind, state, shop, then=then),
        explanation=why.sentence,
        reasons_title=_reasons_title(state, then=then),
        elimination=why.by_elimination,
        untested=_untested(why.untested),
        reasons=tuple(
            Row(r.shown, _decibans(r.decibans), _beside(r, taken_back=r.id in call.undone)) for r in loud
        ),
        reasons_note=counted(
            "{n} more says hardly anything either way (below {least:g} deciban).",
            "{n} more say hardly anything either way (below {least:g} deciban each).",
            quiet,
            least=_LOUD,
        )
        if quiet
        else NOTHING,
        guards=tuple(Done.of(g) for g in guards),
    )


def _untested(parts: Sequence[Message]) -> Message:
    form = N_("no reading speaks of this part itself. Not tested yet: {parts:and}.")
    return Message.of(form, parts=tuple(parts)) if parts else NOTHING


def _reasons_title(state: State, *, then: bool) -> Message:
    if not then:
        return Message("Reasons")
    done = state.turn and state.turn.done
    return Message("Reasons before the repair") if done else Message("Reasons when it was decided")


def _beside(reason: Reason, *, taken_back: bool) -> Message:
    """What a reading says, and how probable the decision were without it."""
    without = _percent(reason.without)
    if taken_back:
        return Message("{words}; without it {chance}; taken back since", words=reason.words, chance=without)
    return Message("{words}; without it {chance}", words=reason.words, chance=without)


def _figures(behind: Judgement, state: State, shop: Shop, *, then: bool) -> tuple[Row, ...]:
    """The figures behind the decision, as they stood when it was taken."""
    about = (
        state.turn.about
        if then and state.turn
        else tuple(r for r in behind.explanation.leader if r not in state.done)
    )
    leader = listed((remedy_title(r, shop) for r in about), "and") or Message("nothing else")
    chance = _percent(behind.explanation.probability)
    figures = [Row(Message("Probability of the leading decision"), chance, leader)]
    verdict = behind.advice.verdict
    if verdict is None or (then and set(verdict.due) != set(about)):  # of another decision
        return tuple(figures)
    rival = listed((remedy_title(r, shop) for r in verdict.rival), "and")
    flip = Message("no other decision comes near")
    if rival:
        flip = Message(
            "so many times likelier before any test must the case for “{rival}” be to change the decision",
            rival=rival,
        )
    figures += [
        Row(
            Message("Expected cost of deciding now"),
            f"{verdict.expected_loss:.1f}",
            Message("in the shop's money"),
        ),
        Row(
            Message("Best further test would lose"),
            _figure(verdict.margin),
            Message("in the shop's money; below 0 it would pay"),
        ),
        Row(
            Message("Flip factor"),
            f"× {verdict.flip_factor:.3g}" if math.isfinite(verdict.flip_factor) else Message("none"),
            flip,
        ),
    ]
    return tuple(figures)


def _note(account: Account, shop: Shop) -> Message:
    """How what was decided relates to what was judged when it was."""
    turn = account.state.turn
    if turn is None or not turn.decided:
        return NOTHING
    note = Message("Decided by the technician: {remedies}.", remedies=titles(turn.decided, shop).capital())
    if account.before is None:
        return note
    verdict = account.before.advice.verdict
    if verdict is None:
        more = [Message("The readings had not settled it then.")]
    elif set(verdict.due or ("wait",)) == set(turn.decided):
        more = [Message("Judged from the readings then: the same.")]
    else:
        judged = listed(verdict.titles, "and").capital()
        more = [
            Message("Judged from the readings then: {remedies}.", remedies=judged),
            Message("The two differ."),
        ]
    return listed((note, *more), "space")


def _next(call: Call, judgement: Judgement, state: State, shop: Shop) -> tuple[Row, ...]:
    advice, step = judgement.advice, onward(call, judgement.advice, state, shop)
    if step.kind == "work":
        return (
            Row(Message("Next"), Message("Do it: {remedies}", remedies=titles(state.due, shop))),
            Row(Message("Then"), _RECORD_AND_PROVE),
        )
    if step.kind == "prove":
        probe = probes_now(call, shop)[step.probe]
        rows = [Row(Message("Next"), probe.title, probe.id)]
        if probe.how != probe.title:
            rows.append(Row(Message("How"), probe.how))
        return (*rows, Row(Message("Why"), Message("it proves the repair")))
    if advice.next is None or step.kind == "stop" or state.name == "handed":
        return ()
    if step.kind == "repaired" and not step.probe:
        return ()
    known = gates()
    value = advice.next
    rows = [Row(Message("Next"), value.title, value.probe), Row(Message("How"), value.how)]
    if value.waits > 0:
        rows.insert(
            0, Row(Message("First wait"), Message("{minutes} to cool", minutes=minutes_of(value.waits)))
        )
    if value.gates:
        rows.append(
            Row(
                Message("Before it"), listed((known[g].title for g in value.gates if g in known), "semicolon")
            )
        )
    rows.append(Row(Message("Why"), value.reason))
    rows += [
        Row(
            Message("Meanwhile") if value.waits > 0 else Message("Else"),
            _after_cooling(v) if v.waits else v.title,
            v.probe,
        )
        for v in advice.alternatives[:3]
    ]
    return tuple(rows)


def _after_cooling(value: Value) -> Message:
    return Message("{probe}, after {minutes} of cooling", probe=value.title, minutes=minutes_of(value.waits))


def _cautions(call: Call, advice: Advice | None) -> tuple[Message, ...]:
    machine = call.machine
    assert machine is not None
    sentences = [fact.sentence for fact in cautions_for(machine)]
    if flammable(machine.nameplate.refrigerant):
        gate = gates()["flammable-caution"]
        sentences.insert(0, Message("{title}. {text}", title=gate.title, text=gate.steps[0]))
    if provisional(call.events, call):
        sentences.insert(
            0, Message("The arrangement is taken for now only: more than one fits what was seen.")
        )
        if advice is not None and advice.arrangements:
            told = tuple(each.told for each in advice.arrangements)
            sentences.insert(1, Message("By all that was seen: {arrangements:semicolon}.", arrangements=told))
    situation = call.situation()
    if situation is not None and earth(situation) is Earth.NONE:
        rule = place_of(call.place).rule("ground-test").text
        sentences.insert(0, Message("No ground here: judge it by the local rules. {rule}", rule=rule))
    stopped = (
        Message("{title}. {text}", title=stoppage.stop.title, text=listed(stoppage.stop.steps, "space"))
        for stoppage in call.stoppages
    )
    return (*stopped, *sentences)


def _record(call: Call, account: Account, shop: Shop) -> tuple[Entry, ...]:
    """All events in force, in order, numbered."""
    rows: list[tuple[str, ReadingKept | Entry, str]] = [
        (reading.event, reading, "") for reading in call.readings
    ]
    rows += _others(call, shop)
    rows.sort(key=lambda row: call.order[row[0]])
    reasons = {r.id: r for r in account.behind.explanation.reasons} if account.behind else {}
    steps: dict[str, int] = {}
    entries = []
    for number, (event, row, gate) in enumerate(rows, 1):
        if isinstance(row, Entry):
            entries.append(replace(row, number=number))
            if gate:
                steps[gate] = number
            continue
        reason = reasons.get(event)
        entry = _reading(call, row, account.now, steps)
        if reason is not None:
            moved = listed((_moved(*move) for move in reason.moved), "semicolon")
            entry = replace(entry, weight=_decibans(reason.decibans), moved=moved)
        entries.append(replace(entry, number=number))
    return tuple(entries)


def _moved(remedy: str, before: float, after: float) -> Message:
    form, shares = N_("{remedy} {before} → {after}"), {"before": _percent(before), "after": _percent(after)}
    return Message.of(form, remedy=Message.of(remedy), **shares)


def _others(call: Call, shop: Shop) -> Iterator[tuple[str, Entry, str]]:
    """Every event but readings, with the name of the gate it passes."""
    known = gates()
    for gate in call.gates:
        title = known[gate.gate].title if gate.gate in known else gate.gate
        yield gate.id, Entry(0, clock(gate.at), "gate", title, note=gate.words), gate.gate
    for hazard in call.hazards:
        title = Message("Hazard: {hazard}", hazard=stop_at(hazard.gate, hazard.hazard).title)
        yield hazard.id, Entry(0, clock(hazard.at), "hazard", title, note=hazard.words), ""
    for answer in call.cleared:
        yield (
            answer.id,
            Entry(0, clock(answer.at), "cleared", Message("Hazard cleared"), note=answer.words),
            "",
        )
    for wait in call.waits:
        title = Message("Left alone for {minutes}", minutes=minutes_of(wait.minutes))
        yield wait.id, Entry(0, clock(wait.at), "wait", title), ""
    for stamp in call.stamps:
        title = Message("Read on the {part}", part=_part(call.machine, stamp.part))
        yield stamp.id, Entry(0, clock(stamp.at), "stamp", title, value=stamp.text), ""
    for part in call.fitted:
        title = Message("Fitted a new {part}", part=_part(call.machine, part.part))
        yield part.id, Entry(0, clock(part.at), "fitted", title, note=part.note), ""
    for photo in call.photos:
        reference = Message("photo {hash}", hash=photo.sha256[:12])
        yield photo.id, Entry(0, clock(photo.at), "photo", photo.caption or _NO_CAPTION, note=reference), ""
    for note in call.notes:
        yield note.id, Entry(0, clock(note.at), "note", note.text), ""
    for decision in call.decisions:
        title = listed((remedy_title(r, shop) for r in decision.remedies), "and")
        yield decision.id, Entry(0, clock(decision.at), "decision", title, note=decision.words), ""


def _part(machine: Machine | None, name: str) -> str:
    try:
        return machine.part(name).family.title if machine else name
    except Unknown:
        return name


def _title(machine: Machine | None, probe: str) -> str:
    if machine is None:
        return probe
    try:
        return known_probe(machine, probe).title
    except Unknown:
        return probe


def _reading(call: Call, reading: ReadingKept, judgement: Judgement | None, steps: dict[str, int]) -> Entry:
    wanted: tuple[str, ...] = ()
    if call.machine is not None:
        try:
            probe = known_probe(call.machine, reading.probe)
            wanted = tuple(g.name for g in gates_for(probe.gates, call.machine))
        except Unknown:
            wanted = ()
    known = gates()
    finding = judgement.findings.get(reading.event) if judgement else None
    display = (
        shown_text(Observation(reading.probe, reading.reading, reading.answer))
        if reading.reading or reading.answer
        else ""
    )
    first = (e.value for e in call.events if e.id == reading.event and isinstance(e, ReadingTaken))
    typed = " ".join(next(first, reading.text).split())  # corrected or not
    held = [g for g in wanted if g not in reading.unproved]
    return Entry(
        number=0,
        at=clock(reading.at),
        kind="reading",
        title=_title(call.machine, reading.probe),
        probe=reading.probe,
        value=display or typed,
        typed="" if not display or display.casefold().startswith(typed.casefold()) else typed,
        temperature=_temperature(reading.temperature) if reading.reading is not None else "",
        note=reading.note,
        finding=finding.text if finding else "",
        warns=bool(finding and finding.warns),
        passed=tuple(
            Message("No. {n}", n=steps[g]) if g in steps else known[g].title for g in held if g in known
        ),
        unproved=(*(known[g].title for g in reading.unproved if g in known), *reading.against),
    )


def _temperature(of: PartTemperature) -> str:
    if of.celsius is not None:
        return f"{of.celsius:.0f} °C"
    return "" if of.kind == "unknown" else _WARMTH[of.kind]


def _decibans(value: float) -> str:
    return "0.0" if abs(value) < 0.05 else f"{value:+.1f}".replace("-", "−")


def _figure(value: float) -> str:
    return f"{value:.1f}".replace("-", "−") if math.isfinite(value) else Message("no test left")


def _percent(share: float) -> str:
    """A probability as people read it; never 0 or 100 unless it is."""
    if 0 < share < 0.0001:
        return "< 0.01 %"
    if 0.9995 < share < 1:
        return "> 99.9 %"
    if share < 0.01:
        return f"{share:.2%}".replace("%", " %")
    return (f"{share:.1%}" if share > 0.99 else f"{share:.0%}").replace("%", " %")
