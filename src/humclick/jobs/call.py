"""
The call as it stands: what the fold of its events ends in.

Minutes and volts. Nothing here changes; a new event gives a new `Call`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Protocol

from humclick.arrangements.machine import Machine
from humclick.diagnosis.recognise import UNDER_COVER
from humclick.diagnosis.situation import Heard, Observation, Situation, Stoppage
from humclick.errors import OutOfRange
from humclick.jobs.events import (
    DecisionTaken,
    Event,
    GatePassed,
    HazardCleared,
    HazardFound,
    NoteWritten,
    Opened,
    PartFitted,
    PhotoMarked,
    PhotoTaken,
    ReadingTaken,
    RecordingTaken,
    StampRead,
    Waited,
)
from humclick.messages import Message
from humclick.meters import Meter, default_meter
from humclick.readings import Leads, PartTemperature, Reading
from humclick.safety import Gate, gate, gates, gates_for, invalidated_by

__all__ = ["Call", "Holding", "OneMore", "Problem", "ReadingKept", "unproved"]


@dataclass(frozen=True, slots=True)
class Holding:
    """Gates that hold on one device now, and those passed since the machine was last under power."""

    proved: frozenset[str] = frozenset()
    this_round: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Problem:
    """
    Something in the call that could not be used.

    Attributes
    ----------
    event : str
        Id of the event.
    text : str
        What was wrong and what would be right.
    kept : str
        The text as it was written.
    """

    event: str
    text: Message
    kept: str = ""


@dataclass(frozen=True, slots=True)
class ReadingKept:
    """
    A reading, a look or a start attempt that was understood.

    The temperature of the part is that typed; else hot after an attempt, cold once cooled, unknown before.
    """

    event: str
    at: datetime
    probe: str
    text: str  #: as typed
    reading: Reading | None  #: for a measurement
    answer: str  #: what was seen or heard; empty for a measurement and for "not sure"
    temperature: PartTemperature
    unproved: tuple[str, ...]  #: gates it needs that were not passed, or no longer held
    renewed: frozenset[str]  #: parts that had been replaced before
    note: str = ""
    causes: tuple[tuple[str, float], ...] = ()  #: of a recording, as in `RecordingTaken`
    repairs: int = 0  #: made before
    tester: bool = False  #: read with a meter that proves insulation
    top: float | None = None  #: top of its meter's ohms, which OL exceeds [Ω]
    against: tuple[str, ...] = ()  #: what forbade it, or had to be shown first, in words
    meter: Meter | None = None  #: it was read with, where a meter shows it
    _observation: Observation | None = field(default=None, init=False, repr=False, compare=False)

    @property
    def observation(self) -> Observation:
        """As judgement sees it."""
        if self._observation is None:
            observation = Observation(
                self.probe,
                self.reading,
                self.answer,
                self.temperature,
                self.renewed,
                self.event,
                self.causes,
                self.repairs,
                self.tester,
                self.top,
            )
            object.__setattr__(self, "_observation", observation)
            return observation
        return self._observation

    @property
    def readable(self) -> bool:
        """Whether it says something: a figure, or an answer that is not "not sure"."""
        return self.reading is not None or bool(self.answer)

    @property
    def left_open(self) -> bool:
        """Whether it is a look at the arrangement that nobody was sure of: not asked again."""
        return self.probe.startswith(UNDER_COVER) and not self.readable


class OneMore(Protocol):
    """What takes one more event onto a call (`humclick.jobs.folding.Folding`)."""

    def then(self, event: Event, reading: Reading | None = None) -> Call:
        """The call with one event more; see `Call.then`."""


class _Beside:
    """What stands beside the fields of a call: worked out from them, or what they were worked out by."""

    __slots__ = ("_folding", "_situation")

    _folding: OneMore
    _situation: Situation | None


@dataclass(frozen=True, slots=True)
class Call(_Beside):
    """What is known of a call now. Tuples of events are in order, without what was undone."""

    header: Opened | None = None
    machine: Machine | None = None
    complaint: Heard | None = None  #: heard before the call
    words: str = ""  #: the complaint as told
    tripped: bool = False  #: a complaint in force said that a breaker tripped, the last one or an earlier one
    meter: Meter = field(default_factory=default_meter)
    leads: Leads = field(default_factory=Leads)
    readings: tuple[ReadingKept, ...] = ()
    gates: tuple[GatePassed, ...] = ()
    device: str = ""  #: who asks
    held: Mapping[str, Holding] = field(default_factory=dict)  #: by the device that passed them
    ended: Mapping[str, int] = field(default_factory=dict)  #: how often each gate has been ended
    #: where each event stands in the order in which they count
    order: Mapping[str, int] = field(default_factory=dict)
    turn: int = 0  #: the largest that is believed; 0 where nobody counted
    skipped: Mapping[str, str] = field(default_factory=dict)  #: probes that cannot be done here, and why
    waited: float = 0.0  #: since the machine last tried to start, as far as written down [min]
    hot: bool | None = None  #: protector and starter now; None if not known
    renewed: frozenset[str] = frozenset()  #: parts replaced during the call
    repairs: int = 0
    #: which of the repairs, counted from 1, last renewed a part
    renewals: Mapping[str, int] = field(default_factory=dict)
    stoppages: tuple[Stoppage, ...] = ()  #: what stops the call, or a part of it, and is not answered yet
    marked_volts: Mapping[str, float] = field(default_factory=dict)  #: stamped on capacitors [V]
    hazards: tuple[HazardFound, ...] = ()  #: answered or not, taken back or not
    cleared: tuple[HazardCleared, ...] = ()
    stamps: tuple[StampRead, ...] = ()
    waits: tuple[Waited, ...] = ()
    fitted: tuple[PartFitted, ...] = ()
    photos: tuple[PhotoTaken, ...] = ()
    recordings: tuple[RecordingTaken, ...] = ()
    marks: tuple[PhotoMarked, ...] = ()
    notes: tuple[NoteWritten, ...] = ()
    decisions: tuple[DecisionTaken, ...] = ()
    undone: frozenset[str] = frozenset()  #: ids
    #: readings written down wrong, as they should have been; None where one is struck out
    corrected: Mapping[str, ReadingTaken | None] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    events: tuple[Event, ...] = field(default=(), repr=False, compare=False)  #: all, what was taken back too

    def then(self, event: Event, reading: Reading | None = None) -> Call:
        """
        The call with one event more: the same as a fold of all events and this one.

        Only this event is read, unless it changes how earlier ones are read (`humclick.jobs.folding`).
        `reading` is what its text was understood as. Raises `OutOfRange` if this call was not folded from
        events.
        """
        folding: OneMore | None = getattr(self, "_folding", None)
        if folding is None:
            raise OutOfRange(Message("this call was not folded from events; fold its events first"))
        return folding.then(event, reading)

    def folded_by(self, folding: OneMore) -> Call:
        """Itself, just folded, with what takes one more event onto it."""
        object.__setattr__(self, "_folding", folding)
        return self

    @property
    def proved(self) -> frozenset[str]:
        """Gates that hold now on the device that asks."""
        return self.on(self.device).proved

    @property
    def this_round(self) -> frozenset[str]:
        """Gates passed on the device that asks since the machine was last under power."""
        return self.on(self.device).this_round

    def on(self, device: str) -> Holding:
        """Gates that hold on a device."""
        return self.held.get(device, Holding())

    @property
    def stopped(self) -> tuple[Stoppage, ...]:
        """What ends the call until it is answered; empty while it goes on."""
        return tuple(stoppage for stoppage in self.stoppages if stoppage.stop.whole)

    def situation(self) -> Situation | None:
        """The call as judgement sees it, always the same value; None until the machine is described."""
        if not hasattr(self, "_situation"):
            situation = self._judged(self.machine) if self.machine is not None else None
            object.__setattr__(self, "_situation", situation)
        return self._situation

    def _judged(self, machine: Machine) -> Situation:
        return Situation(
            machine=machine,
            complaint=self.complaint,
            observations=tuple(self._seen(r) for r in self.readings if r.readable),
            meter=self.meter,
            leads=self.leads,
            waited=self.waited,
            hot=self.hot,
            skipped=frozenset(self.skipped) | {r.probe for r in self.readings if r.left_open},
            renewed=self.renewed,
            repairs=self.repairs,
            fitted=self.renewals,
            stoppages=self.stoppages,
            place=self.place,
            tripped=self.tripped,
        )

    def _seen(self, reading: ReadingKept) -> Observation:
        """A reading as judgement sees it, with its own meter where another one is in use now."""
        if reading.meter is None or reading.meter == self.meter:
            return reading.observation
        return replace(reading.observation, meter=reading.meter)

    def gates_before(self, probe_gates: Iterable[str]) -> tuple[Gate, ...]:
        """
        Gates still to be passed before a probe that asks for some, in order; raises `Unknown` for no gate.

        While no machine is described, all that the probe asks for.
        """
        wanted = self.gates_of(probe_gates)
        if self.machine is None:
            return wanted
        missing = unproved([gate.name for gate in wanted], self.proved, self.this_round)
        return tuple(gate for gate in wanted if gate.name in missing or self._of_another_matter(gate))

    def gates_of(self, probe_gates: Iterable[str]) -> tuple[Gate, ...]:
        """All gates before a probe on this machine, passed or not, in order; else as `gates_before`."""
        if self.machine is None:
            names = [gate(name).name for name in probe_gates]
            return tuple(known for known in gates().values() if known.name in names)
        return gates_for(probe_gates, self.machine, marked_volts=self.marked_volts, place=self.place)

    @property
    def place(self) -> str:
        """Whose rules hold on this call; empty where none was chosen."""
        return self.header.place if self.header is not None else ""

    def _of_another_matter(self, gate: Gate) -> bool:
        """Whether a gate that holds for the whole call was passed for something else, such as another gas."""
        if gate.once or gate.on or gate.name in invalidated_by(gates()):
            return False
        last = next((passed for passed in reversed(self.gates) if passed.gate == gate.name), None)
        return last is not None and bool(last.matter) and last.matter != gate.matter


def unproved(wanted: list[str], proved: Iterable[str], this_round: Iterable[str]) -> tuple[str, ...]:
    """
    Gates wanted that do not hold.

    A probe that works on the dead machine and then tries it needs both sorts: there a gate counts that was
    passed since the machine was last under power, though the cover is on again.
    """
    ended = invalidated_by(wanted)
    now, round_ = frozenset(proved), frozenset(this_round)
    return tuple(name for name in wanted if name not in (round_ if name in ended else now))
