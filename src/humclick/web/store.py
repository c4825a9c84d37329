"""
The shop's calls in a folder: one call file for each, and the photographs beside them.

::

    folder/
        calls/<id>.toml        as `humclick.jobs.call_file` writes them
        photos/<sha256>.jpg    each under the hash of its bytes

Everything here can be read, copied and kept with other tools. What `append` or `keep_photo` has returned from
is on the disk. Several threads may use one store; other programs may append to a call file at the same time.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import tempfile
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from humclick.errors import CallFileError, Refused, StorageTrouble, Unknown, because
from humclick.jobs.call_file import (
    LARGEST,
    MOST_EVENTS,
    CallFile,
    append_events,
    load_call,
    mark_of,
    read_call,
    write_call,
)
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import Event
from humclick.jobs.on_disk import write_whole
from humclick.jobs.order import in_order
from humclick.messages import Message, Verbatim
from humclick.web.photos import SUFFIXES, PhotoKept, checked, size_of

_ID = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,62}[a-z0-9])?")
_SHA256 = re.compile(r"[0-9a-f]{64}")
#: Names some systems keep for devices.
_DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{p}{n}" for p in ("com", "lpt") for n in range(10))})
_NO_ROOM = Message(
    "the call is full ({events} events or {most} MiB); begin a new call",
    events=MOST_EVENTS,
    most=LARGEST // 2**20,
)
_PACKAGE = Path(__file__).resolve().parents[1]


def call_id(text: str) -> str:
    """The id of a call, as it stands in an address and names a file; refused where it cannot."""
    if not _ID.fullmatch(text) or text in _DEVICES:
        raise Refused(
            Message(
                "the id of a call is 1 to 64 small letters, digits and dashes, got {text}",
                text=ascii(text)[:80],
            )
        )
    return text


def version_of(ids: Iterable[str]) -> str:
    """What two copies of a call have in common if, and only if, they hold the same events."""
    return hashlib.sha256("\n".join(sorted(ids)).encode()).hexdigest()[:16]


def examples_folder() -> Path | None:
    """Where the invented calls lie: in the package as installed, or in the source tree."""
    for folder in (_PACKAGE / "web" / "examples", _PACKAGE.parents[1] / "examples"):
        if any(folder.glob("*/call.toml")):
            return folder
    return None


@contextlib.contextmanager
def _storage(name: str) -> Iterator[None]:
    """What the disk or a damaged file refuses is trouble of the store, and no fault of what was given."""
    try:
        yield
    except CallFileError as error:
        raise StorageTrouble(error.reason, line=error.line, path=name) from None
    except OSError as error:
        raise StorageTrouble(Message("cannot be written: {why}", why=because(error)), path=name) from None


@dataclass(frozen=True, slots=True)
class Appended:
    """What came of appending."""

    #: How many are new.
    added: int
    #: Of the call now; see `version_of`.
    version: str
    #: Ids under which another event was kept already; that one stays.
    conflicts: tuple[str, ...] = ()
    #: Ids of events that are not kept, and why.
    refused: Mapping[str, Message] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Store:
    """Calls and photographs in a folder."""

    folder: Path
    _lock: threading.RLock = field(default_factory=threading.RLock, repr=False, compare=False)
    _read: dict[str, CallFile] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def at(cls, folder: Path, examples: Path | None = None) -> Store:
        """The store in a folder that can be written; a new one begins with the example calls given."""
        store = cls(folder)
        fresh = not store._calls.exists()
        try:
            store._calls.mkdir(parents=True, exist_ok=True)
            store._photos.mkdir(exist_ok=True)
            with tempfile.TemporaryFile(dir=store._calls):
                pass
        except OSError as error:
            raise Refused(
                Message(
                    "{folder}: no calls can be kept here: {why}", folder=Verbatim(folder), why=because(error)
                )
            ) from None
        if fresh and examples is not None:
            for example in sorted(examples.glob("*/call.toml")):
                write_call(store._path(f"example-{example.parent.name}"), read_call(example))
        return store

    @property
    def _calls(self) -> Path:
        return self.folder / "calls"

    @property
    def _photos(self) -> Path:
        return self.folder / "photos"

    def _path(self, name: str) -> Path:
        return self._calls / f"{call_id(name)}.toml"

    def ids(self) -> tuple[str, ...]:
        """Ids of all calls, the one written last first."""
        written = []
        for path in self._calls.glob("*.toml"):
            with contextlib.suppress(Refused, FileNotFoundError):
                written.append((-path.stat().st_mtime_ns, call_id(path.stem)))
        return tuple(name for _, name in sorted(written))

    def has(self, name: str) -> bool:
        """Whether there is such a call."""
        return self._path(name).is_file()

    def events(self, name: str) -> tuple[Event, ...]:
        """
        Events of a call, in the order of its file.

        `StorageTrouble` if its file is damaged or cannot be read.
        """
        path = self._path(name)
        try:
            stat = path.stat()
        except FileNotFoundError:
            raise Unknown(Message("call"), name, self.ids()[:20]) from None
        mark = mark_of(stat)
        file = self._read.get(name)
        if file is None or file.mark != mark:
            with _storage(name):
                file = load_call(path)
            self._read[name] = file
        return file.events

    def append(self, name: str, tables: Sequence[Mapping[str, Any]]) -> Appended:
        """
        Append events to a call; the call is begun if it is new, and what is there already is passed over.

        Refused if an event is not sound, and nothing appended; or if there is no room for it.
        `StorageTrouble` if the file is damaged or cannot be written.
        """
        done = self.take(name, [event_from(table) for table in tables])
        for why in done.refused.values():
            raise Refused(why)
        return done

    def take(self, name: str, events: Iterable[Event]) -> Appended:
        """
        Append those events of a call that are new; the call is begun if it is new.

        An event for which there is no room is named in ``refused``; the others are kept. After
        `StorageTrouble` (the file is damaged or cannot be written) nothing may be taken for kept.
        """
        fresh: dict[str, Event] = {}
        conflicts = []
        for event in in_order(events):  # so that the file reads well; its order decides nothing
            if fresh.setdefault(event.id, event) != event:
                conflicts.append(event.id)
        path = self._path(name)
        with self._lock:
            if not fresh:
                there = self.events(name) if path.is_file() else ()
                return Appended(0, version_of(event.id for event in there))
            with _storage(name):
                done = append_events(path, fresh.values(), self._read.get(name))
            self._read[name] = done.after
        known = {event.id: event for event in done.before}
        conflicts += [event.id for event in fresh.values() if known.get(event.id, event) != event]
        version = version_of([*known, *(event.id for event in done.fresh)])
        return Appended(len(done.fresh), version, tuple(conflicts), dict.fromkeys(done.no_room, _NO_ROOM))

    def keep_photo(self, data: bytes, sha256: str = "", looked: PhotoKept | None = None) -> PhotoKept:
        """
        Keep a photograph, as `humclick.web.photos.checked` accepts it, under the hash of its bytes.

        ``sha256`` is what that must be, empty if not known; ``looked`` what `checked` said, where somebody
        has looked.
        """
        photo = looked or checked(data)
        if sha256 and photo.sha256 != sha256:
            raise Refused(
                Message(
                    "these bytes hash to {got}…, not to {asked}…; send them again",
                    got=photo.sha256[:16],
                    asked=sha256[:16],
                )
            )
        path = self._photos / f"{photo.sha256}{photo.suffix}"
        with self._lock, _storage(path.name):
            if not path.is_file():
                write_whole(path, data)
        return photo

    def photo(self, sha256: str) -> Path:
        """The file of a photograph; `Unknown` if it is not here."""
        if _SHA256.fullmatch(sha256):
            for suffix in SUFFIXES:
                path = self._photos / f"{sha256}{suffix}"
                if path.is_file():
                    return path
        raise Unknown(Message("photo"), sha256[:64], ())

    def has_photo(self, sha256: str) -> bool:
        """Whether a photograph is here."""
        return any((self._photos / f"{sha256}{suffix}").is_file() for suffix in SUFFIXES)

    def photo_size(self, sha256: str) -> tuple[int, int]:
        """Width and height of a photograph. [pixel]"""
        return size_of(self.photo(sha256))
