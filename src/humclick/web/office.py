"""
The server's side of a page: what the engine is asked, and what is done with its reply.

The engine (`humclick.web.engine.answer`) knows neither store nor clock; both are here. It is asked by one
thread at a time.
"""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import threading
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypedDict, Unpack

from humclick import __version__
from humclick.errors import HumclickError, Unknown
from humclick.jobs.events import Event
from humclick.jobs.fold import fold
from humclick.jobs.on_disk import write_whole
from humclick.jobs.order import in_order
from humclick.web.desk import Desk
from humclick.web.engine import answer
from humclick.web.exchange import CallGiven, Request, plain_table
from humclick.web.offline.build import BUILT
from humclick.web.photos import PhotoKept
from humclick.web.store import Store, version_of
from humclick.web.workroom import Workroom, standard_workroom

#: Lines of the list as last worked out, beside the calls.
_LINES = "lines.json"


class _Asked(TypedDict, total=False):
    """What is asked besides the path, as `humclick.web.exchange.Request` has it."""

    method: str
    query: Mapping[str, Any]
    form: Mapping[str, Any]
    language: str
    settings: Mapping[str, Any]
    secure: bool
    follow: bool


@dataclass(frozen=True, slots=True)
class Office:
    """Store and engine together."""

    store: Store
    #: Where pictures, recordings, parcels and PDFs are worked on.
    room: Workroom = field(default_factory=standard_workroom, repr=False, compare=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False, compare=False)
    _summaries: dict[str, tuple[str, Mapping[str, Any]]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def ask(self, path: str, *, device: str = "", **asked: Unpack[_Asked]) -> dict[str, Any]:
        """Ask the engine for a page, and keep what it hands back to be kept."""
        name = _call_in(path)
        events = self.store.events(name) if name and self.store.has(name) else None
        request = {
            **asked,
            "path": path,
            "now": datetime.now().astimezone().isoformat(),
            "device": device or "desk",
            "call": None if events is None else {"id": name, "events": list(map(plain_table, events))},
            "calls": self.summaries() if path in ("/", "/new") else None,
            "photos": self._photos(events or ()),
            "place": "server",
        }
        with self._lock:
            reply: dict[str, Any] = json.loads(answer(json.dumps(request)))
        if reply.get("append"):
            done = self.store.append(reply["id"], reply["append"])
            if reply.get("summary"):
                self._summaries[reply["id"]] = done.version, reply["summary"]
        return reply

    def record(self, name: str, data: bytes, file: str, device: str = "") -> dict[str, Any]:
        """Read a recording of a start into a call; the event comes back."""
        tables = [plain_table(event) for event in self.store.events(name)]
        now = datetime.now().astimezone().isoformat()
        work = data, file, json.dumps(tables), now, device or "desk"
        table: dict[str, Any] = json.loads(self.room.do("recording", *work))
        self.store.append(name, [table])
        return table

    def keep_photo(self, data: bytes, sha256: str = "", *, clean: bool = False) -> PhotoKept:
        """Keep a photograph, as it is or drawn anew; it is opened in the workroom."""
        if clean:
            data, looked = self.room.do("photo cleaned", data)
        else:
            looked = self.room.do("photo checked", data)
        return self.store.keep_photo(data, sha256, PhotoKept(*looked))

    def _photos(self, events: Sequence[Event]) -> list[dict[str, Any]]:
        photos = []
        for photo in fold(events).photos:
            try:
                width, height = self.store.photo_size(photo.sha256)
            except (Unknown, OSError):
                continue
            photos.append({"hash": photo.sha256, "caption": photo.caption, "width": width, "height": height})
        return photos

    def summary(self, name: str) -> Mapping[str, Any]:
        """A call's line in the list, worked out anew only when the call has changed."""
        events = self.store.events(name)
        line = self._line_of(name, events)
        if line is None:
            with self._lock:
                made = _summary(name, [plain_table(event) for event in events])
            line = self._put_line(name, events, made)
        return line

    def _line_of(self, name: str, events: Sequence[Event]) -> Mapping[str, Any] | None:
        """The line as worked out for these events; None where it was not."""
        version, line = self._summaries.get(name, ("", {}))
        return {**line, "id": name, "version": version} if version == _version(events) else None

    def _put_line(self, name: str, events: Sequence[Event], line: Mapping[str, Any]) -> Mapping[str, Any]:
        self._summaries[name] = _version(events), line
        return {**line, "id": name, "version": _version(events)}

    def summaries(self) -> list[Mapping[str, Any]]:
        """Every call's line; a call whose line is not worked out yet stands with what its header says."""
        lines: list[Mapping[str, Any]] = []
        for name in self.store.ids():
            try:
                events = self.store.events(name)
                lines.append(self._line_of(name, events) or _plain_line(name, events))
            except HumclickError as error:
                lines.append(_line(name, title=f"{name}: {error}"[:200], state="damaged"))
        return lines


def _version(events: Iterable[Event]) -> str:
    return version_of(event.id for event in events)


def standard_office(store: Store) -> Office:
    """Store and the program's own engine, with the lines of the list as last worked out."""
    office = Office(store)
    with contextlib.suppress(OSError, ValueError, TypeError, AttributeError):
        saved = json.loads((store.folder / _LINES).read_text("utf-8"))
        if saved["program"] == _program():
            office._summaries.update(
                {name: (str(v), dict(line)) for name, (v, line) in saved["lines"].items()}
            )
    return office


def _summary(name: str, tables: list[dict[str, Any]]) -> Mapping[str, Any]:
    """A call's line in the list, as the engine gives it."""
    return Desk(Request(path=f"/call/{name}", call=CallGiven(name, tables))).summary()


def fill(office: Office) -> None:
    """
    Work out every line of the list that is missing, in a process of its own that gives way to others.

    What was worked out is kept beside the calls, so the next start finds it.
    """
    missing = [line["id"] for line in office.summaries() if not line["state"] and line["version"]]
    if not missing:
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context, initializer=_give_way) as aside:
        for name in missing:
            events = office.store.events(name)
            try:
                line = aside.submit(_summary, name, [plain_table(e) for e in events]).result()
            except HumclickError:
                continue
            office._put_line(name, events, line)
    saved = {"program": _program(), "lines": office._summaries}
    with contextlib.suppress(OSError):
        write_whole(office.store.folder / _LINES, json.dumps(saved).encode())


def _give_way() -> None:
    """The process aside is the last to be served, and ends with the one it works for, however that ends."""
    if hasattr(os, "nice"):
        os.nice(19)
    threading.Thread(target=_ends_with_its_parent, daemon=True).start()


def _ends_with_its_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(0)


def _program() -> str:
    """What may change the lines: the program's version, and the build's."""
    with contextlib.suppress(OSError):
        return __version__ + (BUILT / "built.json").read_text("utf-8")
    return __version__


def _call_in(path: str) -> str:
    pieces = path.split("/")
    return pieces[2] if len(pieces) > 2 and pieces[1] == "call" else ""


def _line(name: str, **values: Any) -> dict[str, Any]:
    empty = dict.fromkeys(("title", "equipment", "customer", "state", "verdict", "complaint"), "")
    return {"id": name, **empty, "updated": "", "invented": False, "version": "", **values}


def _plain_line(name: str, events: Sequence[Event]) -> dict[str, Any]:
    header = fold(events).header
    return _line(
        name,
        title=header.equipment if header else "",
        customer=header.customer if header else "",
        invented=bool(header and header.invented),
        updated=in_order(events)[-1].at.isoformat() if events else "",
        version=_version(events),
    )
