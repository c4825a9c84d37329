"""Calls in a folder: appended once, whole on the disk, never outside the folder."""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from humclick.errors import CallFileError, Refused, Unknown
from humclick.jobs import call_file
from humclick.jobs.call_file import append_event, read_call
from humclick.jobs.event_tables import new_event
from humclick.web.store import Store, call_id, version_of
from tests.web.bench import EVENTS, EXAMPLES, ROOT, picture


def test_a_new_folder_begins_with_the_invented_calls_and_an_old_one_is_left_alone(tmp_path: Path) -> None:
    """The examples are copied at the first start only, so one that was put away stays away."""
    store = Store.at(tmp_path / "calls", EXAMPLES)
    assert len(store.ids()) == len(list(EXAMPLES.glob("*/call.toml")))
    for name in store.ids():
        (tmp_path / "calls" / "calls" / f"{name}.toml").unlink()
    assert Store.at(tmp_path / "calls", EXAMPLES).ids() == ()


def test_appending_is_a_union(tmp_path: Path) -> None:
    """Events sent again change nothing, and the order in which they come does not matter to what is kept."""
    store = Store.at(tmp_path)
    assert store.append("c1", EVENTS[:2]).added == 2
    assert store.append("c1", EVENTS).added == 2
    again = store.append("c1", EVENTS[::-1])
    assert again.added == 0
    assert again.version == version_of(["e1", "e2", "e3", "e4"])
    assert {event.id for event in store.events("c1")} == {"e1", "e2", "e3", "e4"}


def test_events_sent_out_of_order_are_written_in_the_order_they_happened(tmp_path: Path) -> None:
    """A phone may send its events in any order; the file reads as the call went."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS[::-1])
    assert [event.id for event in store.events("c1")] == ["e1", "e2", "e3", "e4"]


def test_another_event_under_a_known_id_is_reported_and_the_kept_one_stays(tmp_path: Path) -> None:
    """An event is never changed by sending another under its id."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)
    done = store.append("c1", [{**EVENTS[3], "value": "9.9"}])
    assert (done.added, done.conflicts) == (0, ("e4",))
    assert store.events("c1")[3] == read_call(tmp_path / "calls" / "c1.toml")[3]
    assert "9.9" not in (tmp_path / "calls" / "c1.toml").read_text("utf-8")


def test_nothing_is_kept_where_one_event_is_not_sound(tmp_path: Path) -> None:
    """A batch with a bad event is refused whole."""
    store = Store.at(tmp_path)
    with pytest.raises(Refused, match="minutes"):
        store.append(
            "c1", [*EVENTS, {"kind": "wait", "id": "e5", "at": "2026-03-02T09:04:00Z", "minutes": -1}]
        )
    assert not store.has("c1")


