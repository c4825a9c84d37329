"""
The technician's page: every reading in order, what it means, and what stands behind the verdict.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from typing import Protocol

from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import draw_svg, draw_text
from humclick.diagnosis.findings import shown_text
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Observation
from humclick.errors import Unknown
from humclick.jobs.call import Call, ReadingKept
from humclick.jobs.fold import known_probe
from humclick.jobs.sheet.customer import remedy_title
from humclick.jobs.sheet.model import Done, Entry, Judgement, Row, State, TechnicianPage
from humclick.readings import PartTemperature
from humclick.safety import cautions_for, flammable, gates, gates_for, safety_class

__all__ = ["clock", "machine_rows", "technician_page"]

#: Parts less probable than this are not shaded in the drawing. [-]
_SHADED = 0.02
#: Reasons that weigh less and move nothing are only counted. [decibans]
_LOUD = 1.0
#: Suspects, other probes and remedies shown.
_ROWS = 6


class _Timed(Protocol):
    @property
    def at(self) -> datetime: ...


def clock(event: _Timed) -> str:
    """Time of day of an event; empty where nobody wrote it down."""
    return event.at.strftime("%H:%M") if event.at.year > 1970 else ""


def technician_page(
    call: Call, judgement: Judgement | None, state: State, shop: Shop | None = None
) -> TechnicianPage:
    """
    The page for whoever comes next to this machine.

    Parameters
    ----------
    call : Call
        The call.
    judgement : Judgement or None
        What judgement says of it; None for a machine that is only recognised, or none at all.
    state : State
        How far it has come.
    shop : Shop, optional
        For the words of the remedies.
    """
    shop = shop or default_shop()
    problems = tuple(f"{p.text}{f' – written: {p.kept}' if p.kept else ''}" for p in call.problems)
    if call.undone:
        problems = (*problems, f"{len(call.undone)} entries were taken back; they stay in the call.")
    skipped = tuple(
        f"{_title(call.machine, probe)}: {reason or 'no reason given'}"
        for probe, reason in call.skipped.items()
    )
    headline, note = _headline(call, judgement, state, shop)
    if call.machine is None:
        return TechnicianPage(
            headline, record=_record(call, judgement, shop), problems=problems, skipped=skipped
        )
    shares = {p: s for p, s in (judgement.shares if judgement else {}).items() if s >= _SHADED}
    page = TechnicianPage(
        headline=headline,
        verdict_note=note,
        machine=machine_rows(call.machine),
        drawing_svg=draw_svg(call.machine, suspects=shares),
        drawing_text=draw_text(call.machine),
        record=_record(call, judgement, shop),
        problems=problems,
        skipped=skipped,
        cautions=_cautions(call.machine),
        done=bool(call.renewed),
    )
    return page if judgement is None else _with_judgement(page, call, judgement, state, shop)


def _with_judgement(
    page: TechnicianPage, call: Call, judgement: Judgement, state: State, shop: Shop
) -> TechnicianPage:
    advice, told = judgement.advice, judgement.explanation
    verdict = advice.verdict
    leader = " and ".join(remedy_title(r, shop) for r in told.leader)
    figures = [Row("Probability of the leading decision", _percent(told.probability), leader)]
    guards = verdict.guards if verdict else advice.guards
    if verdict is not None:
        rival = " and ".join(remedy_title(r, shop) for r in verdict.rival)
        figures += [
            Row("Expected loss of acting now", f"{verdict.expected_loss:.1f}", "in the shop's money"),
            Row(
                "Best further test would lose",
                _figure(verdict.margin),
                "in the shop's money; below 0 it would pay",
            ),
            Row(
                "Flip factor",
                f"× {verdict.flip_factor:.3g}" if math.isfinite(verdict.flip_factor) else "none",
                f"so many times likelier beforehand must the case for “{rival}” be to change the decision"
                if rival
                else "no other decision comes near",
            ),
        ]
    loud = [r for r in told.reasons if abs(r.decibans) >= _LOUD or r.moved]
    quiet = len(told.reasons) - len(loud)
    left_out = (
        f"None of these (a cause that is not on the list): {_percent(advice.none_of_these)}.",
        f"More than three faults at once: at most {_percent(advice.left_out)}, not worked out.",
        "Probabilities rest on the shop's prior odds and on typical values where no stamp was read.",
    )
    return replace(
        page,
        figures=tuple(figures),
        suspects=tuple(
            Row(s.label, _percent(s.probability), ", ".join(f"{p}.{m}" for p, m in s.parts))
            for s in advice.suspects[:_ROWS]
        ),
        remedies=tuple(Row(remedy_title(r, shop), _percent(p)) for r, p in advice.remedies[:_ROWS]),
        explanation=told.sentence,
        elimination=told.by_elimination,
        reasons=tuple(
            Row(r.shown, _decibans(r.decibans), f"{r.words}; without it {_percent(r.without)}") for r in loud
        ),
        reasons_note=f"{quiet} more say hardly anything either way (below {_LOUD:g} deciban each)."
        if quiet
        else "",
        guards=tuple(Done.of(g) for g in guards),
        next=_next(judgement, state),
        contradictions=judgement.contradictions,
        left_out=left_out,
    )


def _headline(call: Call, judgement: Judgement | None, state: State, shop: Shop) -> tuple[str, str]:
    """In one line, and how what was decided relates to what was judged."""
    titles = " and ".join(remedy_title(r, shop) for r in state.remedies)
    verdict = judgement.advice.verdict if judgement else None
    note = ""
    if state.decided:
        note = f"Decided by the technician: {titles}."
        mended = bool(call.renewed) and verdict is not None and set(verdict.remedies) <= {"wait"}
        if verdict is not None and set(verdict.remedies) != set(state.remedies) and not mended:
            note += f" Judged from the readings: {' and '.join(verdict.titles)}. The two differ."
        elif verdict is None and judgement is not None:
            note += " The readings alone did not yet bear out a verdict."
    match state.name:
        case "bare":
            return "No machine is described yet", note
        case "recognised":
            assert call.machine is not None
            return f"Recognised only: {call.machine.arrangement.title}", note
        case "open":
            return "No verdict yet", note
        case "repaired":
            return f"Done: {titles}. It ran afterwards", note
        case "fitted":
            return f"Done: {titles}. No start afterwards is on record", note
        case "handed":
            return f"Hand over: {verdict.sentence}" if verdict and not state.decided else titles, note
        case _:
            if verdict is not None and not state.decided:
                return f"Verdict: {verdict.sentence}", note
            return f"To do: {titles}", note


def _next(judgement: Judgement, state: State) -> tuple[Row, ...]:
    advice = judgement.advice
    if advice.next is None or state.name in ("repaired", "fitted", "handed"):
        return ()
    known = gates()
    value = advice.next
    rows = [Row("Next", value.title, value.probe), Row("How", value.how)]
    if value.waits > 0:
        rows.insert(0, Row("First wait", f"{value.waits:g} minutes to cool"))
    if value.gates:
        rows.append(Row("Before it", "; ".join(known[g].title for g in value.gates if g in known)))
    rows.append(Row("Why", value.reason))
    rows += [
        Row("Else", v.title + (f", after {v.waits:g} minutes of cooling" if v.waits else ""), v.probe)
        for v in advice.alternatives[:3]
    ]
    return tuple(rows)


def machine_rows(machine: Machine) -> tuple[Row, ...]:
    """Arrangement and nameplate."""
    plate, kind = machine.nameplate, machine.arrangement
    title = kind.title[:1].upper() + kind.title[1:]
    rows = [
        Row("Start arrangement", title + (f" ({kind.abbreviation})" if kind.abbreviation else "")),
        Row("Protector", machine.protector),
        Row("Supply", f"{plate.volts:g} V, {plate.hertz:g} Hz"),
    ]
    if plate.locked_rotor_amps is not None:
        rows.append(Row("Locked-rotor amps (LRA)", f"{plate.locked_rotor_amps:g} A"))
    if plate.rated_load_amps is not None:
        rows.append(Row("Running amps (RLA)", f"{plate.rated_load_amps:g} A"))
    printed = plate.refrigerant.strip()
    remark = ""
    if printed:
        found = safety_class(printed)
        remark = f"class {found}" if found else "not in the list"
        remark += ", flammable" if flammable(printed) else ""
    rows.append(Row("Refrigerant", printed or "not read", remark))
    return tuple(rows)


def _cautions(machine: Machine) -> tuple[str, ...]:
    said = [f"{c.title}. {c.plain}" for c in cautions_for(machine)]
    if machine.arrangement.caution:
        said.insert(0, machine.arrangement.caution)
    if flammable(machine.nameplate.refrigerant):
        gate = gates()["flammable-caution"]
        said.insert(0, f"{gate.title}. {gate.steps[0]}")
    return tuple(said)


def _record(call: Call, judgement: Judgement | None, shop: Shop) -> tuple[Entry, ...]:
    """All events in force, in order, numbered."""
    rows: list[tuple[str, ReadingKept | Entry, str]] = [(kept.event, kept, "") for kept in call.readings]
    rows += _others(call, shop)
    rows.sort(key=lambda row: call.order[row[0]])
    reasons = {r.id: r for r in judgement.explanation.reasons} if judgement else {}
    steps: dict[str, int] = {}
    found = []
    for number, (event, row, gate) in enumerate(rows, 1):
        if isinstance(row, Entry):
            found.append(replace(row, number=number))
            if gate:
                steps[gate] = number
            continue
        reason = reasons.get(event)
        entry = _reading(call, row, judgement, steps)
        if reason is not None:
            moved = "; ".join(f"{r} {_percent(p)} → {_percent(q)}" for r, p, q in reason.moved)
            entry = replace(entry, weight=_decibans(reason.decibans), moved=moved)
        found.append(replace(entry, number=number))
    return tuple(found)


def _others(call: Call, shop: Shop) -> Iterator[tuple[str, Entry, str]]:
    """Every event but readings, with the name of the gate it passes."""
    known = gates()
    for gate in call.gates:
        title = known[gate.gate].title if gate.gate in known else gate.gate
        yield gate.id, Entry(0, clock(gate), "gate", title, note=gate.words), gate.gate
    for wait in call.waits:
        yield wait.id, Entry(0, clock(wait), "wait", f"Left alone for {wait.minutes:g} minutes"), ""
    for stamp in call.stamps:
        title = f"Read on the {_part(call.machine, stamp.part)}"
        yield stamp.id, Entry(0, clock(stamp), "stamp", title, value=stamp.text), ""
    for part in call.fitted:
        title = f"Fitted a new {_part(call.machine, part.part)}"
        yield part.id, Entry(0, clock(part), "fitted", title, note=part.note), ""
    for photo in call.photos:
        title = photo.caption or "without caption"
        yield photo.id, Entry(0, clock(photo), "photo", title, note=f"photo {photo.sha256[:12]}"), ""
    for note in call.notes:
        yield note.id, Entry(0, clock(note), "note", note.text), ""
    for decision in call.decisions:
        title = " and ".join(remedy_title(r, shop) for r in decision.remedies)
        yield decision.id, Entry(0, clock(decision), "decision", title, note=decision.words), ""


def _part(machine: Machine | None, name: str) -> str:
    try:
        return machine.part(name).family.title if machine else name
    except Unknown:
        return name


def _title(machine: Machine | None, probe: str) -> str:
    if machine is None:
        return probe
    try:
        return str(getattr(known_probe(machine, probe), "title", probe))
    except Unknown:
        return probe


def _reading(call: Call, kept: ReadingKept, judgement: Judgement | None, steps: dict[str, int]) -> Entry:
    wanted: tuple[str, ...] = ()
    if call.machine is not None:
        try:
            probe = known_probe(call.machine, kept.probe)
            wanted = tuple(g.name for g in gates_for(probe.gates, call.machine))
        except Unknown:
            wanted = ()
    known = gates()
    finding = judgement.findings.get(kept.event) if judgement else None
    seen = (
        shown_text(Observation(kept.probe, kept.reading, kept.answer)) if kept.reading or kept.answer else ""
    )
    typed = " ".join(kept.text.split())
    held = [g for g in wanted if g not in kept.unproved]
    return Entry(
        number=0,
        at=clock(kept),
        kind="reading",
        title=_title(call.machine, kept.probe),
        probe=kept.probe,
        value=seen or typed,
        typed="" if not seen or seen.casefold().startswith(typed.casefold()) else typed,
        temperature=_temperature(kept.temperature) if kept.reading is not None else "",
        note=kept.note,
        finding=finding.text if finding else "",
        warns=bool(finding and finding.warns),
        passed=tuple(f"No. {steps[g]}" if g in steps else known[g].title for g in held if g in known),
        unproved=tuple(known[g].title for g in kept.unproved if g in known),
    )


def _temperature(of: PartTemperature) -> str:
    if of.celsius is not None:
        return f"{of.celsius:.0f} °C"
    return "" if of.kind == "unknown" else of.kind


def _decibans(value: float) -> str:
    return "0.0" if abs(value) < 0.05 else f"{value:+.1f}".replace("-", "−")


def _figure(value: float) -> str:
    return f"{value:.1f}".replace("-", "−") if math.isfinite(value) else "no test left"


def _percent(share: float) -> str:
    """A probability as people read it; never 0 or 100 unless it is."""
    if 0 < share < 0.0001:
        return "< 0.01 %"
    if 0.9995 < share < 1:
        return "> 99.9 %"
    if share < 0.01:
        return f"{share:.2%}".replace("%", " %")
    return (f"{share:.1%}" if share > 0.99 else f"{share:.0%}").replace("%", " %")
