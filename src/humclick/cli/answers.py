"""What a line typed in a call does: an order, a reading, the answer to a question."""

from __future__ import annotations

from typing import TYPE_CHECKING

from humclick.cli.opening import answer_question
from humclick.cli.orders import order_in
from humclick.cli.reading import read
from humclick.errors import HumclickError, Refused, Unknown
from humclick.jobs.entry import LONGEST, looks_like_probe, probe_named
from humclick.jobs.taking import BarredNow, GatesFirst
from humclick.messages import Message, Verbatim

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.diagnosis.probes import Probe


def taken(session: Session, line: str) -> str:
    """Take one line, and what there is to say to it; refused whole where it cannot be taken now."""
    if len(line) > LONGEST:
        raise Refused(
            Message("a line may have {most} letters; a long text goes in several notes", most=LONGEST)
        )
    order = order_in(line)
    if order is not None:
        return order(session)
    first, _, rest = line.partition(" ")
    name = _named(session, first)
    if name is not None:
        if rest.strip():
            return read(session, name, rest.strip(), already=True)
        session.choose(name)
        return ""
    if session.questions:
        return answer_question(session, line)
    return _bare(session, line) if line else ""


def _named(session: Session, word: str) -> str | None:
    """The probe that a word names."""
    if not word or session.call.machine is None:
        return None
    probe = probe_named(word, session.flow.probes)
    return session.probe(word).id if probe is None and word.startswith("between.") else probe


def _bare(session: Session, line: str) -> str:
    """A reading of the probe asked for."""
    probe, first = session.step.probe, line.partition(" ")[0]
    if probe is None:
        if looks_like_probe(first):
            raise Unknown(Message("probe"), first[:60], session.flow.probes)
        raise Refused(Message("no probe is asked for now; write its name before the reading, or type help"))
    try:
        return read(session, probe.id, line)
    except BarredNow as barred:
        raise Refused(_already(barred.message, probe, line)) from None
    except GatesFirst as gates:
        right = Message("first the safety steps above: type done when all are, or cannot")
        if gates.briefing.dead:
            right = Message(
                "first the safety steps above: type {typed}, or cannot", typed=Verbatim(f"done {line[:40]}")
            )
        raise Refused(_already(right, probe, line)) from None
    except HumclickError:
        if looks_like_probe(first):
            raise Unknown(Message("probe"), first[:60], session.flow.probes) from None
        raise


def _already(why: Message, probe: Probe, line: str) -> Message:
    return Message(
        "{why}. For a reading that was taken already, write the probe's name before it: {typed}",
        why=why,
        typed=Verbatim(f"{probe.id} {line[:40]}"),
    )
