"""Pieces of work done in the workroom: plain values and bytes in and out (`humclick.web.workroom`)."""

from __future__ import annotations

import json
from typing import Any

from humclick.web.listening import recording_table
from humclick.web.parcel import unpack_tables


def photo_cleaned(data: bytes) -> list[Any]:
    """A photograph drawn anew, and what `photo_checked` says of it."""
    from humclick.web.photos import cleaned  # here: needs the reader of pictures

    clean = cleaned(data)
    return [clean, photo_checked(clean)]


def photo_checked(data: bytes) -> list[Any]:
    """Hash, width, height [pixel] and ending of a photograph that can be kept byte for byte."""
    from humclick.web.photos import checked

    photo = checked(data)
    return [photo.sha256, photo.width, photo.height, photo.suffix]


def recording_read(data: bytes, name: str, events: str, now: str, device: str) -> str:
    """The event of a recording as JSON; the call's events are JSON too."""
    return json.dumps(recording_table(data, name, json.loads(events), now=now, device=device))


def parcel_unpacked(data: bytes) -> list[Any]:
    """A parcel or call file: the call as JSON, and of each photograph its bytes and `photo_checked`."""
    call, photos = unpack_tables(data)
    return [call, [[photo, photo_checked(photo)] for _, photo in photos]]


def sheet_typeset(events: str, paper: str, language: str = "en") -> bytes:
    """The sheet of a call as PDF, in the language of a code; the call's events are JSON."""
    from humclick.jobs.event_tables import event_from
    from humclick.jobs.fold import fold
    from humclick.jobs.sheet.pdf import sheet_pdf

    call = fold([event_from(table) for table in json.loads(events)])
    return sheet_pdf(call, paper=paper, language=language)
