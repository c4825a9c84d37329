"""
Events: what happened on a call, one frozen value each, appended and never changed.

Every event has its own ``id``, the time ``at`` which it happened (with its zone), the ``device`` that
wrote it and a ``kind``. Undo is an event too. Amperes, volts, hertz, ohms and minutes.

Events are read from plain tables (of TOML or JSON) by `event_from` and given back as such by `table_of`.
A table may leave out ``at`` and ``id``; `humclick.jobs.call_file` says what they become.
"""

from __future__ import annotations

import math
import re
import unicodedata
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, dataclass, field, fields
from datetime import UTC, datetime, timedelta
from difflib import get_close_matches
from typing import Annotated, Any, ClassVar

import msgspec

from humclick.diagnosis.situation import Heard
from humclick.errors import OutOfRange, Refused
from humclick.meters import meter_from_table

__all__ = [
    "HEARD",
    "KINDS",
    "TURNING_LETTERS",
    "UNTIMED",
    "ComplaintHeard",
    "DecisionTaken",
    "Event",
    "GatePassed",
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
    "event_from",
    "in_order",
    "new_event",
    "table_of",
]

#: From here events without a time are numbered, a microsecond apart, so that they keep their order.
UNTIMED = datetime(1970, 1, 1, tzinfo=UTC)

#: Answers to "what did you hear?": those of a start attempt, or not known.
HEARD: tuple[str, ...] = (*(str(heard) for heard in Heard), "unknown")

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_SHA256 = re.compile(r"[0-9a-f]{64}")
_LINE, _PAGE = 300, 5000

#: Letters that turn the writing direction: text that shows otherwise than it is stored.
TURNING_LETTERS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def _text(value: str, name: str, longest: int = _LINE, needed: bool = False) -> None:
    """Refuse text that cannot be shown as it is, is too long, or is missing."""
    if needed and not value.strip():
        raise OutOfRange(f"{name} must not be empty")
    if len(value) > longest:
        raise OutOfRange(f"{name} may have {longest} characters at most, got {len(value)}")
    for letter in value:
        if letter in "\n\t":
            continue
        if unicodedata.category(letter) in ("Cc", "Cs") or letter in TURNING_LETTERS:
            raise OutOfRange(
                f"{name} holds a character that cannot be shown (U+{ord(letter):04X}); remove it"
            )


def _amount(value: float | None, name: str, high: float, unit: str, above_zero: bool = False) -> None:
    if value is None:
        return
    if not math.isfinite(value) or value < 0 or value > high or (above_zero and value == 0):
        least = "above 0" if above_zero else "0 or more"
        raise OutOfRange(f"{name} must be {least} and at most {high:g} {unit}, got {value:g}")


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
    """

    kind: ClassVar[str] = ""

    id: str
    at: datetime
    device: str = ""

    def __post_init__(self) -> None:
        if not _ID.fullmatch(self.id):
            raise OutOfRange(
                f"id must be 1 to 64 letters, digits, dots, dashes or underscores, got {ascii(self.id)[:80]}"
            )
        offset = self.at.utcoffset()
        if offset is None:
            raise OutOfRange("at needs its time zone, such as 2026-03-02T09:30:00+01:00 or …Z")
        if offset % timedelta(minutes=1) or not 1970 <= self.at.year <= 2200:
            raise OutOfRange(f"at must lie between 1970 and 2200, in a zone of whole minutes, got {self.at}")
        _text(self.device, "device")
        self._check()

    def _check(self) -> None:
        """Refuse what this kind of event cannot hold."""

    @property
    def timed(self) -> bool:
        """Whether somebody wrote down when it happened."""
        return self.at.year > 1970


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened(Event):
    """The call is opened. ``invented`` marks practice and demonstration."""

    kind: ClassVar[str] = "opened"

    shop: str = ""
    customer: str = ""
    equipment: str = ""
    invented: bool = False

    def _check(self) -> None:
        for name in ("shop", "customer", "equipment"):
            _text(getattr(self, name), name)


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
    """

    kind: ClassVar[str] = "machine"

    arrangement: str
    protector: str = ""
    volts: float = 115.0
    hertz: float = 60.0
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""

    def _check(self) -> None:
        _text(self.arrangement, "arrangement", needed=True)
        _text(self.protector, "protector")
        _text(self.refrigerant, "refrigerant")
        _amount(self.volts, "volts", 1000, "V", above_zero=True)
        _amount(self.hertz, "hertz", 400, "Hz", above_zero=True)
        _amount(self.locked_rotor_amps, "locked_rotor_amps", 1000, "A", above_zero=True)
        _amount(self.rated_load_amps, "rated_load_amps", 1000, "A", above_zero=True)


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
        _text(self.name, "name")
        _amount(self.lead_ohms, "lead_ohms", 100, "Ω")
        if self.name and self.own:
            raise OutOfRange("name and own are both given; keep one meter")
        if self.own:
            meter_from_table(self.own, "own")


