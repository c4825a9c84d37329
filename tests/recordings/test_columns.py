"""Which column is which, cell by cell: numbers, stamps, headings and what stands before the data."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import Refused
from humclick.recordings.columns import Layout, clock_of, fields_of, layout_of, number_of

ROWS = [f"{0.05 * k:.2f},{a}" for k, a in enumerate([0.0, 0.1, 18.7, 18.5, 13.7, 13.6, 0.1, 0.0])]


@given(value=st.floats(-1e6, 1e6), digits=st.integers(0, 6), comma=st.booleans())
def test_a_number_is_read_with_either_mark(value: float, digits: int, comma: bool) -> None:
    """Its unit and quotes left aside; a comma only where the log has it for its mark."""
    text = f"{value:.{digits}f}"
    shown = text.replace(".", ",") if comma else text
    for cell in (
        shown,
        f" {shown} ",
        f'"{shown}"',
        f"{shown} A",
        f"{shown} mV",
        shown.replace("-", "\u2212"),
    ):
        assert number_of(cell, comma) == float(text)
    if "," in shown:
        assert number_of(shown, comma=False) is None


@pytest.mark.parametrize("cell", ["", "--", "NaN", "n/a", "NULL", "inf", "---"])
def test_what_is_missing_is_no_number_and_no_text(cell: str) -> None:
    """A gap, whatever it is called."""
    value = number_of(cell, comma=False)
    assert value is not None
    assert math.isnan(value)


@pytest.mark.parametrize("cell", ["OL", "o.l.", "-OL", "Overload", "CLIP"])
def test_a_meter_over_its_range_is_infinite(cell: str) -> None:
    """Not missing."""
    assert number_of(cell, comma=False) == math.inf


@pytest.mark.parametrize("cell", ["amps", "1.2.3", "12 apples!", "0x1F", "1" * 50, "1,5"])
def test_text_is_no_number(cell: str) -> None:
    """Nor two numbers in one cell."""
    assert number_of(cell, comma=False) is None


stamps = st.datetimes(datetime(2000, 1, 1), datetime(2060, 12, 31))


@given(
    first=stamps, later=st.timedeltas(timedelta(milliseconds=1), timedelta(days=400)), form=st.integers(0, 4)
)
def test_two_stamps_are_as_far_apart_as_they_are(first: datetime, later: timedelta, form: int) -> None:
    """Whatever the order of day and month; checked by the calendar of the standard library."""
    first = first.replace(day=max(first.day, 13), microsecond=first.microsecond // 1000 * 1000)
    second = (first + later).replace(microsecond=0)
    second = second.replace(day=max(second.day, 13))
    formats = (
        "%Y-%m-%dT%H:%M:%S.%f",
        "%Y-%m-%d %H:%M:%S",
        "%d.%m.%Y %H:%M:%S",
        "%m/%d/%Y %I:%M:%S %p",
        "%Y/%m/%d %H:%M:%SZ",
    )
    a, b = (clock_of(t.strftime(formats[form])) for t in (first, second))
    assert a is not None
    assert b is not None
    kept = first if form == 0 else first.replace(microsecond=0)
    assert b - a == pytest.approx((second - kept).total_seconds(), abs=1e-3)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("12:03:04.5", 43384.5),
        ("0:00", 0.0),
        ("12:00 am", 0.0),
        ("12:30 PM", 45000.0),
        ("1:02:03,250", 3723.25),
        ("24:10:00", 87000.0),
    ],
)
def test_a_time_of_day_is_seconds_since_midnight(text: str, seconds: float) -> None:
    """With am and pm, and past midnight as some loggers write it."""
    assert clock_of(text) == seconds


@pytest.mark.parametrize(
    "text", ["12.5", "12:61:00", "48:00:00", "31.02.2026 12:00:00", "noon", "2026-03-11", "1:2:3:4:5"]
)
def test_what_cannot_be_a_time_is_none(text: str) -> None:
    """A day that is not in the calendar neither."""
    assert clock_of(text) is None


def test_fields_are_cut_at_the_delimiter_but_not_inside_quotes() -> None:
    """Any run of blanks is one cut; decimals that share the comma go in pairs; one column is whole."""
    assert fields_of("1;2;3\r\n", Layout(delimiter=";", comma=False)) == ["1", "2", "3"]
    assert fields_of("  1   2 \t3\n", Layout(delimiter=" ", comma=False)) == ["1", "2", "3"]
    assert fields_of('"1,5","2,5"', Layout(delimiter=",", comma=True)) == ["1,5", "2,5"]
    assert fields_of("0,05,11,8", Layout(delimiter=",", comma=False, paired=True, columns=2)) == [
        "0.05",
        "11.8",
    ]
    assert fields_of("1;2", Layout(delimiter="", comma=False)) == ["1;2"]


def headed(*heads: str) -> Layout:
    return layout_of([*heads, *ROWS])


def test_headings_say_which_is_which_and_in_what() -> None:
    """Time in its unit, amperes in theirs; without a heading the rising column is the time."""
    plain = layout_of(ROWS)
    assert (plain.time, plain.amps, plain.kind, plain.unit, plain.amps_unit) == (0, 1, "number", 0.0, "")
    told = headed("Time (ms),Current (mA)")
    assert (told.time, told.amps, told.unit, told.amps_unit, told.factor, told.first) == (
        0,
        1,
        1e-3,
        "A",
        1e-3,
        1,
    )
    turned = layout_of(["amps;t [s]", *(";".join(row.split(",")[::-1]) for row in ROWS)])
    assert (turned.time, turned.amps, turned.unit, turned.delimiter) == (1, 0, 1.0, ";")
    counted = headed("sample,I [A]")
    assert (counted.kind, counted.time) == ("count", 0)


@pytest.mark.parametrize(
    ("line", "rate"),
    [
        ("Sample rate: 2 kHz", 2000.0),
        ("sampling frequency = 50 Hz", 50.0),
        ("Interval = 20 ms", 50.0),
        ("dt 0,5 s", 2.0),
        ("rate 10 S/s", 10.0),
        ("Serial 4711", None),
    ],
)
def test_a_line_before_the_data_may_tell_the_rate(line: str, rate: float | None) -> None:
    """In hertz, or as the time between two samples."""
    assert headed(line, "no,amps").rate == rate


@pytest.mark.parametrize(
    ("line", "factor"),
    [("clamp 100 mV/A", 0.01), ("clamp 10 mV per A", 0.1), ("1 A = 10 mV", 0.1), ("5 A = 100 mV", 0.05)],
)
def test_a_clamps_millivolts_take_the_scale_that_is_told(line: str, factor: float) -> None:
    """Without one they stay millivolts."""
    scaled = headed(line, "time (s),signal (mV)")
    assert scaled.amps_unit == "A"
    assert scaled.factor == pytest.approx(factor)
    unscaled = headed("time (s),signal (mV)")
    assert (unscaled.amps_unit, unscaled.factor) == ("mV", 1.0)


def test_of_several_columns_the_named_one_is_the_current_and_else_the_liveliest() -> None:
    """Volts and temperatures are passed over; what was guessed is said."""
    rows = [f"{k},{115 + k % 2},{a.split(',')[1]},{20 + k}" for k, a in enumerate(ROWS)]
    named = layout_of(["time (s),volts (V),current (A),temp °C", *rows])
    assert (named.time, named.amps, named.notes) == (0, 2, ())
    unnamed = layout_of(["time (s),volts,x,y", *rows])
    assert unnamed.amps == 2
    assert any("x was taken" in note for note in unnamed.notes)


def test_what_is_no_log_is_refused_in_words() -> None:
    """Prose, a time with nothing beside it, a table far too wide."""
    with pytest.raises(Refused, match="no rows of numbers"):
        layout_of(["Dear customer", "thank you", "yours"])
    with pytest.raises(Refused, match="no rows of numbers"):
        layout_of(["clock", *(f"12:00:{k:02d}" for k in range(8))])
    with pytest.raises(Refused, match="80 columns"):
        layout_of([",".join(str(k) for k in range(80))] * 8)


def test_the_zone_of_a_stamp_is_left_aside() -> None:
    """All of a log are of one zone."""
    moment = datetime(2026, 3, 14, 12, 3, 4, tzinfo=UTC)
    plain = clock_of("2026-03-14 12:03:04")
    assert (
        clock_of(moment.isoformat())
        == clock_of("2026-03-14T12:03:04Z")
        == clock_of("2026-03-14 12:03:04-0600")
        == plain
    )
