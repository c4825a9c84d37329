"""
Logs of clamp meters and loggers, as CSV or WAV.

What is read: rms values every 10 ms to some seconds, and waveforms of 1 to 50 kHz and above; any usual
delimiter, decimal points and commas, headings or none, time in seconds, milliseconds, sample numbers, clock
time or date and time, missing cells, amperes, milliamperes or a clamp's millivolts. Bounds: 2 GiB a file,
120 million samples, 2 million rows where each row has to be looked at by itself, 31 days.
Times in seconds, currents in amperes where the scale is known.
"""

from __future__ import annotations

import itertools
import math
import os
import re
import stat
from array import array
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

from humclick.errors import OutOfRange, Refused
from humclick.limits import COLUMNS, LINE_LETTERS
from humclick.recordings.columns import Layout, clock_of, fields_of, layout_of, number_of
from humclick.recordings.recording import (
    LARGEST_FILE,
    LONGEST,
    MOST_PLAIN_ROWS,
    MOST_VALUES,
    Recording,
    numpy,
)
from humclick.recordings.timebase import on_time_base
from humclick.recordings.wav import read_wav

__all__ = ["read_recording"]

_HEAD = 1 << 17
#: Read at a time; what is not kept of it is gone before the next. [byte]
_CHUNK = 1 << 21
#: A line longer than this is not a line of a log. [byte]
_LONGEST_LINE = LINE_LETTERS
_KINDS = {
    b"PK\x03\x04": "a zip archive or a spreadsheet; save the sheet as CSV",
    b"\xd0\xcf\x11\xe0": "a spreadsheet; save it as CSV",
    b"%PDF": "a PDF; export the readings as CSV",
    b"\x89PNG": "a picture; export the readings as CSV",
    b"\xff\xd8\xff": "a picture; export the readings as CSV",
    b"\x1f\x8b": "a compressed file; unpack it first",
    b"OggS": "a compressed sound file; export it as WAV",
    b"ID3": "a compressed sound file; export it as WAV",
    b"fLaC": "a compressed sound file; export it as WAV",
    b"caff": "a sound file of another kind; export it as WAV",
    b"FORM": "a sound file of another kind; export it as WAV",
}
#: No recorder shows more than this, whatever its unit. [as recorded]
_TOO_MUCH = 1e9
#: Sample rates that recorders really have. [Hz]
_ROUND = tuple(
    sorted(
        {m * 10.0**k for m in (1, 2, 5, 2.5, 4, 8) for k in range(2, 5)}
        | {11025.0, 22050.0, 44100.0, 12e3, 16e3, 24e3, 48e3, 96e3}
    )
)


def read_recording(
    path: str | Path,
    *,
    rate: float | None = None,
    scale: float | None = None,
    most: int = MOST_VALUES,
    most_sound: int = MOST_VALUES,
) -> Recording:
    """
    Read one recording.

    Parameters
    ----------
    path : str or Path
        A CSV, text or WAV file.
    rate : float or None
        Samples a second, where the file does not tell it or tells it wrongly. [Hz]
    scale : float or None
        What one recorded unit (of full scale, for a WAV file; one millivolt, where it records these) stands
        for, where known. [A]
    most, most_sound : int
        Most rows of a log, and samples of a WAV file, that are read. [-]

    Returns
    -------
    Recording
        What it holds, with notes on what had to be guessed.

    Raises
    ------
    Refused
        If the file is missing, empty, damaged, too large, binary, or not a recording; the message says
        what would be right.
    """
    path = Path(path)
    for name, given in (("rate", rate), ("scale", scale)):
        if given is not None and not (math.isfinite(given) and given > 0):
            raise Refused(f"the {name} must be a number above zero, got {given}")
    head, size = _opened(path)
    try:
        if head[:4] in (b"RIFF", b"RF64"):
            found = read_wav(path, most_sound)
            if rate is not None:
                found = replace(found, step=1.0 / rate)
        else:
            found = _read_text(path, head, size, rate, most)
    except OSError as error:
        raise Refused(f"{path.name}: cannot be read: {error.strerror or error}") from error
    except MemoryError:
        raise Refused(
            f"{path.name}: too large for the memory of this machine; cut it to the attempts"
        ) from None
    if found.seconds > LONGEST:
        raise Refused(f"{path.name}: {found.seconds / 86400:.0f} days long; up to 31 days are read")
    return found if scale is None else _scaled(found, scale)


