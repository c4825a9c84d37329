"""
Photographs: is it one, what does it give away, how large is it.

A photograph is kept as JPEG, PNG or WebP of at most `LONGEST` pixels a side, without the notes a camera puts
in (where and when it was taken, the device). What comes from elsewhere is drawn anew by `cleaned`; what a
phone has already drawn anew is looked at by `checked` and kept byte for byte, for its hash names it.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

from humclick.errors import Refused, printable
from humclick.limits import (
    PHOTO_BYTES,
    PHOTO_PIXELS_SCALED,
    PHOTO_PIXELS_STAGED,
    PHOTO_PIXELS_WHOLE,
    PHOTO_SIDE,
    PHOTO_SIDE_IN,
)
from humclick.messages import Message

#: Largest file taken. [byte]
LARGEST_PHOTO = PHOTO_BYTES
#: Longest side of a photograph kept. [pixel]
LONGEST = PHOTO_SIDE

_FORMATS = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
SUFFIXES = tuple(_FORMATS.values())
#: Media type by suffix.
MEDIA_TYPES = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
#: Keys under which readers of pictures hand over a camera's notes.
_NOTES = ("exif", "xmp", "XML:com.adobe.xmp", "photoshop", "comment", "Raw profile type exif")


@dataclass(frozen=True, slots=True)
class PhotoKept:
    """A photograph as kept: hash of its bytes, size [pixel], and how its name ends."""

    sha256: str
    width: int
    height: int
    suffix: str


@contextmanager
def _opened(data: bytes) -> Iterator[Image.Image]:
    if len(data) > LARGEST_PHOTO:
        raise Refused(
            Message(
                "a photo may have {most} MiB, this has {size:.0f}",
                most=LARGEST_PHOTO // 2**20,
                size=len(data) / 2**20,
            )
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=list(_FORMATS)) as image:
                _refuse_size(image)
                yield image
    except (UnidentifiedImageError, Image.DecompressionBombError):
        raise Refused(Message("this is no photo; JPEG, PNG and WebP are taken")) from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        if isinstance(error, Refused):
            raise
        raise Refused(Message("this photo is damaged: {error}", error=printable(str(error))[:80])) from None


def _refuse_size(image: Image.Image) -> None:
    """Refuse by the header alone what takes too much memory to unpack."""
    width, height = image.size
    if max(width, height) > PHOTO_SIDE_IN:
        raise Refused(
            Message(
                "a photo may have {most} pixels a side, this has {width} × {height}",
                most=PHOTO_SIDE_IN,
                width=width,
                height=height,
            )
        )
    if image.format != "JPEG":
        most, kind = PHOTO_PIXELS_WHOLE, str(image.format)
    elif image.info.get("progressive"):
        most, kind = PHOTO_PIXELS_STAGED, "progressive JPEG"
    else:
        most, kind = PHOTO_PIXELS_SCALED, "JPEG"
    if width * height > most:
        raise Refused(
            Message(
                "a photo as {kind} may have {most} million pixels, this has {width} × "
                "{height}; send it as the camera's own JPEG, or smaller",
                kind=kind,
                most=most // 10**6,
                width=width,
                height=height,
            )
        )


def _kept(data: bytes, image: Image.Image) -> PhotoKept:
    digest = hashlib.sha256(data).hexdigest()
    return PhotoKept(digest, image.width, image.height, _FORMATS[str(image.format)])


def checked(data: bytes) -> PhotoKept:
    """Look whether a photograph can be kept byte for byte; refused if it tells where it was taken."""
    with _opened(data) as image:
        if max(image.size) > LONGEST:
            raise Refused(
                Message(
                    "a photo is kept with {most} pixels a side at most, this has {width} × "
                    "{height}; hand it over to be scaled",
                    most=LONGEST,
                    width=image.width,
                    height=image.height,
                )
            )
        image.load()
        if image.getexif() or any(image.info.get(key) for key in _NOTES):
            raise Refused(
                Message(
                    "this photo still says where, when or by what it was taken; hand it over to be cleaned"
                )
            )
        return _kept(data, image)


def cleaned(data: bytes) -> bytes:
    """A photograph drawn anew: upright, scaled to `LONGEST`, without a camera's notes, as JPEG."""
    with _opened(data) as image:
        image.draft("RGB", (LONGEST, LONGEST))  # a JPEG is unpacked at an eighth, a quarter or half its size
        image.thumbnail((LONGEST, LONGEST))  # before it is turned, which takes a copy
        flat = ImageOps.exif_transpose(image).convert("RGB")
        flat.info.clear()
        out = io.BytesIO()
        flat.save(out, "JPEG", quality=85)
        return out.getvalue()


@lru_cache(maxsize=512)
def size_of(path: Path) -> tuple[int, int]:
    """Width and height of a kept photograph. [pixel]"""
    with Image.open(path, formats=list(_FORMATS)) as image:
        return image.size
