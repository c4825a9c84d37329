"""Work aside: bounded in memory, time and number, and no failure of it reaches the server."""

from __future__ import annotations

import io
import os
import signal
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import pytest
from PIL import Image

from humclick.errors import Busy, OverBound, Refused
from humclick.limits import PHOTO_SIDE, WORK_BYTES, WORKERS
from humclick.web.app import create_app
from humclick.web.office import Office
from humclick.web.store import Store
from humclick.web.workroom import TASKS, Workroom
from tests.web.bench import Client, picture

resource = pytest.importorskip("resource")

#: Two million numbers: some seconds of reading, within every other bound.
SLOW = b"humclick_call = 1\nx = [" + b"1," * 2_500_000


@cache
def large(form: str) -> bytes:
    """The largest picture of a kind that is taken, of the sort that takes most memory."""
    if form == "JPEG":
        return picture(7_000, 7_100, progressive=True, subsampling=0)
    out = io.BytesIO()
    Image.new("RGBA", (5_000, 4_990), (90, 120, 60, 200)).save(out, form)
    return out.getvalue()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_the_largest_picture_fits_into_a_worker(form: str) -> None:
    """What the bounds on pixels let in is drawn anew within the bound on memory."""
    room = Workroom()
    clean, looked = room.do("photo cleaned", large(form))
    assert max(looked[1:3]) == PHOTO_SIDE
    assert len(clean) < 2**20
    room.close()


def test_too_much_memory_ends_the_work_and_not_the_room() -> None:
    """A picture beyond a worker's memory is an answer; the next piece of work is done."""
    room = Workroom(memory=80 * 2**20)
    with pytest.raises(OverBound, match="80 MiB of memory"):
        room.do("photo cleaned", large("PNG"))
    assert room.do("photo checked", picture(64, 48))[1:] == [64, 48, ".jpg"]
    room.close()


def test_too_much_time_ends_the_work_and_not_the_room() -> None:
    """Work beyond a worker's seconds is stopped and said."""
    room = Workroom(seconds=0)
    with pytest.raises(OverBound, match="more than 0 seconds"):
        room.do("parcel", SLOW)
    assert room.do("photo checked", picture(64, 48))[1:3] == [64, 48]
    room.close()


def test_a_worker_that_died_is_replaced() -> None:
    """One that was killed while it waited is not asked; one killed at work is an answer."""
    room = Workroom(workers=1)
    room.do("photo checked", picture(64, 48))
    (worker,) = room._free
    os.kill(worker.process.pid, signal.SIGKILL)
    worker.process.wait()
    assert room.do("photo checked", picture(64, 48))[1] == 64
    (worker,) = room._free
    end = threading.Timer(0.3, os.kill, (worker.process.pid, signal.SIGKILL))
    end.start()
    with pytest.raises(OverBound):
        room.do("parcel", SLOW)
    room.close()


def test_a_refusal_comes_through_as_it_is() -> None:
    """What a function refuses is refused in the same words, whether it ran aside or not."""
    for room in (Workroom(), Workroom(apart=False)):
        for task, given in [
            ("photo checked", (b"nothing",)),
            ("photo cleaned", (b"GIF89a",)),
            ("parcel", (b"PK\x03\x04",)),
            ("recording", (b"", "a.csv", "[]", "2026-03-02T09:00:00+01:00", "")),
            ("sheet", ("[]", "A9")),
        ]:
            assert task in TASKS
            with pytest.raises(Refused):
                room.do(task, *given)
        room.close()


def test_who_finds_the_row_full_is_told_to_come_again() -> None:
    """No more work at one time than there are workers, no more wait than may, and nobody for ever."""
    room = Workroom(workers=1, waiting=1, patience=0.2)
    with room._place(), ThreadPoolExecutor(2) as pool:
        first = pool.submit(room.do, "photo checked", b"")
        with pytest.raises(Busy, match="try again"):
            first.result()
    assert room._count == {"working": 0, "waiting": 0}
    with pytest.raises(Refused):
        room.do("photo checked", b"")
    room.close()


def test_a_full_row_refuses_at_once() -> None:
    """The one that would be too many does not wait."""
    room = Workroom(workers=1, waiting=0, patience=60)
    with room._place(), pytest.raises(Busy):
        room.do("photo checked", b"")


def test_six_large_photos_at_once_leave_the_server_answering(tmp_path: Path) -> None:
    """Two work at most, each within its bound; every photo gets an answer, and so does who asks meanwhile."""
    room = Workroom()
    asked = Client(create_app(Office(Store.at(tmp_path), room)))
    photos = [large("PNG"), large("JPEG"), large("WEBP"), *[large("PNG")] * 3]
    most = 0
    with ThreadPoolExecutor(len(photos)) as pool:
        answers = [pool.submit(asked, "POST", "/api/photos", content=photo) for photo in photos]
        while not all(answer.done() for answer in answers):
            assert asked("GET", "/api/about").status_code == 200
            most = max(most, room._count["working"])
            time.sleep(0.05)
    assert {answer.result().status_code for answer in answers} == {200}
    assert 1 <= most <= WORKERS
    assert len(room._free) <= WORKERS
    for worker in room._free:
        assert resource.prlimit(worker.process.pid, resource.RLIMIT_DATA) == (WORK_BYTES, WORK_BYTES)
    room.close()


def test_where_nobody_has_time_the_answer_is_503(tmp_path: Path) -> None:
    """A busy room is said with when to come again, and nothing is kept."""
    room = Workroom(workers=1, waiting=0)
    asked = Client(create_app(Office(Store.at(tmp_path), room)))
    with room._place():
        answer = asked("POST", "/api/photos", content=picture())
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "30")
    assert "try again" in answer.json()["error"]
    assert not list((tmp_path / "photos").iterdir())
