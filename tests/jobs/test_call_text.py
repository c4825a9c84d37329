"""The call file's text: what it costs to read, and what a power cut leaves of it."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from humclick.errors import CallFileError, HumclickError
from humclick.jobs.call_file import append_event, load_call, parse_call
from humclick.jobs.call_text import torn_regions, with_comments
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event
from humclick.toml_text import blanked, pieces
from tests.jobs.test_call_file import BY_HAND

#: What texts that slow a reader down are made of.
GRAINS = (
    *('"', "'", '"""', "'''", "\\", '"\\', "#", "\n", "\r\n", " ", "\t", "=", ".", ",", "[", "]", "{", "}"),
    *(
        "a",
        "é",
        "0",
        "1_",
        "a.",
        "a=",
        "a=1\n",
        "[[event]]\n",
        "[[ event",
        "[event.own]\n",
        "[[event.own.ranges]]\n",
    ),
    *(
        "# event a begins\n",
        "# event a is complete\n",
        "# event ",
        "# event a\0\n",
        "\0",
        "x=[",
        "x={a=",
        '"a".',
        "''.",
    ),
    *(
        "1e9",
        "0x1",
        "-",
        "+inf",
        "nan",
        "2026-03-02",
        "T09:30:00",
        "true",
        'kind="wait"\n',
        'id="a"\n',
        "minutes=1\n",
    ),
)
texts = st.lists(st.sampled_from(GRAINS), max_size=12).map("".join)


def lines_run(asked: Callable[[], Any]) -> int:
    """Lines of Python run by a call, the library's included: its work, whatever else the machine does."""
    count = 0

    def each(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal count
        count += event == "line"
        return each

    before = sys.gettrace()
    sys.settrace(each)
    try:
        asked()
    except HumclickError:
        pass
    finally:
        sys.settrace(before)
    return count


@settings(max_examples=300, deadline=None)
@given(texts, texts, texts)
def test_reading_costs_no_more_than_the_length(front: str, grain: str, end: str) -> None:
    """Four times the text takes four times the steps at most, whatever the text repeats."""
    assume(grain)

    def file(times: int) -> bytes:
        return f"humclick_call = 1\n{front}{grain * times}{end}".encode()

    few, many = (lines_run(partial(parse_call, file(times))) for times in (50, 200))
    assert many <= 4.4 * few + 2000


@given(st.text(st.sampled_from("\"'\\#\na ="), max_size=60) | texts)
def test_a_piece_is_decided_by_its_own_letters(text: str) -> None:
    """Strings and comments follow each other; none looks further than two letters behind its end."""
    at = 0
    for start, end in pieces(text):
        assert at <= start < end
        cut = text[start : end + 2]
        assert next(pieces(cut)) == (0, end - start)
        at = end
    plain = blanked(text)
    assert len(plain) == len(text)
    assert [k for k, letter in enumerate(plain) if letter == "\n"] == [
        k for k, letter in enumerate(text) if letter == "\n"
    ]
    assert not set(plain) & set("\"'#")


@given(st.lists(st.sampled_from([*GRAINS, "text"]), max_size=8).map("".join))
def test_strings_and_comments_are_blanked_as_toml_has_them(text: str) -> None:
    """A head inside a string or a comment is none, one outside is one."""
    quoted = text.replace("\\", "").replace('"', "").replace("\0", "")
    comment = "".join(quoted.splitlines())
    file = f'x = """{quoted}[[event]]"""\n# {comment} [[event]]\n[[event]]\n'
    assert blanked(file).count("[[event]]") == 1


def torn_file(folder: Path, *, hand: str = BY_HAND) -> tuple[Path, bytes, bytes]:
    """A file with two appended blocks: its path, what stands before the last block, and the whole."""
    path = folder / "call.toml"
    path.write_text(hand, encoding="utf-8")
    append_event(path, new_event("note", text="first µ", id="first"))
    before = path.read_bytes()
    append_event(path, new_event("machine", id="last", arrangement="psc", refrigerant="R600a µ"))
    return path, before, path.read_bytes()


def reads(path: Path, ids: list[str]) -> None:
    """Earlier events are read, the next is appended, and what was torn stands in a comment."""
    assert [e.id for e in load_call(path).events][: len(ids)] == ids
    torn = load_call(path).torn
    count = len(load_call(path).events)
    append_event(path, new_event("note", text="after", id="after"))
    after = load_call(path)
    assert [e.id for e in after.events][:count][: len(ids)] == ids
    assert after.events[-1].id == "after"
    assert after.torn == ""
    text = path.read_text(encoding="utf-8")
    for line in torn.replace("\0", "").splitlines():
        if line.strip() and line.isprintable():
            assert line in text


@pytest.mark.parametrize("hand", [BY_HAND, BY_HAND.rstrip("\n"), "humclick_call = 1\n"])
def test_every_end_of_the_last_block_may_be_zeros_or_missing(tmp_path: Path, hand: str) -> None:
    """However much of the last block is zeros, or gone, it costs that block and no more."""
    path, before, whole = torn_file(tmp_path, hand=hand)
    path.write_bytes(before)
    ids = [event.id for event in load_call(path).events]
    for cut in range(len(before), len(whole)):
        for left in (b"", b"\0" * (len(whole) - cut), b"\0" * 5000):
            path.write_bytes(whole[:cut] + left)
            reads(path, ids)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_hole_in_a_block_costs_that_block(tmp_path: Path, data: st.DataObject) -> None:
    """Zeros or noise anywhere in an appended block, first, last or between, leave every other event."""
    path, before, whole = torn_file(tmp_path)
    append_event(path, new_event("note", text="third", id="third"))
    every = path.read_bytes()
    start = data.draw(st.integers(len(before) + 1, len(whole) - 2))
    length = data.draw(st.integers(1, len(whole) - start - 1))
    noise = data.draw(
        st.just(b"\0" * length) | st.binary(min_size=length, max_size=length).map(lambda b: b"\0" + b[1:])
    )
    path.write_bytes(every[:start] + noise + every[start + length :])
    ids = {event.id for event in load_call(path).events}
    assert {"first", "third"} <= ids
    append_event(path, new_event("note", text="after", id="after"))
    assert {"first", "third", "after"} <= {event.id for event in load_call(path).events}
    assert load_call(path).torn == ""


def test_zeros_among_what_a_person_wrote_are_refused() -> None:
    """Damage in a block by hand is refused with its line: nothing a person wrote is passed over."""
    text = BY_HAND.replace('value = "4.7"', 'value = "4.7\0"', 1)
    with pytest.raises(CallFileError, match=re.escape("binary data")) as caught:
        parse_call(text.encode())
    assert caught.value.line == 17


@given(st.binary(max_size=300).map(lambda noise: b"humclick_call = 1\n# event a begins\n" + noise))
def test_torn_text_becomes_comments_that_can_be_read(data: bytes) -> None:
    """Whatever is torn, the file with it as comments has nothing torn and the same events."""
    torn = torn_regions(data)
    clean = with_comments(data, torn)
    assert not torn_regions(clean)
    try:
        events: tuple[Event, ...] | None = parse_call(data).events
    except CallFileError:
        events = None
    if events is not None:
        assert parse_call(clean).events == events
