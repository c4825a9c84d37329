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
from humclick.messages import Message

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.entry import Answer


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
        pieces = [lines(finding.text, "! " if finding.warns else "  ")]
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
    new = [text for text in weighed.contradictions if text not in session.screen.contradictions]
    session.screen.contradictions = frozenset(weighed.contradictions)
    pieces += [lines(reading, "!! ") for reading in new]
    pins = session.flow.pins if name in UNNAMED_PINS and name not in session.queue else None
    if pins is not None:
        pieces.append(finding_in_words(pins))
    return "\n".join(pieces)
