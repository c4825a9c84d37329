"""A recording in the record of a call: its course kept, drawn, in words, and what it changed."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from typing import Any

import pytest

from humclick.jobs.call_file import read_call
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.events import KINDS, RecordingTaken
from humclick.web.course_drawing import course_svg
from humclick.web.exchange import plain_table
from humclick.web.language import language
from humclick.web.listening import recording_table
from humclick.web.pages import record
from tests.web.pages_asked import Bench
from tests.web.test_api import clamp_log

EXAMPLE = "examples/broken-starter/call.toml"


def begun() -> list[dict[str, Any]]:
    """A call as far as complaint and machine."""
    events = [e for e in read_call(EXAMPLE) if e.kind in ("opened", "machine", "meter", "complaint")]
    return [plain_table(event) for event in events]


def taken(events: list[dict[str, Any]]) -> dict[str, Any]:
    """The event of an invented clamp's log."""
    return recording_table(clamp_log(), "start.csv", events, now="2026-03-02T10:30:00-05:00")


def test_the_course_is_kept_and_survives_the_record() -> None:
    """Peak, length and attempts stand in the event, and are the same when it is read again."""
    table = taken(begun())
    event = event_from(table)
    assert isinstance(event, RecordingTaken)
    assert (event.seconds, event.unit, max(event.course)) == (60.0, "A", 12.0)
    assert [(start, end) for start, end, _ in event.spans] == [(2.0, 6.0), (20.0, 26.0), (40.0, 46.0)]
    assert event_from(table_of(event)) == event
    assert table_of(event)["spans"][0] == [2.0, 6.0, "hum_click"]


def test_the_drawing_is_sound_svg_with_every_attempt() -> None:
    """Three attempts have a ground and a number each; the words for it are in the label."""
    event = event_from(taken(begun()))
    assert isinstance(event, RecordingTaken)
    drawn = ElementTree.fromstring(str(course_svg(event, language("en"))))
    grounds = [each for each in drawn.iter() if each.get("class", "").startswith("span")]
    assert len(grounds) == 3
    assert "2.0 s" in drawn.get("aria-label", "")
    assert "2,0 s" in course_svg(event, language("es"))


def test_an_event_without_its_course_is_shown_in_words_alone() -> None:
    """A record of an earlier version has no course: no drawing, and no fault."""
    table = {key: value for key, value in taken(begun()).items() if key not in ("course", "spans", "seconds")}
    event = event_from(table)
    assert isinstance(event, RecordingTaken)
    assert course_svg(event, language("en")) == ""


def test_the_page_shows_the_recording_and_what_it_changed() -> None:
    """The drawing, the sentences, and at least one suspect with another share than before."""
    bench = Bench()
    events = begun()
    bench.calls["c1"] = [*events, taken(events)]
    reply = bench.ask("/call/c1/recordings")
    assert 'class="course"' in reply["html"]
    assert "start attempts" in reply["html"]
    assert 'class="shifts"' in reply["html"]


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_call_goes_on_after_a_recording(language: str) -> None:
    """With a recording as the last thing done, the call and its record are shown and name it."""
    bench = Bench(language)
    events = begun()
    bench.calls["c1"] = [*events, taken(events)]
    for page in ("/call/c1", "/call/c1/record"):
        reply = bench.ask(page)
        assert reply["status"] == 200
        assert "start.csv" in reply["html"]


def test_every_kind_of_event_has_words() -> None:
    """Whatever a call may hold, the record has a name for it."""
    assert set(record.KINDS) == set(KINDS)
