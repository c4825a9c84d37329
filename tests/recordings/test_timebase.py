"""From stamps and cells to a recording: units of time, gaps, peaks cut off."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import Refused
from humclick.recordings.columns import Layout
from humclick.recordings.recording import Recording
from humclick.recordings.timebase import clip_of, on_time_base, swings

ROUNDS = (1000.0, 2000.0, 5000.0, 10_000.0)
SECONDS = Layout(
    delimiter=",", comma=False, columns=2, time=0, amps=1, kind="number", unit=1.0, amps_unit="A"
)


def sine(hertz: float, rate: float, seconds: float = 1.0, peak: float = 10.0) -> list[float]:
    return [peak * math.sin(2 * math.pi * hertz * k / rate + 0.3) for k in range(int(seconds * rate))]


def based(
    times: list[float], values: list[float], layout: Layout = SECONDS, rate: float | None = None
) -> Recording:
    return on_time_base("log", layout, times, values, 0, 0, rate, ROUNDS)


@given(
    hertz=st.sampled_from([50.0, 60.0]),
    rate=st.sampled_from([500.0, 1000.0, 4000.0]),
    offset=st.floats(-5.0, 5.0),
)
def test_a_mains_sine_swings_at_its_frequency(hertz: float, rate: float, offset: float) -> None:
    """Whatever it is shifted by; a constant and a slow ramp do not swing."""
    assert swings([v + offset for v in sine(hertz, rate)], rate) == pytest.approx(hertz, rel=0.02)
    assert swings([offset] * 1000, rate) == 0.0
    assert swings([0.01 * k for k in range(1000)], rate) == 0.0


@given(share=st.floats(0.3, 0.9))
def test_peaks_that_are_cut_off_are_cut_where_they_are(share: float) -> None:
    """And whole ones nowhere, nor where nothing flows."""
    whole = sine(60.0, 5000.0)
    cut = [max(-10.0 * share, min(10.0 * share, v)) for v in whole]
    assert clip_of(cut) == pytest.approx(10.0 * share)
    assert clip_of(whole) is None
    assert clip_of([0.0] * 100) is None
    assert clip_of([math.nan] * 100) is None


@pytest.mark.parametrize(("unit", "step"), [(1.0, 0.1), (1e-3, 100.0), (60.0, 0.1 / 60.0)])
def test_times_come_out_in_seconds(unit: float, step: float) -> None:
    """From the unit that is told; without one, whole numbers far apart are milliseconds, and it is said."""
    layout = Layout(delimiter=",", comma=False, columns=2, time=0, kind="number", unit=unit, amps_unit="A")
    made = based([k * step for k in range(40)], [5.0] * 40, layout)
    assert made.step == pytest.approx(0.1)
    assert made.times is None
    untold = Layout(delimiter=",", comma=False, columns=2, time=0, kind="number", amps_unit="A")
    guessed = based([k * 100.0 for k in range(40)], [5.0] * 40, untold)
    assert guessed.step == pytest.approx(0.1)
    assert any("milliseconds" in note for note in guessed.notes)
    assert based([k * 0.1 for k in range(40)], [5.0] * 40, untold).step == pytest.approx(0.1)


def test_samples_that_are_missing_leave_a_gap_of_their_length() -> None:
    """As no value, counted and said; what is there keeps its time."""
    times = [0.1 * k for k in range(40) if k not in (10, 11, 30)]
    made = based(times, [float(round(10 * t)) for t in times])
    assert len(made.values) == 40
    assert [k for k, v in enumerate(made.values) if math.isnan(v)] == [10, 11, 30]
    assert all(v == k for k, v in enumerate(made.values) if not math.isnan(v))
    assert any("2 places" in note for note in made.notes)


def test_rows_that_run_back_are_left_out_and_too_many_refused() -> None:
    """A stray one is said; a log out of order is not put in order by guess."""
    times = [0.1 * k for k in range(40)]
    stray = [*times[:20], 0.05, *times[20:]]
    made = based(stray, [float(k) for k in range(41)])
    assert len(made.values) == 40
    assert any("1 rows" in note or "1 row" in note for note in made.notes)
    with pytest.raises(Refused, match="run back"):
        based(times[::-1], [1.0] * 40)
    with pytest.raises(Refused, match="do not move on"):
        based([1.0] * 40, [1.0] * 40)


def test_a_time_of_day_goes_on_after_midnight() -> None:
    """Without a date beside it."""
    clock = Layout(delimiter=",", comma=False, columns=2, time=0, kind="clock", amps_unit="A")
    made = based([(86_398.0 + 0.5 * k) % 86_400.0 for k in range(40)], [3.0] * 40, clock)
    assert made.step == pytest.approx(0.5)
    assert (made.start, len(made.values)) == (0.0, 40)


def test_coarse_stamps_are_spread_evenly() -> None:
    """Ten samples a second under stamps of whole seconds."""
    made = based([float(k // 10) for k in range(100)], [2.0] * 100)
    assert made.step == pytest.approx(0.1, rel=0.02)
    assert any("coarser" in note for note in made.notes)


def test_samples_without_times_take_the_rate_given_or_the_mains_in_them() -> None:
    """Or are refused with what to give."""
    bare = Layout(delimiter="", comma=False, amps_unit="A")
    found = based([], sine(60.0, 5000.0), bare)
    assert found.rate == pytest.approx(5000.0)
    assert found.waveform
    given_rate = based([], sine(60.0, 5000.0), bare, rate=2500.0)
    assert given_rate.rate == pytest.approx(2500.0)
    with pytest.raises(Refused, match="--rate"):
        based([], [1.0, 2.0, 1.5, 1.7] * 10, bare)


def test_what_changes_its_sign_slowly_is_neither_log_nor_waveform() -> None:
    """An rms value is never below zero; too few samples are no recording; a rate must be possible."""
    with pytest.raises(Refused, match="changes its sign"):
        based([0.1 * k for k in range(40)], [(-1.0) ** k for k in range(40)])
    with pytest.raises(Refused, match="at least 4"):
        based([0.0, 0.1, 0.2], [1.0] * 3)
    with pytest.raises(Refused, match="cannot be right"):
        based([], sine(60.0, 5000.0), Layout(delimiter="", comma=False, amps_unit="A"), rate=1e9)
