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
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO

from humclick.errors import Refused
from humclick.messages import Message
from humclick.recordings.recording import MOST_VALUES, RATES, Recording
from humclick.recordings.timebase import clip_of

__all__ = ["read_wav"]

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_MOST_CHANNELS = 8
_MOST_CHUNKS = 1000
#: Samples of a channel looked at to see how much it varies. [-]
_LOOKED_AT = 400_000
#: Array code of the samples, and what stands for full scale. [-]
_CODES = {
    (_PCM, 8): ("B", 2.0**7),
    (_PCM, 16): ("h", 2.0**15),
    (_PCM, 24): ("i", 2.0**31),
    (_PCM, 32): ("i", 2.0**31),
    (_FLOAT, 32): ("f", 1.0),
    (_FLOAT, 64): ("d", 1.0),
}


def _format(body: bytes, name: str) -> tuple[int, int, int, int]:
    """Kind, channels, rate and bits of a ``fmt`` chunk."""
    if len(body) < 16:
        raise Refused(
            Message("{name}: the format part of this WAV file is cut short; export it again", name=name)
        )
    kind, channels, rate, _, _, bits = struct.unpack("<HHIIHH", body[:16])
    if kind == _EXTENSIBLE and len(body) >= 26:
        kind = struct.unpack("<H", body[24:26])[0]
    if (kind, bits) not in _CODES:
        raise Refused(
            Message(
                "{name}: WAV of kind {kind} with {bits} bits is not read; export as PCM of 8, "
                "16, 24 or 32 bits or as float",
                name=name,
                kind=kind,
                bits=bits,
            )
        )
    if not 1 <= channels <= _MOST_CHANNELS:
        raise Refused(
            Message(
                "{name}: {channels} channels; one to {most} are read",
                name=name,
                channels=channels,
                most=_MOST_CHANNELS,
            )
        )
    if not RATES[0] <= rate <= RATES[1]:
        raise Refused(
            Message(
                "{name}: claims {rate} samples a second; up to {high:g} are read",
                name=name,
                rate=rate,
                high=RATES[1],
            )
        )
    return kind, channels, rate, bits


def _chunks(file: BinaryIO, size: int, name: str) -> tuple[tuple[int, int, int, int], int, int]:
    """Format, place and length of the samples."""
    head = file.read(12)
    if head[:4] == b"RF64":
        raise Refused(
            Message("{name}: a WAV over 4 GB (RF64) is not read; cut it to the attempts", name=name)
        )
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        raise Refused(Message("{name}: is not a WAV file", name=name))
    sample_format = None
    for _ in range(_MOST_CHUNKS):
        place = file.tell()
        header = file.read(8)
        if len(header) < 8 or place > size:
            break
        kind, length = header[:4], struct.unpack("<I", header[4:])[0]
        if kind == b"fmt ":
            sample_format = _format(file.read(min(length, 64)), name)
        elif kind == b"data":
            if sample_format is None:
                raise Refused(
                    Message(
                        "{name}: the samples of this WAV file come before their format; export again",
                        name=name,
                    )
                )
            return sample_format, place + 8, length
        file.seek(place + 8 + length + (length & 1))
    raise Refused(Message("{name}: no samples in this WAV file; it may be cut short", name=name))


def _samples(raw: bytes, kind: int, bits: int, channels: int) -> tuple[array[float], int]:
    """Samples between −1 and 1 of the channel that varies most, and its number from 0."""
    if bits == 24:  # as 32 bits whose lowest eight are nothing
        wide = bytearray(len(raw) // 3 * 4)
        for k in range(3):
            wide[k + 1 :: 4] = raw[k::3]
        raw = bytes(wide)
    code, full = _CODES[kind, bits]
    every = array(code, raw)
    if sys.byteorder == "big":
        every.byteswap()
    pick = max(range(channels), key=lambda k: (_spread(every[k::channels][:_LOOKED_AT]), -k))
    middle = full if bits == 8 else 0.0
    return array("f", ((v - middle) / full for v in every[pick::channels])), pick


def _spread(values: Iterable[float]) -> float:
    """How much a channel varies: the sum of squares about its mean."""
    some = list(filter(math.isfinite, values))
    middle = sum(some) / max(len(some), 1)
    return sum((v - middle) ** 2 for v in some)


def read_wav(path: Path, most: int = MOST_VALUES) -> Recording:
    """
    Read a WAV file; of several channels the one that varies most.

    A waveform of full scale 1, its scale unknown, of at most `most` samples. Raises `Refused` if it is not a
    WAV file, is damaged or empty, or of a kind that is not read.
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
            raise Refused(Message("{name}: the WAV file holds no samples", name=name))
        if rows > most:
            raise Refused(
                Message(
                    "{name}: {rows} samples; up to {most} are read. Cut it to the attempts",
                    name=name,
                    rows=rows,
                    most=most,
                )
            )
        file.seek(place)
        values, pick = _samples(file.read(rows * width), kind, bits, channels)
    if channels > 1:
        notes.append(f"Channel {pick + 1} of {channels} was taken: it varies most.")
    bad = rows - sum(map(math.isfinite, values))
    top = max((abs(v) for v in values if v == v), default=math.nan)
    if bad == rows or top == math.inf:
        raise Refused(
            Message("{name}: the samples of this WAV file are not numbers; it is damaged", name=name)
        )
    if kind == _FLOAT and top > 1e6:
        raise Refused(
            Message(
                "{name}: float samples up to {top:.3g} of full scale; the file is damaged", name=name, top=top
            )
        )
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
