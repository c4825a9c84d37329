"""
Advice as plain text: what is wrong, what to do next, and why, in lines of at most 78 columns.

Probabilities are shown in per cent, times in minutes, money in the shop's unit.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from humclick.readings.shown import percent

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.advice import Suspect, Value
    from humclick.diagnosis.guards import GuardState
    from humclick.diagnosis.power import Bar
    from humclick.diagnosis.probes import Probe
    from humclick.diagnosis.reasons import Explanation, WhatIf
    from humclick.jobs.briefing import Briefing, HazardShown, RemedyBriefing
    from humclick.jobs.call import Call, Problem
    from humclick.jobs.result import AdviceResult, DefendedVerdict
    from humclick.replacement.demand import PartDemand
    from humclick.safety import Fact, Gate, Place

__all__ = [
    "LEFT",
    "advice_in_words",
    "bar",
    "bars_in_words",
    "counted",
    "demand_in_words",
    "explanation_in_words",
    "gate_in_words",
    "heading",
    "lines",
    "machine_in_words",
    "next_in_words",
    "numbered",
    "probe_in_words",
    "problems_in_words",
    "standing_in_words",
    "suspects_in_words",
    "table",
    "verdict_in_words",
    "what_if_in_words",
    "why_in_words",
]

_WIDE = 78
#: Letters of a bar of 100 %.
_BAR = 20
#: Heading of what is suspected once something was put right.
LEFT = "Left to suspect now"
#: Suspects less probable than this are not named. [-]
_SHOWN = 0.005


def counted(number: int, noun: str) -> str:
    """A number with its noun: ``1 event``, ``2 events``."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def bar(probability: float) -> str:
    """A probability as a bar of plain letters."""
    filled = round(min(max(probability, 0.0), 1.0) * _BAR)
    return "#" * filled + "." * (_BAR - filled)


