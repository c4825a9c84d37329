"""A call with its photographs as one file: there and back whole, and nothing else gets in."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile

import pytest

from humclick.errors import HumclickError, Refused
from humclick.jobs.event_tables import event_from
from humclick.web.parcel import pack, pack_tables, unpack, unpack_tables
from tests.web.bench import EVENTS, picture

PHOTO = picture(20, 20)
DIGEST = hashlib.sha256(PHOTO).hexdigest()
WHOLE = [*EVENTS, {"kind": "photo", "id": "p1", "at": "2026-03-02T09:05:00+01:00", "sha256": DIGEST}]


def zipped(**members: bytes) -> bytes:
    """A zip file of members; two underscores stand for a dot, a capital S for a slash."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in members.items():
            made.writestr(name.replace("__", ".").replace("S", "/"), data)
    return out.getvalue()


CALL = b'humclick_call = 1\n[[event]]\nkind = "wait"\nminutes = 5\n'


def test_a_parcel_comes_back_as_it_went() -> None:
    """Id, events and photos are the same after packing and unpacking, and packing is repeatable."""
    events = [event_from(table) for table in WHOLE]
    packed = pack("cooler-1", events, {DIGEST: PHOTO})
    found = unpack(packed)
    assert (found.id, found.events, dict(found.photos)) == ("cooler-1", tuple(events), {DIGEST: PHOTO})
    assert pack("cooler-1", found.events, found.photos) == packed


def test_the_browsers_way_is_the_same() -> None:
    """Packed from tables and unpacked to tables, the call is the same."""
    packed = pack_tables(json.dumps({"id": "cooler-1", "events": WHOLE}), {DIGEST: PHOTO})
    text, photos = unpack_tables(packed)
    assert json.loads(text) == {"id": "cooler-1", "events": WHOLE}
    assert photos == [(DIGEST, PHOTO)]


def test_a_call_file_by_itself_is_taken_and_named_after_its_events() -> None:
    """The same call file gets the same id wherever it is taken in."""
    assert unpack(CALL).id == unpack(CALL).id
    assert unpack(CALL).id.startswith("call-")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04 nothing more", "damaged"),
        (zipped(other__txt=b"x"), "one call.toml"),
        (zipped(call__toml=CALL, __S__SetcSpasswd=b"x"), "does not belong"),
        (zipped(call__toml=CALL, photosSx__jpg=b"x"), "does not belong"),
        (zipped(call__toml=CALL, **{f"photosS{DIGEST}__jpg": b"other"}), "not what its name says"),
        (zipped(call__toml=CALL, about__json=b"[]"), "about.json"),
        (zipped(call__toml=CALL, about__json=b'{"humclick_parcel": 2, "id": "a"}'), "version"),
        (zipped(call__toml=bytes(65 * 1024 * 1024)), "unpacks to more"),
        (zipped(call__toml=bytes(6 * 1024 * 1024)), "more than"),
        (zipped(call__toml=CALL, **{f"photosS{n:064x}__jpg": b"" for n in range(201)}), "photos"),
        (b"\x00\x01 neither", "binary"),
        (b"x" * (65 * 1024 * 1024), "larger"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_no_parcel_is_refused_with_a_sentence(data: bytes, says: str) -> None:
    """Bombs, paths that lead out, foreign members and damage all end in a refusal."""
    with pytest.raises(HumclickError, match=says):
        unpack(data)


def test_a_member_that_lies_about_its_size_is_refused() -> None:
    """The bound holds while unpacking too, not only for what the zip file says of itself."""
    data = bytearray(zipped(call__toml=CALL + b"#" * 6_000_000))
    where = data.rindex(b"PK\x01\x02") + 24
    data[where : where + 4] = (100).to_bytes(4, "little")
    with pytest.raises(Refused):
        unpack(bytes(data))


def test_what_cannot_be_read_goes_along_in_a_parcel() -> None:
    """Entries of a later version are handed on as they are, and the phone that takes them in keeps them."""
    later = {"kind": "later", "id": "x1", "at": "2026-03-02T09:10:00+01:00", "text": "as it was"}
    packed = pack_tables(json.dumps({"id": "c1", "events": [later, *EVENTS]}), {})
    text, _ = unpack_tables(packed)
    assert json.loads(text)["events"] == [*EVENTS, later]
    assert unpack(packed).unread == (later,)
    assert [event.id for event in unpack(packed).events] == ["e1", "e2", "e3", "e4"]
