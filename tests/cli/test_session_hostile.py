"""Whatever is typed, the program answers in sentences and the call file can be read."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.cli.orders import ORDERS
from humclick.cli.screen import prompt
from humclick.cli.session import Session
from humclick.diagnosis.shop import default_shop
from humclick.jobs.call_file import read_call
from tests.cli.bench import begun
from tests.strategies import PROBE_NAMES

_WORDS = sorted(set(ORDERS) - {"quit", "sheet", "why", "what"})
_REST = st.one_of(
    st.text(max_size=30),
    st.sampled_from(
        [
            *("4.7", "OL", "4k7 hot", "3.2 @35C", "14.84 uF", "118 V", "quiet", "1", "99", "?", "-1", "nan"),
            *("inf", "1e309", "9" * 400, "0.0", "@", "at", "hot", "\ud800", "\x00", "\u202e4.7", "١٢", "²"),
            *(
                "start_capacitor 88-108 MFD",
                "ptc",
                "compressor",
                "replace starter",
                "if pins.C-R",
                "[[event]]",
            ),
            *(
                '"""',
                "# event x begins",
                "rsir-ptc",
                "psc",
                "inverter-driven",
                "three-phase",
                "300",
                "x" * 5000,
            ),
        ]
    ),
)
LINES = st.one_of(
    st.text(max_size=40),
    _REST,
    st.builds("{} {}".format, st.sampled_from(_WORDS), _REST),
    st.builds("{} {}".format, st.sampled_from(PROBE_NAMES), _REST),
)


@settings(max_examples=40)
@given(st.lists(LINES, min_size=1, max_size=10))
def test_any_answer_to_the_questions_is_survived(lines: list[str]) -> None:
    """From the first question on, no line ends the program or leaves the file unreadable."""
    with tempfile.TemporaryDirectory() as folder:
        session = Session(Path(folder) / "call.toml", default_shop())
        session.open()
        for line in lines:
            assert session.take(line) or session.over
            assert prompt(session)
        assert read_call(session.path) == session.flow.events


@settings(max_examples=15)
@given(st.lists(LINES, min_size=10, max_size=25))
def test_any_line_in_a_call_is_survived(lines: list[str]) -> None:
    """In a call under way, no line ends the program, loses an event or leaves the file unreadable."""
    with tempfile.TemporaryDirectory() as folder:
        facts = ("rsir-ptc", "external", "115", "60", "", "", "R134a", "good", "nulled", "3", "C-R 4.7")
        session = begun(Path(folder) / "call.toml", *facts)
        kept = {event.id for event in session.flow.events}
        for line in lines:
            assert session.take(line) or session.over
            session.over = False
            assert prompt(session)
            now = {event.id for event in read_call(session.path)}
            assert kept <= now
            kept = now
