"""
Events: what happened on a call, one frozen value each, appended and never changed.

Every event has its own ``id``, the time ``at`` which it happened (with its zone), the ``device`` that
wrote it, its ``turn`` in the order of the call (`humclick.jobs.order`) and a ``kind``. Undo is an event too.
Amperes, volts, hertz, ohms and minutes.

`humclick.jobs.event_tables` reads them from plain tables and writes them as such.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, ClassVar

import msgspec

from humclick.diagnosis.situation import Heard
from humclick.errors import OutOfRange
from humclick.jobs.fields import PAGE, check_amount, check_hash, check_text, one_of
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
    "ReadingTaken",
    "RecordingTaken",
    "StampRead",
    "Undone",
    "Waited",
]

#: Years in which an event can have happened.
EARLIEST, LATEST = 1970, 2200

#: From here events without a time are numbered, a microsecond apart, so that they keep their order.
UNTIMED = datetime(1970, 1, 1, tzinfo=UTC)

#: Largest turn an event may have. No call gets there: `humclick.jobs.order.MOST_AHEAD` for each event it may
#: have comes to far less.
LAST_TURN = 2**31 - 1

#: Answers to "what did you hear?": those of a start attempt, or not known.
HEARD: tuple[str, ...] = (*(str(heard) for heard in Heard), "unknown")

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """
    What every event has.

    Attributes
    ----------
    id : str
        Its own name, unique in the call: letters, digits, dot, dash and underscore.
    at : datetime
        When, with the zone.
    device : str
        Which phone or desk wrote it.
    turn : int
        One more than the largest that device knew of in the call; 0 where nobody counted.
    """

    kind: ClassVar[str] = ""

    id: str
    at: datetime
    device: str = ""
    turn: Annotated[int, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": LAST_TURN})] = 0

    def __post_init__(self) -> None:
        if not _ID.fullmatch(self.id):
            raise OutOfRange(
                Message(
                    "id must be 1 to 64 letters, digits, dots, dashes or underscores, got {id}",
                    id=ascii(self.id)[:80],
                )
            )
        offset = self.at.utcoffset()
        if offset is None:
            raise OutOfRange(Message("at needs its time zone, such as 2026-03-02T09:30:00+01:00 or …Z"))
        if offset % timedelta(minutes=1) or not EARLIEST <= self.at.year <= LATEST:
            raise OutOfRange(
                Message(
                    "at must lie between {earliest} and {latest}, in a zone of whole minutes, got {at}",
                    earliest=EARLIEST,
                    latest=LATEST,
                    at=str(self.at),
                )
            )
        check_text(self.device, "device")
        if not 0 <= self.turn <= LAST_TURN:
            raise OutOfRange(
                Message(
                    "turn must be a whole number from 0 to {last_turn}, got {turn}",
                    last_turn=LAST_TURN,
                    turn=self.turn,
                )
            )
        self._check()

    def _check(self) -> None:
        """Refuse what this kind of event cannot hold."""

    @property
    def timed(self) -> bool:
        """Whether somebody wrote down when it happened."""
        return self.at.year > 1970


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
    volts, hertz : float
        Nominal supply. [V] [Hz]
    locked_rotor_amps, rated_load_amps : float or None
        LRA and RLA where printed. [A]
    refrigerant : str
        As printed.
    provisional : bool
        The arrangement is taken for now only: more than one fits what was seen.
    also_fits : tuple of str
        Arrangements that fit it too.
    """

    kind: ClassVar[str] = "machine"

    arrangement: str
    protector: str = ""
    volts: float = 115.0
    hertz: float = 60.0
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""
    provisional: bool = False
    also_fits: tuple[str, ...] = ()

    def _check(self) -> None:
        check_text(self.arrangement, "arrangement", needed=True)
        check_text(self.protector, "protector")
        check_text(self.refrigerant, "refrigerant")
        check_amount(self.volts, "volts", 1000, "V", above_zero=True)
        check_amount(self.hertz, "hertz", 400, "Hz", above_zero=True)
        check_amount(self.locked_rotor_amps, "locked_rotor_amps", 1000, "A", above_zero=True)
        check_amount(self.rated_load_amps, "rated_load_amps", 1000, "A", above_zero=True)


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
            raise OutOfRange(Message("heard must be {allowed}", allowed=one_of(self.heard, HEARD)))
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
            raise OutOfRange(Message("hazard must be {allowed}", allowed=one_of(self.hazard, stops())))
        if self.gate and self.gate not in gates():
            raise OutOfRange(Message("gate must be {allowed}", allowed=one_of(self.gate, gates())))
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
class PhotoTaken(Event):
    """A photograph, kept elsewhere under the SHA-256 of its bytes."""

    kind: ClassVar[str] = "photo"

    sha256: str
    caption: str = ""

    def _check(self) -> None:
        check_hash(self.sha256, "photo")
        check_text(self.caption, "caption", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingTaken(Event):
    """
    A recording of a start attempt, by clamp or microphone, and what was read from it.

    Attributes
    ----------
    name, sha256 : str
        The file and the SHA-256 of its bytes; it is kept elsewhere, or not at all.
    of : str
        ``current`` or ``sound``.
    heard : tuple of str
        What each attempt in it came to.
    causes : mapping of str to float
        Natural logarithm of how probable the recording is under each cause, the best at 0. [-]
    words : str
        What it shows, plainly.
    said : tuple of mappings
        The same as `humclick.messages.as_data` has it, sentence by sentence; empty in older files.
    seconds : float
        Length of the recording; 0 where it was not kept. [s]
    unit : str
        Of `course`: ``A``, ``dB``, or empty where the scale is unknown.
    course : tuple of float
        Current or level over time in equal pieces, for its drawing. [unit]
    spans : tuple of (start, end, kind)
        Stretches that were recognised: what an attempt came to, or ``locked``, ``running``, ``click``. [s]
    """

    kind: ClassVar[str] = "recording"

    of: str
    heard: tuple[str, ...]
    name: str = ""
    sha256: str = ""
    causes: dict[str, float] = field(default_factory=dict)
    words: str = ""
    said: tuple[dict[str, Any], ...] = ()
    seconds: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 2678400})] = 0.0
    unit: str = ""
    course: tuple[float, ...] = ()
    spans: tuple[tuple[float, float, str], ...] = ()

    def _check(self) -> None:
        if self.of not in ("current", "sound"):
            raise OutOfRange(Message("of must be 'current' or 'sound', got {of}", of=ascii(self.of)[:60]))
        if not 1 <= len(self.heard) <= 500 or not set(self.heard) <= set(HEARD[:-1]):
            raise OutOfRange(
                Message("heard must be a list of 1 to 500 of {heard}", heard=", ".join(HEARD[:-1]))
            )
        if self.sha256:
            check_hash(self.sha256, "file")
        if len(self.causes) > 50 or not all(-1e4 <= x <= 1e-6 for x in self.causes.values()):
            raise OutOfRange(Message("causes must be logarithms between -10000 and 0, the best at 0"))
        for name in self.causes:
            check_text(name, "causes", needed=True)
        if not 0 <= self.seconds <= 2_678_400:
            raise OutOfRange(
                Message("seconds must be 0 to 2678400 (31 days), got {seconds}", seconds=self.seconds)
            )
        if self.unit not in ("", "A", "dB"):
            raise OutOfRange(
                Message("unit must be 'A', 'dB' or empty, got {unit}", unit=ascii(self.unit)[:60])
            )
        if len(self.course) > 1000 or not all(abs(x) <= 1e9 for x in self.course):
            raise OutOfRange(Message("course must be at most 1000 numbers up to 1e9"))
        kinds = (*HEARD[:-1], "locked", "running", "click")
        if len(self.spans) > 500 or not all(
            0 <= start <= end <= self.seconds + 1 and kind in kinds for start, end, kind in self.spans
        ):
            raise OutOfRange(
                Message(
                    "spans must be at most 500 of start, end, kind; a kind is one of {kinds}",
                    kinds=", ".join(kinds),
                )
            )
        if len(self.said) > 50 or len(repr(self.said)) > 10 * PAGE:
            raise OutOfRange(Message("said must be at most 50 short sentences"))
        check_text(self.name, "name")
        check_text(self.words, "words", PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoMarked(Event):
    """
    A mark on a photograph: what is seen at a place of it.

    Attributes
    ----------
    sha256 : str
        The photograph.
    x, y : float
        Place from the left and from the top, in per cent of its width and height. [%]
    label : str
        What is there: a pin, the colour of a wire, a stamp.
    """

    kind: ClassVar[str] = "mark"

    sha256: str
    x: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 100})]
    y: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 100})]
    label: str

    def _check(self) -> None:
        check_hash(self.sha256, "photo")
        check_amount(self.x, "x", 100, "% of the width")
        check_amount(self.y, "y", 100, "% of the height")
        check_text(self.label, "label", needed=True)


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
    each.kind: each
    for each in (
        *(Opened, MachineRead, MeterTaken, StampRead, ComplaintHeard, GatePassed, HazardFound, HazardCleared),
        *(ReadingTaken, ProbeSkipped),
        *(Waited, PartFitted, PhotoTaken, PhotoMarked, RecordingTaken, NoteWritten, DecisionTaken, Undone),
    )
}
