"""Appending to a call file by a program that holds its state."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import CallFileError
from humclick.jobs import call_file, on_disk
from humclick.jobs.call_file import CallFile, append_event, load_call, parse_call, read_call, write_call
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event, NoteWritten


def note(text: str = "x", name: str = "") -> Event:
    return new_event("note", text=text, id=name)


def test_a_file_whose_state_is_held_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Event after event is appended without reading what stands there, until somebody else writes."""
    path = tmp_path / "call.toml"
    append_event(path, note("first", "a"))
    held = load_call(path)
    read: list[str] = []

    def counting(data: bytes, name: str = "") -> CallFile:
        read.append(name)
        return parse_call(data, name)

    monkeypatch.setattr(call_file, "parse_call", counting)
    for name in ("b", "c", "d"):
        done = append_event(path, note("mine", name), held)
        assert done.before is held.events
        held = done.after
    assert read == []
    with pytest.raises(CallFileError, match="in the file already"):
        append_event(path, note("other", "c"), held)
    append_event(path, note("theirs", "x"))
    done = append_event(path, note("mine", "e"), held)
    assert [event.id for event in done.before] == ["a", "b", "c", "d", "x"]
    assert len(read) == 2  # by the other, who held nothing, and then here
    assert [event.id for event in read_call(path)] == ["a", "b", "c", "d", "x", "e"]


def test_what_an_editor_did_meanwhile_is_seen(tmp_path: Path) -> None:
    """A block changed to one of the same length, or a file put in the place of another, is read again."""
    path = tmp_path / "call.toml"
    append_event(path, note("first", "a"))
    held = load_call(path)
    before = path.stat()
    path.write_bytes(path.read_bytes().replace(b"first", b"other"))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns + 1))
    done = append_event(path, note("mine", "b"), held)
    assert isinstance(done.before[0], NoteWritten)
    assert done.before[0].text == "other"
    held = done.after
    other = tmp_path / "other.toml"
    write_call(other, [note("whole", "z")])
    other.replace(path)
    assert [event.id for event in append_event(path, note("mine", "c"), held).before] == ["z"]
    path.write_text("humclick_call = 2\n")
    with pytest.raises(CallFileError, match="version 2"):
        append_event(path, note("mine", "d"), held)


def test_a_writer_without_a_lock_beside_ours_is_seen_next_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came between our write and the look at its mark is not taken for ours."""
    path = tmp_path / "call.toml"
    append_event(path, note("first", "a"))
    held = load_call(path)
    real = on_disk.append_block

    def and_another(descriptor: int, block: bytes, size: int) -> bool:
        done = real(descriptor, block, size)
        with path.open("ab") as other:
            other.write(b'\n[[event]]\nid = "theirs"\nkind = "note"\ntext = "x"\n')
        return done

    monkeypatch.setattr(call_file, "append_block", and_another)
    held = append_event(path, note("mine", "b"), held).after
    monkeypatch.undo()
    assert [e.id for e in append_event(path, note("mine", "c"), held).before] == ["a", "b", "theirs"]


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from(["append", "torn", "comment"])), max_size=8))
def test_writers_that_hold_the_state_lose_nothing(steps: list[tuple[int, str]]) -> None:
    """Whoever writes between, what was acknowledged is in the file, and what is held stands there."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "call.toml"
        append_event(path, note("first", "first"))
        held = {0: load_call(path), 1: load_call(path), 2: None}
        acknowledged = ["first"]
        for number, (who, how) in enumerate(steps):
            if how == "append":
                name = f"e{number}"
                done = append_event(path, note("x", name), held[who])
                acknowledged.append(name)
                assert list(done.after.events) == list(read_call(path))
                held[who] = done.after if who < 2 else None
            else:
                with path.open("ab") as other:
                    other.write(b"\n# event z begins\n[[event]]\nki" if how == "torn" else b"\n# seen\n")
        assert [event.id for event in read_call(path)] == acknowledged
