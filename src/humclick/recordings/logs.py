"""
Logs of clamp meters and loggers, as CSV or WAV.

What is read: rms values every 10 ms to some seconds, and waveforms of 1 to 50 kHz and above; any usual
delimiter, decimal points and commas, headings or none, time in seconds, milliseconds, sample numbers, clock
time or date and time, missing cells, amperes, milliamperes or a clamp's millivolts. Bounds: 50 MiB a file,
25 million samples, 31 days. Times in seconds, currents in amperes where the scale is known.
"""

from __future__ import annotations

import math
import os
import re
import stat
from array import array
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from humclick.errors import OutOfRange, Refused, because
from humclick.limits import COLUMNS, LINE_LETTERS
from humclick.messages import N_, Message, Verbatim
from humclick.recordings.columns import EXAMPLE_ROW, Layout, clock_of, fields_of, layout_of, number_of
from humclick.recordings.recording import LARGEST_FILE, LONGEST, MOST_VALUES, Recording
from humclick.recordings.timebase import on_time_base
from humclick.recordings.wav import read_wav

__all__ = ["recording_from_file"]

_HEAD = 1 << 17
#: A line longer than this is not a line of a log. [byte]
_LONGEST_LINE = LINE_LETTERS
_KINDS = {
    b"PK\x03\x04": N_("a zip archive or a spreadsheet; save the sheet as CSV"),
    b"\xd0\xcf\x11\xe0": N_("a spreadsheet; save it as CSV"),
    b"%PDF": N_("a PDF; export the readings as CSV"),
    b"\x89PNG": N_("a picture; export the readings as CSV"),
    b"\xff\xd8\xff": N_("a picture; export the readings as CSV"),
    b"\x1f\x8b": N_("a compressed file; unpack it first"),
    b"OggS": N_("a compressed sound file; export it as WAV"),
    b"ID3": N_("a compressed sound file; export it as WAV"),
    b"fLaC": N_("a compressed sound file; export it as WAV"),
    b"caff": N_("a sound file of another kind; export it as WAV"),
    b"FORM": N_("a sound file of another kind; export it as WAV"),
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


def recording_from_file(
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
    rate : float or None
        Samples a second, where the file does not tell it or tells it wrongly. [Hz]
    scale : float or None
        What one recorded unit (of full scale, for a WAV file; one millivolt, where it records these) stands
        for, where known. [A]
    most, most_sound : int
        Most rows of a log, and samples of a WAV file, that are read. [-]

    Raises
    ------
    Refused
        If the file is missing, empty, damaged, too large, binary, or not a recording; the message says
        what would be right.
    """
    path = Path(path)
    _refuse_no_measure("rate", rate)
    _refuse_no_measure("scale", scale)
    head, size = _opened(path)
    try:
        if head[:4] in (b"RIFF", b"RF64"):
            recording = read_wav(path, most_sound)
            if rate is not None:
                recording = replace(recording, step=1.0 / rate)
        else:
            recording = _read_text(path, head, size, rate, most)
    except OSError as error:
        raise Refused(
            Message("{name}: cannot be read: {why}", name=Verbatim(path.name), why=because(error))
        ) from error
    except MemoryError:
        raise Refused(
            Message(
                "{name}: too large for the memory of this machine; cut it to the attempts",
                name=Verbatim(path.name),
            )
        ) from None
    if recording.seconds > LONGEST:
        raise Refused(
            Message(
                "{name}: {days:.0f} days long; up to 31 days are read",
                name=Verbatim(path.name),
                days=recording.seconds / 86400,
            )
        )
    return recording if scale is None else _scaled(recording, scale)


def _refuse_no_measure(name: str, number: float | None) -> None:
    """Refuse a rate or a scale that is no number above zero."""
    if number is not None and not (math.isfinite(number) and number > 0):
        raise Refused(
            Message("the {name} must be a number above zero, got {number}", name=name, number=number)
        )


def _scaled(recording: Recording, scale: float) -> Recording:
    """The recording in amperes."""
    values = array("d", (v * scale for v in recording.values))
    clip = None if recording.clip is None else recording.clip * scale
    return replace(recording, values=values, clip=clip, unit="A")


def _opened(path: Path) -> tuple[bytes, int]:
    """First bytes and size of a regular file that is not of a kind known to be wrong."""
    try:
        status = os.stat(path)
        if not stat.S_ISREG(status.st_mode):
            raise Refused(
                Message(
                    "{name}: is not a file; a recording is a CSV or WAV file",
                    name=Verbatim(path.name or path),
                )
            )
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except (OSError, ValueError) as error:
        if isinstance(error, Refused):
            raise
        reason = because(error) if isinstance(error, OSError) else Message.of(str(error))
        raise Refused(
            Message("{name}: cannot be read: {why}", name=Verbatim(path.name), why=reason)
        ) from error
    if not head:
        raise Refused(Message("{name}: is empty; a recording is a CSV or WAV file", name=Verbatim(path.name)))
    if status.st_size > LARGEST_FILE:
        raise Refused(
            Message(
                "{name}: {size:.1f} MiB; up to {most} MiB are read. Cut it to the attempts",
                name=Verbatim(path.name),
                size=status.st_size / 2**20,
                most=LARGEST_FILE >> 20,
            )
        )
    for magic, what in _KINDS.items():
        if head.startswith(magic):
            raise Refused(Message("{name}: is {what}", name=Verbatim(path.name), what=Message.of(what)))
    if head[4:8] == b"ftyp":
        raise Refused(
            Message(
                "{name}: is a compressed sound or film file; export the sound as WAV",
                name=Verbatim(path.name),
            )
        )
    return head, status.st_size


# -- text -------------------------------------------------------------------------------------------------


def _encoding(head: bytes, name: str) -> str:
    """Encoding of a text file."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if b"\x00" in head:
        raise Refused(Message("{name}: is a binary file; a recording is a CSV or WAV file", name=name))
    control = sum(head.count(bytes([b])) for b in range(1, 32) if b not in (9, 10, 11, 12, 13))
    if control > len(head) // 50:
        raise Refused(Message("{name}: is a binary file; a recording is a CSV or WAV file", name=name))
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    try:
        head[:-4].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _read_text(path: Path, head: bytes, size: int, rate: float | None, most: int) -> Recording:
    """A recording from lines of text."""
    name = Verbatim(path.name)
    encoding = _encoding(head, name)
    text = head.decode(encoding, "replace")
    lines = re.split(r"\r\n|\n|\r", text)
    if size > len(head):
        lines = lines[:-1]
    if not lines or max(map(len, lines)) > _LONGEST_LINE:
        raise Refused(
            Message(
                "{name}: has lines of over {most} letters; it is not a log of samples",
                name=name,
                most=_LONGEST_LINE,
            )
        )
    if lines[0].lower().startswith("sep="):
        lines[0] = ""
    try:
        layout = layout_of(lines[:400])
    except OutOfRange:
        raise
    except Refused as error:
        raise Refused(Message("{name}: {reason}", name=name, reason=error.message)) from None
    if layout.columns > COLUMNS:
        raise Refused(
            Message(
                "{name}: {columns} columns; up to {most} are read. Keep time and current",
                name=name,
                columns=layout.columns,
                most=COLUMNS,
            )
        )
    return _read_rows(path, layout, encoding, rate, most)


def _read_rows(path: Path, layout: Layout, encoding: str, rate: float | None, most: int) -> Recording:
    """Row after row; only times and currents are kept, eight bytes each."""
    times, values = array("d"), array("d")
    bad = over = 0
    plain = layout.kind in ("", "number", "count") and not layout.paired
    with path.open(encoding=encoding, errors="replace", newline=None) as file:
        for number, line in enumerate(_bounded(file, Verbatim(path.name))):
            if number < layout.first or not line.strip():
                continue
            if number - layout.first > most:
                raise Refused(
                    Message(
                        "{name}: over {most} rows; cut it to the attempts",
                        name=Verbatim(path.name),
                        most=most,
                    )
                )
            moment, value = (plain and _numbers(line, layout)) or _row(fields_of(line, layout), layout)
            if value is None or (layout.time is not None and moment is None):
                bad += 1
                continue
            if value == math.inf:
                over += 1
            times.append(float(len(times)) if moment is None or layout.time is None else moment)
            values.append(value if value < math.inf else math.nan)
    if 5 * bad > len(values):
        raise Refused(
            Message(
                "{name}: {bad} of {rows} rows could not be read as time and current; each line "
                "needs both, for example {row}",
                name=Verbatim(path.name),
                bad=bad,
                row=EXAMPLE_ROW,
                rows=bad + len(values),
            )
        )
    return on_time_base(Verbatim(path.name), layout, times, values, bad, over, rate, _ROUND)


def _bounded(file: Any, name: str) -> Iterator[str]:
    """Lines of a file, none of them endless."""
    while line := file.readline(_LONGEST_LINE + 1):
        if len(line) > _LONGEST_LINE:
            raise Refused(
                Message(
                    "{name}: has lines of over {most} letters; it is not a log of samples",
                    name=name,
                    most=_LONGEST_LINE,
                )
            )
        yield line


def _numbers(line: str, layout: Layout) -> tuple[float, float] | None:
    """Time and current of a row of bare numbers, at a tenth of the cost; None where it must be looked at."""
    assert layout.amps is not None
    cells = (line.replace(",", ".") if layout.comma else line).split(layout.delimiter.strip(" ") or None)
    if len(cells) != layout.columns or "_" in line:
        return None
    try:
        moment = 0.0 if layout.time is None else float(cells[layout.time])
        value = float(cells[layout.amps])
    except ValueError:
        return None
    return (moment, value) if math.isfinite(moment) and abs(value) <= _TOO_MUCH else None


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
