"""
One guard: what must be on record, in words; and what a look at a part has to clear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from humclick.diagnosis.probes import Probe, Taken
from humclick.messages import NOTHING, Message
from humclick.parts.family import Clearance
from humclick.sourced import read_data

__all__ = ["GuardState", "clearing", "guard_named", "looked_at", "part_cleared", "reason_for"]


@dataclass(frozen=True, slots=True)
class GuardState:
    """
    One guard.

    Attributes
    ----------
    name, title : str
        Short name and words.
    done : bool
        Whether the record holds it.
    waived : str
        Why it need not, or empty.
    probes : tuple of str
        What would satisfy it, in order of preference.
    before : str
        What is not done to a compressor before it is on record.
    waits : float
        Minutes of cooling before its probe can satisfy it. [min]
    reason : str
        Why, where that is not the sentence all guards share.
    """

    name: str
    title: Message
    done: bool
    waived: Message
    probes: tuple[str, ...]
    before: Message
    waits: float
    reason: Message

    @property
    def open(self) -> bool:
        """Whether it still stands in the way."""
        return not (self.done or self.waived)


def _words() -> Mapping[str, Any]:
    return read_data("humclick.diagnosis", "guards.toml")


def reason_for(name: str) -> Message:
    """Why a guard need not be met, or why it must, by a short name."""
    return Message.of(_words()["reason"][name])


def guard_named(
    name: str,
    done: bool,
    probes: Sequence[str],
    waived: Message = NOTHING,
    waits: float = 0.0,
    reason: Message = NOTHING,
) -> GuardState:
    """
    A guard by its short name, its words as in ``guards.toml``.

    Parameters
    ----------
    name, done, probes, waived, reason
        As of `GuardState`.
    waits : float
        Minutes of cooling before its probe can satisfy it. [min]
    """
    words = _words()["guard"][name]
    return GuardState(
        name,
        Message.of(words["title"]),
        done,
        waived,
        tuple(probes),
        Message.of(words["before"]),
        waits,
        reason,
    )


def clearing(known: Mapping[str, Probe]) -> list[tuple[Probe, Clearance]]:
    """Looks that must have cleared their part before a compressor is blamed."""
    looks = [(probe, probe.look.clears) for probe in known.values() if probe.look is not None]
    return [(probe, clears) for probe, clears in looks if clears is not None]


def part_cleared(
    look: Probe,
    clears: Clearance,
    known: Mapping[str, Probe],
    taken: Sequence[Taken],
    why: Message,
    *,
    rested: bool,
) -> GuardState:
    """Whether a look, or work on its part and a try, leaves nothing of a part to blame."""
    answers = [o.answer for probe, o in taken if probe.id == look.id]
    worked = any(_works_on(probe, look) for probe, _ in taken)
    done = worked or (bool(answers) and answers[-1] in clears.by)
    works = tuple(name for name, probe in known.items() if _works_on(probe, look))
    waived = NOTHING if done else why or (clears.why if rested else NOTHING)
    probes = works if answers else (look.id, *works)
    before = Message.of(_words()["before"]["condemn"])
    return GuardState(_short(look), clears.title, done, waived, probes, before, 0.0, NOTHING)


def _short(look: Probe) -> str:
    """The name of a look without that of its part."""
    return look.id.partition(".")[2]


def _works_on(probe: Probe, look: Probe) -> bool:
    """Whether a probe puts right the part that is looked at, and tries it."""
    return probe.repairs and probe.part == look.part


def looked_at(look: Probe, clears: Clearance, taken: Sequence[Taken], *, skipped: bool) -> GuardState:
    """Whether a part was looked at, or put right, before a machine is left with nothing explained."""
    done = any(probe.id == look.id or _works_on(probe, look) for probe, _ in taken)
    unseen = reason_for("unseen") if skipped and not done else NOTHING
    before = Message.of(_words()["before"]["leave"])
    return GuardState(f"{_short(look)}-seen", clears.seen, done, unseen, (look.id,), before, 0.0, NOTHING)
