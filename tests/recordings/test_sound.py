"""A phone's sound of a start is heard through talk and fans."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from humclick.errors import HumclickError
from humclick.recordings.evidence import is_sound
from humclick.recordings.recording import Recording
from humclick.recordings.sound import SoundRecognition, listen
from tests.recordings.sounds import PATTERNS, Sound, sound

#: Kept for this test; the figures were tried on others.
SEED = 990_000


def of(one: Sound) -> Recording:
    return Recording(name="invented", values=one.values.tolist(), step=1 / one.rate, waveform=True)


def heard(
    pattern: str, seed: int, noise: str, hertz: float, decibels: float = 0.0
) -> tuple[Sound, SoundRecognition]:
    one = sound(pattern, seed, noise=noise, hertz=hertz, decibels=decibels, rate=8000.0)
    return one, listen(of(one))


@pytest.mark.parametrize("times", [1, pytest.param(3, marks=pytest.mark.long)])
def test_patterns_are_heard_through_noise_as_loud_as_the_machine(times: int) -> None:
    """With talk or a fan at 0 dB, 95 % of the attempts are heard as what they were."""
    right = []
    for pattern, noise, hertz, k in itertools.product(PATTERNS, ("fan", "talk"), (50.0, 60.0), range(times)):
        _, shown = heard(pattern, SEED + k, noise, hertz)
        right.append(shown.heard == (pattern,))
    assert len(right) == 20 * times
    assert np.mean(right) >= 0.95


@pytest.mark.parametrize("noise", ["fan", "talk"])
def test_times_are_heard(noise: str) -> None:
    """Hum begins and ends within half a second of when it did, and the click at its end is heard."""
    one, shown = heard("hum_click", SEED + 50, noise, 60.0, decibels=10.0)
    hum = [s for s in shown.stretches if s.kind == "locked"]
    assert len(hum) == 1
    assert hum[0].start == pytest.approx(one.on, abs=0.5)
    assert hum[0].end == pytest.approx(one.off, abs=0.5)
    assert any(abs(t - one.off) < 0.1 for t in shown.clicks)
    assert shown.hertz == 60.0


def test_a_clamp_is_told_from_a_microphone() -> None:
    """A current swings at the mains frequency, a hum at twice that."""
    t = np.arange(16000) / 8000
    clamp = Recording(name="clamp", values=np.sin(2 * np.pi * 60 * t).tolist(), step=1 / 8000, waveform=True)
    assert not is_sound(clamp)
    assert is_sound(of(sound("hum", SEED, rate=8000.0)))
    assert is_sound(of(sound("silent", SEED, rate=8000.0)))


@pytest.mark.parametrize(
    ("rate", "seconds", "waveform", "says"),
    [(8000.0, 0.4, True, "long"), (500.0, 10.0, True, "not a sound"), (20.0, 60.0, False, "not a sound")],
)
def test_what_is_no_sound_is_refused(rate: float, seconds: float, waveform: bool, says: str) -> None:
    """Too short, too slow and effective values are refused with what would be right."""
    values = [0.0] * int(rate * seconds)
    with pytest.raises(HumclickError, match=says):
        listen(Recording(name="made", values=values, step=1 / rate, waveform=waveform))


def test_digital_silence_is_silence() -> None:
    """A recording of nothing but zeros is silent."""
    shown = listen(Recording(name="made", values=[0.0] * 80_000, step=1 / 8000, waveform=True))
    assert shown.heard == ("silent",)
    assert shown.clicks == ()
