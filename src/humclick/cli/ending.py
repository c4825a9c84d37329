"""
The end of a call: the verdict, the parts it asks for, and how the repair is proved.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from humclick.cli import words
from humclick.diagnosis.reasons import explain
from humclick.jobs.briefing import briefed_on
from humclick.jobs.result import defended
from humclick.replacement.demand import PartDemand, demands, replaced_parts

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.call import Call

__all__ = ["demands_of", "proof_in_words", "repaired_in_words", "verdict_shown"]

#: Probes that prove a repair, in order.
_PROOF = ("attempt.as_found", "supply.volts_start")


def demands_of(call: Call, remedies: Iterable[str]) -> tuple[PartDemand, ...]:
    """What the parts of some remedies must match, by what was read in a call."""
    if call.machine is None:
        return ()
    stamps: dict[str, list[str]] = {}
    for stamp in call.stamps:
        stamps.setdefault(stamp.part, []).append(stamp.text)
    return demands(call.machine, remedies, stamps)


def proof_in_words(session: Session, remedies: Iterable[str]) -> str:
    """What to type once it is done, and the probes that show that it held."""
    machine = session.situation.machine
    parts = [part for remedy in remedies for part in replaced_parts(machine, remedy)[:1]]
    known = session.probes()
    steps = [f"fitted {part}" for part in parts]
    steps += [f"{name} ({known[name].title})" for name in _PROOF if name in known]
    return words.lines("; ".join(steps) + ".", "  To prove the repair: ", "         ")


def repaired_in_words(session: Session) -> str:
    """That the repair is on record, and what would still prove it."""
    known, taken = session.probes(), {reading.probe for reading in session.call.readings}
    left = [f"{name} ({known[name].title})" for name in _PROOF[1:] if name in known and name not in taken]
    more = f" Still worth measuring: {'; '.join(left)}." if left else ""
    return words.lines(f"Repaired: it runs with the new part.{more} Type sheet, or quit.")


def verdict_shown(session: Session) -> str:
    """The verdict with all that stands behind it, and the request to record a decision."""
    advice = session.advice
    verdict = advice.verdict if advice is not None else None
    if verdict is None:
        return words.lines("Nothing is asked for now; list shows what else can be tested.")
    why = explain(session.situation, session.shop, leader=frozenset(verdict.remedies))
    backed = defended(verdict, why)
    assert backed is not None
    shown = [words.verdict_in_words(backed)]
    shown += [words.demand_in_words(each) for each in demands_of(session.call, verdict.remedies)]
    shown += words.remedy_in_words(briefed_on(session.events, session.call, verdict.remedies, session.shop))
    shown.append(proof_in_words(session, verdict.remedies))
    named = " and ".join(verdict.remedies)
    told = f"So: {named}. Type decide to record it, decide and other remedies, or go on with any probe."
    shown.append(words.lines(told))  # the verdict's first line has left a small screen by now
    return "\n".join(shown)
