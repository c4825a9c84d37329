"""
WAV files: integers of 8, 16, 24 and 32 bits and floats of 32 and 64, one channel of up to eight.

Values come out between −1 and 1 of full scale. The layout is the RIFF/WAVE form (IBM and Microsoft,
Multimedia Programming Interface and Data Specifications 1.0, 1991; extensible format of 2001).
"""

from __future__ import annotations

import math
import struct
import sys
from array import array
from pathlib import Path
from typing import Any, BinaryIO

from humclick.errors import Refused
from humclick.recordings.recording import MOST_VALUES, RATES, Recording, numpy
from humclick.recordings.timebase import clip_of

__all__ = ["read_wav"]

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_MOST_CHANNELS = 8
_MOST_CHUNKS = 1000
#: Bytes turned into numbers at a time. [byte]
_BLOCK = 1 << 24


def _format(body: bytes, name: str) -> tuple[int, int, int, int]:
    """Kind, channels, rate and bits of a ``fmt`` chunk."""
    if len(body) < 16:
        raise Refused(f"{name}: the format part of this WAV file is cut short; export it again")
    kind, channels, rate, _, _, bits = struct.unpack("<HHIIHH", body[:16])
    if kind == _EXTENSIBLE and len(body) >= 26:
        kind = struct.unpack("<H", body[24:26])[0]
    if kind not in (_PCM, _FLOAT) or (kind, bits) not in {
        *((_PCM, b) for b in (8, 16, 24, 32)),
        *((_FLOAT, b) for b in (32, 64)),
    }:
        raise Refused(
            f"{name}: WAV of kind {kind} with {bits} bits is not read; "
            "export as PCM of 8, 16, 24 or 32 bits or as float"
        )
    if not 1 <= channels <= _MOST_CHANNELS:
        raise Refused(f"{name}: {channels} channels; one to {_MOST_CHANNELS} are read")
    if not RATES[0] <= rate <= RATES[1]:
        raise Refused(f"{name}: claims {rate} samples a second; up to {RATES[1]:g} are read")
    return kind, channels, rate, bits


def _chunks(file: BinaryIO, size: int, name: str) -> tuple[tuple[int, int, int, int], int, int]:
    """Format, place and length of the samples."""
    head = file.read(12)
    if head[:4] == b"RF64":
        raise Refused(f"{name}: a WAV over 4 GB (RF64) is not read; cut it to the attempts")
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        raise Refused(f"{name}: is not a WAV file")
    found = None
    for _ in range(_MOST_CHUNKS):
        place = file.tell()
        header = file.read(8)
        if len(header) < 8 or place > size:
            break
        kind, length = header[:4], struct.unpack("<I", header[4:])[0]
        if kind == b"fmt ":
            found = _format(file.read(min(length, 64)), name)
        elif kind == b"data":
            if found is None:
                raise Refused(f"{name}: the samples of this WAV file come before their format; export again")
            return found, place + 8, length
        file.seek(place + 8 + length + (length & 1))
    raise Refused(f"{name}: no samples in this WAV file; it may be cut short")


def _as_array(raw: bytes, kind: int, bits: int, channels: int) -> Any:
    """Samples as rows of channels between −1 and 1, with numpy."""
    assert numpy is not None
    if kind == _FLOAT:
        values = numpy.frombuffer(raw, "<f4" if bits == 32 else "<f8").astype(numpy.float32)
    elif bits == 8:
        values = (numpy.frombuffer(raw, numpy.uint8).astype(numpy.float32) - 128.0) / 128.0
    elif bits == 24:
        three = numpy.frombuffer(raw, numpy.uint8).reshape(-1, 3)
        four = numpy.zeros((len(three), 4), numpy.uint8)
        four[:, 1:] = three
        values = four.view("<i4").reshape(-1).astype(numpy.float32) / 2.0**31
    else:
        values = numpy.frombuffer(raw, f"<i{bits // 8}").astype(numpy.float32) / 2.0 ** (bits - 1)
    return values.reshape(-1, channels)


def _as_list(raw: bytes, kind: int, bits: int) -> list[float]:
    """Samples between −1 and 1 of all channels in turn, without numpy."""
    if kind == _PCM and bits == 8:
        return [(b - 128) / 128.0 for b in raw]
    if kind == _PCM and bits == 24:
        count = len(raw) // 3
        return [int.from_bytes(raw[3 * i : 3 * i + 3], "little", signed=True) / 2.0**23 for i in range(count)]
    code = {(_PCM, 16): "h", (_PCM, 32): "i", (_FLOAT, 32): "f", (_FLOAT, 64): "d"}[kind, bits]
    values = array(code, raw)
    if sys.byteorder == "big":
        values.byteswap()
    full = 1.0 if kind == _FLOAT else 2.0 ** (bits - 1)
    return [v / full for v in values]


