"""
A reading typed in a call: it is kept, and what it means is said.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from humclick.cli import words
from humclick.cli.pins import finding_in_words
from humclick.jobs.standing import UNNAMED_PINS
from humclick.jobs.taking import take

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.entry import Answer

__all__ = ["read"]


def read(
    session: Session,
    name: str,
    text: str,
    *,
    answer: Answer | None = None,
    confirmed: Collection[str] = (),
    already: bool = False,
) -> str:
    """
    Keep a reading or an answer, and what it means in a sentence; parameters as `humclick.jobs.taking.take`.

    Raises
    ------
    HumclickError
        If it cannot be understood, or not be taken now.
    """
    after = take(
        session.flow,
        session.now(),
        session.probe(name),
        text,
        answer=answer,
        confirmed=confirmed,
        already=already,
    )
    event = session.record(after)[-1]
    session.release(name)
    taken = next((each for each in session.call.readings if each.event == event.id), None)
    weighed = session.flow.weighed
    finding = weighed.findings.get(event.id) if weighed is not None else None
    if finding is not None:
        said = [words.lines(finding.text, "! " if finding.warns else "  ")]
    else:
        said = [words.lines(f"{name} {getattr(event, 'value', '')}: kept.")]
    missing = (*taken.unproved, *taken.against) if taken is not None else ()
    if missing:
        said.append(words.lines(f"taken without a record of {', '.join(missing)}; it is marked so.", "  ! "))
    if weighed is None or weighed.advice is None:
        return "\n".join(said)
    new = [text for text in weighed.contradictions if text not in session.screen.contradictions]
    session.screen.contradictions = frozenset(weighed.contradictions)
    said += [words.lines(each, "!! ") for each in new]
    pins = session.flow.pins if name in UNNAMED_PINS and name not in session.queue else None
    if pins is not None:
        said.append(finding_in_words(pins))
    return "\n".join(said)
