"""
Every bound in one table: how large, long, deep and many a thing may be that comes from outside.

A bound is a plain number by name, and stands in `LIMITS` with its unit and its reason; the page on limits is
made from that. The figures are choices: well above what a call needs, well below what hurts a small machine.
What each address of the server takes stands in `BODIES`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["BODIES", "LIMITS", "Body", "Limit", "body_of"]

_MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limit:
    """One bound."""

    name: str  #: Its name in this module.
    most: int  #: The bound. In `unit`.
    unit: str
    of: str  #: What is bounded.
    why: str  #: What it is far above, or what it keeps away.


_table: list[Limit] = []


def _limit(name: str, most: int, unit: str, of: str, why: str) -> int:
    """Put a bound into the table."""
    _table.append(Limit(name, most, unit, of, why))
    return most


# -- call files and events --------------------------------------------------------------------------------

CALL_BYTES = _limit(
    "CALL_BYTES", 5 * _MIB, "byte", "a call file", "a long call is some 50 kB; photos are kept apart"
)
CALL_EVENTS = _limit("CALL_EVENTS", 5000, "event", "one call", "a long call has some 200")
CALL_DEPTH = _limit(
    "CALL_DEPTH", 16, "level", "lists and tables within each other in a call file", "an event has three"
)
KEY_DOTS = _limit("KEY_DOTS", 4, "dot", "one key of a call file or a shop file", "an event's key has two")
WORD_LETTERS = _limit(
    "WORD_LETTERS", 400, "letter", "one number or key of a call file or a shop file", "a float has 17 digits"
)
SHOP_BYTES = _limit("SHOP_BYTES", 256 * 1024, "byte", "a shop file", "the program's own is some 10 kB")

# -- what is sent to the server ---------------------------------------------------------------------------

FORM_BYTES = _limit("FORM_BYTES", 2 * _MIB, "byte", "a form or JSON", "a full page of text is some 5 kB")
FORM_FIELDS = _limit("FORM_FIELDS", 200, "field", "a form", "the largest form has some 40")
FORM_FILES = _limit("FORM_FILES", 10, "file", "a form", "photos chosen at once")
JSON_DEPTH = _limit(
    "JSON_DEPTH", 32, "level", "lists and tables within each other in JSON", "events have four"
)
SETTING_LETTERS = _limit("SETTING_LETTERS", 300, "letter", "one setting in the cookie", "the shop's name")
EVENTS_AT_ONCE = _limit("EVENTS_AT_ONCE", 1000, "event", "one request", "a phone that was away for a week")
BODIES_BYTES = _limit(
    "BODIES_BYTES", 256 * _MIB, "byte", "all that is being received at one time", "memory of a small server"
)
BODY_SECONDS = _limit(
    "BODY_SECONDS", 20, "s", "the wait for the next piece of what is being sent", "a phone between two cells"
)

# -- photos -----------------------------------------------------------------------------------------------

PHOTO_BYTES = _limit("PHOTO_BYTES", 20 * _MIB, "byte", "a photo", "a phone's largest is some 15 MB")
PHOTO_SIDE = _limit(
    "PHOTO_SIDE", 2048, "pixel", "the longer side of a photo as kept", "a plate stays readable"
)
PHOTO_SIDE_IN = _limit(
    "PHOTO_SIDE_IN", 16_384, "pixel", "the longer side of a photo that comes in", "a phone's panorama"
)
PHOTO_PIXELS_SCALED = _limit(
    "PHOTO_PIXELS_SCALED",
    120_000_000,
    "pixel",
    "a baseline JPEG, which is made smaller while it is unpacked",
    "a phone's largest has 108 million",
)
PHOTO_PIXELS_STAGED = _limit(
    "PHOTO_PIXELS_STAGED",
    50_000_000,
    "pixel",
    "a progressive JPEG, whose stages are all held before it is made smaller",
    "six bytes a pixel, 300 MB",
)
PHOTO_PIXELS_WHOLE = _limit(
    "PHOTO_PIXELS_WHOLE",
    25_000_000,
    "pixel",
    "a PNG or WebP, which is unpacked whole",
    "a phone's screen has five million; up to twelve bytes a pixel, 300 MB",
)

# -- recordings -------------------------------------------------------------------------------------------

RECORDING_BYTES = _limit(
    "RECORDING_BYTES", 20 * _MIB, "byte", "a recording handed in on a page", "four minutes of sound"
)
RECORDING_ROWS = _limit(
    "RECORDING_ROWS", 2_000_000, "row", "a log handed in on a page", "half an hour at a thousand a second"
)
RECORDING_SAMPLES = _limit(
    "RECORDING_SAMPLES", 12_000_000, "sample", "a WAV file handed in on a page", "four minutes at 48 kHz"
)
LOG_BYTES = _limit("LOG_BYTES", 50 * _MIB, "byte", "a recording read by a command", "hours of a logger")
LOG_VALUES = _limit("LOG_VALUES", 25_000_000, "sample", "a recording read by a command", "50 MiB of sound")
LINE_LETTERS = _limit("LINE_LETTERS", 8192, "letter", "a line of a log", "a logger of fifty channels")
COLUMNS = _limit("COLUMNS", 256, "column", "a line of a log", "a logger of fifty channels")

# -- parcels ----------------------------------------------------------------------------------------------

PARCEL_BYTES = _limit(
    "PARCEL_BYTES",
    64 * _MIB,
    "byte",
    "a call with its photos as a zip file, packed and unpacked",
    "60 photos",
)
PARCEL_PHOTOS = _limit("PARCEL_PHOTOS", 200, "photo", "one parcel", "a call has some ten")

# -- work aside -------------------------------------------------------------------------------------------

WORKERS = _limit("WORKERS", 2, "process", "photos, recordings, parcels and PDFs opened at one time", "cores")
WORK_WAITING = _limit(
    "WORK_WAITING", 8, "request", "those that wait for such a process", "half a minute of it"
)
WORK_WAIT_SECONDS = _limit(
    "WORK_WAIT_SECONDS", 20, "s", "their wait", "patience; then 503 says when to come again"
)
WORK_SECONDS = _limit("WORK_SECONDS", 30, "s", "one piece of work", "the longest honest one takes some five")
WORK_BYTES = _limit(
    "WORK_BYTES",
    1024 * _MIB,
    "byte",
    "memory of one such process",
    "the largest photo taken needs some 400 MB",
)
WORK_TIMES = _limit(
    "WORK_TIMES",
    50,
    "piece of work",
    "one process before a new one takes its place",
    "what it does not give back",
)

# -- connections ------------------------------------------------------------------------------------------

CONNECTIONS = _limit(
    "CONNECTIONS",
    1000,
    "connection",
    "the server at one time; fewer where the system allows fewer",
    "a shop has ten phones",
)
KNOCKING = _limit("KNOCKING", 1024, "connection", "those the system holds until they are let in", "a burst")
HEAD_SECONDS = _limit("HEAD_SECONDS", 15, "s", "a connection before its request is whole", "a bad signal")
HEAD_BYTES = _limit("HEAD_BYTES", 65_536, "byte", "the head of a request", "a browser's has some 2 kB")
IDLE_SECONDS = _limit("IDLE_SECONDS", 30, "s", "a connection between two requests", "the next tap")
BUSY_SECONDS = _limit(
    "BUSY_SECONDS", 180, "s", "an answer that nobody reads, where connections are short", "a slow download"
)
LOG_LINES = _limit("LOG_LINES", 20, "line", "the log, of one kind in ten seconds", "a flood fills no disk")
LOG_LETTERS = _limit("LOG_LETTERS", 4000, "letter", "one line of the log with its particulars", "a traceback")

#: Every bound, in the order of the page on limits.
LIMITS: tuple[Limit, ...] = tuple(_table)


@dataclass(frozen=True, slots=True)
class Body:
    """What one kind of address takes."""

    path: str  #: Regular expression of the whole path.
    most: int  #: Largest body. [byte]
    what: str  #: What is sent there.


#: Largest body by address; the first that fits holds.
BODIES: tuple[Body, ...] = (
    Body(r"/(api/)?import", PARCEL_BYTES + FORM_BYTES, "a call file, or a call with its photos"),
    Body(r"/api/photos(/[^/]*)?", PHOTO_BYTES, "a photo"),
    Body(r"/call/[^/]*/photos", FORM_FILES * PHOTO_BYTES // 4, "a form with photos"),
    Body(r"/(api/calls|call)/[^/]*/recordings", RECORDING_BYTES + FORM_BYTES, "a recording"),
    Body(r".*", FORM_BYTES, "anything else"),
)


def body_of(path: str) -> Body:
    """What an address takes."""
    return next(body for body in BODIES if re.fullmatch(body.path, path, re.DOTALL))
