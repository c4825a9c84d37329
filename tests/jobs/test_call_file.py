"""The call file: written, read, appended to, torn, damaged."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.errors import CallFileError
from humclick.jobs.call_file import (
    LARGEST,
    MOST_EVENTS,
    CallFile,
    append_event,
    append_events,
    load_call,
    parse_call,
    read_call,
    write_call,
)
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event, MachineRead, NoteWritten, ReadingTaken
from humclick.jobs.fold import Call, fold, merge
from humclick.jobs.order import in_order
from tests import strategies

BY_HAND = """\
humclick_call = 1
# an invented call, written by hand

[[event]]
kind = "opened"
shop = "Invented Cold Shop"
invented = true

[[event]]
kind = "machine"
arrangement = "csir-current-relay"
volts = 115     # from the plate

[[event]]
kind = "reading"
probe = "pins.C-R"
value = "4.7"

[[event]]
kind = "reading"
probe = "pins.C-R"
value = "4.7"
"""


def note(text: str = "x", name: str = "") -> Event:
    return new_event("note", text=text, id=name)


def read_or_refused(data: bytes) -> CallFile | CallFileError:
    try:
        return parse_call(data)
    except CallFileError as error:
        return error


def refusal(text: str | bytes) -> CallFileError:
    with pytest.raises(CallFileError) as caught:
        parse_call(text if isinstance(text, bytes) else text.encode())
    return caught.value


@given(strategies.calls())
def test_a_written_call_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, events: tuple[Event, ...]
) -> None:
    """Any events written to a file are read back the same and in the same order."""
    path = tmp_path_factory.mktemp("call") / "call.toml"
    write_call(path, events)
    assert read_call(path) == events
    assert fold(read_call(path)) == fold(events)


@settings(max_examples=30)
@given(strategies.calls(most=5))
def test_appended_events_are_read_back(
    tmp_path_factory: pytest.TempPathFactory, events: tuple[Event, ...]
) -> None:
    """Events appended one by one, or all at once, are read back the same and in the same order."""
    path, other = (tmp_path_factory.mktemp("call") / "call.toml" for _ in range(2))
    for event in events:
        assert append_events(path, [event]).fresh == (event,)
    if events:
        append_events(other, events)
        assert read_call(other) == events
    assert (read_call(path) if events else ()) == events


def test_a_file_written_by_hand_needs_no_ids_and_times() -> None:
    """Events without id and time get them from content and place, and keep the order of the file."""
    events = parse_call(BY_HAND.encode()).events
    assert [e.kind for e in events] == ["opened", "machine", "reading", "reading"]
    assert in_order(events) == events
    assert not any(e.timed for e in events)
    assert len({e.id for e in events}) == 4
    assert parse_call(BY_HAND.encode()).events == events
    assert isinstance(events[1], MachineRead)
    assert events[1].volts == 115.0
    assert len(fold(events).readings) == 2


def test_a_block_put_in_between_leaves_the_names_of_the_others() -> None:
    """The name of an event without id does not change when another block is inserted above it."""
    more = BY_HAND.replace("[[event]]", '[[event]]\nkind = "note"\ntext = "new"\n\n[[event]]', 1)
    names = {e.id for e in parse_call(BY_HAND.encode()).events}
    assert names < {e.id for e in parse_call(more.encode()).events}


def test_an_untimed_event_follows_the_one_above_it() -> None:
    """An event without time below one with a time comes just after it."""
    text = BY_HAND.replace('value = "4.7"', 'value = "4.7"\nat = 2026-03-02T09:30:00+01:00', 1)
    text += '\n[[event]]\nkind = "note"\ntext = "after"\n'
    events = parse_call(text.encode()).events
    assert events[3].at > events[2].at
    assert in_order(events) == events
    assert events[3].timed


def test_comments_and_layout_stay_when_events_are_appended(tmp_path: Path) -> None:
    """Appending leaves every byte above it as it was."""
    path = tmp_path / "call.toml"
    path.write_text(BY_HAND.rstrip("\n"), encoding="utf-8")
    append_event(path, note("added"))
    after = path.read_text(encoding="utf-8")
    assert after.startswith(BY_HAND.rstrip("\n"))
    assert len(read_call(path)) == 5


def test_merging_two_copies_of_a_file_keeps_both_additions(tmp_path: Path) -> None:
    """Two copies of a file, each continued alone, merge to all events once."""
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    for path, text in ((one, "left"), (two, "right")):
        path.write_text(BY_HAND, encoding="utf-8")
        append_event(path, note(text))
    both = merge(read_call(one), read_call(two))
    assert len(both) == 6
    write_call(one, both)
    assert read_call(one) == both


def test_every_way_of_tearing_the_last_block_is_survived(tmp_path: Path) -> None:
    """Cut anywhere in the last block, the file reads, earlier events are whole and the torn text is kept."""
    path = tmp_path / "call.toml"
    path.write_text(BY_HAND, encoding="utf-8")
    append_event(path, note("first"))
    before = path.read_bytes()
    append_event(path, new_event("machine", id="m2", arrangement="psc", volts=115.0, refrigerant="R600a µ"))
    whole = path.read_bytes()
    for cut in range(len(before), len(whole)):
        path.write_bytes(whole[:cut])
        found = load_call(path)
        complete = whole[:cut].rstrip().endswith(b"is complete")
        assert len(found.events) == (6 if complete and cut > len(before) + 5 else 5)
        tail = whole[len(before) : cut]
        if b"[[event]]" in tail and len(found.events) == 5:
            assert tail.strip().decode(errors="backslashreplace") in found.torn
            assert found.torn_line == before.count(b"\n") + 2


@pytest.mark.parametrize("keep", [40, 60, 90, 120])
def test_the_next_append_turns_torn_text_into_comments(tmp_path: Path, keep: int) -> None:
    """Appending after a tear keeps the torn text as comments and adds the new event."""
    path = tmp_path / "call.toml"
    path.write_text(BY_HAND, encoding="utf-8")
    before = len(path.read_bytes())
    append_event(path, note("battery died µµµ", name="lost"))
    path.write_bytes(path.read_bytes()[: before + keep])
    torn = load_call(path).torn
    assert torn
    append_event(path, note("after"))
    found = load_call(path)
    assert found.torn == ""
    assert [e.text for e in found.events if isinstance(e, NoteWritten)] == ["after"]
    after = path.read_text(encoding="utf-8")
    assert after.startswith(BY_HAND)
    assert all(f"# torn: {line}" in after for line in torn.splitlines() if line.strip())


def test_a_block_written_by_hand_below_a_torn_one_is_read(tmp_path: Path) -> None:
    """A torn block ends where the next block begins."""
    path = tmp_path / "call.toml"
    append_event(path, note("lost", name="lost"))
    torn = path.read_text(encoding="utf-8").split("text =")[0]
    path.write_text(torn + '\n[[event]]\nkind = "note"\ntext = "by hand"\n', encoding="utf-8")
    found = load_call(path)
    assert [e.text for e in found.events if isinstance(e, NoteWritten)] == ["by hand"]
    assert "lost" in found.torn


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("", 1, "must begin with humclick_call = 1"),
        ("humclick_call = 1.0\n", 1, "must begin with"),
        ("humclick_call = true\n", 1, "must begin with"),
        ("\nhumclick_call = 2\n", 2, "version 2; this program reads 1"),
        ("humclick_call = 1\n[[events]]\n", 2, r"write \[\[event\]\]"),
        ('humclick_call = 1\n\n[[reading]]\nprobe = "x"\n', 3, 'kind = "reading"'),
        ("humclick_call = 1\n[event]\n", 2, r"own line \[\[event\]\]"),
        ('humclick_call = 1\nevent = [{kind = "wait", minutes = 1}]\n', 2, r"own line \[\[event\]\]"),
        ("humclick_call = 1\nevent = 3\n", 2, r"own line \[\[event\]\]"),
        ("humclick_call = 1\nshop = 3\n", 2, "unknown key shop"),
        ("humclick_call = 1\nevnt = 3\n", 2, r"unknown key evnt; write \[\[event\]\]"),
        ("humclick_call = 1\nwait = 3\n", 2, r'write \[\[event\]\] with kind = "wait"'),
        ("humclick_call = 1\n\n\nx = 3\n", 4, "at the top stand humclick_call"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\n', 2, "minutes is missing"),
        ('humclick_call = 1\nevent = "x"\n', 2, "write each event as a block"),
        ('humclick_call = 1\n[[event]]\nkind = "note\n', 3, "not TOML: illegal character"),
        ("humclick_call = 1\n[[event]]\nkind = 4.\n", 3, "not TOML"),
        ("humclick_call = 1\n[[event", 2, "not TOML"),
        ("humclick_call = 1\nx = " + "[" * 5000, 2, "nested too deeply"),
        ("humclick_call = 1\na" + ".a" * 2_000_000, 2, "too many parts"),
        ("humclick_call = " + "9" * 5000, 1, "too many digits"),
        ('humclick_call = 1\n[[event]]\ntext = "x"\n', 2, "kind is missing"),
        ('humclick_call = 1\n[[event]]\n# [[event]]\nkind = "nte"\n', 4, "did you mean note"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\nminutes = -5\n', 4, "minutes must be 0 or more"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\nminuts = 5\n', 4, "did you mean minutes"),
        ('humclick_call = 1\n[[event]]\nkind = "wait"\n\nminutes = nan\n', 5, "minutes must be 0 or more"),
        (
            'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "x"\nat = 2026-01-02T10:00:00\n',
            5,
            "its time zone",
        ),
        (
            'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "x"\nat = 2026-01-02\n',
            5,
            "a date without a time",
        ),
        (
            'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "x"\nat = 2026-13-02T10:00:00Z\n',
            5,
            "not TOML",
        ),
        ('humclick_call = 1\n[[event]]\nkind = "note"\ntext = "x"\nid = 3\n', 5, "id must be text"),
        (
            'humclick_call = 1\n[[event]]\nkind = "reading"\nprobe = "pins.C-R"\nvalue = 4.7\n',
            5,
            'value = "4.7"',
        ),
        (
            'humclick_call = 1\n[[event]]\nkind = "note"\ntext = """\n[[event]]\nid = "a"\n"""\nid = "a"\n'
            '[[event]]\nkind = "note"\ntext = "y"\nid = "a"\n',
            12,
            "'a' stands already at line 8",
        ),
        (b"humclick_call = 1\n# \xff\n", 2, "not UTF-8"),
        ("humclick_call = 1\n".encode("utf-16"), 1, "UTF-16"),
        (b'humclick_call = 1\n[[event]]\nkind = "note"\ntext = "a\x00b"\n', 4, "binary data"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", 3, "binary data"),
        (b"humclick_call = 1\n" + b"#" * LARGEST, None, "larger than 5 MiB"),
        (
            "humclick_call = 1\n" + '[[event]]\nkind = "wait"\nminutes = 1\n' * (MOST_EVENTS + 1),
            None,
            "more than 5000",
        ),
    ],
)
def test_a_damaged_file_is_refused_with_its_line(text: str | bytes, line: int | None, says: str) -> None:
    """What is not a call file is refused with the line and the right form."""
    error = refusal(text)
    assert error.line == line
    assert re.search(says, error.reason)


def test_a_file_as_other_systems_save_it_is_read() -> None:
    """A byte-order mark and Windows line ends do no harm."""
    data = b"\xef\xbb\xbf" + BY_HAND.replace("\n", "\r\n").encode()
    assert parse_call(data).events == parse_call(BY_HAND.encode()).events


def test_what_is_not_a_file_is_refused(tmp_path: Path) -> None:
    """A missing file, a folder, a device, a pipe and an impossible name are refused in plain words."""
    os.mkfifo(tmp_path / "pipe")
    for path, says in [
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "this is a folder"),
        (Path("/dev/null"), "not a file"),
        (tmp_path / "pipe", "not a file"),
        (tmp_path / ("x" * 5000), "too long"),
        (Path("a\0b"), "not a file name"),
    ]:
        with pytest.raises(CallFileError, match=says):
            read_call(path)
    for path, says in [
        (tmp_path / "no" / "call.toml", "no such file or folder"),
        (tmp_path, "this is a folder"),
    ]:
        with pytest.raises(CallFileError, match=says):
            append_event(path, note())
        with pytest.raises(CallFileError, match=says):
            write_call(path, [note()])


def test_an_event_is_not_written_twice(tmp_path: Path) -> None:
    """An id that is in the file already is refused, appending or writing."""
    path = tmp_path / "call.toml"
    append_event(path, note("x", "same"))
    with pytest.raises(CallFileError, match="in the file already"):
        append_event(path, note("y", "same"))
    with pytest.raises(CallFileError, match="merge them first"):
        write_call(path, [note("x", "same"), note("y", "same")])
    assert len(read_call(path)) == 1


def test_nothing_is_appended_to_what_is_no_call(tmp_path: Path) -> None:
    """Appending to a damaged file is refused and leaves it as it was."""
    path = tmp_path / "call.toml"
    path.write_text("my shopping list\n", encoding="utf-8")
    with pytest.raises(CallFileError, match="not TOML"):
        append_event(path, note())
    assert path.read_text(encoding="utf-8") == "my shopping list\n"


#: A sound file to damage, with text of every sort in it.
SOUND = (
    BY_HAND
    + """
