"""
Which column of a log is the time, which the current, and in what units: read from its first lines.

Times in seconds, currents in amperes.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from humclick.errors import Refused
from humclick.messages import Message, Verbatim

__all__ = ["EXAMPLE_ROW", "Layout", "clock_of", "fields_of", "layout_of", "number_of"]

#: How a line of a log is written.
EXAMPLE_ROW = Verbatim("0.05,11.8")
_NUMBER = re.compile(r"([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*([A-Za-zµμ°]{0,6})")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,:](\d{1,9}))?)?\s*([AaPp][Mm])?")
_DATE = re.compile(r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})")
_MISSING = frozenset({"", "-", "--", "---", "----", "nan", "n/a", "na", "null", "none", "inf", "+inf"})
_OVER = frozenset({"ol", "o.l", "o.l.", "-ol", "over", "overload", "ovr", "ovld", "overrange", "clip"})

_TIME_WORDS = re.compile(
    r"time|zeit|temps|tiempo|tempo|seconds?|sekunden?|\bs\b|\bsec\b|\bms\b|\bt\b|elapsed|stamp|date|datum",
    re.I,
)
_COUNT_WORDS = re.compile(
    r"sample|index|indice|\bno\b\.?|\bnr\b\.?|#|\bn\b|nummer|number|record|count|punkt|point", re.I
)
_AMPS_WORDS = re.compile(
    r"\bamps?\b|ampere|current|strom|courant|corriente|corrente|\bi\b|\birms\b|\(m?a\)|\[m?a\]|\bclamp", re.I
)
_OTHER_WORDS = re.compile(
    r"volt|\bv\b|\[v\]|\(v\)|temp(?!s|o)|°c|watt|\bw\b|\bhz\b|freq|power|cos|batt|status", re.I
)
_UNITS_TIME = {
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "sekunden": 1.0,
    "ms": 1e-3,
    "msec": 1e-3,
    "milliseconds": 1e-3,
    "us": 1e-6,
    "µs": 1e-6,
    "μs": 1e-6,
    "min": 60.0,
    "minutes": 60.0,
}
_UNITS_AMPS = {
    "a": ("A", 1.0),
    "amp": ("A", 1.0),
    "amps": ("A", 1.0),
    "ampere": ("A", 1.0),
    "aac": ("A", 1.0),
    "arms": ("A", 1.0),
    "ma": ("A", 1e-3),
    "mv": ("mV", 1.0),
    "v": ("mV", 1e3),
}
_RATE = re.compile(
    r"(?:rate|freq(?:uency)?|sampling|abtastrate)[^0-9\n]{0,24}?([\d]+(?:[.,]\d+)?)\s*(k?)\s*(?:hz|s/s|sps|sa/s)",
    re.I,
)
_STEP = re.compile(
    r"(?:interval|period|step|\bdt\b)[^0-9\n]{0,24}?([\d]+(?:[.,]\d+)?)\s*(ms|us|µs|s|sec)\b", re.I
)
_SCALE = re.compile(
    r"([\d]+(?:[.,]\d+)?)\s*mv\s*(?:/|per|=)\s*([\d]+(?:[.,]\d+)?)?\s*a(?:mp)?s?\b|"
    r"([\d]+(?:[.,]\d+)?)\s*a(?:mp)?s?\s*=\s*([\d]+(?:[.,]\d+)?)\s*mv",
    re.I,
)

_MOST_COLUMNS = 64
_DELIMITERS = (";", "\t", "|", ",", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How the lines of a log are to be read."""

    delimiter: str  #: Between fields; a space stands for any run of blanks, empty for a single column.
    comma: bool  #: Whether the decimal mark is a comma.
    paired: bool = False  #: Whether fields and decimals are both cut by commas, so that fields go in pairs.
    first: int = 0  #: Number of the first line with data, from 0.
    columns: int = 1  #: Fields a line.
    #: Columns of the time (a number or a clock), the date, and the current.
    time: int | None = None
    day: int | None = None
    amps: int | None = 0
    #: Of the time: ``number``, ``count``, ``clock``, ``datetime``, or empty where there is none.
    kind: str = ""
    unit: float = 0.0  #: Of a time that is a number; 0 where it is not told. [s]
    amps_unit: str = ""  #: ``A``, ``mV`` or empty.
    factor: float = 1.0  #: On the recorded figures. [A, mV or as recorded]
    rate: float | None = None  #: Samples a second, where a line before the data tells it. [Hz]
    notes: tuple[str, ...] = ()  #: What had to be guessed.


