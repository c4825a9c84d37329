"""
A call with its photographs as one file, to hand over or to put away.

A zip file any system can open::

    about.json             {"humclick_parcel": 1, "id": "…"}
    call.toml              the call file
    photos/<sha256>.jpg    each photograph under the hash of its bytes
    unread.json            entries that the program that packed it could not read; only where there are any

What comes in is not trusted: number and size of the members are bounded before and while they are unpacked,
and names other than these are refused, so nothing is ever written by a member's name. Sizes in bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec

from humclick.errors import HumclickError, Refused, printable
from humclick.jobs.call_file import LARGEST, MOST_EVENTS, parse_call, write_call
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import Event
from humclick.limits import PARCEL_BYTES, PARCEL_PHOTOS
from humclick.messages import Message
from humclick.web.exchange import events_in, plain_table

#: Largest file read, and most it may unpack to.
LARGEST_PARCEL = PARCEL_BYTES
#: Most photographs in one.
MOST_PHOTOS = PARCEL_PHOTOS

_PHOTO = re.compile(r"photos/([0-9a-f]{64})\.(jpg|png|webp)")
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError)


@dataclass(frozen=True, slots=True)
class Parcel:
    """What was in the file."""

    #: Of the call, as whoever packed it knew it, else made of its events.
    id: str
    events: tuple[Event, ...]
    #: By the hash of their bytes.
    photos: Mapping[str, bytes] = field(default_factory=dict)
    #: Entries that could not be read where it was packed, as they were.
    unread: tuple[Mapping[str, Any], ...] = ()


def pack(
    name: str,
    events: Iterable[Event],
    photos: Mapping[str, bytes],
    unread: Sequence[Mapping[str, Any]] = (),
) -> bytes:
    """Pack a call; entries that cannot be read are handed on as they are."""
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "call.toml"
        write_call(path, events)
        call = path.read_bytes()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for member, data in (
            ("about.json", json.dumps({"humclick_parcel": 1, "id": name}).encode()),
            ("call.toml", call),
            *((("unread.json", json.dumps(list(unread)).encode()),) if unread else ()),
            *((f"photos/{digest}{_suffix(data)}", data) for digest, data in sorted(photos.items())),
        ):
            made.writestr(zipfile.ZipInfo(member, (1980, 1, 1, 0, 0, 0)), data)
    return out.getvalue()


def pack_tables(call: str, photos: Mapping[str, Any]) -> bytes:
    """As `pack`, from a call as JSON with ``id`` and ``events``, the unread among them; for the browser."""
    table_of_call, unread = json.loads(call), []
    for table in table_of_call["events"]:
        try:
            event_from(table)
        except HumclickError:
            unread.append(table)
    files = {name: bytes(data) for name, data in photos.items()}
    return pack(table_of_call["id"], events_in(table_of_call["events"]), files, unread)


def unpack_tables(data: Any) -> tuple[str, list[tuple[str, bytes]]]:
    """As `unpack`, with the call as JSON: ``id`` and ``events``; for the browser."""
    parcel = unpack(bytes(data))
    tables = [*(plain_table(event) for event in parcel.events), *parcel.unread]
    return json.dumps({"id": parcel.id, "events": tables}), list(parcel.photos.items())


def _suffix(data: bytes) -> str:
    """How a picture's name ends, by its first bytes."""
    return ".png" if data[:4] == b"\x89PNG" else ".webp" if data[8:12] == b"WEBP" else ".jpg"


def unpack(data: bytes) -> Parcel:
    """
    Read a parcel, or a call file by itself.

    Refused if it is neither, is damaged, is too large, or holds what does not belong in it.
    """
    if len(data) > LARGEST_PARCEL:
        raise Refused(
            Message(
                "larger than {most} MiB, so it is not a call with its photos", most=LARGEST_PARCEL // 2**20
            )
        )
    if not data.startswith(b"PK"):
        return _named(Parcel("", parse_call(data, "call file").events))
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as opened:
            return _named(_unpacked(opened))
    except _DAMAGED as error:
        if isinstance(error, Refused):
            raise
        raise Refused(
            Message("this zip file is damaged: {error}", error=printable(str(error))[:80])
        ) from None


def _named(parcel: Parcel) -> Parcel:
    """The parcel, its call named after its events where nobody named it."""
    if parcel.id:
        return parcel
    names = "\n".join(sorted(event.id for event in parcel.events))
    return replace(parcel, id="call-" + hashlib.sha256(names.encode()).hexdigest()[:16])


def _unpacked(opened: zipfile.ZipFile) -> Parcel:
    members = opened.infolist()
    if len(members) > MOST_PHOTOS + 3:
        raise Refused(Message("more than {most} photos, so it is not one call", most=MOST_PHOTOS))
    if sum(member.file_size for member in members) > LARGEST_PARCEL:
        raise Refused(
            Message("unpacks to more than {most} MiB, so it is not a call", most=LARGEST_PARCEL // 2**20)
        )
    names = [member.filename for member in members]
    if len(set(names)) != len(names) or "call.toml" not in names:
        raise Refused(Message("there must be one call.toml in the zip file, and no name twice"))
    left, name = LARGEST_PARCEL, ""
    events: tuple[Event, ...] = ()
    photos: dict[str, bytes] = {}
    unread: tuple[Mapping[str, Any], ...] = ()
    for member in members:
        photo = _PHOTO.fullmatch(member.filename)
        if member.filename not in ("about.json", "call.toml", "unread.json") and photo is None:
            raise Refused(
                Message(
                    "{filename} does not belong into a call's zip file", filename=ascii(member.filename)[:80]
                )
            )
        bound = min(left, LARGEST if photo is None else left)
        with opened.open(member) as file:
            data = file.read(bound + 1)
        left -= len(data)
        if len(data) > bound:
            raise Refused(
                Message(
                    "{filename} unpacks to more than it says or than a call may have",
                    filename=member.filename[:80],
                )
            )
        if photo is not None:
            if hashlib.sha256(data).hexdigest() != photo[1]:
                raise Refused(
                    Message(
                        "{filename} is not what its name says; the file was damaged on the way",
                        filename=member.filename,
                    )
                )
            photos[photo[1]] = data
        elif member.filename == "call.toml":
            events = parse_call(data, "call.toml").events
        elif member.filename == "unread.json":
            unread = _unread_in(data)
        else:
            name = _id_in(data)
    return Parcel(name, events, photos, unread)


def _unread_in(data: bytes) -> tuple[Mapping[str, Any], ...]:
    try:
        rows = msgspec.json.decode(data, type=list[dict[str, Any]])
    except (ValueError, RecursionError):
        rows = [{}]
    if not all(isinstance(row.get("id"), str) for row in rows):
        raise Refused(Message("unread.json in the zip file cannot be read"))
    return tuple(rows[:MOST_EVENTS])


def _id_in(data: bytes) -> str:
    try:
        about = json.loads(data)
        version, name = about["humclick_parcel"], about["id"]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise Refused(Message("about.json in the zip file cannot be read")) from None
    if version != 1 or not isinstance(name, str):
        raise Refused(
            Message("a zip file of version {version}; this program reads 1", version=ascii(version)[:20])
        )
    return name