def _scaled(found: Recording, scale: float) -> Recording:
    """The recording in amperes."""
    values = found.values * scale if numpy is not None else [v * scale for v in found.values]
    clip = None if found.clip is None else found.clip * scale
    return replace(found, values=values, clip=clip, unit="A")


def _opened(path: Path) -> tuple[bytes, int]:
    """First bytes and size of a regular file that is not of a kind known to be wrong."""
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):
            raise Refused(f"{path.name or path}: is not a file; a recording is a CSV or WAV file")
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except (OSError, ValueError) as error:
        if isinstance(error, Refused):
            raise
        reason = getattr(error, "strerror", None) or error
        raise Refused(f"{path.name}: cannot be read: {reason}") from error
    if not head:
        raise Refused(f"{path.name}: is empty; a recording is a CSV or WAV file")
    if found.st_size > LARGEST_FILE:
        raise Refused(
            f"{path.name}: {found.st_size / 1024**3:.1f} GiB; up to {LARGEST_FILE >> 30} GiB are read. "
            "Cut it to the attempts"
        )
    for magic, what in _KINDS.items():
        if head.startswith(magic):
            raise Refused(f"{path.name}: is {what}")
    if head[4:8] == b"ftyp":
        raise Refused(f"{path.name}: is a compressed sound or film file; export the sound as WAV")
    return head, found.st_size


# -- text -------------------------------------------------------------------------------------------------


