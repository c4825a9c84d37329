"""
Events that hold what a device took down: photographs, marks on them, and recordings of a start.

Seconds, amperes and decibels.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar

import msgspec

from humclick.errors import OutOfRange
from humclick.jobs.event import HEARD, Event
from humclick.jobs.fields import PAGE, check_amount, check_hash, check_text
from humclick.messages import Message

__all__ = ["PhotoMarked", "PhotoTaken", "RecordingTaken"]


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