def _bare(cell: str) -> str:
    """A cell without blanks and quotes around it."""
    return cell.strip().strip("\"'").strip()


def number_of(text: str, comma: bool) -> float | None:
    """
    Number in a cell, its unit left aside.

    nan for a missing value, infinity for one over the range, None where it is no number.
    """
    text = _bare(text)
    low = text.lower()
    if low in _MISSING:
        return float("nan")
    if low in _OVER:
        return float("inf")
    number = _NUMBER.fullmatch(text.replace("\u2212", "-"))
    if number is None or len(text) > 40:
        return None
    figures = number[1]
    if "," in figures:
        if not comma:
            return None
        figures = figures.replace(",", ".")
    try:
        return float(figures)
    except ValueError:
        return None


def _day_of(text: str) -> int | None:
    """Number of a day, by its order alone."""
    parts = _DATE.fullmatch(text)
    if parts is None:
        return None
    a, mark, b, c = int(parts[1]), parts[2], int(parts[3]), int(parts[4])
    if len(parts[1]) == 4:
        tries = ((a, b, c), (a, c, b))
    else:
        year = c if c >= 100 else 2000 + c
        tries = ((year, a, b), (year, b, a)) if mark == "/" else ((year, b, a), (year, a, b))
    for year, month, day in tries:
        try:
            return date(year, month, day).toordinal()
        except ValueError:
            continue
    return None


def clock_of(text: str) -> float | None:
    """
    Seconds since the start of an era for a time stamp, of the day for a time of day.

    Such as ``12:03:04.5``, ``2026-03-11T12:03:04``, ``11.03.2026 12:03:04,250``, with am or pm if need be;
    None where it is no time. [s]
    """
    text = _bare(text)
    if len(text) > 48 or ":" not in text:
        return None
    text = re.sub(r"(?:Z|[+-]\d{2}:?\d{2})$", "", text)
    parts = re.split(r"[T ]+", text, maxsplit=1) if _DATE.match(text) else ["", text]
    if len(parts) != 2:
        return None
    clock = _CLOCK.fullmatch(parts[1].strip())
    day = _day_of(parts[0]) if parts[0] else 0
    if clock is None or day is None:
        return None
    hours, minutes = int(clock[1]), int(clock[2])
    seconds = int(clock[3] or 0)
    if clock[5]:
        hours = hours % 12 + (12 if clock[5].lower() == "pm" else 0)
    if hours > 47 or minutes > 59 or seconds > 60:
        return None
    part = float(f"0.{clock[4]}") if clock[4] else 0.0
    return day * 86_400.0 + hours * 3600.0 + minutes * 60.0 + seconds + part


def fields_of(line: str, layout: Layout) -> list[str]:
    """Fields of a line; quotes around a field are taken off."""
    line = line.strip("\r\n")
    if not layout.delimiter:
        return [line]
    if layout.delimiter == " ":
        return line.split()
    if '"' in line:
        return [a or b for a, b in re.findall(_quoted(layout.delimiter), line)]
    fields = line.split(layout.delimiter)
    if layout.paired and len(fields) == 2 * layout.columns:
        return [f"{a}.{b}" for a, b in zip(fields[::2], fields[1::2], strict=True)]
    return fields


def _quoted(delimiter: str) -> re.Pattern[str]:
    mark = re.escape(delimiter)
    return re.compile(rf'(?:^|(?<={mark}))\s*(?:"([^"]*)"\s*|([^"{mark}]*))(?={mark}|$)')


def _kind(cells: list[str], comma: bool) -> str:
    """What most cells of a column are."""
    counts = {"number": 0, "clock": 0, "datetime": 0, "date": 0, "text": 0}
    for cell in cells:
        text = _bare(cell)
        value = number_of(text, comma)
        if value is not None:
            counts["number"] += value == value or 0
        elif _DATE.fullmatch(text):
            counts["date"] += 1
        elif clock_of(text) is not None:
            counts["datetime" if _DATE.match(text) else "clock"] += 1
        else:
            counts["text"] += 1
    best = max(counts, key=lambda k: counts[k])
    return best if counts[best] else "empty"