def lines(text: str, first: str = "", rest: str | None = None) -> str:
    """A paragraph within the width, hung under its first words; "line" and its number stay together."""
    rest = " " * len(first) if rest is None else rest
    wrapped = textwrap.fill(
        re.sub(r"\b(line) (\d)", "\\1\u00a0\\2", text),
        _WIDE,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return wrapped.replace("\u00a0", " ")


def heading(text: str) -> str:
    """A heading."""
    return f"\n{text}\n{'-' * min(len(text), _WIDE)}"


def numbered(entries: Iterable[str]) -> str:
    """Entries numbered from 1."""
    return "\n".join(lines(entry, f"  {number:>2}  ") for number, entry in enumerate(entries, start=1))


def table(rows: Sequence[Sequence[str]]) -> str:
    """Rows in columns; the last column is wrapped."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]) - 1)] if rows else []
    shown = []
    for row in rows:
        first = "".join(f"{cell:<{width}}  " for cell, width in zip(row[:-1], widths, strict=True))
        if len(first) > _WIDE // 2:
            shown += [first.rstrip(), lines(row[-1], "    ")]
        else:
            shown.append(lines(row[-1], first) if row[-1] else first.rstrip())
    return "\n".join(shown)


def machine_in_words(machine: Machine) -> str:
    """The machine in one paragraph."""
    kind, plate = machine.arrangement, machine.nameplate
    said = [f"{kind.title} ({kind.id})", f"protector {machine.protector}"]
    said.append(f"{plate.volts:g} V {plate.hertz:g} Hz")
    if plate.locked_rotor_amps is not None:
        said.append(f"LRA {plate.locked_rotor_amps:g} A")
    if plate.rated_load_amps is not None:
        said.append(f"RLA {plate.rated_load_amps:g} A")
    said.append(plate.refrigerant or "refrigerant not read")
    return lines(", ".join(said), "Machine: ", "  ")


def suspects_in_words(suspects: Sequence[Suspect], none_of_these: float, beyond: float, most: int = 4) -> str:
    """The most probable suspects with bars."""
    worth = [s for k, s in enumerate(suspects[:most]) if k == 0 or s.probability >= _SHOWN]
    rows = [lines(s.label, f"  {percent(s.probability):>5}  {bar(s.probability)}  ") for s in worth]
    rest = max(0.0, 1.0 - sum(s.probability for s in worth) - none_of_these)
    tail = f"all other combinations {percent(rest)}, causes not on the list {percent(none_of_these)}"
    if beyond > 0.001:
        tail += f", more than three faults at once at most {percent(beyond)}"
    return "\n".join((*rows, lines(tail, "         ")))


def _then(result: AdviceResult) -> str:
    """When the last go at fixing it began, in words."""
    return "before the repair" if result.turns[-1].done else "when it was decided"


def standing_in_words(result: AdviceResult, most: int = 6) -> str:
    """What is suspected; where something was decided or done, what was suspected before it as well."""
    now = suspects_in_words(result.suspects, result.none_of_these, result.beyond, most)
    turn = result.turns[-1] if result.turns else None
    if turn is None or (turn.suspects == result.suspects and not result.done):
        return f"{heading('Suspects')}\n{now}"
    shown = []
    if turn.suspects:
        rest = max(0.0, 1.0 - sum(s.probability for s in turn.suspects))
        shown += [heading(f"Suspects {_then(result)}"), suspects_in_words(turn.suspects, rest, 0.0, most)]
    shown += [heading(LEFT if result.done else "Suspects now"), now]
    return "\n".join(shown)


def why_in_words(result: AdviceResult) -> str:
    """Why it was decided, as it stood then, and what is left now."""
    turn = result.turns[-1] if result.turns else None
    now = result.explanation
    if turn is None or (turn.done and turn.outcome not in ("", "runs")):  # nothing decided, or done in vain
        return explanation_in_words(now) if now is not None else ""
    shown = []
    if turn.explanation is not None:
        then = _then(result)
        shown += [f"{then[:1].upper()}{then[1:]}:", explanation_in_words(turn.explanation)]
    if now is not None and result.done:
        shown += ["Now:", lines(now.sentence)]
    return "\n".join(shown)


def _effort(minutes: float, waits: float, cost: float) -> str:
    wait = f"; first let it cool for {waits:g} min" if waits else ""
    return f"{minutes:g} min{wait}; time and risk together {cost:.2f} money"


def next_in_words(value: Value, guards: Sequence[GuardState] = ()) -> str:
    """The probe advised: what, how, why, and what it costs."""
    shown = [lines(f"{value.title}  [{value.probe}]", "Next: ", "      ")]
    if value.waits:
        shown.insert(0, lines(f"Let it cool for {value.waits:g} minutes (then type: wait {value.waits:g})."))
    if value.how != value.title:
        shown.append(lines(value.how, "  How:  "))
    shown.append(lines(value.reason[:1].upper() + value.reason[1:] + ".", "  Why:  "))
    shown.append(lines(_effort(value.minutes, value.waits, value.cost), "  Cost: "))
    if guards[1:]:
        names = "; ".join(guard.title for guard in guards[1:])
        shown.append(lines(f"Also before {guards[0].before}: {names}.", "  "))
    return "\n".join(shown)


def probe_in_words(probe: Probe) -> str:
    """A probe asked for by name."""
    shown = [lines(f"{probe.title}  [{probe.id}]", "Next: ", "      ")]
    if probe.how != probe.title:
        shown.append(lines(probe.how, "  How:  "))
    shown.append(f"  Cost: {probe.minutes:g} min")
    return "\n".join(shown)


def gate_in_words(gate: Gate, *, full: bool = True, new: bool = True) -> str:
    """A safety gate with all its steps, or in a line of ticks."""
    first = "SAFETY FIRST" if new else "SAFETY AGAIN"
    if not full:
        ticks = "  ".join(f"[ ] {tick}".replace(" ", "\N{NO-BREAK SPACE}") for tick in gate.ticks)
        return lines(f"{gate.title}: {ticks}", f"{first}: ", "  ").replace("\N{NO-BREAK SPACE}", " ")
    said = [lines(" ".join(gate.said), "  ")] if gate.said else []
    return "\n".join([f"{first}: {gate.title}", *said, numbered(gate.steps)])


def hazards_in_words(hazards: Sequence[HazardShown]) -> list[str]:
    """What a probe or a remedy meets: in full where it is new, else in one line."""
    shown = [lines(f"{each.hazard.title}. {each.hazard.plain}", "! ") for each in hazards if each.full]
    short = "; ".join(each.hazard.tick for each in hazards if not each.full)
    return [*shown, *([lines(short, "  Mind: ")] if short else [])]


def gates_in_words(briefing: Briefing) -> str:
    """All that stands before a probe, to be confirmed together."""
    shown = [lines(f"{each.title}. {each.plain}", "! ") for each in briefing.cautions]
    shown += [gate_in_words(each.gate, full=each.full, new=each.new) for each in briefing.gates]
    if briefing.defer:
        shown.append(lines(briefing.defer, "  "))
    return "\n".join(shown)


def safety_in_words(gates: Sequence[Gate], hazards: Sequence[Fact], place: Place) -> str:
    """All there is to read of safety: steps, why, how long, by which rule, and the rules of the place."""
    shown = []
    for each in gates:
        shown += [gate_in_words(each), lines(each.why, "  Why: "), lines(f"It holds {each.lasts}.", "  ")]
        shown.append(lines(each.source, "  Rule: "))
    shown += [lines(f"{each.title}. {each.plain} ({each.source})", "! ") for each in hazards]
    shown.append(f"Rules of: {place.title}")
    shown += [lines(f"{rule.title}. {rule.text} ({rule.source})", "  ") for rule in place.rules.values()]
    return "\n".join(shown)


def remedy_in_words(briefing: RemedyBriefing) -> list[str]:
    """What doing a remedy meets, and what takes a certificate."""
    shown = hazards_in_words(briefing.hazards)
    if briefing.refrigerant is not None:
        kind = briefing.refrigerant
        title = kind.title[:1].upper() + kind.title[1:]
        shown.insert(0, lines(f"{title}. {' '.join(kind.said)}", "! "))
    if briefing.certificate is not None:
        shown.append(lines(f"{briefing.certificate.text} ({briefing.certificate.source})", "! "))
    return shown


def verdict_in_words(verdict: DefendedVerdict) -> str:
    """A verdict and what stands behind it."""
    shown = [lines(f"{verdict.sentence}.", "Verdict: ", "  ")]
    shown.append(lines(verdict.because, "  Why:   "))
    for guard in verdict.guards:
        state = "done" if guard.done else f"waived, {guard.waived}" if guard.waived else "OPEN"
        shown.append(lines(f"{guard.title}: {state}", "  Guard: "))
    if verdict.flip_factor is not None:
        rival = " and ".join(verdict.rival)
        shown.append(
            lines(
                f"{rival} would have to be {verdict.flip_factor:.3g} times as likely before any test as "
                f"assumed.",
                "  To change this: ",
                "         ",
            )
        )
    tail = f"expected cost of deciding now {verdict.expected_loss:.2f} money"
    if verdict.margin is not None:
        tail += f"; the best further probe would lose {max(verdict.margin, 0.0):.2f} more than it saves"
    shown.append(lines(tail, "  Cost:  "))
    return "\n".join(shown)


def demand_in_words(demand: PartDemand) -> str:
    """What to ask for at the counter, for one part."""
    shown = [lines(f"{demand.title}. {demand.before}".strip(), "  Part:  ")]
    known = [asked for asked in demand.marks if asked.value is not None or asked.limit is not None]
    shown += [lines(f"{asked.rule.title}: {asked.text}", "    must   ") for asked in known]
    shown += [lines(rule.text, "    never  ") for rule in demand.never]
    if demand.missing:
        titles = "; ".join(missing.title for missing in demand.missing)
        shown.append(lines(f"{titles} (the sheet says where)", "    read on the old part: ", " " * 11))
    return "\n".join(shown)


def explanation_in_words(explanation: Explanation) -> str:
    """How strongly each reading speaks, for a lead technician."""
    shown = [lines(explanation.sentence)]
    for reason in explanation.reasons:
        shown.append(lines(reason.shown, "  "))
        figures = f"{reason.decibans:+.1f} decibans; without it {percent(reason.without)}"
        shown.append(lines(f"{reason.words} ({figures})", "      "))
    return "\n".join(shown)


def what_if_in_words(probe: str, found: Sequence[WhatIf]) -> str:
    """What each outcome of a probe would change."""
    if not found:
        return f"{probe} would change nothing now."
    shown = [f"If {probe} shows:"]
    for each in found:
        then = ", ".join(f"{remedy} {percent(p)}" for remedy, p in each.remedies[:3])
        shown.append(lines(f"{each.outcome} ({percent(each.probability)})", "  "))
        shown.append(lines(f"{then}; acting then: {' and '.join(each.decision)}", "      "))
    return "\n".join(shown)


def problems_in_words(problems: Sequence[Problem]) -> str:
    """What in a call could not be used."""
    return "\n".join(lines(f"{each.text} (event {each.event})", "  not used: ", "    ") for each in problems)


def advice_in_words(result: AdviceResult, call: Call) -> str:
    """All of the advice on a call."""
    from humclick.diagnosis.findings import HEARD
    from humclick.jobs.flow import demands_of

    shown = [machine_in_words(call.machine)] if call.machine else []
    shown.append(f"Complaint: {HEARD[result.complaint] if result.complaint else 'not known'}")
    if result.findings:
        shown.append(heading("Readings"))
    for finding in result.findings:
        shown.append(lines(finding.text, f"{'!' if finding.warns else ' '} {finding.probe}: ", "    "))
    shown += [lines(text, "! ") for text in result.cautions]
    missing = sorted({gate for names in result.unproved.values() for gate in names})
    if missing:
        told = f"{counted(len(result.unproved), 'reading')} taken without a record of: {', '.join(missing)}"
        shown.append(lines(told, "! "))
    shown += [lines(text, "! ") for text in result.contradictions]
    if result.problems:
        shown += [heading("Could not be used"), problems_in_words(result.problems)]
    shown += [*bars_in_words(result.bars), standing_in_words(result), ""]
    if result.kind == "stop":
        return "\n".join((*shown, lines(f"{result.heading}.")))
    if result.kind in ("work", "prove", "repaired"):
        shown.append(lines(f"{result.heading}.", "", "  "))
    if result.kind == "work":
        shown.append(
            lines("Do it, write down what was installed, then start it and listen.", "Next: ", "      ")
        )
    elif result.verdict is not None and (result.kind != "prove"):
        shown.append(verdict_in_words(result.verdict))
        shown += [demand_in_words(each) for each in demands_of(call, result.verdict.due)]
    if result.next is not None:
        shown.append(next_in_words(result.next, result.guards))
        before = "; ".join(each.title for each in call.gates_before(result.next.gates))
        if before:
            shown.append(lines(before, "  First: "))
        others = [
            f"{v.probe} ({v.minutes:g} min{f', after {v.waits:g} min of cooling' if v.waits else ''})"
            for v in result.alternatives[:3]
        ]
        if others:
            shown.append(lines(", ".join(others), "  Else: "))
    if result.explanation is not None:
        shown += [heading("Why"), why_in_words(result)]
    return "\n".join(shown)


def bars_in_words(bars: Sequence[Bar], told: Collection[str] = ()) -> list[str]:
    """What ends the call, or forbids power now; those told before in a line."""
    shown = []
    for bar in bars:
        head = "STOP" if bar.whole else "Do not power it"
        reason = "" if bar.name in told else f" {bar.reason}"
        shown.append(lines(f"{head}: {bar.title}.{reason}", "!! "))
    return shown
