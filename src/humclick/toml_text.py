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
from humclick.messages import N_, Message, Verbatim

__all__ = ["blanked", "pieces", "read_toml", "toml_reason", "unmeant"]

#: A string or a comment of TOML. Every way in matches at once and takes nothing back.
_PIECE = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+(?:"{3,5})?+'
    r"|'''(?:[^']++|'(?!''))*+(?:'{3,5})?+"
    r'|"(?:[^"\\\n]++|\\[^\n])*+"?+'
    r"|'[^'\n]*+'?+"
    r"|#[^\n]*+",
    re.DOTALL,
)
#: What the reader of TOML says, by its own words.
_OF_READER = (
    *(N_("Invalid statement"), N_("Invalid value"), N_("Invalid date or datetime"), N_("Invalid hex value")),
    *(N_("Unclosed array"), N_("Unclosed inline table"), N_("Unterminated string")),
    N_("Unescaped '\\' in a string"),
    N_("Escaped character is not a Unicode scalar value"),
    N_("Expected newline or end of document after a statement"),
    N_("Expected '=' after a key in a key/value pair"),
    N_("Expected ']' at the end of a table declaration"),
    N_("Expected ']]' at the end of an array declaration"),
    N_("Invalid initial character for a key part"),
    N_("Cannot overwrite a value"),
    *(N_("Expected {it}"), N_("Found invalid character {it}"), N_("Illegal character {it}")),
    *(N_("Cannot declare {it} twice"), N_("Duplicate inline table key {it}")),
    *(N_("Cannot mutate immutable namespace {it}"), N_("Cannot redefine namespace {it}")),
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


def unmeant(plain: str) -> tuple[Message, int] | None:
    """
    What nobody means to write, in text that is `blanked`.

    None where nothing is wrong.
    """
    for number, row in enumerate(plain.split("\n"), start=1):
        if row.count(".") > KEY_DOTS and any(p.count(".") > KEY_DOTS for p in _BETWEEN_KEYS.split(row)):
            return Message("a key of too many parts"), number
    for match in _WORD.finditer(plain):
        if len(match[0]) > WORD_LETTERS:
            digits = Message("a number has too many digits to be meant")
            what = digits if match[0][0].isdigit() else Message("a key has too many letters to be meant")
            return what, plain.count("\n", 0, match.start()) + 1
    depth = 0
    for match in _BRACKET.finditer(plain):
        depth += 1 if match[0] in "[{" else -1 if depth else 0
        if depth > CALL_DEPTH:
            return Message("nested too deeply"), plain.count("\n", 0, match.start()) + 1
    return None


def toml_reason(error: Exception) -> tuple[Message, Message]:
    """Why the reader of TOML stopped, and where: its own words, to be said in any language."""
    reason, _, place = printable(str(error), "")[:200].removesuffix(")").rpartition(" (at ")
    numbers = re.findall(r"[0-9]+", place)
    where = Message("at end of document")
    if len(numbers) == 2:
        where = Message("at line {line}, column {column}", line=int(numbers[0]), column=int(numbers[1]))
    for known in () if reason in _OF_READER else _OF_READER:
        head, brace, tail = known.partition("{it}")
        if brace and reason.startswith(head) and reason.endswith(tail):
            return Message.of(known, it=Verbatim(reason[len(head) : len(reason) - len(tail)])), where
    return Message.of(reason), where


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
        reason, place = toml_reason(error)
        raise Refused(Message("not TOML: {reason} ({place})", reason=reason, place=place)) from None
    except (ValueError, RecursionError):
        raise Refused(Message("a number or a list in it cannot be meant")) from None
