"""Photographs of the call and the marks put on them."""

from __future__ import annotations

from dataclasses import dataclass

from humclick.errors import HumclickError
from humclick.jobs.events import PhotoMarked
from humclick.messages import N_, Message
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply
from humclick.web.typeset import page

#: Labels offered for marks.
LABELS = ("C", "S", "R", "1", "2", "3")


@dataclass(frozen=True, slots=True)
class MarkedPhoto:
    """A photograph with its marks; 0 pixels where the picture is not in store here."""

    hash: str
    caption: str
    event: str
    width: int
    height: int
    marks: tuple[PhotoMarked, ...]


def photos_of(desk: Desk) -> list[MarkedPhoto]:
    """Every photograph of the call, in order."""
    here = {photo.hash: photo for photo in desk.request.photos}
    photos: dict[str, MarkedPhoto] = {}
    for event in desk.call.photos:
        stored = here.get(event.sha256)
        marks = tuple(mark for mark in desk.call.marks if mark.sha256 == event.sha256)
        photos[event.sha256] = MarkedPhoto(
            event.sha256,
            event.caption or (photos[event.sha256].caption if event.sha256 in photos else ""),
            event.id,
            stored.width if stored else 0,
            stored.height if stored else 0,
            marks,
        )
    return list(photos.values())


def show(desk: Desk) -> Reply:
    """The photographs."""
    return page("photos.html", desk, N_("Photos"), photos=photos_of(desk), labels=LABELS)


def take(desk: Desk) -> Reply:
    """Keep that a photograph was taken; its bytes are kept by the caller under their hash."""
    hashes = desk.request.given_all("sha256")
    if not hashes:
        raise FormRefused("photo", Message("choose a picture first"))
    with beside("photo"):
        for sha256 in hashes:
            desk.keep("photo", sha256=sha256, caption=desk.request.given("caption"))
    return desk.go(desk.path("photos"))


def take_mark(desk: Desk) -> Reply:
    """Keep a mark on a photograph."""
    request = desk.request
    try:
        x, y = (float(request.given(name).replace(",", ".")) for name in ("x", "y"))
    except ValueError:
        raise FormRefused(
            "x", Message("tap the picture, or write the place in per cent from left and top")
        ) from None
    label = request.given("label") or request.given("words")
    try:
        desk.keep("mark", sha256=request.given("sha256"), x=x, y=y, label=label)
    except HumclickError as error:
        field = "words" if str(error).startswith("label") else "x"
        raise FormRefused(field, error.message) from None
    return desk.go(desk.path("photos"))
