"""
The end of a call: the verdict, the parts it asks for, and how the repair is proved.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from humclick.cli import words
from humclick.diagnosis.guards import met_next
from humclick.diagnosis.power import bars
from humclick.diagnosis.reasons import explain, leader_of
from humclick.jobs.briefing import briefed_on
from humclick.jobs.result import defended
from humclick.jobs.standing import PROOF, probes_now
from humclick.replacement.demand import PartDemand, demands, replaced_parts

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call
    from humclick.jobs.standing import Onward

__all__ = ["demands_of", "onward_in_words", "proof_in_words", "verdict_shown"]


#: What is asked for after a repair, in order; see `humclick.diagnosis.guards.needs_before`.
_IN_ORDER = "go on as asked: look it over, ground wire, windings to the shell, start, current to ground"


def demands_of(call: Call, remedies: Iterable[str]) -> tuple[PartDemand, ...]:
    """What the parts of some remedies must match, by what was read in a call."""
    if call.machine is None:
        return ()
    stamps: dict[str, list[str]] = {}
    for stamp in call.stamps:
        stamps.setdefault(stamp.part, []).append(stamp.text)
    return demands(call.machine, remedies, stamps)


def proof_in_words(session: Session, remedies: Iterable[str]) -> str:
    """What to type once it is done, and the probes that show that it held; empty where it is handed over."""
    if set(remedies) <= {"hand over"}:
        return ""
    if session.call.stopped:
        return ""
    situation = session.situation
    machine = situation.machine
    lasting = [bar for bar in bars(situation, session.shop) if not (bar.remedies or bar.gates)]
    if lasting:  # whatever was decided
        return "\n".join(words.bars_in_words(tuple(lasting)))
    parts = [part for remedy in remedies for part in replaced_parts(machine, remedy)[:1]]
    first = f"type {', '.join(f'fitted {part}' for part in parts)}, then" if parts else "when it is done,"
    return words.lines(f"{first} {_IN_ORDER}.", "  To prove the repair: ", "         ")


def onward_in_words(call: Call, step: Onward, said: str, shop: Shop) -> str:
    """
    What follows a decision, what was put right, or a start that ran.

    Parameters
    ----------
    call : Call
        The call.
    step : Onward
        Of kind ``work``, ``prove`` or ``repaired``.
    said : str
        How far the call has come, from `humclick.jobs.history.heading`.
    shop : Shop
        Figures of the shop.
    """
    known, taken = probes_now(call, shop), {reading.probe for reading in call.readings}
    if step.kind == "work":
        done = f"When it is done: fitted PART for a new part, or {PROOF[0]}; {_IN_ORDER}"
        return words.lines(f"{said}. {done}. Or sheet, or quit.")
    if step.kind == "prove":
        return words.lines(
            f"{said}. Prove it: type {step.probe} ({known[step.probe].title}); or any other probe, sheet,"
            " or quit."
        )
    situation = call.situation()
    left = [
        f"{name} ({known[name].title})"
        for name in PROOF[1:]
        if name in known and name not in taken and situation and met_next(situation, known[name], shop)
    ]
    more = f" Still worth measuring: {'; '.join(left)}." if left else ""
    return words.lines(f"{said}.{more} Type sheet, or quit.")


def verdict_shown(session: Session) -> str:
    """The verdict with all that stands behind it, and the request to record a decision."""
    advice = session.advice
    verdict = advice.verdict if advice is not None else None
    if advice is None or verdict is None:
        return words.lines("Nothing is asked for now; list shows what else can be tested.")
    why = explain(session.situation, session.shop, leader=leader_of(advice))
    backed = defended(verdict, why)
    assert backed is not None
    shown = [words.verdict_in_words(backed)]
    if not verdict.due:
        return "\n".join((*shown, words.lines("Type sheet, or quit.")))
    shown += [words.demand_in_words(each) for each in demands_of(session.call, verdict.due)]
    shown += words.remedy_in_words(
        briefed_on(session.events, session.call, verdict.due, session.shop, session.device)
    )
    shown.append(proof_in_words(session, verdict.due))
    named = " and ".join(verdict.due)
    told = f"So: {named}. Type decide to record it, decide and other remedies, or go on with any probe."
    shown.append(words.lines(told))  # the verdict's first line has left a small screen by now
    return "\n".join(each for each in shown if each)
