"""Logs are read whatever their headings, marks and units; what cannot be is refused in words."""

from __future__ import annotations

import math
import os
import struct
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from humclick.errors import HumclickError
from humclick.recordings import recording
from humclick.recordings.currents import current_trace
from humclick.recordings.evidence import current_evidence
from humclick.recordings.logs import recording_from_file

AMPS = [0.0, 0.0, 18.7, 18.5, 18.6, 13.7, 13.6, 13.7, 13.6, 0.0, 0.0, 0.0]
TIMES = [round(0.05 * k, 3) for k in range(len(AMPS))]


def written(folder: Path, text: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def rows(delimiter: str, comma: bool = False, factor: float = 1.0, time: float = 1.0, digits: int = 3) -> str:
    found = []
    for t, a in zip(TIMES, AMPS, strict=True):
        line = f"{t * time:.{digits}f}{delimiter}{a * factor:.3f}"
        found.append(line.replace(".", ",") if comma else line)
    return "\n".join(found) + "\n"


def clocked(stamp: str) -> str:
    return "".join(f"{stamp}:{t:06.3f},{a}\n" for t, a in zip(TIMES, AMPS, strict=True))


LAYOUTS = {
    "plain": rows(","),
    "headed": "Time (s),Current (A)\n" + rows(","),
    "preamble": "Logger 7\nSerial, 0000\n\nTime [s],I [A]\n" + rows(","),
    "semicolon and comma": "Zeit [s];Strom [A]\n" + rows(";", comma=True),
    "tab and comma": "t\tI (A)\n" + rows("\t", comma=True),
    "blanks": "time amps\n" + rows("   "),
    "blanks and comma": rows("  ", comma=True),
    "comma for both": "time,amps\n" + rows(",", comma=True),
    "quoted": 'time,amps\n"' + rows('","', comma=True).replace("\n", '"\n"').removesuffix('"'),
    "milliseconds told": "t (ms),A\n" + rows(",", time=1000, digits=0),
    "milliseconds not told": "time;amps\n" + rows(";", time=1000, digits=0),
    "milliamperes": "time,current (mA)\n" + rows(",", factor=1000),
    "windows ends": ("time,amps\n" + rows(",")).replace("\n", "\r\n"),
    "byte order mark": "\ufefftime,amps\n" + rows(","),
    "clock": "clock,amps\n" + clocked("12:59"),
    "date and time": "stamp,amps\n" + clocked("2026-03-11 12:59"),
    "american": "stamp,amps\n" + clocked("3/11/2026 12:59"),
    "date apart": "date,time,amps\n" + clocked("11.03.2026,12:59"),
    "more columns": "no,time (s),volts (V),current (A)\n"
    + "".join(f"{k},{t},{115 + k % 2},{a}\n" for k, (t, a) in enumerate(zip(TIMES, AMPS, strict=True))),
    "units in cells": "".join(f"{t} s,{a} A\n" for t, a in zip(TIMES, AMPS, strict=True)),
    "samples and rate": "Sample rate: 20 Hz\nsample,current (A)\n"
    + "".join(f"{k},{a}\n" for k, a in enumerate(AMPS)),
    "interval": "Interval = 50 ms\nI [A]\n" + "".join(f"{a}\n" for a in AMPS),
    "millivolts of a clamp": "clamp 100 mV/A\ntime (s),signal (mV)\n" + rows(",", factor=100),
}


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_reads_the_same(layout: str, tmp_path: Path) -> None:
    """Delimiters, decimal marks, headings, units and kinds of time make no difference."""
    read = recording_from_file(written(tmp_path, LAYOUTS[layout]))
    assert [float(v) for v in read.values] == pytest.approx(AMPS, abs=1e-4)
    assert read.step == pytest.approx(0.05, rel=1e-3)
    assert not read.waveform


def test_utf_16_is_read(tmp_path: Path) -> None:
    """A spreadsheet's text export in two-byte letters reads like any other."""
    path = written(tmp_path, ("time\tamps\n" + rows("\t")).encode("utf-16"))
    assert len(recording_from_file(path).values) == len(AMPS)


def test_an_unknown_scale_is_said(tmp_path: Path) -> None:
    """Where no unit, or a clamp's millivolts, is told the scale counts as unknown, and that is said."""
    bare = recording_from_file(written(tmp_path, "time,value\n" + rows(",")))
    clamp = recording_from_file(written(tmp_path, "time (s),signal (mV)\n" + rows(",")))
    scaled = recording_from_file(written(tmp_path, "time (s),signal (mV)\n" + rows(",")), scale=0.1)
    assert not bare.scale_known
    assert any("No unit" in note for note in bare.notes)
    assert clamp.unit == "mV"
    assert any("--scale" in note for note in clamp.notes)
    assert scaled.scale_known
    assert float(max(scaled.values)) == pytest.approx(1.87)


def test_missing_samples_leave_gaps(tmp_path: Path) -> None:
    """Empty cells and left-out rows are counted as missing, and the times stay right."""
    lines = rows(",").splitlines()
    lines[3] = "0.150,"
    del lines[6:8]
    read = recording_from_file(written(tmp_path, "time (s),current (A)\n" + "\n".join(lines)))
    assert len(read.values) == len(AMPS)
    assert [k for k, v in enumerate(read.values) if v != v] == [3, 6, 7]
    trace = current_trace(read)
    assert trace.times == pytest.approx([t for k, t in enumerate(TIMES) if k not in (3, 6, 7)])


def test_a_meter_over_its_range_is_at_least_at_it(tmp_path: Path) -> None:
    """OL counts as the end of the range, and is said."""
    text = "time (s),current (A)\n" + rows(",").replace("18.700", "OL").replace("18.500", "OL")
    read = recording_from_file(written(tmp_path, text))
    assert read.clip == pytest.approx(18.6)
    assert any("over the range" in note for note in read.notes)
    assert max(current_trace(read).amps) == pytest.approx(18.6)


def test_coarse_stamps_are_spread(tmp_path: Path) -> None:
    """Twenty samples that all bear the same second are spread over it."""
    text = "time,amps\n" + "".join(f"12:00:{k // 20:02d},{5 + k % 3}\n" for k in range(200))
    read = recording_from_file(written(tmp_path, text))
    assert read.step == pytest.approx(0.05, rel=0.03)
    assert any("coarser" in note for note in read.notes)


def test_midnight_is_passed(tmp_path: Path) -> None:
    """A clock that begins again at midnight runs on."""
    stamps = ["23:59:58", "23:59:59", "00:00:00", "00:00:01", "00:00:02", "00:00:03"]
    read = recording_from_file(written(tmp_path, "time,amps\n" + "".join(f"{s},3.1\n" for s in stamps)))
    assert read.step == pytest.approx(1.0)
    assert len(read.values) == 6


def test_times_that_run_back_are_refused(tmp_path: Path) -> None:
    """Rows not in order of time are refused with what would be right."""
    text = "time (s),current (A)\n" + "\n".join(reversed(rows(",").splitlines()))
    with pytest.raises(HumclickError, match="run back"):
        recording_from_file(written(tmp_path, text))


def wave(hertz: float, rate: float, seconds: float = 2.0, offset: float = 0.0, peak: float = 20.0) -> Any:
    t = np.arange(int(rate * seconds)) / rate
    size = np.where(t < 0.5, 0.0, np.where(t < 1.0, peak, peak / 5))
    return size * np.sin(2 * np.pi * hertz * t) + offset


@pytest.mark.parametrize("hertz", [50.0, 60.0])
@pytest.mark.parametrize("rate", [1000.0, 10_000.0, 50_000.0])
def test_waveforms_become_half_cycles(hertz: float, rate: float, tmp_path: Path) -> None:
    """The mains frequency is found, an offset taken off, and the rms of half cycles is right to 1 %."""
    values = wave(hertz, rate, offset=0.7)
    lines = "".join(f"{k / rate:.6f},{v:.4f}\n" for k, v in enumerate(values))
    read = recording_from_file(written(tmp_path, "time (s),current (A)\n" + lines))
    trace = current_trace(read)
    assert read.waveform
    assert trace.hertz == hertz
    locked = [a for t, a in zip(trace.times, trace.amps, strict=True) if 0.55 < t < 0.95]
    assert locked == pytest.approx([20 / math.sqrt(2)] * len(locked), rel=0.01)


def test_sample_numbers_alone_find_their_rate(tmp_path: Path) -> None:
    """A waveform with sample numbers and no rate gets the recorder's rate that fits the mains."""
    values = wave(60.0, 10_000.0)
    text = "sample,current (A)\n" + "".join(f"{k},{v:.3f}\n" for k, v in enumerate(values))
    read = recording_from_file(written(tmp_path, text))
    assert read.rate == pytest.approx(10_000.0)
    assert any("No sample rate" in note for note in read.notes)


def test_cut_off_peaks_are_reckoned_back(tmp_path: Path) -> None:
    """Peaks cut at 60 % of their height still give the rms to 5 %, and it is said."""
    values = np.clip(wave(60.0, 10_000.0), -12.0, 12.0)
    text = "time (s),current (A)\n" + "".join(f"{k / 1e4:.4f},{v:.3f}\n" for k, v in enumerate(values))
    read = recording_from_file(written(tmp_path, text))
    assert read.clip == pytest.approx(12.0)
    trace = current_trace(read)
    locked = [a for t, a in zip(trace.times, trace.amps, strict=True) if 0.55 < t < 0.95]
    assert np.median(locked) == pytest.approx(20 / math.sqrt(2), rel=0.05)
    assert any("cut off" in note for note in read.notes)


# -- WAV --------------------------------------------------------------------------------------------------


def wav(
    values: Any, rate: int, bits: int, *, floating: bool = False, channels: int = 1, extensible: bool = False
) -> bytes:
    if floating:
        data = np.asarray(values, f"<f{bits // 8}").tobytes()
    elif bits == 8:
        data = (np.round(np.asarray(values) * 127) + 128).astype(np.uint8).tobytes()
    elif bits == 24:
        whole = np.round(np.asarray(values) * (2**23 - 1)).astype("<i4")
        data = whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    else:
        data = np.round(np.asarray(values) * (2 ** (bits - 1) - 1)).astype(f"<i{bits // 8}").tobytes()
    kind = 3 if floating else 1
    width = bits // 8 * channels
    body = struct.pack("<HHIIHH", 0xFFFE if extensible else kind, channels, rate, rate * width, width, bits)
    if extensible:
        body += struct.pack("<HHIH", 22, bits, 0, kind) + bytes(14)
    parts = b"fmt " + struct.pack("<I", len(body)) + body + b"LIST" + struct.pack("<I", 3) + b"abc\0"
    parts += b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", 4 + len(parts)) + b"WAVE" + parts


FORMS = [(8, False), (16, False), (24, False), (32, False), (32, True), (64, True)]


@pytest.mark.parametrize(("bits", "floating"), FORMS)
@pytest.mark.parametrize("channels", [1, 2])
def test_wav_files_of_every_form_are_read(bits: int, floating: bool, channels: int, tmp_path: Path) -> None:
    """Integers of 8 to 32 bits and floats, mono and stereo, come out alike; of two channels the livelier."""
    values = wave(60.0, 4000.0, peak=0.8)
    both = np.stack([0.01 * values, values], axis=1).reshape(-1) if channels == 2 else values
    data = wav(both, 4000, bits, floating=floating, channels=channels, extensible=bits == 24)
    path = written(tmp_path, data, "clamp.wav")
    read = recording_from_file(path)
    assert read.rate == 4000.0
    assert not read.scale_known
    assert [float(v) for v in read.values] == pytest.approx(values.tolist(), abs=0.02 if bits == 8 else 1e-4)


def test_a_wav_of_a_clamp_takes_its_scale(tmp_path: Path) -> None:
    """Amperes of full scale make a WAV file's current known."""
    path = written(tmp_path, wav(wave(50.0, 8000.0, peak=0.5), 8000, 16), "clamp.wav")
    measured, _ = current_evidence(recording_from_file(path, scale=40.0))
    assert measured.hertz == 50.0
    assert measured.attempts[0].plateau.amount == pytest.approx(20 / math.sqrt(2), rel=0.02)


# -- refusals ---------------------------------------------------------------------------------------------

HOSTILE: dict[str, bytes] = {
    "empty": b"",
    "blank lines": b"\n\n\n \n",
    "words": b"dear customer,\nthe compressor hums.\n" * 40,
    "one number": b"5\n",
    "zip": b"PK\x03\x04" + bytes(300),
    "picture": b"\x89PNG\r\n\x1a\n" + bytes(300),
    "binary": bytes(range(256)) * 50,
    "zeros": bytes(5000),
    "endless line": b"1," * 200_000,
    "wav head only": b"RIFF\x00\x00\x00\x00WAVE",
    "wav without samples": wav([], 8000, 16),
    "wav of no rate": wav([0.1] * 99, 1, 16).replace(struct.pack("<I", 1), struct.pack("<I", 0), 1),
    "wav of nan": wav([math.nan] * 500, 8000, 32, floating=True),
    "wav of infinity": wav([math.inf] * 500, 8000, 32, floating=True),
    "wav of kind 85": wav([0.1] * 99, 8000, 16).replace(b"\x01\x00\x01\x00", b"\x55\x00\x01\x00", 1),
    "times stand still": b"time,amps\n" + b"1,5\n" * 50,
    "all missing": b"time,amps\n" + b"".join(b"%d,---\n" % k for k in range(50)),
    "one column, no rate": b"\n".join(b"%d" % (k % 7) for k in range(90)),
    "half in words": b"time,amps\n" + b"1,5\nx,y\n" * 50,
    "times of a wrong century": b"time,amps\n" + b"".join(b"%d,4\n" % (k * 10**9) for k in range(50)),
    "signed and slow": b"time (s),current (A)\n"
    + b"".join(b"%.2f,%d\n" % (k / 20, (-1) ** k * 5) for k in range(200)),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_what_is_no_recording_is_refused_in_words(kind: str, tmp_path: Path) -> None:
    """Empty, binary, damaged and lying files get a sentence that names the file."""
    with pytest.raises(HumclickError) as refusal:
        current_evidence(recording_from_file(written(tmp_path, HOSTILE[kind], "given.csv")))
    assert "given.csv" in str(refusal.value)
    assert len(str(refusal.value)) > 25


def test_a_missing_file_a_folder_and_a_pipe_are_refused(tmp_path: Path) -> None:
    """Nothing that is not a plain file is opened, so that nothing waits for ever."""
    os.mkfifo(tmp_path / "pipe")
    for name in ("no-such.csv", "", "pipe", "a\0b"):
        with pytest.raises(HumclickError):
            recording_from_file(tmp_path / name)


def test_an_enormous_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """A file over the bound is refused by its size."""
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.write(b"time,amps\n0,1\n")
        file.truncate(recording.LARGEST_FILE + 1)
    with pytest.raises(HumclickError, match=r"50\.0 MiB; up to 50 MiB are read\. Cut it to the attempts"):
        recording_from_file(path)


def test_a_wav_shorter_than_it_claims_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    """A WAV file that lies about its length is read, and it is said."""
    data = wav(wave(60.0, 4000.0, peak=0.8), 4000, 16)
    read = recording_from_file(written(tmp_path, data[:-6000], "cut.wav"))
    assert len(read.values) == 8000 - 3000
    assert any("shorter than it claims" in note for note in read.notes)


_LINES = st.lists(
    st.one_of(
        st.sampled_from(
            ["time,amps", "Zeit;Strom [A]", "sep=;", "", "---", "12:00:01,3.4", "2026-01-01 00:00:00;1,5"]
        ),
        st.builds(
            lambda a, m, b: f"{a}{m}{b}", st.floats(), st.sampled_from([",", ";", "\t", " "]), st.floats()
        ),
        st.builds(
            lambda a, m, b: f"{a}{m}{b}", st.integers(0, 99), st.sampled_from([",", ";"]), st.integers(-9, 99)
        ),
        st.text(max_size=30),
    ),
    max_size=40,
)


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@example(content=b"1,\n1e-200,0\n1,\n0,", rate=20.0)
@given(
    content=st.one_of(
        st.binary(max_size=400),
        _LINES.map(lambda found: "\n".join(found).encode("utf-8", "replace")),
        st.builds(
            lambda head, tail: wav([0.1, -0.1] * 30, 8000, 16)[:head] + tail,
            st.integers(0, 160),
            st.binary(max_size=60),
        ),
        st.builds(
            lambda at, byte: bytes(
                b if k != at else byte for k, b in enumerate(wav([0.5, -0.5] * 40, 8000, 16))
            ),
            st.integers(0, 60),
            st.integers(0, 255),
        ),
    ),
    rate=st.sampled_from([None, 20.0, 8000.0]),
)
def test_whatever_comes_is_read_or_refused(content: bytes, rate: float | None, tmp_path: Path) -> None:
    """Any bytes end in attempts or in a refusal of the program's own, never in anything else."""
    path = written(tmp_path, content, "any.csv")
    with suppress(HumclickError):
        measured, shown = current_evidence(recording_from_file(path, rate=rate))
        assert sum(shown.probabilities.values()) == pytest.approx(1.0)
        assert all(math.isfinite(a.plateau.amount) for a in measured.attempts)


def test_bare_numbers_and_looked_at_cells_read_the_same(tmp_path: Path) -> None:
    """A row of bare numbers, read at once, is what the same row with its units is, read cell by cell."""
    values = wave(60.0, 2000.0, seconds=2.0)
    bare = [f"{k / 2000:.5f},{v:.3f}" for k, v in enumerate(values)]
    bare[700] = f"{700 / 2000:.5f},"
    del bare[900:903]
    told = [line.replace(",", " s,") + " A" * (not line.endswith(",")) for line in bare]
    one, other = (
        recording_from_file(written(tmp_path, "time (s),current (A)\n" + "\n".join(lines)))
        for lines in (bare, told)
    )
    assert one.step == other.step
    assert one.missing == other.missing == 1
    np.testing.assert_array_equal(one.values, other.values)


def test_more_rows_than_asked_for_are_refused(tmp_path: Path) -> None:
    """A log is read no further than its reader allows, and the message says what to do."""
    text = "time,amps\n" + "".join(f"12:{k // 60:02d}:{k % 60:02d},3\n" for k in range(300))
    with pytest.raises(HumclickError, match="over 100 rows; cut it to the attempts"):
        recording_from_file(written(tmp_path, text), most=100)
