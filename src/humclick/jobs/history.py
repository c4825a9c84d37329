"""
What was decided and done on a call, go by go: before it, after it, and how far the call has come.

A call is judged twice: as it stood when something was decided or put right, and as it stands now. The reason
for a decision is the one that stood then; what is left to suspect is what is suspected now. Every face asks
here for both, and for the words over them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from humclick.diagnosis.damage import remedy_of
from humclick.diagnosis.decisions import REPLACE_COMPRESSOR, WAIT, covered
from humclick.errors import Unknown
from humclick.jobs.events import DecisionTaken, Event, PartFitted, ReadingTaken
from humclick.jobs.fold import COMPRESSOR, fold
from humclick.messages import NOTHING, Message, listed
from humclick.replacement.demand import replaced_parts

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.advice import Advice
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call

__all__ = ["State", "Turn", "did", "heading", "state_of", "titles", "turns"]

#: Remedies that mend nothing.
_PASSING = WAIT | {"set control"}
_HAND_OVER = "hand over"


@dataclass(frozen=True, slots=True)
class Turn:
    """One go at fixing it."""

    event: str  #: the decision that began it, else the first thing put right
    at: datetime
    before: Call  #: as it stood then, that event left out
    decided: tuple[str, ...] = ()
    done: tuple[str, ...] = ()
    outcome: str = ""  #: of the last try after it; empty where it was not tried since

    @property
    def about(self) -> tuple[str, ...]:
        """The remedies its reason has to speak of: those decided, else those done."""
        return self.decided or self.done

    @property
    def timed(self) -> bool:
        """Whether somebody wrote down when."""
        return self.at.year > 1970


def turns(call: Call) -> tuple[Turn, ...]:
    """
    Every go at putting the machine right, in order.

    A new one begins with a decision after something was done or tried, with a part that was not decided, and
    with another part once the one before was tried. A decision that is changed before anything is done counts
    from its change.
    """
    goes: list[Turn] = []

    def begin(index: int, event: Event, decided: tuple[str, ...] = ()) -> None:
        goes.append(Turn(event.id, event.at, fold(call.events[:index]), decided))

    readings = {reading.event: reading for reading in call.readings}
    for index, event in enumerate(call.events):
        if event.id in call.undone:
            continue
        last = goes[-1] if goes else None
        if isinstance(event, DecisionTaken):
            if last is not None and not last.done and not last.outcome:
                goes.pop()
            begin(index, event, tuple(dict.fromkeys(event.remedies)))
            continue
        did_now = _put_right(call, event)
        if did_now:
            if last is None or not _belongs(last, did_now):
                begin(index, event)
            done = tuple(dict.fromkeys((*goes[-1].done, did_now)))
            goes[-1] = replace(goes[-1], done=done, outcome="")
        reading = readings.get(event.id)
        if goes and reading is not None and reading.answer and _tries(reading.probe):
            goes[-1] = replace(goes[-1], outcome=reading.answer)
    return tuple(goes)


def _belongs(turn: Turn, remedy: str) -> bool:
    """Whether what was just put right belongs to a go that has begun."""
    if turn.decided:
        return remedy in covered(frozenset(turn.decided)) and remedy not in turn.done
    return not turn.outcome


def _tries(probe: str) -> bool:
    """Whether a probe tries the machine as it is."""
    return probe.startswith(("attempt.", "fit.")) and probe != "attempt.known_good"


def _put_right(call: Call, event: Event) -> str:
    """The remedy that an event carries out; empty where it carries out none."""
    machine = call.machine
    if machine is None:
        return ""
    part, new = "", isinstance(event, PartFitted)
    if isinstance(event, PartFitted):
        part = event.part
    elif isinstance(event, ReadingTaken) and event.probe.startswith("fit."):
        part = event.probe.removeprefix("fit.")
    if new and part == COMPRESSOR:
        return REPLACE_COMPRESSOR
    try:
        return remedy_of(machine, part, new=new) if part else ""
    except Unknown:
        return ""


@dataclass(frozen=True, slots=True)
class State:
    """
    How far the call has come.

    ``stopped`` while a hazard ends the call; ``bare``, ``recognised``, ``open``, ``handed``, ``passing``,
    ``needed``, ``fitted`` or ``repaired``.
    """

    name: str
    remedies: tuple[str, ...] = ()  #: to be done, or done: as the technician decided, else as judged
    decided: bool = False  #: by the technician
    done: tuple[str, ...] = ()  #: on this call, in order
    due: tuple[str, ...] = ()  #: still to be done
    turn: Turn | None = None  #: the last go at fixing it
    why: Message = NOTHING  #: what ended the call

    @property
    def failed(self) -> bool:
        """Whether something was put right and it still did not start."""
        return bool(self.turn and self.turn.done and self.turn.outcome not in ("", "runs"))


def state_of(call: Call, advice: Advice | None) -> State:
    """How far the call has come: what is to be done, what was done, what came of it."""
    if call.stopped:
        why = listed(dict.fromkeys(stoppage.stop.title.small() for stoppage in call.stopped), "and")
        return State("stopped", (_HAND_OVER,), due=(_HAND_OVER,), why=why)
    if call.machine is None:
        return State("bare")
    if advice is None:
        return State("recognised")
    every = turns(call)
    turn = every[-1] if every else None
    done = tuple(dict.fromkeys(remedy for go in every for remedy in go.done))
    judged = advice.verdict.due if advice.verdict is not None else ()
    if turn is None or (turn.done and turn.outcome not in ("", "runs")):  # nothing decided, or done in vain
        return replace(_judged(judged), done=done, turn=turn)
    waiting = tuple(r for r in turn.decided if r not in turn.done and _needs_part(call.machine, r))
    if turn.done:
        name = "repaired" if turn.outcome == "runs" else "needed" if waiting else "fitted"
        more = tuple(r for r in judged if r not in {*done, *waiting, *_PASSING, _HAND_OVER})
        due = (*waiting, *more) if name == "repaired" else waiting
        if name == "repaired" and any(not bar.gates for bar in advice.bars):  # it ran, and must not run again
            return replace(_judged(judged or (_HAND_OVER,)), done=done, turn=turn)
        return State(name, due if name == "needed" else turn.done, bool(turn.decided), done, due, turn)
    if _HAND_OVER in turn.decided:
        return State("handed", turn.decided, True, done, turn.decided, turn)
    if set(turn.decided) <= _PASSING:
        return State("passing", turn.decided, True, done, turn.decided, turn)
    if turn.outcome == "runs" and not waiting:  # what needs no part was put right before it was tried
        return State("repaired", turn.decided, True, (*done, *turn.decided), (), turn)
    return State("needed", turn.decided, True, done, turn.decided, turn)


def _judged(remedies: tuple[str, ...]) -> State:
    """What judgement alone says is to be done."""
    if not remedies:
        return State("open")
    passing, handed = set(remedies) <= _PASSING, _HAND_OVER in remedies
    return State("handed" if handed else "passing" if passing else "needed", remedies, due=remedies)


def _needs_part(machine: Machine, remedy: str) -> bool:
    return remedy.startswith("replace ") and bool(replaced_parts(machine, remedy))


# -- words --------------------------------------------------------------------------------------------------


def titles(remedies: Iterable[str], shop: Shop) -> Message:
    """Remedies to be done, in words."""
    return listed((shop.remedies[r].title if r in shop.remedies else Message.of(r) for r in remedies), "and")


def did(remedies: Iterable[str], shop: Shop) -> Message:
    """Remedies carried out, in words."""
    return listed((shop.remedies[r].did if r in shop.remedies else Message.of(r) for r in remedies), "and")


def heading(state: State, advice: Advice | None, shop: Shop, recognised: Message = NOTHING) -> Message:
    """
    How far the call has come, in one line; `recognised` is the title of a machine that is no more than that.
    """
    done, due = did(state.done, shop), titles(state.due, shop)
    match state.name:
        case "stopped":
            return Message("Stopped: {why}. Make it safe and hand over", why=state.why)
        case "bare":
            return Message("No machine is described yet")
        case "recognised":
            return Message("Recognised only: {arrangement}", arrangement=recognised)
        case "repaired" if due:
            return Message("Repaired: {done}. It ran afterwards. Still to do: {due}", done=done, due=due)
        case "repaired":
            return Message("Repaired: {done}. It ran afterwards", done=done)
        case "fitted":
            return Message("Done: {done}. Not test-run yet", done=done)
    verdict = advice.verdict if advice is not None else None
    if not state.remedies:
        now = Message("No verdict yet")
    elif state.decided or verdict is None:
        now = Message("To do: {due}", due=due)
    else:
        now = Message("Verdict: {sentence}", sentence=verdict.sentence)
    if done and state.failed:
        return Message("Done: {done}. It still did not start. {now}", done=done, now=now)
    if state.failed:
        return Message("It still did not start. {now}", now=now)
    return Message("Done: {done}. {now}", done=done, now=now) if done else now
