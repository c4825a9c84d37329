"""
How fast and in how much memory an hour of 10 kHz current is read, as CSV and as WAV.

Run ``python -m benchmarks.recordings_speed``; each reading is a process of its own. Wall and processor
seconds are both given, since other work on the machine lengthens the first. Memory in MiB, the greatest
resident set.
"""

from __future__ import annotations

import argparse
import json
import struct
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["main"]

_RATE = 10_000
_PIECE = 1_000_000

_READ = """
import json, resource, sys, time
if sys.argv[2] == "without":
    sys.modules["pyarrow"] = None
from humclick.recordings.logs import recording_from_file
from humclick.recordings.evidence import current_evidence
start = time.perf_counter()
read = recording_from_file(sys.argv[1], scale=30.0 if sys.argv[1].endswith("wav") else None)
middle = time.perf_counter()
measured, shown = current_evidence(read)
end = time.perf_counter()
use = resource.getrusage(resource.RUSAGE_SELF)
print(json.dumps({"samples": len(read.values), "attempts": len(measured.attempts), "read": middle - start,
    "measured and weighed": end - middle, "processor": use.ru_utime + use.ru_stime,
    "memory": use.ru_maxrss / 1024}))
"""


def _current(first: int, count: int, rng: Any) -> Any:
    """A compressor that starts every ten minutes and runs for five; invented."""
    t = (first + np.arange(count)) / _RATE
    phase = t % 600.0
    size = np.where(phase < 0.4, 25.0, np.where(phase < 300.0, 4.5, 0.0))
    return size * np.sin(2 * np.pi * 60 * t) + rng.normal(0, 0.02, count)


def _made(folder: Path, seconds: int) -> tuple[Path, Path]:
    """The recording as CSV and as 16-bit WAV."""
    rng = np.random.default_rng(1)
    count = seconds * _RATE
    text, sound = folder / "hour.csv", folder / "hour.wav"
    with text.open("wb") as csv, sound.open("wb") as wav:
        csv.write(b"Time (s),Current (A)\n")
        wav.write(b"RIFF" + struct.pack("<I", 36 + 2 * count) + b"WAVEfmt ")
        wav.write(
            struct.pack("<IHHIIHH", 16, 1, 1, _RATE, 2 * _RATE, 2, 16)
            + b"data"
            + struct.pack("<I", 2 * count)
        )
        for first in range(0, count, _PIECE):
            amps = _current(first, min(_PIECE, count - first), rng)
            times = (first + np.arange(len(amps))) / _RATE
            rows = zip(times.tolist(), amps.tolist(), strict=True)
            csv.write("".join(f"{t:.4f},{a:.3f}\n" for t, a in rows).encode())
            wav.write((amps / 30.0 * 32767).astype("<i2").tobytes())
    return text, sound


def _once(path: Path, how: str) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-c", _READ, str(path), how], capture_output=True, text=True, check=True
    )
    return dict(json.loads(done.stdout))


def main() -> None:
    """Make the recordings, read each, print what it took."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=3600, help="length of the recording [s]")
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        text, sound = _made(Path(folder), given.seconds)
        for path, how in ((text, "with"), (text, "without"), (sound, "with")):
            runs = [_once(path, how) for _ in range(given.repeats)]
            best = min(runs, key=lambda r: r["read"])
            name = path.suffix[1:].upper() + ("" if path is sound else f", {how} pyarrow")
            figures = json.dumps({key: round(value, 2) for key, value in best.items()})
            print(f"{name}: {path.stat().st_size / 1e6:.0f} MB, {figures}")


if __name__ == "__main__":
    main()