@dataclass(frozen=True, slots=True, kw_only=True)
class StampRead(Event):
    """What is stamped on a part, as it stands there: ``88-108 MFD 110/125 VAC``."""

    kind: ClassVar[str] = "stamp"

    part: str
    text: str

    def _check(self) -> None:
        _text(self.part, "part", needed=True)
        _text(self.text, "text", needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplaintHeard(Event):
    """What was heard at the last attempt before the call, and the words it was told in."""

    kind: ClassVar[str] = "complaint"

    heard: Annotated[str, msgspec.Meta(extra_json_schema={"enum": list(HEARD)})] = "unknown"
    words: str = ""

    def _check(self) -> None:
        if self.heard not in HEARD:
            raise OutOfRange(f"heard must be {_one_of(self.heard, HEARD)}")
        _text(self.words, "words", _PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class GatePassed(Event):
    """A safety gate was passed, and by whom or how, in words."""

    kind: ClassVar[str] = "gate"

    gate: str
    words: str = ""

    def _check(self) -> None:
        _text(self.gate, "gate", needed=True)
        _text(self.words, "words", _PAGE)


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
        _text(self.probe, "probe", needed=True)
        _text(self.value, "value", needed=True)
        _text(self.temperature, "temperature")
        _text(self.note, "note", _PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeSkipped(Event):
    """A probe cannot be done here, and why."""

    kind: ClassVar[str] = "skip"

    probe: str
    reason: str = ""

    def _check(self) -> None:
        _text(self.probe, "probe", needed=True)
        _text(self.reason, "reason", _PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waited(Event):
    """The machine was left alone, without an attempt. ``minutes`` [min]."""

    kind: ClassVar[str] = "wait"

    minutes: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 100000})]

    def _check(self) -> None:
        _amount(self.minutes, "minutes", 100_000, "min")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFitted(Event):
    """A new part was fitted; ``compressor`` stands for all that is sealed in the shell."""

    kind: ClassVar[str] = "fitted"

    part: str
    note: str = ""

    def _check(self) -> None:
        _text(self.part, "part", needed=True)
        _text(self.note, "note", _PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoTaken(Event):
    """A photograph, kept elsewhere under the SHA-256 of its bytes."""

    kind: ClassVar[str] = "photo"

    sha256: str
    caption: str = ""

    def _check(self) -> None:
        if not _SHA256.fullmatch(self.sha256):
            raise OutOfRange("sha256 must be 64 digits of 0-9 and a-f, the hash of the photo's bytes")
        _text(self.caption, "caption", _PAGE)


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
    seconds: Annotated[float, msgspec.Meta(extra_json_schema={"minimum": 0, "maximum": 2678400})] = 0.0
    unit: str = ""
    course: tuple[float, ...] = ()
    spans: tuple[tuple[float, float, str], ...] = ()

    def _check(self) -> None:
        if self.of not in ("current", "sound"):
            raise OutOfRange(f"of must be 'current' or 'sound', got {ascii(self.of)[:60]}")
        if not 1 <= len(self.heard) <= 500 or not set(self.heard) <= set(HEARD[:-1]):
            raise OutOfRange(f"heard must be a list of 1 to 500 of {', '.join(HEARD[:-1])}")
        if self.sha256 and not _SHA256.fullmatch(self.sha256):
            raise OutOfRange("sha256 must be 64 digits of 0-9 and a-f, the hash of the file's bytes")
        if len(self.causes) > 50 or not all(-1e4 <= x <= 1e-6 for x in self.causes.values()):
            raise OutOfRange("causes must be logarithms between -10000 and 0, the best at 0")
        for name in self.causes:
            _text(name, "causes", needed=True)
        if not 0 <= self.seconds <= 2_678_400:
            raise OutOfRange(f"seconds must be 0 to 2678400 (31 days), got {self.seconds}")
        if self.unit not in ("", "A", "dB"):
            raise OutOfRange(f"unit must be 'A', 'dB' or empty, got {ascii(self.unit)[:60]}")
        if len(self.course) > 1000 or not all(abs(x) <= 1e9 for x in self.course):
            raise OutOfRange("course must be at most 1000 numbers up to 1e9")
        kinds = (*HEARD[:-1], "locked", "running", "click")
        if len(self.spans) > 500 or not all(
            0 <= start <= end <= self.seconds + 1 and kind in kinds for start, end, kind in self.spans
        ):
            raise OutOfRange(
                f"spans must be at most 500 of start, end, kind; a kind is one of {', '.join(kinds)}"
            )
        _text(self.name, "name")
        _text(self.words, "words", _PAGE)


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
        if not _SHA256.fullmatch(self.sha256):
            raise OutOfRange("sha256 must be 64 digits of 0-9 and a-f, the hash of the photo's bytes")
        _amount(self.x, "x", 100, "% of the width")
        _amount(self.y, "y", 100, "% of the height")
        _text(self.label, "label", needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteWritten(Event):
    """Anything worth keeping."""

    kind: ClassVar[str] = "note"

    text: str

    def _check(self) -> None:
        _text(self.text, "text", _PAGE, needed=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class DecisionTaken(Event):
    """What the technician decided, by names of remedies, and why in words."""

    kind: ClassVar[str] = "decision"

    remedies: tuple[str, ...]
    words: str = ""

    def _check(self) -> None:
        if not 1 <= len(self.remedies) <= 20:
            raise OutOfRange(f"remedies must be a list of 1 to 20 names, got {len(self.remedies)}")
        for name in self.remedies:
            _text(name, "remedies", needed=True)
        _text(self.words, "words", _PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone(Event):
    """An earlier event is taken back. It stays in the call; undoing an undo brings it into force again."""

    kind: ClassVar[str] = "undo"

    of: str

    def _check(self) -> None:
        _text(self.of, "of", needed=True)


#: Every kind of event by its name.
KINDS: Mapping[str, type[Event]] = {
    each.kind: each
    for each in (
        *(Opened, MachineRead, MeterTaken, StampRead, ComplaintHeard, GatePassed, ReadingTaken, ProbeSkipped),
        *(Waited, PartFitted, PhotoTaken, PhotoMarked, RecordingTaken, NoteWritten, DecisionTaken, Undone),
    )
}

_WORDS = {
    "float": "a number",
    "int": "a whole number",
    "str": "text in quotes",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
    "datetime": "a date and time with its zone, such as 2026-03-02T09:30:00+01:00",
    "date": "a date without a time",
    "time": "a time without a date",
    "null": "nothing",
}


def _one_of(value: str, known: Iterable[str]) -> str:
    names = list(known)
    near = get_close_matches(value, names, n=1)
    shown = ascii(value)[:60]
    return f"one of {', '.join(names)}; got {shown}" + (f", did you mean {near[0]}?" if near else "")


def _explained(error: msgspec.ValidationError) -> str:
    """A message of the typed reading in plain words, the field first."""
    message = str(error)
    place = re.search(r" - at `(?:\$)?\.?([^`]*)`$", message)
    if place:
        message = message[: place.start()]
    name = place[1] if place else ""
    missing = re.fullmatch(r"Object missing required field `(\w+)`", message)
    if missing:
        return f"{missing[1]} is missing"
    expected = re.fullmatch(r"Expected `([^`]*)`, got `([^`]*)`", message)
    if expected:
        wanted = " or ".join(_WORDS.get(w.strip(), w.strip()) for w in expected[1].split("|"))
        hint = ', as the display shows it: value = "4.7"' if name == "value" else ""
        return f"{name or 'it'} must be {wanted}{hint}; got {_WORDS.get(expected[2], expected[2])}"
    if message.startswith("Invalid RFC3339"):
        message = f"must be {_WORDS['datetime']}"
    return message if not name or message.startswith(name) else f"{name} {message[:1].lower()}{message[1:]}"


def event_from(table: Mapping[str, Any]) -> Event:
    """
    One event from a plain table; ``at`` and ``id`` must be there.

    Raises
    ------
    Refused
        If the kind or a field is unknown, missing or not usable. The message begins with the field's name
        and says what would be right.

    Examples
    --------
    >>> event_from({"kind": "wait", "id": "w1", "at": "2026-03-02T09:30:00+01:00", "minutes": 10}).minutes
    10.0
    """
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        if kind is None:
            raise Refused(f"kind is missing; it is one of {', '.join(KINDS)}")
        raise Refused(f"kind must be {_one_of(str(kind)[:60], KINDS)}")
    wanted = KINDS[kind]
    names = [each.name for each in fields(wanted)]
    for key in table:
        if key != "kind" and key not in names:
            near = get_close_matches(str(key), names, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"it has {', '.join(names)}"
            raise Refused(f"{ascii(str(key))[1:-1][:60]} is not a field of {kind}; {hint}")
    try:
        return msgspec.convert({key: value for key, value in table.items() if key != "kind"}, wanted)
    except msgspec.ValidationError as error:
        raise Refused(_explained(error)) from None
    except OverflowError:
        raise Refused("a number is too large to be meant") from None


def new_event(
    kind: str, *, device: str = "", at: datetime | None = None, id: str = "", **given: Any
) -> Event:
    """
    A new event, with an id of its own and the time now unless given.

    Raises
    ------
    Refused
        As `event_from`.

    Examples
    --------
    >>> new_event("reading", probe="pins.C-R", value="4.7").kind
    'reading'
    """
    moment = datetime.now().astimezone() if at is None else at
    return event_from(
        {"kind": kind, "id": id or uuid.uuid4().hex[:16], "at": moment, "device": device, **given}
    )


def table_of(event: Event) -> dict[str, Any]:
    """
    An event as a plain table: kind, id and at first, then what differs from the default.

    Examples
    --------
    >>> table_of(new_event("wait", id="w1", at=UNTIMED, minutes=5))["minutes"]
    5.0
    """
    table: dict[str, Any] = {"kind": event.kind, "id": event.id, "at": event.at}
    for each in fields(event):
        value = getattr(event, each.name)
        default = each.default_factory() if each.default_factory is not MISSING else each.default
        if each.name not in ("id", "at") and value != default:
            table[each.name] = _listed(value)
    return table


def _listed(value: Any) -> Any:
    """Tuples, those within tuples too, as lists."""
    return [_listed(each) for each in value] if isinstance(value, tuple) else value


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """
    Events in the one order everything uses: by time, then by id.

    Events of different devices interleave by their clocks. Events without a time are numbered by the file
    that holds them (`UNTIMED`), so they keep its order.
    """
    return tuple(sorted(events, key=lambda event: (event.at, event.id)))
