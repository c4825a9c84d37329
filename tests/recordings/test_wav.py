"""WAV files as other software writes them, and what is no WAV file."""

from __future__ import annotations

import io
import math
import struct
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.io import wavfile

from humclick.errors import Refused
from humclick.recordings.wav import read_wav

RATE = 8000
TONE = 0.5 * np.sin(2 * np.pi * 60 * np.arange(RATE) / RATE)


def by_the_standard_library(values: list[int], width: int, channels: int = 1, rate: int = RATE) -> bytes:
    """A file written by Python's own `wave` module."""
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(channels)
        out.setsampwidth(width)
        out.setframerate(rate)
        shift = 128 if width == 1 else 0
        out.writeframes(b"".join((v + shift).to_bytes(width, "little", signed=width > 1) for v in values))
    return file.getvalue()


def read(folder: Path, content: bytes) -> list[float]:
    path = folder / "one.wav"
    path.write_bytes(content)
    return list(read_wav(path).values)


@given(width=st.integers(1, 4), data=st.data())
def test_integers_of_every_width_are_shares_of_full_scale(
    width: int, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """As the standard library writes them; the lowest is −1, zero is 0."""
    full = 2 ** (8 * width - 1)
    values = data.draw(st.lists(st.integers(-full, full - 1), min_size=4, max_size=50))
    values = [-full, 0, *values]
    found = read(tmp_path_factory.mktemp("wav"), by_the_standard_library(values, width))
    assert found == pytest.approx([v / full for v in values], abs=2**-23)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_floats_are_as_they_are(kind: type, tmp_path: Path) -> None:
    """As scipy writes them, 32 bits and 64, more than full scale and missing samples too."""
    path = tmp_path / "float.wav"
    values: Any = TONE.astype(kind) * 4
    values[5] = np.nan
    wavfile.write(path, RATE, values)
    made = read_wav(path)
    assert made.rate == pytest.approx(RATE)
    assert made.missing == 1
    assert np.nanmax(np.abs(np.array(made.values) - values)) < 1e-6


def test_of_several_channels_the_liveliest_is_taken(tmp_path: Path) -> None:
    """And said, counted from 1; of equals the first."""
    path = tmp_path / "two.wav"
    wavfile.write(path, RATE, np.stack([0.1 * TONE, TONE, np.zeros(RATE)], axis=1).astype(np.float32))
    made = read_wav(path)
    assert any("Channel 2 of 3" in note for note in made.notes)
    assert max(made.values) == pytest.approx(0.5, abs=1e-3)
    wavfile.write(path, RATE, np.stack([TONE, TONE], axis=1).astype(np.float32))
    assert any("Channel 1 of 2" in note for note in read_wav(path).notes)


def test_a_file_cut_short_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """And that is said; chunks of other kinds are passed over."""
    whole = by_the_standard_library([k % 100 for k in range(1000)], 2)
    path = tmp_path / "cut.wav"
    path.write_bytes(whole[:-400])
    made = read_wav(path)
    assert len(made.values) == 800
    assert any("shorter than it claims" in note for note in made.notes)
    extra = whole[:12] + b"LIST" + struct.pack("<I", 3) + b"abc\0" + whole[12:]
    assert len(read(tmp_path, extra)) == 1000


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is not a WAV file"),
        (b"RIFF0000WAVE", "no samples"),
        (b"RF64" + b"\0" * 40, "RF64"),
        (by_the_standard_library([], 2), "holds no samples"),
        (by_the_standard_library([0] * 9, 2, channels=9), "9 channels"),
        (by_the_standard_library([0] * 8, 2, rate=500_000), "500000 samples a second"),
        (by_the_standard_library([0] * 8, 2)[:12] + b"data" + b"\4\0\0\0abcd", "before their format"),
        (by_the_standard_library([0] * 8, 2)[:12] + b"fmt " + b"\4\0\0\0abcd", "cut short"),
    ],
)
def test_what_is_no_wav_is_refused_in_words(content: bytes, says: str, tmp_path: Path) -> None:
    """With its name."""
    with pytest.raises(Refused, match=says) as refusal:
        read(tmp_path, content)
    assert "one.wav" in str(refusal.value)


def test_more_samples_than_asked_for_and_numbers_that_are_none_are_refused(tmp_path: Path) -> None:
    """So is a float far beyond full scale: the file is damaged."""
    path = tmp_path / "one.wav"
    path.write_bytes(by_the_standard_library([0] * 100, 2))
    with pytest.raises(Refused, match="100 samples"):
        read_wav(path, most=99)
    assert len(read_wav(path, most=100).values) == 100
    for value, says in ((math.nan, "not numbers"), (math.inf, "not numbers"), (1e7, "damaged")):
        wavfile.write(path, RATE, np.full(10, value, np.float32))
        with pytest.raises(Refused, match=says):
            read_wav(path)
