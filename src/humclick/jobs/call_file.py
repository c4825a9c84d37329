"""
The call file: a call as text that a person can write and the program appends to.

TOML, UTF-8, version 1. At the top stands ``humclick_call = 1``, below it one block for each event::

    humclick_call = 1

    [[event]]
    kind = "machine"
    arrangement = "csir-current-relay"
    volts = 115

    [[event]]
    kind = "reading"
    probe = "pins.C-R"
    value = "4.7"            # as the display shows it, in quotes

The kinds and their fields are those of `humclick.jobs.events`; `humclick.jobs.schema` gives them as a schema.
``id``, ``at``, ``device`` and ``turn`` may be left out. An event without ``at`` comes a microsecond after
the one above it (the first at the beginning of 1970), so the order of the file is kept; one without ``turn``
comes after all above it that have one (`humclick.jobs.order.in_order`). An event without ``id`` is named
after its content, so the name stays when blocks are inserted elsewhere.

What the program appends stands between two comments, ``# event … begins`` and ``# event … is complete``. A
block that was begun and not completed (the battery died), or that a power cut left as zeros, is not read: it
is handed over as torn text, and the next append turns it into comments, so nothing is lost. Comments are
never touched.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import stat
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple

from humclick.errors import CallFileError, Refused, because
from humclick.jobs.call_text import (
    block_of,
    decoded,
    heads,
    line_in,
    line_of,
    parted,
    refuse_unmeant,
    torn_regions,
    with_comments,
)
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import KINDS, LATEST, UNTIMED, Event
from humclick.jobs.on_disk import OPEN, append_block, locked, write_whole
from humclick.jobs.order import MOST_AHEAD
from humclick.limits import CALL_BYTES, CALL_EVENTS
from humclick.messages import Message, Verbatim
from humclick.toml_text import blanked, toml_reason

__all__ = [
    "LARGEST",
    "MOST_EVENTS",
    "VERSION",
    "CallFile",
    "Written",
    "append_all",
    "append_event",
    "append_events",
    "load_call",
    "mark_of",
    "parse_call",
    "read_call",
    "write_call",
]

#: Version of the format.
VERSION = 1
#: Largest call file read. [byte]
LARGEST = CALL_BYTES
#: Most events in one call.
MOST_EVENTS = CALL_EVENTS

_FIRST = f"humclick_call = {VERSION}\n"
_AT_LINE = re.compile(r" \(at line (\d+), column \d+\)$")


@dataclass(frozen=True, slots=True)
class CallFile:
    """A call file as read, its events in the order of the file."""

    events: tuple[Event, ...]
    torn: str = ""  #: text of blocks that were begun and not completed
    torn_line: int | None = None  #: where the first of them begins
    mark: tuple[int, int, int] = (0, 0, 0)  #: what tells this state of the file from any other


@dataclass(frozen=True, slots=True)
class Written:
    """What stood in a file, what was appended, and ids of events for which there was no room."""

    before: tuple[Event, ...]
    fresh: tuple[Event, ...]
    no_room: frozenset[str] = frozenset()
    mark: tuple[int, int, int] = (0, 0, 0)

    @property
    def after(self) -> CallFile:
        """The file as it stands now."""
        return CallFile((*self.before, *self.fresh), mark=self.mark)


def mark_of(state: os.stat_result) -> tuple[int, int, int]:
    """What tells a file from itself once something was written to it."""
    return state.st_mtime_ns, state.st_size, state.st_ino


def read_call(path: str | os.PathLike[str]) -> tuple[Event, ...]:
    """
    Events of a call file, in its order, torn blocks left out; raises `CallFileError` with the line that is
    wrong.
    """
    return load_call(path).events


def load_call(path: str | os.PathLike[str]) -> CallFile:
    """Read a call file; raises `CallFileError` as `read_call`."""
    data, mark = _read(path)
    return replace(parse_call(data, os.fspath(path)), mark=mark)


def parse_call(data: bytes, name: str = "call file") -> CallFile:
    r"""
    Read a call file's bytes, called `name` in a message; raises `CallFileError` as `read_call`.

    Examples
    --------
    >>> text = 'humclick_call = 1\n[[event]]\nkind = "wait"\nminutes = 10\n'
    >>> parse_call(text.encode()).events[0].minutes
    10.0
    """
    _fits(len(data), 0, name)
    sound, torn, line = parted(data)
    text = decoded(sound, name)
    plain = blanked(text)
    whole = _parsed(text, plain, name)
    return CallFile(_events(whole, plain, name), torn, line)


def write_call(path: str | os.PathLike[str], events: Iterable[Event]) -> None:
    """
    Write a call file anew, all at once: either the old file or the whole new one is there.

    Comments of an old file are not kept; `append_event` keeps them. Raises `CallFileError` if it cannot be
    written, or two events have one id.
    """
    name = os.fspath(path)
    blocks, ids, counted = [_FIRST], set(), False
    for event in events:
        if event.id in ids:
            raise CallFileError(
                Message("two events are called {event}; merge them first", event=Verbatim(repr(event.id))),
                path=name,
            )
        ids.add(event.id)
        blocks.append("\n" + block_of(event, counted))
        counted = counted or event.turn > 0
    data = "".join(blocks).encode()
    _fits(len(data), len(ids), name)
    with _as_call_file_errors(name, "written"):
        _regular(name, missing_ok=True)
        target = Path(os.path.realpath(name))
        write_whole(target, data, _mode_of(target))


def append_event(path: str | os.PathLike[str], event: Event, known: CallFile | None = None) -> Written:
    """
    Append one event; a new file is begun if there is none.

    When this returns, the event is on the disk. If the program is killed before, the file holds every earlier
    event, and this one whole, torn (see `CallFile`) or not at all. What stands in the file is not touched,
    except that an earlier torn block is turned into comments. An event without a turn comes after all that
    stand in the file. One `known` as last read or written is read again only where somebody wrote to it
    since.

    Raises `CallFileError` if it is no sound call file, holds this id, has no room, or cannot be written.
    """
    block = block_of(event, counted=False) if not event.turn else ""
    return _append(os.fspath(path), (event,), block, known, whole=True)


def append_all(
    path: str | os.PathLike[str], events: Iterable[Event], known: CallFile | None = None
) -> Written:
    """Append events at one go, all of them or none; else as `append_event`."""
    return _append(os.fspath(path), tuple(events), "", known, whole=True)


def append_events(
    path: str | os.PathLike[str], events: Iterable[Event], known: CallFile | None = None
) -> Written:
    """
    Append those events whose ids are not in the file yet, as they are and at one go; else as `append_event`.

    Two programs that begin one file at the same time both find their events in it.
    """
    return _append(os.fspath(path), tuple(events), "", known)


def _append(
    name: str, events: tuple[Event, ...], block: str, known: CallFile | None, *, whole: bool = False
) -> Written:
    """
    Append what is new; `block` is the text of a single event where it is not its own.

    Where the `whole` of it is wanted, it is refused if one is there already or has no room.
    """
    with _as_call_file_errors(name, "written"):
        _regular(name, missing_ok=True)
        target = Path(os.path.realpath(name))
        with locked(target, _FIRST.encode()) as descriptor:
            stands = mark_of(os.fstat(descriptor))
            if known is not None and known.mark == stands and not known.torn:
                fresh = _new_text(known.events, events, stands[1], block, name, whole)
                return _added(descriptor, known.events, fresh, stands[1], name)
            data, _mark = _read(target, name)
            stood = parse_call(data or _FIRST.encode(), name)
            fresh = _new_text(stood.events, events, len(data), block, name, whole)
            if not (stood.torn and fresh.text):
                return _added(descriptor, stood.events, fresh, len(data), name)
            write_whole(target, with_comments(data, torn_regions(data)) + fresh.text, _mode_of(target))
            return Written(stood.events, fresh.events, fresh.no_room, mark_of(os.stat(target)))


def _added(descriptor: int, there: tuple[Event, ...], new: _New, size: int, name: str) -> Written:
    """What is new, put behind the `size` bytes of a file in which some events stand."""
    text = new.text if size or not new.text else _FIRST.encode() + new.text
    if text and not append_block(descriptor, text, size):
        raise CallFileError(Message("the disk is full: nothing was written"), path=name)
    mark = mark_of(os.fstat(descriptor))
    ours = mark[1] == size + len(text)  # else somebody who takes no lock wrote at the same time
    return Written(there, new.events, new.no_room, mark if ours else (0, 0, 0))


class _New(NamedTuple):
    """Events that are new, ids of those for which there is no room, and the text of the new ones."""

    events: tuple[Event, ...]
    no_room: frozenset[str]
    text: bytes


def _new_text(
    there: tuple[Event, ...], events: tuple[Event, ...], size: int, block: str, name: str, whole: bool
) -> _New:
    known, counted = {event.id for event in there}, bool([event for event in there if event.turn])
    fresh, no_room, text = [], set(), b""
    for event in events:
        if event.id in known:
            if whole:
                raise CallFileError(
                    Message("an event {event} is in the file already", event=Verbatim(repr(event.id))),
                    path=name,
                )
            continue
        lines = block or block_of(event, counted)
        framed = f"\n# event {event.id} begins\n{lines}# event {event.id} is complete\n".encode()
        if len(known) >= MOST_EVENTS or size + len(text) + len(framed) > LARGEST:
            if whole:
                _fits(0, MOST_EVENTS + 1, name)
            no_room.add(event.id)
            continue
        known.add(event.id)
        counted = counted or event.turn > 0
        fresh.append(event)
        text += framed
    return _New(tuple(fresh), frozenset(no_room), text)


def _parsed(text: str, plain: str, name: str) -> dict[str, Any]:
    refuse_unmeant(plain, name)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason, place = toml_reason(error)
        line = int(str(place.values.get("line", text.count("\n") + 1)))
        raise CallFileError(
            Message("not TOML: {reason}", reason=reason.small()), line=line, path=name
        ) from None
    except RecursionError:
        raise CallFileError(Message("nested too deeply; an event is a flat block"), path=name) from None
    except ValueError:  # a whole number of thousands of digits
        raise CallFileError(Message("a number has too many digits to be meant"), path=name) from None


def _events(whole: Mapping[str, Any], plain: str, name: str) -> tuple[Event, ...]:
    _top(whole, plain, name)
    tables = whole.get("event", [])
    starts = heads(plain)
    if not isinstance(tables, list) or len(starts) != len(tables):
        line = line_of("event", plain)
        raise CallFileError(
            Message("write each event as a block under its own line [[event]]"), line=line, path=name
        )
    _fits(0, len(tables), name)
    taken: dict[str, int] = {}
    for number, table in enumerate(tables):
        if isinstance(table.get("id"), str):
            ident = table["id"]
            if ident in taken:
                before = line_in(plain, starts, taken[ident], "id")
                raise CallFileError(
                    Message(
                        "the id {own} stands already at line {before}; leave it out, and one is made",
                        own=Verbatim(repr(ident[:64])),
                        before=before,
                    ),
                    line=line_in(plain, starts, number, "id"),
                    path=name,
                )
            taken[ident] = number
    events, last, counts, turn = [], UNTIMED, dict[str, int](), 0
    for number, table in enumerate(tables):
        fields = dict(table)
        if "id" not in fields:
            fields["id"] = _name_of(table, taken, counts)
        if "at" not in fields:
            after = last + timedelta(microseconds=1)
            fields["at"] = after if after.year <= LATEST else last
        if "turn" not in fields and turn:
            fields["turn"] = turn + 1
        try:
            event = event_from(fields)
        except Refused as error:
            field = re.match(r"\w*", str(error))
            line = line_in(plain, starts, number, field[0] if field else "")
            raise CallFileError(error.message, line=line, path=name) from None
        last = event.at
        if "turn" in table and event.turn <= turn + MOST_AHEAD:  # one that is not believed moves no other
            turn = max(turn, event.turn)
        events.append(event)
    return tuple(events)


def _top(whole: Mapping[str, Any], plain: str, name: str) -> None:
    """Refuse what does not belong at the top of the file."""
    version = whole.get("humclick_call")
    if type(version) is not int:
        raise CallFileError(
            Message("the file must begin with humclick_call = {known}", known=VERSION), line=1, path=name
        )
    if version != VERSION:
        line = line_of("humclick_call", plain)
        raise CallFileError(
            Message(
                "version {version}; this program reads {known}",
                version=Verbatim(repr(version)),
                known=VERSION,
            ),
            line=line,
            path=name,
        )
    for key in whole:
        if key in ("humclick_call", "event"):
            continue
        if key in KINDS:
            hint = Message('write [[event]] with kind = "{kind}"', kind=key)
        else:
            near = get_close_matches(key, ("event", "humclick_call"), n=1, cutoff=0.5)
            hint = Message("at the top stand humclick_call and [[event]]")
            if near == ["event"]:
                hint = Message("write [[event]]")
        shown_key = ascii(key)[1:-1][:60]
        raise CallFileError(
            Message("unknown key {shown}; {hint}", shown=shown_key, hint=hint),
            line=line_of(key, plain),
            path=name,
        )


def _name_of(table: Mapping[str, Any], taken: dict[str, int], counts: dict[str, int]) -> str:
    """Name of an event after its content; the second of the same content gets another."""
    content = json.dumps(table, sort_keys=True, default=str)
    while True:
        count = counts[content] = counts.get(content, 0) + 1
        made = "h" + hashlib.sha256(f"{count} {content}".encode("utf-8", "backslashreplace")).hexdigest()[:15]
        if made not in taken:
            taken[made] = -1
            return made


def _fits(size: int, count: int, name: str) -> None:
    if size > LARGEST:
        raise CallFileError(
            Message(
                "larger than {most} MiB, so it is not a call; photos are kept apart", most=LARGEST // 2**20
            ),
            path=name,
        )
    if count > MOST_EVENTS:
        raise CallFileError(
            Message("more than {most} events, so it is not one call", most=MOST_EVENTS), path=name
        )


@contextlib.contextmanager
def _as_call_file_errors(name: str, done: str) -> Iterator[None]:
    """Say what the operating system refused in our words."""
    try:
        yield
    except FileNotFoundError:
        raise CallFileError(
            Message("cannot be {done}: there is no such file or folder", done=done), path=name
        ) from None
    except OSError as error:
        raise CallFileError(
            Message("cannot be {done}: {why}", done=done, why=because(error)), path=name
        ) from None
    except CallFileError:
        raise
    except ValueError:
        raise CallFileError(Message("not a file name"), path=ascii(name)) from None


def _regular(name: str, missing_ok: bool = False) -> None:
    """Refuse folders, devices and pipes."""
    try:
        mode = os.stat(name).st_mode
    except FileNotFoundError:
        if missing_ok:
            return
        raise
    if stat.S_ISDIR(mode):
        raise CallFileError(Message("this is a folder; give the file in it, such as call.toml"), path=name)
    if not stat.S_ISREG(mode):
        raise CallFileError(Message("this is not a file that can be read as text"), path=name)


def _mode_of(target: Path) -> int:
    """Who may read and write the file, where it is there."""
    return stat.S_IMODE(os.stat(target).st_mode) if target.exists() else OPEN


def _read(path: str | os.PathLike[str], called: str | None = None) -> tuple[bytes, tuple[int, int, int]]:
    """All of a file, and its mark from before it was read."""
    name = os.fspath(path)
    with _as_call_file_errors(called or name, "read"):
        _regular(name)
        with open(name, "rb") as file:
            mark = mark_of(os.fstat(file.fileno()))
            data = file.read(LARGEST + 1)
    _fits(len(data), 0, called or name)
    return data, mark
