"""
What advice is made of: suspects, values of probes, arrangements it may be, and all of it together.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.power import Bar
from humclick.diagnosis.verdicts import Verdict
from humclick.messages import Message
from humclick.readings.shown import percent

__all__ = ["Advice", "MayBe", "Suspect", "Value"]


@dataclass(frozen=True, slots=True)
class Suspect:
    """
    One set of modes that may be the truth.

    Attributes
    ----------
    label, short : str
        In the technician's words; without what explains each mode.
    plain : str
        In the customer's words.
    parts : tuple of (part, mode)
        The set.
    probability : float
        [-]
    """

    label: Message
    short: Message
    plain: Message
    parts: tuple[tuple[str, str], ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Value:
    """
    A probe and what it is worth now.

    Attributes
    ----------
    probe, title, how : str
        Which, in one line, and how it is done.
    gates : tuple of str
        Safety gates it needs.
    worth : float
        Fall of the expected loss it brings, its own cost taken off: two steps ahead for the one advised, by
        itself for the others. [money]
    cost : float
        Time and risk in money. [money]
    minutes : float
        Time it takes, waiting not counted. [min]
    waits : float
        Minutes of cooling before it can decide. [min]
    reason : str
        Why this one, in one sentence.
    """

    probe: str
    title: Message
    how: Message
    gates: tuple[str, ...]
    worth: float
    cost: float
    minutes: float
    waits: float
    reason: Message


@dataclass(frozen=True, slots=True)
class MayBe:
    """
    A start arrangement that the machine may have.

    Attributes
    ----------
    name, title : str
        Its name, and in words.
    probability : float
        By how common it is and by all that was seen, among those weighed. [-]
    """

    name: str
    title: Message
    probability: float

    @property
    def told(self) -> Message:
        """Its probability and title, to stand in a list."""
        return Message("{share} {arrangement}", share=percent(self.probability), arrangement=self.title)


@dataclass(frozen=True, slots=True, repr=False)
class Advice:
    """
    What to do next.

    Attributes
    ----------
    kind : str
        ``probe``, ``wait``, ``verdict``, or ``stop`` where the call ends until a hazard is answered.
    suspects : tuple of Suspect
        Most probable sets, the likeliest first.
    remedies : tuple of (remedy, probability)
        How probably each remedy is needed.
    none_of_these, left_out, beyond : float
        Probability of something the model does not know; bound on all sets left out as too improbable; bound
        on more than three faults at once, which the model does not hold. [-]
    next : Value or None
        The probe advised.
    alternatives : tuple of Value
        Other probes, best first.
    verdict : Verdict or None
        Where it is time to act.
    guards : tuple of GuardState
        Open guards that made this the next probe; empty otherwise.
    bars : tuple of Bar
        What forbids power, or ends the call.
    arrangements : tuple of MayBe
        Start arrangements it may have, the likeliest first; empty where it is known.
    unweighed : float
        Share of calls on arrangements that fit too and were not weighed, by how common they are. [-]
    """

    kind: str
    suspects: tuple[Suspect, ...]
    remedies: tuple[tuple[str, float], ...]
    none_of_these: float
    left_out: float
    beyond: float
    next: Value | None
    alternatives: tuple[Value, ...]
    verdict: Verdict | None
    guards: tuple[GuardState, ...]
    bars: tuple[Bar, ...] = ()
    arrangements: tuple[MayBe, ...] = ()
    unweighed: float = 0.0

    def __repr__(self) -> str:
        lead = f"{percent(self.suspects[0].probability)} {self.suspects[0].label}" if self.suspects else ""
        if self.next is not None:
            return f"<next {self.next.probe}: {self.next.title}; {lead}>"
        return f"<{self.kind}: {self.verdict.sentence if self.verdict is not None else ''}; {lead}>"