def _loudest(rows: list[float], channels: int) -> int:
    """Channel that varies most."""
    best = 0.0, 0
    for channel in range(channels):
        some = [v for v in rows[channel : 400_000 * channels : channels] if math.isfinite(v)]
        middle = sum(some) / max(len(some), 1)
        best = max(best, (sum((v - middle) ** 2 for v in some), -channel))
    return -best[1]


def read_wav(path: Path, most: int = MOST_VALUES) -> Recording:
    """
    Read a WAV file; of several channels the one that varies most.

    Parameters
    ----------
    path : Path
        The file.
    most : int
        Most samples read. [-]

    Returns
    -------
    Recording
        A waveform of full scale 1, its scale unknown.

    Raises
    ------
    Refused
        If it is not a WAV file, is damaged or empty, or of a kind that is not read.
    """
    name = path.name
    size = path.stat().st_size
    notes = []
    with path.open("rb") as file:
        (kind, channels, rate, bits), place, length = _chunks(file, size, name)
        width = channels * bits // 8
        there = size - place
        if length > there and length < 0xFFFFFF00:
            notes.append("The WAV file is shorter than it claims; what is there was read.")
        rows = min(length, there) // width
        if rows < 1:
            raise Refused(f"{name}: the WAV file holds no samples")
        if rows > most:
            raise Refused(f"{name}: {rows} samples; up to {most} are read. Cut it to the attempts")
        file.seek(place)
        values = _values(file, rows, kind, bits, channels, notes)
    if numpy is not None:
        bad = int(rows - numpy.count_nonzero(numpy.isfinite(values)))
        top = float(numpy.nanmax(numpy.abs(values))) if bad < rows else math.nan
    else:
        finite = [abs(v) for v in values if math.isfinite(v)]
        bad, top = rows - len(finite), max(finite, default=math.nan)
    if bad == rows or top == math.inf:
        raise Refused(f"{name}: the samples of this WAV file are not numbers; it is damaged")
    if kind == _FLOAT and top > 1e6:
        raise Refused(f"{name}: float samples up to {top:.3g} of full scale; the file is damaged")
    clip = clip_of(values) if top >= 0.9 else None
    if clip is not None:
        notes.append("The peaks are cut off; the recording was made too loud.")
    return Recording(
        name=name,
        values=values,
        step=1.0 / rate,
        waveform=True,
        clip=clip,
        missing=bad,
        notes=tuple(notes),
    )


def _values(file: BinaryIO, rows: int, kind: int, bits: int, channels: int, notes: list[str]) -> Any:
    """Samples of the channel that varies most."""
    width = channels * bits // 8
    pick = 0
    if numpy is None:
        if rows * channels > MOST_VALUES // 8:
            raise Refused(f"{rows} samples need numpy; install it or cut the recording to the attempts")
        every = _as_list(file.read(rows * width), kind, bits)
        if channels > 1:
            pick = _loudest(every, channels)
            notes.append(f"Channel {pick + 1} of {channels} was taken: it varies most.")
        return every[pick::channels]
    values = numpy.empty(rows, numpy.float32)
    done = 0
    per = max(_BLOCK // width, 1)
    with numpy.errstate(invalid="ignore", over="ignore"):
        if channels > 1:
            place = file.tell()
            sums = numpy.zeros(channels)
            squares = numpy.zeros(channels)
            for first in range(0, rows, max(rows // 8, per)):
                file.seek(place + first * width)
                some = numpy.nan_to_num(
                    _as_array(file.read(min(per, rows - first) * width), kind, bits, channels),
                    nan=0.0,
                    posinf=0.0,
                    neginf=0.0,
                ).astype(numpy.float64)
                middle = some.mean(axis=0)
                sums += middle
                squares += ((some - middle) ** 2).mean(axis=0)
            pick = int(numpy.argmax(squares))
            notes.append(f"Channel {pick + 1} of {channels} was taken: it varies most.")
            file.seek(place)
        while done < rows:
            raw = file.read(min(per, rows - done) * width)
            block = _as_array(raw[: len(raw) // width * width], kind, bits, channels)
            if not len(block):
                break
            values[done : done + len(block)] = block[:, pick]
            done += len(block)
    return values[:done]