def _share(lines: list[str], layout: Layout) -> tuple[float, int]:
    """Share of cells that are numbers or times among lines of the commonest length, and that length."""
    rows = [fields_of(line, layout) for line in lines]
    lengths = [len(row) for row in rows]
    columns = max(set(lengths), key=lambda n: (lengths.count(n), n))
    cells = [cell for row in rows for cell in row]
    good = sum(
        bool(cell.strip())
        and (number_of(cell, layout.comma) is not None or ":" in cell or bool(_DATE.match(cell)))
        for row in rows
        if len(row) == columns
        for cell in row
    )
    return good / max(len(cells), 1), columns


def _cut(lines: list[str]) -> Layout:
    """Delimiter and decimal mark that make the most numbers."""
    tail = [line for line in lines[len(lines) // 3 :] if line.strip()][-60:] or lines
    best: tuple[float, Layout] | None = None
    for delimiter in (*_DELIMITERS, ""):
        for comma in (False, True):
            if delimiter == "," and comma and not any('"' in line for line in tail):
                continue
            tried = Layout(delimiter=delimiter, comma=comma)
            share, columns = _share(tail, tried)
            if delimiter and columns < 2:
                continue
            if best is None or share > best[0] + 1e-9:
                best = share, replace(tried, columns=columns)
    assert best is not None
    if best[0] < 0.3:
        raise Refused(
            Message(
                "no rows of numbers were found; a log has a line for each sample, with its "
                "time and its amperes, for example {row}",
                row=EXAMPLE_ROW,
            )
        )
    return best[1]


def _figure(text: str) -> float:
    return float(text.replace(",", "."))


def _announced(before: str) -> tuple[float | None, float | None]:
    """Rate in Hz and millivolts an ampere, where the lines before the data tell them."""
    rate = scale = None
    if match := _RATE.search(before):
        rate = _figure(match[1]) * (1000.0 if match[2] else 1.0)
    elif match := _STEP.search(before):
        rate = 1.0 / max(_figure(match[1]) * _UNITS_TIME[match[2].lower()], 1e-9)
    if match := _SCALE.search(before):
        if match[1]:
            scale = _figure(match[1]) / max(_figure(match[2]) if match[2] else 1.0, 1e-9)
        else:
            scale = _figure(match[4]) / max(_figure(match[3]), 1e-9)
    return rate, scale


def _unit_in(title: str, units: Iterable[str]) -> str:
    """A unit told in a column's title, in brackets first."""
    low = title.lower()
    for word in [*re.findall(r"[\[(]\s*([a-zµμ]+)\s*[\])]", low), *re.split(r"[^a-zµμ]+", low)[::-1]]:
        if word in set(units):
            return str(word)
    return ""


def layout_of(lines: list[str]) -> Layout:
    """
    How a log is laid out, from its first lines.

    Raises `Refused` if no rows of numbers are found, or none of the columns can be the current.
    """
    layout = _cut(lines)
    comma = layout.comma
    if layout.columns > _MOST_COLUMNS:
        raise Refused(
            Message(
                "{columns} columns; a log of up to {most} is read. Keep time and amperes",
                columns=layout.columns,
                most=_MOST_COLUMNS,
            )
        )
    first = next((i for i in range(len(lines)) if _is_data(lines[i], layout)), None)
    if first is None:
        raise Refused(Message("no rows of numbers were found under the heading; the file may be cut short"))
    before = [line for line in lines[:first] if line.strip()]
    titles = fields_of(before[-1], layout) if before else []
    if layout.delimiter == "," and layout.columns == 2 * len(titles) and len(titles) == 2:
        layout = replace(layout, paired=True, columns=2)
    if len(titles) != layout.columns:
        titles = [""] * layout.columns
    layout = replace(layout, first=first)
    rows = [fields_of(line, layout) for line in lines[first : first + 200]]
    rows = [row for row in rows if len(row) == layout.columns]
    cells = [[row[i] for row in rows] for i in range(layout.columns)]
    kinds = [_kind(column, comma) for column in cells]
    layout = _time_column(layout, titles, kinds, cells)
    rate, scale = _announced("\n".join(before))
    layout = replace(layout, rate=rate)
    return _amps_column(layout, titles, kinds, cells, scale)


def _is_data(line: str, layout: Layout) -> bool:
    row = fields_of(line, layout)
    if len(row) != layout.columns:
        return False
    cells = [c for c in row if c.strip()]
    good = [c for c in cells if number_of(c, layout.comma) is not None or ":" in c or _DATE.match(c.strip())]
    return any(number_of(c, layout.comma) is not None for c in cells) and 2 * len(good) > len(cells)


def _numbers(column: list[str], comma: bool) -> list[float]:
    numbers = [number_of(cell, comma) for cell in column]
    return [v for v in numbers if v is not None and abs(v) < 1e300]


def _rises(column: list[str], comma: bool) -> bool:
    values = _numbers(column, comma)
    return len(values) > 2 and all(b > a for a, b in itertools.pairwise(values))


def _time_column(layout: Layout, titles: list[str], kinds: list[str], cells: list[list[str]]) -> Layout:
    """The layout with its time column."""
    comma = layout.comma
    for kind in ("datetime", "clock"):
        if kind in kinds:
            day = kinds.index("date") if kind == "clock" and "date" in kinds else None
            return replace(layout, time=kinds.index(kind), day=day, kind=kind)
    numeric = [i for i, kind in enumerate(kinds) if kind == "number"]
    named = [i for i in numeric if _TIME_WORDS.search(titles[i]) and not _AMPS_WORDS.search(titles[i])]
    counted = [i for i in numeric if _COUNT_WORDS.search(titles[i]) and not _AMPS_WORDS.search(titles[i])]
    rising = [i for i in numeric if _rises(cells[i], comma)]
    for i in [j for j in named if j in rising] or named:
        word = _unit_in(titles[i], _UNITS_TIME)
        return replace(layout, time=i, kind="number", unit=_UNITS_TIME.get(word, 0.0))
    if counted and len(numeric) > 1:
        return replace(layout, time=counted[0], kind="count")
    if rising and len(numeric) > 1:
        return replace(layout, time=rising[0], kind="number")
    return layout


def _amps_column(
    layout: Layout, titles: list[str], kinds: list[str], cells: list[list[str]], scale: float | None
) -> Layout:
    """The layout with its current column, unit and factor."""
    comma = layout.comma
    left = [i for i, kind in enumerate(kinds) if kind == "number" and i != layout.time]
    if not left:
        raise Refused(
            Message(
                "no column of currents was found beside the time; a log needs time and amperes in each line"
            )
        )
    named = [i for i in left if _AMPS_WORDS.search(titles[i])]
    others = [i for i in left if not _OTHER_WORDS.search(titles[i])]
    notes = list(layout.notes)

    def swing(i: int) -> float:
        values = _numbers(cells[i], comma)
        return max(values) - min(values) if values else 0.0

    pool = named or others or left
    pick = pool[0] if named else max(pool, key=lambda i: (swing(i), -i))
    if len(pool) > 1:
        title = titles[pick].strip()[:30] or f"number {pick + 1}"
        notes.append(f"Of {len(left)} columns that could be the current, {title} was taken.")
    word = _unit_in(titles[pick], _UNITS_AMPS)
    if not word:
        units = {
            m[2].lower() for c in cells[pick][:50] if (m := _NUMBER.fullmatch(c.strip().strip('"'))) and m[2]
        }
        word = next((u for u in units if u in _UNITS_AMPS), "")
    unit, factor = _UNITS_AMPS.get(word, ("", 1.0))
    if not unit and named and re.search(r"\bamps?\b|ampere", titles[pick], re.I):
        unit = "A"
    if unit == "mV" and scale:
        unit, factor = "A", factor / scale
        notes.append(f"The clamp gives {scale:g} mV an ampere, as a line before the data says.")
    return replace(layout, amps=pick, amps_unit=unit, factor=factor, notes=tuple(notes))
