"""Every start attempt of a recording, and the recording short enough to be kept."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.recordings.course import MOST_PIECES, course_of_current, course_of_sound
from humclick.recordings.currents import Trace
from humclick.recordings.recording import Recording
from humclick.recordings.sound import listen
from humclick.recordings.stretches import current_stretches
from tests.recordings.sounds import PATTERNS, sound

STEP = 0.02


def trace(*stretches: tuple[float, float], scale_known: bool = True) -> Trace:
    """A current from (seconds, amps), with the hum of an idle clamp under it."""
    amps = [a + 0.01 * (k % 3) for seconds, a in stretches for k in range(round(seconds / STEP))]
    times = [(k + 0.5) * STEP for k in range(len(amps))]
    return Trace(times=times, amps=amps, step=STEP, scale_known=scale_known)


durations = st.floats(0.2, 5.0).map(lambda x: round(x / STEP) * STEP)


@given(data=st.lists(st.tuples(durations, durations, st.floats(2.0, 30.0)), min_size=1, max_size=4))
def test_every_stretch_of_current_is_an_attempt_with_its_times(
    data: list[tuple[float, float, float]],
) -> None:
    """To within two windows; rest before and after is none."""
    rows: list[tuple[float, float]] = []
    wanted, at = [], 0.0
    for rest, on, amps in data:
        rows += [(rest, 0.0), (on, amps)]
        wanted.append((at + rest, at + rest + on))
        at += rest + on
    made = current_stretches(trace(*rows, (1.0, 0.0)))
    assert len(made) == len(wanted)
    for found, (on, off) in zip(made, wanted, strict=True):
        assert found.on == pytest.approx(on, abs=2 * STEP)
        assert found.off == pytest.approx(off, abs=2 * STEP)
        assert found.seconds == pytest.approx(found.off - found.on)
        assert not found.before
        assert not found.cut


def test_current_at_either_end_is_said() -> None:
    """That flowed already, or still flows."""
    (made,) = current_stretches(trace((1.0, 9.0), (1.0, 0.0)))
    assert (made.before, made.cut, made.on) == (True, False, 0.0)
    (made,) = current_stretches(trace((1.0, 0.0), (1.0, 9.0)))
    assert (made.before, made.cut) == (False, True)
    assert made.off == pytest.approx(2.0)


def test_a_bounce_is_one_attempt_and_a_flicker_is_none() -> None:
    """Gaps shorter than 60 ms are joined; so short a burst is noise."""
    assert len(current_stretches(trace((1.0, 0.0), (1.0, 9.0), (STEP, 0.0), (1.0, 9.0), (1.0, 0.0)))) == 1
    assert len(current_stretches(trace((1.0, 0.0), (1.0, 9.0), (0.2, 0.0), (1.0, 9.0), (1.0, 0.0)))) == 2
    assert len(current_stretches(trace((1.0, 0.0), (STEP, 9.0), (1.0, 0.0), (1.0, 9.0), (1.0, 0.0)))) == 1


def test_far_below_the_locked_rotor_current_nothing_flows() -> None:
    """A clamp's own zero is no attempt, and a small current is none on a large machine."""
    assert current_stretches(trace((3.0, 0.0))) == ()
    small = trace((1.0, 0.0), (1.0, 0.3), (1.0, 0.0))
    assert len(current_stretches(small)) == 1
    assert current_stretches(small, locked_rotor_amps=60.0) == ()


@given(st.lists(st.floats(0.0, 30.0), min_size=3, max_size=2000))
def test_a_course_keeps_every_peak(amps: list[float]) -> None:
    """In so many equal pieces of time at most; the largest is never lost."""
    whole = Trace(times=[0.1 * k for k in range(len(amps))], amps=amps, step=0.1)
    made = course_of_current(whole, (), ())
    assert len(made.values) == min(MOST_PIECES, len(amps))
    assert made.seconds == pytest.approx(0.1 * len(amps), abs=1e-3)
    assert max(made.values) == pytest.approx(max(amps), rel=0.01)
    assert made.unit == "A"


def test_attempts_stand_in_the_course_with_what_they_came_to() -> None:
    """From the beginning of the recording; without a scale it has no unit."""
    whole = trace((1.0, 0.0), (2.0, 9.0), (1.0, 0.0), scale_known=False)
    made = course_of_current(whole, current_stretches(whole), ["hum_click"])
    assert made.unit == ""
    ((start, end, kind),) = made.spans
    assert (start, end) == pytest.approx((1.0, 3.0), abs=2 * STEP)
    assert kind == "hum_click"


def test_a_sound_keeps_its_level_and_what_was_heard() -> None:
    """A full sine is 3 dB below full scale, a tenth of it 20 dB less, silence at the bottom."""
    rate = 8000.0
    quiet = [0.1 * math.sin(2 * math.pi * 120 * k / rate) for k in range(8000)]
    loud = [10.0 * v for v in quiet]
    recording = Recording(name="s", values=[*loud, *quiet, *([0.0] * 8000)], step=1 / rate, waveform=True)
    made = course_of_sound(recording, listen(recording))
    third = len(made.values) // 3
    assert made.unit == "dB"
    assert made.values[third // 2] == pytest.approx(-3.0, abs=0.3)
    assert made.values[third + third // 2] == pytest.approx(-23.0, abs=0.3)
    assert made.values[-1] == -90.0
    name = sorted(PATTERNS)[0]
    made_up = sound(name, 1)
    heard = Recording(name=name, values=list(made_up.values), step=1 / made_up.rate, waveform=True)
    whole = course_of_sound(heard, listen(heard))
    assert whole.seconds == pytest.approx(heard.seconds, abs=1e-3)
    assert all(0.0 <= a <= b <= whole.seconds + 0.01 for a, b, _ in whole.spans)
