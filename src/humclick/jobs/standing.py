"""
Where a call stands: what is in force, what was decided last, what can be taken back, what would be accepted.

Faces ask here before they keep an event or say what comes next. Nothing here looks at a clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from humclick.diagnosis.guards import askable, leakage, met_next
from humclick.diagnosis.power import breaker_tripped
from humclick.diagnosis.probes import Probe, probes_of
from humclick.errors import Refused
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import (
    EARLIEST,
    LATEST,
    UNTIMED,
    ComplaintHeard,
    DecisionTaken,
    Event,
    GatePassed,
    HazardFound,
    MachineRead,
    NoteWritten,
    PartFitted,
    ReadingTaken,
    Undone,
)
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.safety import Fact, cautions_for

if TYPE_CHECKING:
    from humclick.diagnosis.advice import Advice
    from humclick.diagnosis.pins import PinFinding
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call
    from humclick.jobs.history import State
    from humclick.readings import Reading

__all__ = [
    "HAZARD_STANDS",
    "PIN_PAIRS",
    "PROOF",
    "UNNAMED_PINS",
    "Onward",
    "added",
    "cautions",
    "decision_in_force",
    "given_last",
    "live",
    "moment",
    "onward",
    "pins_found",
    "probes_now",
    "provisional",
    "to_redo",
    "to_undo",
]

#: Fields every event has.
_SHARED = frozenset(f.name for f in fields(Event))

#: Pairs of pins that are not named yet, in the order in which they are measured.
PIN_PAIRS = (("1", "2"), ("1", "3"), ("2", "3"))
#: The probes that measure them.
UNNAMED_PINS = tuple(f"pins.{a}-{b}" for a, b in PIN_PAIRS)

#: How the notes of older files begin that say that an arrangement is taken for now, and that it is settled.
_FOR_NOW, _CONFIRMED = "Arrangement taken for now:", "Arrangement confirmed:"
#: Why no undo lifts a hazard.
HAZARD_STANDS = Message("a hazard is not undone: it stays on record until you write how it was cleared")
#: Probes that prove a repair, in order.
PROOF = ("attempt.as_found", "supply.volts_start")


def cautions(call: Call) -> tuple[Fact, ...]:
    """Cautions that hold for the machine of a call now; none before it is described."""
    situation = call.situation()
    if situation is None:
        return ()
    return cautions_for(situation.machine, breaker=breaker_tripped(situation))


def live(events: Sequence[Event], call: Call) -> list[Event]:
    """Events in force, in order."""
    return [event for event in events if event.id not in call.undone]


def decision_in_force(events: Sequence[Event], call: Call) -> DecisionTaken | PartFitted | None:
    """The decision or the new part after which nothing was measured yet."""
    for event in reversed(live(events, call)):
        if isinstance(event, DecisionTaken | PartFitted):
            return event
        if isinstance(event, ReadingTaken | ComplaintHeard):
            return None
    return None


@dataclass(frozen=True, slots=True)
class Onward:
    """
    What comes next on a call, the same on every face.

    ``stop`` while a hazard ends the call; ``probe``, ``wait`` or ``verdict`` as advised; ``work`` once it is
    decided, ``prove`` once something was put right and not tried since, ``repaired`` once it ran.
    """

    kind: str
    probe: str = ""  #: to take next
    fitted: str = ""  #: the new part to be proved


def onward(call: Call, advice: Advice, state: State, shop: Shop) -> Onward:
    """What comes next on a call."""
    if call.stopped:
        return Onward("stop")
    if state.name == "repaired":
        return Onward("repaired", _last_check(call, shop))
    if state.name == "fitted":
        part = call.fitted[-1].part if call.fitted else ""
        probe = _proving(call, shop)
        if probe:
            return Onward("prove", probe, part)
    if isinstance(decision_in_force(call.events, call), DecisionTaken):
        return Onward("work")
    return Onward(advice.kind, advice.next.probe if advice.next is not None else "")


def _last_check(call: Call, shop: Shop) -> str:
    """The check still due on a repaired machine that runs; empty where there is none, or no meter for it."""
    situation = call.situation()
    guard = leakage(situation) if situation is not None and situation.repairs else None
    first = askable(situation, guard, shop) if situation is not None and guard and guard.open else None
    return first.id if first is not None else ""


def _proving(call: Call, shop: Shop) -> str:
    """The probe that proves a repair, or the one that stands before it; empty where there is none."""
    situation, known = call.situation(), probes_now(call, shop)
    trial = known.get(PROOF[0])
    if situation is None or trial is None or trial.id in call.skipped:
        return ""
    first = met_next(situation, trial, shop)
    return first.id if first is not None else ""


def probes_now(call: Call, shop: Shop) -> dict[str, Probe]:
    """Every named probe of the machine of a call; none before it is described."""
    return {} if call.machine is None else probes_of(call.machine, shop)


def given_last(events: Sequence[Event], call: Call, kind: type[Event]) -> dict[str, Any]:
    """Fields of the last event of a kind, without those every event has; empty if there is none."""
    for event in reversed(live(events, call)):
        if isinstance(event, kind):
            return {f.name: getattr(event, f.name) for f in fields(event) if f.name not in _SHARED}
    return {}


def provisional(events: Sequence[Event], call: Call) -> bool:
    """
    Whether the arrangement is taken for now only, until it is confirmed or another one is chosen.

    A note that begins with `_FOR_NOW` said so before the machine's own field did; it counts until another
    arrangement is described or a note that begins with `_CONFIRMED`.
    """
    machine, noted = "", ""
    for_now = False
    for event in live(events, call):
        if isinstance(event, MachineRead):
            noted = noted if event.arrangement == machine and not for_now else ""
            machine, for_now = event.arrangement, event.provisional
        elif isinstance(event, NoteWritten):
            noted = machine if event.text.startswith(_FOR_NOW) else noted
            noted = "" if event.text.startswith(_CONFIRMED) else noted
    return for_now or bool(noted)


def moment(now: datetime) -> datetime:
    """
    The time of a new event: what this device's clock says, whatever others said before.

    A clock that cannot be right, or a zone that is none, gives a time as an event may hold it: `UNTIMED`
    where the year is out of range, else the same moment in universal time.
    """
    try:
        offset = now.utcoffset()
        if offset is None or offset % timedelta(minutes=1):
            now = now.astimezone(UTC)
    except (OverflowError, ValueError):
        return UNTIMED
    return now if EARLIEST <= now.year <= LATEST else UNTIMED


def added(
    call: Call, kind: str, now: datetime, content: Mapping[str, Any], reading: Reading | None = None
) -> tuple[Event, Call]:
    """
    A new event of the device that asks, the last in order, and the call with it.

    `now` is what this device's clock says, `reading` what the text of a reading was understood as. Raises
    `Refused` if the event is not well formed or the call cannot use it.
    """
    if kind == GatePassed.kind:
        content = {**content, "ended": call.ended.get(str(content.get("gate")), 0)}
    event = new_event(kind, at=moment(now), device=call.device, turn=call.turn + 1, **content)
    after = call.then(event, reading)
    unusable = [problem for problem in after.problems if problem.event == event.id]
    if unusable:
        raise Refused(unusable[0].text)
    return event, after


def to_undo(events: Sequence[Event], call: Call) -> Event:
    """The last event that can be taken back; raises `Refused` if there is none."""
    for event in reversed(live(events, call)):
        if isinstance(event, HazardFound):
            raise Refused(HAZARD_STANDS)
        if not isinstance(event, Undone) and event.kind != "opened":
            return event
    raise Refused(Message("there is nothing to take back"))


def to_redo(events: Sequence[Event], call: Call) -> Undone:
    """The last undo; raises `Refused` where something was done since."""
    for event in reversed(live(events, call)):
        if isinstance(event, Undone):
            return event
        if event.kind != "opened":
            break
    raise Refused(Message("the last thing done was no undo"))


def pins_found(call: Call, shop: Shop | None = None) -> PinFinding | None:
    """What a call says of its unnamed pins; None while not all three pairs are measured."""
    from humclick.diagnosis.pins import pins_of

    situation = call.situation()
    measured = {
        observation.probe
        for observation in (() if situation is None else situation.observations)
        if observation.reading is not None and observation.reading.quantity is Quantity.RESISTANCE
    }
    return pins_of(situation, shop) if situation is not None and measured >= set(UNNAMED_PINS) else None