def test_what_the_command_line_appends_is_seen(tmp_path: Path) -> None:
    """Another program may append to the same file while the server runs."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)
    assert len(store.events("c1")) == 4
    append_event(tmp_path / "calls" / "c1.toml", new_event("note", text="from the desk"))
    assert len(store.events("c1")) == 5


def test_a_torn_file_is_read_and_appended_to(tmp_path: Path) -> None:
    """After a power cut in the middle of a write every whole event is there, and the call goes on."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)
    path = tmp_path / "calls" / "c1.toml"
    append_event(path, new_event("note", id="n1", text="last words"))
    path.write_bytes(path.read_bytes()[:-25])
    assert [event.id for event in store.events("c1")] == ["e1", "e2", "e3", "e4"]
    assert (
        store.append("c1", [{"kind": "note", "id": "n2", "at": "2026-03-02T10:00:00Z", "text": "on"}]).added
        == 1
    )
    assert [event.id for event in store.events("c1")] == ["e1", "e2", "e3", "e4", "n2"]


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    """Threads that append to one call at the same time all find their events kept."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)

    def write(who: str) -> None:
        for n in range(10):
            table = {"kind": "note", "id": f"{who}{n}", "at": "2026-03-02T10:00:00Z", "text": who}
            store.append("c1", [table])

    threads = [threading.Thread(target=write, args=(who,)) for who in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.events("c1")) == 24


def test_two_programs_that_begin_the_same_calls_lose_nothing(tmp_path: Path) -> None:
    """Every event that a process was told is kept stands in the file that both of them began."""
    calls = 60
    Store.at(tmp_path)
    command = [sys.executable, "-m", "tests.web.sender", str(tmp_path)]
    running = [
        subprocess.Popen(
            [*command, who, str(calls)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        for who in "abc"
    ]
    for each in running:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n"
    for each in running:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    said = [line.split() for each in running for line in each.communicate()[0].splitlines()]
    assert len(said) == 3 * calls
    store = Store.at(tmp_path)
    assert all(event in {e.id for e in store.events(call)} for call, event in said)
    assert {len(store.events(call)) for call in store.ids()} == {3}


def test_a_call_is_parsed_once_for_what_is_appended_and_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Many events at once are one write; what stands in the file is known from the last."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)
    read, parse = [], call_file.parse_call

    def parsed(data: bytes, name: str = "") -> call_file.CallFile:
        read.append(name)
        return parse(data, name)

    monkeypatch.setattr(call_file, "parse_call", parsed)
    notes = [{"kind": "note", "id": f"n{n}", "at": "2026-03-02T09:00:00Z", "text": "x"} for n in range(50)]
    assert store.append("c1", notes).added == 50
    events = store.events("c1")
    assert read == []
    assert Store.at(tmp_path).events("c1") == events
    assert len(read) == 1
    assert events == Store.at(tmp_path).events("c1")


@pytest.mark.parametrize("name", ["../x", "a/b", "A", "", "a" * 65, "nul", "a.toml", "-a", "a\n", "..", "ä"])
def test_an_id_that_could_leave_the_folder_is_refused(name: str, tmp_path: Path) -> None:
    """Only small letters, digits and dashes name a call."""
    with pytest.raises(Refused, match="small letters"):
        call_id(name)
    with pytest.raises(Refused):
        Store.at(tmp_path).append(name, EVENTS)


def test_a_call_that_is_not_there_is_named(tmp_path: Path) -> None:
    """Asking for an unknown call says so, with the near ones."""
    store = Store.at(tmp_path)
    store.append("cooler-1", EVENTS)
    with pytest.raises(Unknown, match="did you mean cooler-1"):
        store.events("cooler-2")


def test_a_damaged_file_says_where(tmp_path: Path) -> None:
    """A call file that somebody broke is refused with its line, and the list of ids still works."""
    store = Store.at(tmp_path)
    store.append("c1", EVENTS)
    path = tmp_path / "calls" / "c1.toml"
    path.write_text(path.read_text("utf-8") + "\n[[event]]\nkind = nonsense\n", "utf-8")
    with pytest.raises(CallFileError, match="line"):
        store.events("c1")
    assert store.ids() == ("c1",)


def test_a_photo_is_kept_under_its_hash_once(tmp_path: Path) -> None:
    """The same bytes are one file; other bytes under that hash are refused."""
    store = Store.at(tmp_path)
    data = picture()
    kept = store.keep_photo(data)
    assert store.keep_photo(data, kept.sha256) == kept
    assert store.photo(kept.sha256).read_bytes() == data
    assert store.photo_size(kept.sha256) == (640, 480)
    assert len(list((tmp_path / "photos").iterdir())) == 1
    with pytest.raises(Refused, match="hash to"):
        store.keep_photo(picture(10, 10), kept.sha256)
    with pytest.raises(Unknown):
        store.photo("../../etc/passwd")


def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """A file where the folder should be ends in a sentence."""
    (tmp_path / "calls").write_text("in the way")
    with pytest.raises(Refused, match="no calls can be kept here"):
        Store.at(tmp_path / "calls")
    shutil.rmtree(tmp_path)
