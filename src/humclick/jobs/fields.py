"""
What a field of an event may hold, and what is said of one that cannot be taken; the field's name comes first.
"""

from __future__ import annotations

import math
import re
import unicodedata

from humclick.errors import OutOfRange, choice_of
from humclick.messages import N_, Message

__all__ = ["PAGE", "TURNING_LETTERS", "check_amount", "check_hash", "check_text", "choice_of"]

#: Longest text of a line and of a page. [characters]
_LINE, PAGE = 300, 5000

#: Letters that turn the writing direction: text that shows otherwise than it is stored.
TURNING_LETTERS = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"

_SHA256 = re.compile(r"[0-9a-f]{64}")


#: Fields that a form asks for: what it says of them is said in the form's language.
_IN_FORMS = (
    *(N_("text"), N_("words"), N_("note"), N_("caption"), N_("label"), N_("reason"), N_("customer")),
    *(N_("equipment"), N_("volts"), N_("minutes"), N_("refrigerant")),
)


def check_text(value: str, name: str, longest: int = _LINE, needed: bool = False) -> None:
    """Refuse, with `OutOfRange`, text that cannot be shown as it is, is too long, or is missing."""
    if needed and not value.strip():
        raise OutOfRange(Message("{name} must not be empty", name=Message.of(name)))
    if len(value) > longest:
        raise OutOfRange(
            Message(
                "{name} may have {longest} characters at most, got {value}",
                name=Message.of(name),
                longest=longest,
                value=len(value),
            )
        )
    for letter in value:
        if letter in "\n\t":
            continue
        if unicodedata.category(letter) in ("Cc", "Cs") or letter in TURNING_LETTERS:
            raise OutOfRange(
                Message(
                    "{name} holds a character that cannot be shown (U+{value:04X}); remove it",
                    name=Message.of(name),
                    value=ord(letter),
                )
            )


def check_amount(value: float | None, name: str, high: float, unit: str, above_zero: bool = False) -> None:
    """
    Refuse, with `OutOfRange`, a number that is not finite, below zero (or zero) or above `high`, in `unit`.
    """
    if value is None:
        return
    if not math.isfinite(value) or value < 0 or value > high or (above_zero and value == 0):
        least = Message("above 0") if above_zero else Message("0 or more")
        raise OutOfRange(
            Message(
                "{name} must be {least} and at most {high:g} {unit}, got {value:g}",
                name=Message.of(name),
                least=least,
                high=high,
                unit=unit,
                value=value,
            )
        )


def check_hash(value: str, of: str) -> None:
    """Refuse, with `OutOfRange`, what is no SHA-256 of a photo's or a file's bytes."""
    if not _SHA256.fullmatch(value):
        raise OutOfRange(
            Message("sha256 must be 64 digits of 0-9 and a-f, the hash of the {of}'s bytes", of=of)
        )
