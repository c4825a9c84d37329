"""The end of a call: the verdict, the parts it asks for, and how the repair is proved."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from humclick.cli import layout, words
from humclick.diagnosis.power import bars
from humclick.jobs.flow import demands_of
from humclick.jobs.result import defended
from humclick.jobs.standing import PROOF
from humclick.messages import Message, Verbatim
from humclick.replacement.demand import replaced_parts

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.flow import Flow
    from humclick.jobs.standing import Onward

#: What is asked for after a repair, in order; see `humclick.diagnosis.guards.needs_before`.
_IN_ORDER = Message(
    "go on as asked: look it over, ground wire, windings to the shell, start, current to ground"
)
#: What may be typed at the end.
LEAVE = Message("Type sheet, or quit.")


def proof_in_words(session: Session, remedies: Iterable[str]) -> str:
    """What to type once it is done, and the probes that show that it held; empty where it is handed over."""
    if set(remedies) <= {"hand over"}:
        return ""
    if session.call.stopped:
        return ""
    situation = session.situation
    machine = situation.machine
    lasting = [bar for bar in bars(situation, session.flow.shop) if not (bar.remedies or bar.gates)]
    if lasting:  # whatever was decided
        return "\n".join(words.bars_in_words(tuple(lasting)))
    parts = [part for remedy in remedies for part in replaced_parts(machine, remedy)[:1]]
    then = Message("when it is done, {order}.", order=_IN_ORDER)
    if parts:
        typed = tuple(Verbatim(f"fitted {part}") for part in parts)
        then = Message("type {typed}, then {order}.", typed=typed, order=_IN_ORDER)
    return layout.lines(then, layout.label(Message("To prove the repair"), 2), "         ")


def onward_in_words(flow: Flow, step: Onward) -> str:
    """What follows a decision (``work``), what was put right (``repaired``), or a start (``prove``)."""
    head = Message("{sentence}.", sentence=flow.heading)
    if step.kind == "work":
        done = Message(
            "When it is done: fitted PART for a new part, or {probe}; {order}. Or sheet, or quit.",
            probe=PROOF[0],
            order=_IN_ORDER,
        )
        return layout.lines(words.paragraphs(head, done))
    if step.kind == "prove":
        prove = Message(
            "Prove it: type {probe} ({title}); or any other probe, sheet, or quit.",
            probe=step.probe,
            title=flow.probes[step.probe].title,
        )
        return layout.lines(words.paragraphs(head, prove))
    left = tuple(Message("{probe} ({title})", probe=p.id, title=p.title) for p in flow.still_worth())
    more = Message("Still worth measuring: {probes:semicolon}.", probes=left) if left else ""
    return layout.lines(words.paragraphs(head, more, LEAVE))


def verdict_shown(session: Session) -> str:
    """The verdict with all that stands behind it, and the request to record a decision."""
    flow = session.flow
    weighed, advice = flow.weighed, flow.advice
    verdict = advice.verdict if advice is not None else None
    backed = defended(verdict, weighed.explanation if weighed is not None else None)
    if verdict is None or backed is None:
        return layout.lines(Message("Nothing is asked for now; list shows what else can be tested."))
    pieces = [words.verdict_in_words(backed)]
    if not verdict.due:
        return "\n".join((*pieces, layout.lines(LEAVE)))
    pieces += [words.demand_in_words(piece) for piece in demands_of(flow.call, verdict.due)]
    pieces += words.remedy_in_words(flow.briefing_on(verdict.due))
    pieces.append(proof_in_words(session, verdict.due))
    request = Message(
        "So: {remedies}. Type decide to record it, decide and other remedies, or go on with any probe.",
        remedies=words.remedies_typed(verdict.due),
    )
    pieces.append(layout.lines(request))  # the verdict's first line has left a small screen by now
    return "\n".join(piece for piece in pieces if piece)
