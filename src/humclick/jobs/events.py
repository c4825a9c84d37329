"""
Events: what happened on a call, one frozen value each, appended and never changed.

Every event has its own ``id``, the time ``at`` which it happened (with its zone), the ``device`` that
wrote it, its ``turn`` in the order of the call (`humclick.jobs.order`) and a ``kind``. Undo is an event too.
Amperes, volts, hertz, ohms and minutes.

`humclick.jobs.event_tables` reads them from plain tables and writes them as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar

import msgspec

from humclick.errors import OutOfRange
from humclick.jobs.event import EARLIEST, HEARD, LAST_TURN, LATEST, UNTIMED, Event
from humclick.jobs.event_media import PhotoMarked, PhotoTaken, RecordingTaken
from humclick.jobs.fields import PAGE, check_amount, check_text, choice_of
from humclick.messages import Message
from humclick.meters import meter_from_table
from humclick.safety import gates, stops

__all__ = [
    "EARLIEST",
    "HEARD",
    "KINDS",
    "LAST_TURN",
    "LATEST",
    "UNTIMED",
    "ComplaintHeard",
    "DecisionTaken",
    "Event",
    "GatePassed",
    "HazardCleared",
    "HazardFound",
    "MachineRead",
    "MeterTaken",
    "NoteWritten",
    "Opened",
    "PartFitted",
    "PhotoMarked",
    "PhotoTaken",
    "ProbeSkipped",
    "ReadingCorrected",
    "ReadingTaken",
    "RecordingTaken",
    "StampRead",
    "Undone",
    "Waited",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened(Event):
    """The call is opened. ``place`` says whose rules hold; ``invented`` marks practice and demonstration."""

    kind: ClassVar[str] = "opened"

    shop: str = ""
    customer: str = ""
    equipment: str = ""
    place: str = ""
    invented: bool = False

    def _check(self) -> None:
        for name in ("shop", "customer", "equipment", "place"):
            check_text(getattr(self, name), name)


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineRead(Event):
    """
    The start arrangement and the nameplate; a later one replaces an earlier one whole.

    Attributes
    ----------
    arrangement : str
        Name of the start arrangement.
    protector : str
        ``external``, ``integrated`` or ``internal``; empty for the arrangement's usual one.
    volts : float or None
        Nominal supply; what is usual for its kind where it was not read. [V]
    hertz : float
        Line frequency. [Hz]
    locked_rotor_amps, rated_load_amps : float or None
        LRA and RLA where printed. [A]
    refrigerant : str
        As printed.
    horsepower, cooling : float or None
        The trade's size and the cooling capacity, of plate or list. [hp] [W]
    appliance : str
        What stands there, a name of `humclick.sizes.sound.appliances`.
    provisional : bool
        The arrangement is taken for now only: more than one fits what was seen.
    also_fits : tuple of str
        Arrangements that fit it too.
    """

    kind: ClassVar[str] = "machine"

    arrangement: str
    protector: str = ""
    volts: float | None = None
    hertz: float = 60.0
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""
    horsepower: float | None = None
    cooling: float | None = None
    appliance: str = ""
    provisional: bool = False
    also_fits: tuple[str, ...] = ()

    def _check(self) -> None:
        check_text(self.arrangement, "arrangement", needed=True)
        check_text(self.protector, "protector")
        check_text(self.refrigerant, "refrigerant")
        check_text(self.appliance, "appliance")
        check_amount(self.volts, "volts", 1000, "V", above_zero=True)
        check_amount(self.hertz, "hertz", 400, "Hz", above_zero=True)
        check_amount(self.locked_rotor_amps, "locked_rotor_amps", 1000, "A", above_zero=True)
        check_amount(self.rated_load_amps, "rated_load_amps", 1000, "A", above_zero=True)
        check_amount(self.horsepower, "horsepower", 10, "hp", above_zero=True)
        check_amount(self.cooling, "cooling", 50_000, "W", above_zero=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterTaken(Event):
    """
    The meter in use from here on.

    Attributes
    ----------
    name : str
        Class of meter; empty for the usual one or for `own`.
    own : dict
        The technician's own meter, with the fields `humclick.meters.meter_from_table` reads.
    leads_nulled : bool
        The meter subtracts its leads.
    lead_ohms : float or None
        What it shows with the tips together. [Ω]
    """

    kind: ClassVar[str] = "meter"

    name: str = ""
    own: dict[str, Any] = field(default_factory=dict)
    leads_nulled: bool = False
    lead_ohms: float | None = None

    def _check(self) -> None:
        check_text(self.name, "name")
        check_amount(self.lead_ohms, "lead_ohms", 100, "Ω")
        if self.name and self.own:
            raise OutOfRange(Message("name and own are both given; keep one meter"))
        if self.own:
            meter_from_table(self.own, "own")


@dataclass(frozen=True, slots=True, kw_only=True)
class StampRead(Event):
    """What is stamped on a part, as it stands there: ``88-108 MFD 110/125 VAC``."""

    kind: ClassVar[str] = "stamp"

    part: str
    text: str

    def _check(self) -> None:
        check_text(self.part, "part", needed=True)
        check_text(self.text, "text", needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintHeard(Event):
    """What was heard at the last attempt before the call, and the words it was told in."""

    kind: ClassVar[str] = "complaint"

    heard: Annotated[str, msgspec.Meta(extra_json_schema={"enum": list(HEARD)})] = "unknown"
    words: str = ""

    def _check(self) -> None:
        if self.heard not in HEARD:
            raise OutOfRange(Message("heard must be {allowed}", allowed=choice_of(self.heard, HEARD)))
        check_text(self.words, "words", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class GatePassed(Event):
    """
    A safety gate was passed: by whom or how, in words, and for which refrigerant or charge.

    Attributes
    ----------
    gate : str
        Its name.
    words : str
        By whom or how.
    matter : str
        The refrigerant or charge it was passed for; empty where it depends on none.
    ended : int or None
        How often it had been ended before, as far as its device knew; None where nobody counted. If more is
        on record when all is put together, something its device did not know of ended it: it does not hold.
    """

    kind: ClassVar[str] = "gate"

    gate: str
    words: str = ""
    matter: str = ""
    ended: Annotated[int | None, msgspec.Meta(extra_json_schema={"minimum": 0})] = None

    def _check(self) -> None:
        check_text(self.gate, "gate", needed=True)
        check_text(self.matter, "matter")
        check_text(self.words, "words", PAGE)
        if self.ended is not None and not 0 <= self.ended <= LAST_TURN:
            raise OutOfRange(
                Message(
                    "ended must be a whole number from 0 to {last_turn}, got {ended}",
                    last_turn=LAST_TURN,
                    ended=self.ended,
                )
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardFound(Event):
    """
    A safety gate cannot be passed, or a hazard was seen; work stops until it is answered. No undo lifts it.

    Attributes
    ----------
    hazard : str
        Which one, a name of `humclick.safety.stops`; empty where a gate cannot be passed for another reason.
    gate : str
        The gate that could not be passed; may be empty where a hazard is named.
    words : str
        As told.
    """

    kind: ClassVar[str] = "hazard"

    hazard: str = ""
    gate: str = ""
    words: str = ""

    def _check(self) -> None:
        if self.hazard and self.hazard not in stops():
            raise OutOfRange(Message("hazard must be {allowed}", allowed=choice_of(self.hazard, stops())))
        if self.gate and self.gate not in gates():
            raise OutOfRange(Message("gate must be {allowed}", allowed=choice_of(self.gate, gates())))
        if not (self.hazard or self.gate):
            raise OutOfRange(Message("hazard is missing; it is one of {value}", value=", ".join(stops())))
        check_text(self.words, "words", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class HazardCleared(Event):
    """
    A hazard that stopped the call is answered.

    Attributes
    ----------
    of : str
        Id of the event that recorded it; a hazard recorded again needs an answer of its own.
    words : str
        How it was cleared, and what the instrument showed.
    """

    kind: ClassVar[str] = "cleared"

    of: str
    words: str

    def _check(self) -> None:
        check_text(self.of, "of", needed=True)
        check_text(self.words, "words", PAGE, needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTaken(Event):
    """
    A reading, a look or a start attempt.

    Attributes
    ----------
    probe : str
        What was probed, such as ``pins.C-R``.
    value : str
        As typed: what the display showed, or the answer.
    temperature : str
        Of the part: ``cold``, ``hot``, ``?`` or a figure with its unit; empty if nobody looked.
    note : str
        Anything else.
    """

    kind: ClassVar[str] = "reading"

    probe: str
    value: str
    temperature: str = ""
    note: str = ""

    def _check(self) -> None:
        check_text(self.probe, "probe", needed=True)
        check_text(self.value, "value", needed=True)
        check_text(self.temperature, "temperature")
        check_text(self.note, "note", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingCorrected(Event):
    """
    An earlier measurement was written down wrong, and is corrected; what was written stays on the call.

    Attributes
    ----------
    of : str
        Id of the event of the reading.
    value, probe, temperature : str
        What should have been written, as in `ReadingTaken`; what is empty stays. With none of them the
        reading is struck out: it counts no longer.
    words : str
        Why.
    """

    kind: ClassVar[str] = "correction"

    of: str
    value: str = ""
    probe: str = ""
    temperature: str = ""
    words: str = ""

    def _check(self) -> None:
        check_text(self.of, "of", needed=True)
        for name in ("value", "probe", "temperature"):
            check_text(getattr(self, name), name)
        check_text(self.words, "words", PAGE)

    @property
    def strikes(self) -> bool:
        """Whether the reading is struck out."""
        return not (self.value or self.probe or self.temperature)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeSkipped(Event):
    """A probe cannot be done here, and why."""

    kind: ClassVar[str] = "skip"

    probe: str
    reason: str = ""

    def _check(self) -> None:
        check_text(self.probe, "probe", needed=True)
        check_text(self.reason, "reason", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waited(Event):
    """The machine was left alone, without an attempt. ``minutes`` [min]."""

    kind: ClassVar[str] = "wait"

    minutes: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 100000})]

    def _check(self) -> None:
        check_amount(self.minutes, "minutes", 100_000, "min")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFitted(Event):
    """A new part was fitted; ``compressor`` stands for all that is sealed in the shell."""

    kind: ClassVar[str] = "fitted"

    part: str
    note: str = ""

    def _check(self) -> None:
        check_text(self.part, "part", needed=True)
        check_text(self.note, "note", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteWritten(Event):
    """Anything worth keeping."""

    kind: ClassVar[str] = "note"

    text: str

    def _check(self) -> None:
        check_text(self.text, "text", PAGE, needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionTaken(Event):
    """What the technician decided, by names of remedies, and why in words."""

    kind: ClassVar[str] = "decision"

    remedies: tuple[str, ...]
    words: str = ""

    def _check(self) -> None:
        if not 1 <= len(self.remedies) <= 20:
            raise OutOfRange(
                Message(
                    "remedies must be a list of 1 to 20 names, got {remedies}", remedies=len(self.remedies)
                )
            )
        for name in self.remedies:
            check_text(name, "remedies", needed=True)
        check_text(self.words, "words", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone(Event):
    """An earlier event is taken back. It stays in the call; undoing an undo brings it into force again."""

    kind: ClassVar[str] = "undo"

    of: str

    def _check(self) -> None:
        check_text(self.of, "of", needed=True)


#: Every kind of event by its name.
KINDS: Mapping[str, type[Event]] = {
    event.kind: event
    for event in (
        *(Opened, MachineRead, MeterTaken, StampRead, ComplaintHeard, GatePassed, HazardFound, HazardCleared),
        *(ReadingTaken, ReadingCorrected, ProbeSkipped),
        *(Waited, PartFitted, PhotoTaken, PhotoMarked, RecordingTaken, NoteWritten, DecisionTaken, Undone),
    )
}
