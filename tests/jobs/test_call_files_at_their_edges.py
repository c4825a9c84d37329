"""Call files at their edges: full, torn, of another turn, with one id twice."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from humclick.errors import CallFileError
from humclick.jobs.call_file import (
    MOST_EVENTS,
    append_all,
    append_event,
    append_events,
    load_call,
    parse_call,
    write_call,
)
from humclick.jobs.call_text import parted
from tests.jobs.test_call_at_its_edges import CSIR, HUMS, RECORDING, events_of, reading


def test_a_file_is_read_back_byte_for_byte(tmp_path: Path) -> None:
    """Written whole or event by event, with turns or without: the same events, and they write the same."""
    tables: tuple[dict[str, Any], ...] = (
        {"kind": "opened", "shop": "N", "invented": True},
        CSIR,
        {**HUMS, "words": 'It "hums",\nthen clicks'},
        reading("pins.C-R", "4.7", temperature="cold", note="Ω"),
        {"kind": "decision", "remedies": ["replace relay", "clear condenser"]},
        {**RECORDING, "spans": [[0.0, 1.0, "hum"]], "causes": {"a": -1.5}},
    )
    for turn in (0, 4):
        events = events_of(*({**t, "turn": turn + n if turn else 0} for n, t in enumerate(tables)))
        whole, one = tmp_path / f"whole{turn}.toml", tmp_path / f"one{turn}.toml"
        write_call(whole, events)
        assert load_call(whole).events == events
        first = whole.read_bytes()
        write_call(whole, load_call(whole).events)
        assert whole.read_bytes() == first
        for event in events:
            written = append_event(one, event)
            assert written.fresh == (event,)
            assert written.after.events == load_call(one).events
        assert load_call(one).events == events
        assert append_events(one, events).fresh == ()
        with pytest.raises(CallFileError, match="in the file already"):
            append_all(one, events[:1])


def test_after_a_turn_every_block_has_one(tmp_path: Path) -> None:
    """An event without a turn below one with a turn is written with its 0, so that it keeps its place."""
    counted, plain = events_of({**HUMS, "turn": 2}, {"kind": "note", "text": "x"})
    file = tmp_path / "call.toml"
    write_call(file, (plain, counted))
    assert file.read_text("utf-8").count("turn = ") == 1
    write_call(file, (counted, plain))
    assert "turn = 0" in file.read_text("utf-8")
    assert load_call(file).events == (counted, plain)


def test_a_full_file_takes_no_more() -> None:
    """So many events and no more."""
    block = '[[event]]\nkind = "wait"\nminutes = 1\n'
    assert len(parse_call(("humclick_call = 1\n" + block * MOST_EVENTS).encode()).events) == MOST_EVENTS
    with pytest.raises(CallFileError, match=f"more than {MOST_EVENTS} events"):
        parse_call(("humclick_call = 1\n" + block * (MOST_EVENTS + 1)).encode())


def test_one_id_stands_once() -> None:
    """The second is told with the line of the first; where none is written each gets its own."""
    block = '[[event]]\nid = "a"\nkind = "wait"\nminutes = 1\n'
    with pytest.raises(CallFileError, match="the id 'a' stands already at line 3") as caught:
        parse_call(("humclick_call = 1\n" + block * 2).encode())
    assert caught.value.line == 7
    same = parse_call(("humclick_call = 1\n" + block.replace('id = "a"\n', "") * 3).encode()).events
    assert len({event.id for event in same}) == 3
    assert [event.at for event in same] == sorted(event.at for event in same)
    assert same[1].at - same[0].at == timedelta(microseconds=1)


def test_a_torn_block_is_told_with_its_line() -> None:
    """The line where the first begins; the rest is read."""
    head = b"humclick_call = 1\n"
    sound = b'\n# event a begins\n[[event]]\nid = "a"\nkind = "wait"\nminutes = 1\n# event a is complete\n'
    torn = b'\n# event b begins\n[[event]]\nid = "b"\nki'
    made = parse_call(head + sound + torn)
    assert [event.id for event in made.events] == ["a"]
    assert made.torn_line == (head + sound).count(b"\n") + 2
    assert "# event b begins" in made.torn
    assert parted(head + sound) == (head + sound, "", None)
    # zeros at the very start belong to no block, and are told
    with pytest.raises(CallFileError, match="binary data"):
        parse_call(b"\0" + head + sound)
