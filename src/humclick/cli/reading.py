"""A reading typed in a call: it is kept, and what it means is said."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from humclick.cli.layout import lines
from humclick.cli.own_words import in_english
from humclick.cli.pins import finding_in_words
from humclick.cli.words import titles_of
from humclick.jobs.standing import UNNAMED_PINS
from humclick.jobs.taking import take
from humclick.messages import N_, NOTHING, Message

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.entry import Answer


def ways_to_fix(session: Session) -> list[str]:
    """What a doubted reading may have been meant to be, each with the key that records it."""
    doubt = session.flow.doubt
    if doubt is None:
        return []
    rows = []
    for number, fix in enumerate(doubt.fixes, start=1):
        key = "f" if number == 1 else f"f {number}"
        form = N_("{question} Type {key}: {answer}.")
        rows.append(Message.of(form, question=fix.question, key=key, answer=fix.answer.small()))
    return [lines(row, "  ? ") for row in rows]


def read(
    session: Session,
    name: str,
    text: str,
    *,
    answer: Answer | None = None,
    confirmed: Collection[str] = (),
    already: bool = False,
) -> str:
    """Keep a reading or an answer, and what it means in a sentence; as `humclick.jobs.taking.take`."""
    probe = session.probe(name)
    after = take(
        session.flow,
        session.now(),
        probe,
        in_english(probe, text),
        answer=answer,
        confirmed=confirmed,
        already=already,
    )
    event = session.record(after)[-1]
    session.release(name)
    taken = next((reading for reading in session.call.readings if reading.event == event.id), None)
    weighed = session.flow.weighed
    finding = weighed.findings.get(event.id) if weighed is not None else None
    if finding is not None:
        pieces = [lines(finding.text, "! " if finding.warns else "  "), *ways_to_fix(session)]
    else:
        pieces = [lines(Message("{probe} {value}: kept.", probe=name, value=getattr(event, "value", "")))]
    missing = (*taken.unproved, *taken.against) if taken is not None else ()
    if missing:
        marked = Message(
            "taken without a record of: {missing:semicolon}; it is marked so.", missing=titles_of(missing)
        )
        pieces.append(lines(marked, "  ! "))
    if weighed is None or weighed.advice is None:
        return "\n".join(pieces)
    said = finding.text if finding is not None else NOTHING
    before = session.screen.contradictions
    new = [text for text in weighed.contradictions if text not in before and text not in said]
    session.screen.contradictions = frozenset(weighed.contradictions)
    pieces += [lines(reading, "!! ") for reading in new]
    pins = session.flow.pins if name in UNNAMED_PINS and name not in session.queue else None
    if pins is not None:
        pieces.append(finding_in_words(pins))
    return "\n".join(pieces)
