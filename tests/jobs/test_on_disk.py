"""Calls on the disk: killed writers, failing replacement, full disk, links."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from humclick.errors import CallFileError
from humclick.jobs.call_file import append_event, load_call, read_call, write_call
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event

ROOT = Path(__file__).parents[2]


def note(text: str = "x", name: str = "") -> Event:
    return new_event("note", text=text, id=name)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
@pytest.mark.parametrize("writers", [1, 2])
def test_killed_writers_lose_no_event_they_acknowledged(tmp_path: Path, writers: int) -> None:
    """After writers are killed at any moment the file reads and holds every acknowledged event."""
    path = tmp_path / "call.toml"
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.jobs.appender", str(path), f"w{n}-"],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        for n in range(writers)
    ]
    said: list[str] = []
    try:
        for each in running:
            assert each.stdout is not None
            said.append(each.stdout.readline().strip())
        time.sleep(0.3)
    finally:
        for each in running:
            each.send_signal(signal.SIGKILL)
    for each in running:
        assert each.stdout is not None
        said += each.stdout.read().split("\n")[:-1]
        each.stdout.close()
        assert each.wait() == -signal.SIGKILL
    found = {e.id for e in load_call(path).events}
    assert len(said) > writers
    assert set(said) <= found
    append_event(path, note("after the kill"))
    assert set(said) < {e.id for e in read_call(path)}


def test_a_call_is_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When replacing the file fails the old one is there, and no other file is left behind."""
    path = tmp_path / "call.toml"
    write_call(path, [note("old", "a")])

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(CallFileError, match="No space left"):
        write_call(path, [note("new", "b")])
    monkeypatch.undo()
    assert [e.id for e in read_call(path)] == ["a"]
    assert os.listdir(tmp_path) == ["call.toml"]


def test_a_full_disk_takes_nothing_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that falls short is taken back and refused."""
    path = tmp_path / "call.toml"
    append_event(path, note("old", "a"))
    before = path.read_bytes()
    real = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: real(fd, data[:30]))
    with pytest.raises(CallFileError, match="disk is full"):
        append_event(path, note("new", "b"))
    monkeypatch.undo()
    assert path.read_bytes() == before


def test_a_link_to_a_call_stays_a_link(tmp_path: Path) -> None:
    """Writing through a symbolic link changes the file it points to."""
    real, link = tmp_path / "real.toml", tmp_path / "link.toml"
    append_event(real, note())
    link.symlink_to(real)
    write_call(link, [note("new")])
    assert link.is_symlink()
    assert read_call(real) == read_call(link)
