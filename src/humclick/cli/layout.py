"""
How a text stands in a terminal: paragraphs, tables and headings in lines of at most 78 columns.

Whatever comes in is said in the language of the terminal first, and measured then.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence

from humclick.cli.language import say
from humclick.messages import Message

#: Columns of a line.
WIDE = 78
#: Letters of a bar of 100 %.
_BAR = 20
#: Keeps two words on one line.
_TIED = "\N{NO-BREAK SPACE}"


def bar(probability: float) -> str:
    """A probability as a bar of plain letters. [-]"""
    filled = round(min(max(probability, 0.0), 1.0) * _BAR)
    return "#" * filled + "." * (_BAR - filled)


def label(text: str, indent: int = 0, wide: int = 0) -> str:
    """A word with its colon, as it begins a paragraph; its column is as wide as asked, or wider."""
    word = say(Message("{label}:", label=text))
    return f"{' ' * indent}{word} ".ljust(indent + wide)


def lines(text: str, first: str = "", rest: str | None = None) -> str:
    """A paragraph within the width, hung under its first words; "line" and its number stay together."""
    rest = " " * len(first) if rest is None else rest
    wrapped = textwrap.fill(
        re.sub(r"\b(line|línea) (\d)", rf"\1{_TIED}\2", say(text)),
        WIDE,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return wrapped.replace(_TIED, " ")


def underlined(text: str) -> str:
    """A heading."""
    words = say(text)
    return f"\n{words}\n{'-' * min(len(words), WIDE)}"


def numbered(entries: Iterable[str]) -> str:
    """Entries numbered from 1."""
    return "\n".join(lines(entry, f"  {number:>2}  ") for number, entry in enumerate(entries, start=1))


def row(indent: int, text: str) -> str:
    """A cell that stands so many columns from the left."""
    return " " * indent + say(text)


def table(rows: Sequence[Sequence[str]]) -> str:
    """Rows in columns; the last column is wrapped."""
    written = [[say(cell) for cell in cells] for cells in rows]
    widths = [max(len(cells[k]) for cells in written) for k in range(len(written[0]) - 1)] if written else []
    text = []
    for cells in written:
        first = "".join(f"{cell:<{width}}  " for cell, width in zip(cells[:-1], widths, strict=True))
        if len(first) > WIDE // 2:
            text += [first.rstrip(), lines(cells[-1], "    ")]
        else:
            text.append(lines(cells[-1], first) if cells[-1] else first.rstrip())
    return "\n".join(text)