# event p1 begins
[[event]]
kind = "reading"
id = "p1"
at = 2026-03-02T09:30:00.25+01:00
probe = "attempt.as_found"
value = "hum_click"
note = "µ \\u00e9 \\"quoted\\" \\n"
# event p1 is complete

[[event]]
kind = "meter"
lead_ohms = 0.2
[event.own]
name = "mine"
[[event.own.ranges]]
quantity = "resistance"
full_scale = 200
resolution = 0.1
percent = 1
counts = 2

[[event]]
kind = "undo"
of = "p1"
"""
).encode()
_GRAINS = [
    b"[[event]]",
    b'"',
    b'"""',
    b"'",
    b"\n",
    b"=",
    b"\\",
    b"[",
    b"{",
    b"\x00",
    b"\xff",
    b"# event p1 begins\n",
]
_GRAINS += [
    b'kind = "wait"',
    b"nan",
    b"-1",
    b"1e999",
    b"2026-03-02",
    b"true",
    b"\xe2\x80\xae",
    b"\\ud800",
    b"p1",
]


@settings(max_examples=400)
@given(st.data())
def test_a_mutated_file_is_refused_or_read(data: st.DataObject) -> None:
    """A file damaged in any way ends in a refusal for the person or in a call, never in a traceback."""
    damaged = bytearray(SOUND)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged)))
        how = data.draw(st.sampled_from(["cut", "put", "repeat", "byte"]))
        if how == "cut":
            del damaged[at : at + data.draw(st.integers(1, 60))]
        elif how == "put":
            damaged[at:at] = data.draw(st.sampled_from(_GRAINS))
        elif how == "repeat":
            damaged[at:at] = damaged[at : at + data.draw(st.integers(1, 200))]
        elif at < len(damaged):
            damaged[at] = data.draw(st.integers(0, 255))
    found = read_or_refused(bytes(damaged))
    if isinstance(found, CallFileError):
        assert found.reason
        assert found.line is None or 1 <= found.line <= damaged.count(b"\n") + 1
    else:
        assert isinstance(fold(found.events), Call)


@given(strategies.hostile_text | st.text(max_size=80))
def test_hostile_text_in_a_value_is_refused_or_kept(text: str) -> None:
    """Any text as a reading's value is refused with the line, or kept word for word and folded."""
    quoted = "".join(f"\\U{ord(letter):08X}" for letter in text)
    file = (
        'humclick_call = 1\n[[event]]\nkind = "machine"\narrangement = "psc"\n[[event]]\nkind = "reading"\n'
    )
    file += f'probe = "pins.C-R"\nvalue = "{quoted}"\n'
    found = read_or_refused(file.encode())
    if isinstance(found, CallFileError):
        assert found.line == 8
    else:
        taken = found.events[1]
        assert isinstance(taken, ReadingTaken)
        assert taken.value == text
        folded = fold(found.events)
        assert len(folded.readings) + len(folded.problems) == 1


@given(st.binary(max_size=200))
def test_any_bytes_are_refused_or_read(data: bytes) -> None:
    """Bytes of any kind, also after a sound beginning, are refused for the person or read as no event."""
    for whole in (data, b"humclick_call = 1\n" + data):
        found = read_or_refused(whole)
        assert str(found).startswith("call file") if isinstance(found, CallFileError) else found.events == ()
