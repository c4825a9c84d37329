r"""
TOML of other people's making, read at a cost that goes with its length.

Strings and comments are passed over once from front to back (`pieces`). What no file of ours needs and a
reader of TOML is slow at is refused before it is read: keys of very many parts, numbers of very many digits,
lists and tables very deep within each other.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from humclick.errors import Refused, printable
from humclick.limits import CALL_DEPTH, KEY_DOTS, WORD_LETTERS
from humclick.messages import Message

__all__ = ["blanked", "pieces", "read_toml", "unmeant"]

#: A string or a comment of TOML. Every way in matches at once and takes nothing back.
_PIECE = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+(?:"{3,5})?+'
    r"|'''(?:[^']++|'(?!''))*+(?:'{3,5})?+"
    r'|"(?:[^"\\\n]++|\\[^\n])*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
_LETTER = re.compile(r"[^\n]")
_BRACKET = re.compile(r"[][{}]")
_WORD = re.compile(r"\w++")
_BETWEEN_KEYS = re.compile(r"[,={}\[\]]")


def pieces(text: str) -> Iterator[tuple[int, int]]:
    """
    Where each string and each comment starts and ends.

    Each is decided by its own letters and the two after it; a string that is never closed goes to the end of
    its line, or of the text.
    """
    return (match.span() for match in _PIECE.finditer(text))


def blanked(text: str) -> str:
    """The text with spaces for its strings and comments; lines and places stay."""
    return _PIECE.sub(_blank, text)


def _blank(match: re.Match[str]) -> str:
    piece = match[0]
    return _LETTER.sub(" ", piece) if "\n" in piece else " " * len(piece)


def unmeant(plain: str) -> tuple[str, int] | None:
    """
    What nobody means to write, in text that is `blanked`.

    None where nothing is wrong.
    """
    for number, row in enumerate(plain.split("\n"), start=1):
        if row.count(".") > KEY_DOTS and any(p.count(".") > KEY_DOTS for p in _BETWEEN_KEYS.split(row)):
            return "a key of too many parts", number
    for match in _WORD.finditer(plain):
        if len(match[0]) > WORD_LETTERS:
            what = "a number has too many digits" if match[0][0].isdigit() else "a key has too many letters"
            return f"{what} to be meant", plain.count("\n", 0, match.start()) + 1
    depth = 0
    for match in _BRACKET.finditer(plain):
        depth += 1 if match[0] in "[{" else -1 if depth else 0
        if depth > CALL_DEPTH:
            return "nested too deeply", plain.count("\n", 0, match.start()) + 1
    return None


def read_toml(text: str) -> dict[str, Any]:
    """
    A table from text.

    Raises `Refused`, with the line, if it is not TOML or holds what nobody means to write.
    """
    import tomllib  # here: only a file of somebody's own needs it

    wrong = unmeant(blanked(text))
    if wrong is not None:
        raise Refused(Message("line {line}: {reason}", line=wrong[1], reason=wrong[0]))
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(Message("not TOML: {error}", error=printable(str(error), "")[:200])) from None
    except (ValueError, RecursionError):
        raise Refused(Message("a number or a list in it cannot be meant")) from None
