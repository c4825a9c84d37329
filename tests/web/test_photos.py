"""Photographs: checked by content, bounded, and freed of where they were taken."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image

from humclick.errors import Refused
from humclick.web.photos import LONGEST, checked, cleaned
from tests.web.bench import picture


def located() -> bytes:
    """A picture that says where and by what it was taken, on its side."""
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: turned by a quarter
    exif[0x010F] = "invented maker"
    exif.get_ifd(0x8825)[1] = "N"
    return picture(800, 400, exif=exif)


def test_a_cleaned_photo_is_upright_and_says_nothing_of_where_it_was_taken() -> None:
    """Orientation is carried out, then all notes of the camera are gone."""
    data = cleaned(located())
    with Image.open(io.BytesIO(data)) as image:
        assert image.size == (400, 800)
        assert not image.getexif()
    assert b"invented maker" not in data
    assert checked(data).width == 400


def test_a_photo_with_a_cameras_notes_is_not_kept_as_it_is() -> None:
    """Kept byte for byte is only what has no notes."""
    with pytest.raises(Refused, match="where, when"):
        checked(located())


def test_a_large_photo_is_scaled() -> None:
    """The longest side of a kept photo is bounded, its shape stays."""
    with pytest.raises(Refused, match="pixels a side"):
        checked(picture(4000, 1000))
    kept = checked(cleaned(picture(4000, 1000)))
    assert (kept.width, kept.height) == (LONGEST, LONGEST // 4)


def bomb(width: int = 60_000, height: int = 60_000) -> bytes:
    """A PNG of a few bytes that says it is of some size."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000)))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (bomb(12_000, 9_166), "25 million pixels, this has 12000 × 9166"),
        (bomb(17_000, 2), "16384 pixels a side"),
        (picture(5_200, 5_000, form="WEBP"), "WEBP may have 25 million"),
        (picture(7_200, 7_000, progressive=True), "progressive JPEG may have 50 million"),
        (picture(16_000, 7_600), "JPEG may have 120 million"),
    ],
    ids=["png", "side", "webp", "progressive", "jpeg"],
)
def test_too_many_pixels_are_refused_by_the_header(data: bytes, says: str) -> None:
    """What would take too much memory to unpack is refused before it is unpacked, with the bound."""
    with pytest.raises(Refused, match=says):
        cleaned(data)


def test_the_largest_photo_of_a_phone_is_taken() -> None:
    """A baseline JPEG of 108 million pixels is made smaller while it is unpacked."""
    assert checked(cleaned(picture(12_000, 9_000))).width == LONGEST


@pytest.mark.parametrize("take", [checked, cleaned])
@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
        b"GIF89a" + bytes(100),
        b"%PDF-1.7",
        picture()[:400],
        bomb(),
        bytes(21 * 1024 * 1024),
    ],
    ids=["empty", "text", "svg", "gif", "pdf", "cut off", "bomb", "too large"],
)
def test_what_is_no_photo_is_refused_with_a_sentence(take: object, data: bytes) -> None:
    """Whatever the bytes are, the answer is a refusal, before they are unpacked where they are too many."""
    assert callable(take)
    with pytest.raises(Refused, match=r"photo"):
        take(data)
