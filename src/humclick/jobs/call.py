"""
The call as it stands: what the fold of its events ends in.

Minutes and volts. Nothing here changes; a new event gives a new `Call`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from humclick.arrangements.machine import Machine
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
    """
    Gates that hold on one device.

    Attributes
    ----------
    proved : frozenset of str
        Those that hold now.
    this_round : frozenset of str
        Those passed since the machine was last under power.
    """

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

    Attributes
    ----------
    event : str
        Id of the event.
    at : datetime
        When.
    probe, text, note : str
        Where, as typed, and the note beside it.
    reading : Reading or None
        What the meter showed, for a measurement.
    answer : str
        What was seen or heard; empty for a measurement and for "not sure".
    temperature : PartTemperature
        Of the part: as typed; else hot after an attempt, cold once cooled, unknown before either.
    unproved : tuple of str
        Gates it needs that were not passed, or no longer held.
    against : tuple of str
        What forbade it when it was taken, or had to be shown first, in words.
    renewed : frozenset of str
        Parts that had been replaced before it was taken.
    causes : tuple of (cause, logarithm)
        For a recording: how probable it is under each cause; see `RecordingTaken`. [-]
    repairs : int
        Repairs made before it was taken. [-]
    tester : bool
        Read with a meter that proves insulation.
    top : float or None
        Top of the ohms of the meter it was read with, which OL exceeds; None where nobody read one. [Ω]
    """

    event: str
    at: datetime
    probe: str
    text: str
    reading: Reading | None
    answer: str
    temperature: PartTemperature
    unproved: tuple[str, ...]
    renewed: frozenset[str]
    note: str = ""
    causes: tuple[tuple[str, float], ...] = ()
    repairs: int = 0
    tester: bool = False
    top: float | None = None
    against: tuple[str, ...] = ()
    _observation: Observation | None = field(default=None, init=False, repr=False, compare=False)

    @property
    def observation(self) -> Observation:
        """As judgement sees it."""
        if self._observation is None:
            seen = Observation(
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
            object.__setattr__(self, "_observation", seen)
            return seen
        return self._observation

    @property
    def readable(self) -> bool:
        """Whether it says something: a figure, or an answer that is not "not sure"."""
        return self.reading is not None or bool(self.answer)


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
    """
    What is known of a call now.

    Attributes
    ----------
    header : Opened or None
        Shop, customer, equipment.
    machine : Machine or None
        None until an arrangement is named.
    complaint : Heard or None
        What was heard before the call; None if not known.
    words : str
        The complaint as told.
    meter, leads
        What is measured with now.
    readings : tuple of ReadingKept
        In order.
    gates : tuple of GatePassed
        Every gate passed, in order, with its time.
    device : str
        Who asks.
    held : mapping of device to Holding
        Gates that hold on each device that passed any.
    ended : mapping of gate to int
        How often each gate has been ended.
    order : mapping of event to int
        Where each event stands in the order in which they count, from 0.
    turn : int
        The largest turn that is believed; 0 where nobody counted.
    skipped : mapping of probe to reason
        What cannot be done here.
    waited : float
        Since the machine last tried to start, as far as written down. [min]
    hot : bool or None
        Whether protector and starter are hot now; None if not known.
    renewed : frozenset of str
        Parts replaced during the call.
    repairs : int
        Repairs made during the call. [-]
    renewals : mapping of part to int
        Which of the repairs, counted from 1, last renewed a part. [-]
    stoppages : tuple of Stoppage
        What stops the call, or a part of it, and is not answered yet; in order.
    marked_volts : mapping of part to float
        Voltages stamped on capacitors. [V]
    hazards : tuple of HazardFound
        Every hazard that was found, in order, answered or not, taken back or not.
    cleared : tuple of HazardCleared
        How they were answered, in order.
    stamps, waits, fitted, photos, recordings, marks, notes, decisions : tuples of events
        In order, without what was undone.
    undone : frozenset of str
        Ids of events that are taken back.
    problems : tuple of Problem
        What could not be used.
    events : tuple of Event
        All of it, in order, what was taken back too: how it came to this.
    """

    header: Opened | None = None
    machine: Machine | None = None
    complaint: Heard | None = None
    words: str = ""
    meter: Meter = field(default_factory=default_meter)
    leads: Leads = field(default_factory=Leads)
    readings: tuple[ReadingKept, ...] = ()
    gates: tuple[GatePassed, ...] = ()
    device: str = ""
    held: Mapping[str, Holding] = field(default_factory=dict)
    ended: Mapping[str, int] = field(default_factory=dict)
    order: Mapping[str, int] = field(default_factory=dict)
    turn: int = 0
    skipped: Mapping[str, str] = field(default_factory=dict)
    waited: float = 0.0
    hot: bool | None = None
    renewed: frozenset[str] = frozenset()
    repairs: int = 0
    renewals: Mapping[str, int] = field(default_factory=dict)
    stoppages: tuple[Stoppage, ...] = ()
    marked_volts: Mapping[str, float] = field(default_factory=dict)
    hazards: tuple[HazardFound, ...] = ()
    cleared: tuple[HazardCleared, ...] = ()
    stamps: tuple[StampRead, ...] = ()
    waits: tuple[Waited, ...] = ()
    fitted: tuple[PartFitted, ...] = ()
    photos: tuple[PhotoTaken, ...] = ()
    recordings: tuple[RecordingTaken, ...] = ()
    marks: tuple[PhotoMarked, ...] = ()
    notes: tuple[NoteWritten, ...] = ()
    decisions: tuple[DecisionTaken, ...] = ()
    undone: frozenset[str] = frozenset()
    problems: tuple[Problem, ...] = ()
    events: tuple[Event, ...] = field(default=(), repr=False, compare=False)

    def then(self, event: Event, reading: Reading | None = None) -> Call:
        """
        The call with one event more: the same as a fold of all events and this one.

        Only this event is read, unless it changes how earlier ones are read (`humclick.jobs.folding`).

        Parameters
        ----------
        event : Event
            The new one.
        reading : Reading, optional
            What its text was understood as, where somebody read it already.

        Raises
        ------
        OutOfRange
            If this call was not folded from events.
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
            observations=tuple(r.observation for r in self.readings if r.readable),
            meter=self.meter,
            leads=self.leads,
            waited=self.waited,
            hot=self.hot,
            skipped=frozenset(self.skipped),
            renewed=self.renewed,
            repairs=self.repairs,
            fitted=self.renewals,
            stoppages=self.stoppages,
            place=self.place,
        )

    def gates_before(self, probe_gates: Iterable[str], *, ohms: float | None = None) -> tuple[Gate, ...]:
        """
        Gates still to be passed before a probe, in order.

        While no machine is described, all that the probe asks for.

        Parameters
        ----------
        probe_gates : iterable of str
            Names the probe asks for.
        ohms : float, optional
            Chosen discharge resistor; 10 kΩ if left out. [Ω]

        Raises
        ------
        Unknown
            If a gate does not exist.
        OutOfRange
            If the discharge resistor is not usable.
        """
        wanted = self.gates_of(probe_gates, ohms=ohms)
        if self.machine is None:
            return wanted
        missing = unproved([each.name for each in wanted], self.proved, self.this_round)
        return tuple(each for each in wanted if each.name in missing or self._of_another_matter(each))

    def gates_of(self, probe_gates: Iterable[str], *, ohms: float | None = None) -> tuple[Gate, ...]:
        """
        All gates before a probe on this machine, passed or not, in order; parameters as in `gates_before`.

        Raises
        ------
        Unknown, OutOfRange
            As `gates_before`.
        """
        if self.machine is None:
            names = [gate(name).name for name in probe_gates]
            return tuple(each for each in gates().values() if each.name in names)
        marked = self.marked_volts
        return gates_for(probe_gates, self.machine, ohms=ohms, marked_volts=marked, place=self.place)

    @property
    def place(self) -> str:
        """Whose rules hold on this call; empty where none was chosen."""
        return self.header.place if self.header is not None else ""

    def _of_another_matter(self, gate: Gate) -> bool:
        """Whether a gate that holds for the whole call was passed for something else, such as another gas."""
        if gate.once or gate.on or gate.name in invalidated_by(gates()):
            return False
        last = next((each for each in reversed(self.gates) if each.gate == gate.name), None)
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