def _encoding(head: bytes, name: str) -> str:
    """Encoding of a text file."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if b"\x00" in head:
        raise Refused(f"{name}: is a binary file; a recording is a CSV or WAV file")
    control = sum(head.count(bytes([b])) for b in range(1, 32) if b not in (9, 10, 11, 12, 13))
    if control > len(head) // 50:
        raise Refused(f"{name}: is a binary file; a recording is a CSV or WAV file")
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    try:
        head[:-4].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _read_text(path: Path, head: bytes, size: int, rate: float | None, most: int) -> Recording:
    """A recording from lines of text."""
    name = path.name
    encoding = _encoding(head, name)
    text = head.decode(encoding, "replace")
    lines = re.split(r"\r\n|\n|\r", text)
    if size > len(head):
        lines = lines[:-1]
    if not lines or max(map(len, lines)) > _LONGEST_LINE:
        raise Refused(f"{name}: has lines of over {_LONGEST_LINE} letters; it is not a log of samples")
    if lines[0].lower().startswith("sep="):
        lines[0] = ""
    try:
        layout = layout_of(lines[:400])
    except OutOfRange:
        raise
    except Refused as error:
        raise Refused(f"{name}: {error}") from None
    if layout.columns > COLUMNS:
        raise Refused(f"{name}: {layout.columns} columns; up to {COLUMNS} are read. Keep time and current")
    if _is_plain(layout) and encoding != "utf-16" and size > _CHUNK and numpy is not None:
        return _read_fast(path, layout, head, encoding, rate, most)
    return _read_rows(path, layout, encoding, rate, min(most, MOST_PLAIN_ROWS))


def _is_plain(layout: Layout) -> bool:
    """Whether a line is two numbers and nothing that has to be looked at."""
    return layout.kind in ("", "number", "count") and layout.delimiter != " " and not layout.paired


def _read_rows(path: Path, layout: Layout, encoding: str, rate: float | None, most: int) -> Recording:
    """Row after row, in plain Python; only times and currents are kept, eight bytes each."""
    times, values = array("d"), array("d")
    bad = over = 0
    with path.open(encoding=encoding, errors="replace", newline=None) as file:
        for number, line in enumerate(_bounded(file, path.name)):
            if number < layout.first or not line.strip():
                continue
            if number - layout.first > most:
                raise Refused(
                    f"{path.name}: over {most} rows of a kind that is read row by row; "
                    "write the time as seconds and the current as a plain number, or cut it to the attempts"
                )
            row = fields_of(line, layout)
            moment, value = _row(row, layout)
            if value is None or (layout.time is not None and moment is None):
                bad += 1
                continue
            if value == math.inf:
                over += 1
            times.append(moment if moment is not None else float(len(times)))
            values.append(value if value < math.inf else math.nan)
    if 5 * bad > len(values):
        raise Refused(
            f"{path.name}: {bad} of {bad + len(values)} rows could not be read as time and current; "
            "each line needs both, for example 0.05,11.8"
        )
    if numpy is not None:
        stamps, cells = numpy.array(times), numpy.array(values, numpy.float32)
        return on_time_base(path.name, layout, stamps, cells, bad, over, rate, _ROUND)
    return on_time_base(path.name, layout, times, values, bad, over, rate, _ROUND)


def _bounded(file: Any, name: str) -> Iterator[str]:
    """Lines of a file, none of them endless."""
    while line := file.readline(_LONGEST_LINE + 1):
        if len(line) > _LONGEST_LINE:
            raise Refused(f"{name}: has lines of over {_LONGEST_LINE} letters; it is not a log of samples")
        yield line


def _row(row: list[str], layout: Layout) -> tuple[float | None, float | None]:
    """Time and current of one row; None where unreadable."""
    if len(row) != layout.columns:
        return None, None
    assert layout.amps is not None
    value = number_of(row[layout.amps], layout.comma)
    if value is not None and _TOO_MUCH < abs(value) < math.inf:
        value = None
    if layout.time is None:
        return None, value
    text = row[layout.time]
    if layout.kind in ("number", "count"):
        moment = number_of(text, layout.comma)
        return (moment if moment is not None and math.isfinite(moment) else None), value
    return clock_of(f"{row[layout.day].strip()} {text}" if layout.day is not None else text), value


# -- large files ------------------------------------------------------------------------------------------


def _pieces(path: Path, place: int) -> Iterator[bytes]:
    """The file from a place on, cut at the ends of lines."""
    with path.open("rb") as file:
        file.seek(place)
        rest = b""
        while raw := file.read(_CHUNK):
            end = raw.rfind(b"\n")
            if end < 0:
                rest += raw
                if len(rest) > 2 * _CHUNK:
                    raise Refused(f"{path.name}: has no line ends; it is not a log of samples")
                continue
            yield rest + raw[: end + 1]
            rest = raw[end + 1 :]
        if rest.strip():
            yield rest


def _parse(raw: bytes, layout: Layout, encoding: str) -> tuple[Any, Any, int, int]:
    """Times, values, unreadable rows and rows over the range of one piece."""
    assert numpy is not None
    found = _parse_arrow(raw, layout)
    if found is None and layout.columns == 1 + (layout.time is not None):
        found = _parse_numbers(raw, layout)
    if found is not None:
        return found[0], found[1], 0, 0
    times, values, bad, over = [], [], 0, 0
    for line in raw.decode(encoding.removesuffix("-sig"), "replace").splitlines():
        if not line.strip():
            continue
        moment, value = _row(fields_of(line, layout), layout)
        if value is None or (layout.time is not None and moment is None):
            bad += 1
            continue
        over += value == math.inf
        times.append(moment)
        values.append(value if value < math.inf else math.nan)
    stamps = numpy.array(times, numpy.float64) if layout.time is not None else None
    return stamps, numpy.array(values, numpy.float32), bad, over


def _parse_arrow(raw: bytes, layout: Layout) -> tuple[Any, Any] | None:
    """The piece by pyarrow, where it is installed and every cell is a number or empty."""
    assert numpy is not None
    try:
        import pyarrow
        from pyarrow import csv
    except ImportError:
        return None
    names = [f"c{i}" for i in range(layout.columns)]
    wanted = [names[i] for i in (layout.time, layout.amps) if i is not None]
    try:
        table = csv.read_csv(
            pyarrow.BufferReader(raw),
            read_options=csv.ReadOptions(column_names=names, use_threads=False, block_size=len(raw) + 1),
            parse_options=csv.ParseOptions(delimiter=layout.delimiter or "\x1f"),
            convert_options=csv.ConvertOptions(
                include_columns=wanted,
                column_types={
                    name: pyarrow.float32() if i == layout.amps else pyarrow.float64()
                    for i, name in enumerate(names)
                },
                decimal_point="," if layout.comma else ".",
                null_values=["", "-", "--", "---", "NaN", "nan", "n/a", "N/A", "null"],
            ),
        )
    except pyarrow.ArrowInvalid:
        return None
    values = table.column(names[layout.amps or 0]).to_numpy()
    if layout.time is None:
        return None, values
    times = table.column(names[layout.time])
    return None if times.null_count else (times.to_numpy(), values)


def _parse_numbers(raw: bytes, layout: Layout) -> tuple[Any, Any] | None:
    """The piece by numpy alone, where every cell is a number; slower."""
    assert numpy is not None
    if layout.comma:
        raw = raw.replace(b",", b".") if layout.delimiter != "," else b"?"
    mark = layout.delimiter.encode() or b"\n"
    flat = raw.strip().replace(b"\r\n", b"\n").replace(mark, b" ")
    lines = flat.count(b"\n") + 1
    try:
        values = numpy.array(flat.split(), numpy.float64)
    except ValueError:
        return None
    if len(values) != lines * layout.columns:
        return None
    rows = values.reshape(-1, layout.columns)
    stamps = rows[:, layout.time] if layout.time is not None else None
    return stamps, rows[:, layout.amps or 0].astype(numpy.float32)


def _read_fast(
    path: Path, layout: Layout, head: bytes, encoding: str, rate: float | None, most: int
) -> Recording:
    """Pieces of the file parsed on two threads, and joined without keeping times that are even."""
    assert numpy is not None
    place = _place(head, layout.first)
    stamps: list[Any] = []
    blocks: list[Any] = []
    bad = over = count = 0
    with ThreadPoolExecutor(2) as pool:
        pieces = _pieces(path, place)
        waiting = [
            pool.submit(_parse, piece, layout, encoding) for _, piece in zip(range(3), pieces, strict=False)
        ]
        while waiting:
            times, values, unread, above = waiting.pop(0).result()
            bad, over, count = bad + unread, over + above, count + len(values)
            if count > most or 5 * bad > count + 1000:
                for job in waiting:
                    job.cancel()
                raise Refused(
                    f"{path.name}: over {most} rows; cut it to the attempts"
                    if count > most
                    else f"{path.name}: {bad} rows could not be read as time and current"
                )
            if len(values):
                stamps.append(_evened(times, layout))
                blocks.append(values)
            for piece in pieces:
                waiting.append(pool.submit(_parse, piece, layout, encoding))
                break
    if not blocks:
        raise Refused(f"{path.name}: no rows of time and current were found")
    joined = numpy.empty(count, numpy.float32)
    at = 0
    while blocks:
        block = blocks.pop(0)
        joined[at : at + len(block)] = block
        at += len(block)
    return on_time_base(path.name, layout, _joined(stamps), joined, bad, over, rate, _ROUND)


def _place(head: bytes, first: int) -> int:
    """Where the first line with data begins. [byte]"""
    marks = [m.end() for m in re.finditer(rb"\r\n|\n|\r", head)]
    return marks[first - 1] if first else 3 * head.startswith(b"\xef\xbb\xbf")


def _evened(times: Any, layout: Layout) -> Any:
    """First time, last time and number of an even block; the times themselves where they are not even."""
    if times is None:
        return None
    assert numpy is not None
    count = len(times)
    if count > 2:
        even = numpy.linspace(times[0], times[-1], count)
        even -= times
        numpy.abs(even, out=even)
        if times[-1] > times[0] and even.max() < 0.45 * (times[-1] - times[0]) / (count - 1):
            return (float(times[0]), float(times[-1]), count)
    return times


def _joined(stamps: list[Any]) -> Any:
    """Times of all blocks; as (first, last, number) where all are even and meet."""
    assert numpy is not None
    if stamps[0] is None:
        return None
    if all(isinstance(s, tuple) for s in stamps):
        steps = [(s[1] - s[0]) / (s[2] - 1) for s in stamps]
        step = steps[0]
        meet = all(abs(b[0] - a[1] - step) < 0.6 * step for a, b in itertools.pairwise(stamps))
        longs = [s for s, each in zip(steps, stamps, strict=True) if each[2] > 1000] or steps
        if meet and max(longs) - min(longs) < 0.005 * step:
            return (stamps[0][0], stamps[-1][1], sum(s[2] for s in stamps))
    whole = [numpy.linspace(*s) if isinstance(s, tuple) else s for s in stamps]
    return numpy.concatenate(whole)
