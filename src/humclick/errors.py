"""
Every way to be refused.

Each message says what came, what is allowed and what to do::

    HumclickError
    ├── Refused                something typed or written cannot be understood
    │   ├── ReadingRefused     a reading or a stamp
    │   ├── OutOfRange         a number outside where the formula holds
    │   └── CallFileError      a call file; carries file, line and reason
    │       └── StorageTrouble one that is kept here and cannot be read or written now
    ├── Unknown                a name that is not in the list (part, mode, arrangement, probe, meter)
    ├── OverBound              work that took more memory or time than there is for it
    ├── Busy                   too many ask for work at one time; to be asked again
    └── DataError              one of our own data files is damaged
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from humclick.messages import N_, Message, Verbatim

__all__ = [
    "Busy",
    "CallFileError",
    "DataError",
    "HumclickError",
    "OutOfRange",
    "OverBound",
    "ReadingRefused",
    "Refused",
    "StorageTrouble",
    "Unknown",
    "because",
    "choice_of",
    "printable",
]

#: What the system says most when a file cannot be had, by its own words.
OF_SYSTEM = (
    N_("Bad file descriptor"),
    N_("Directory not empty"),
    N_("File exists"),
    N_("File name too long"),
    N_("Input/output error"),
    N_("Is a directory"),
    N_("No space left on device"),
    N_("No such file or directory"),
    N_("Not a directory"),
    N_("Operation not permitted"),
    N_("Permission denied"),
    N_("Read-only file system"),
    N_("Too many levels of symbolic links"),
    N_("Too many open files"),
)

#: Letters that turn the writing direction: text that shows otherwise than it is stored.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def printable(text: str, keep: str = "\n\t") -> str:
    r"""
    A text with what steers a terminal, turns the writing or is half a letter shown by its number.

    Parameters
    ----------
    text : str
        Any text, such as a name out of a file.
    keep : str
        Control characters that stay.

    Examples
    --------
    >>> printable("relay \x1b[2J")
    'relay \\x1b[2J'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if c in keep or not _steers(c) else ascii(c)[1:-1] for c in text)


def _steers(letter: str) -> bool:
    number = ord(letter)
    return number < 32 or 127 <= number < 160 or 0xD800 <= number < 0xE000 or letter in _TURNING


class HumclickError(Exception):
    """
    Anything this program refuses, with a message for the person at the bench.

    The message may quote what came; its text is `printable` whatever that was. It is a `Message`, so that it
    can be said in every language; a damaged data file of the program alone is told in English.
    """

    def __init__(self, message: Message) -> None:
        super().__init__(message)

    def __str__(self) -> str:
        return printable(super().__str__())

    @property
    def message(self) -> Message:
        """What is said, to be said in any language."""
        first = self.args[0] if self.args else ""
        return first if isinstance(first, Message) else Message.of(str(self))


class Refused(HumclickError, ValueError):
    """Input that cannot be understood; the message says what would be right."""


class ReadingRefused(Refused):
    """A reading or a stamp that cannot be understood."""


class OutOfRange(Refused):
    """A number outside the range in which a formula is used."""


class CallFileError(Refused):
    """A call file that cannot be read, with the line where it went wrong."""

    def __init__(self, reason: Message, *, line: int | None = None, path: str | None = None) -> None:
        self.reason = reason
        self.line = line
        self.path = path
        where: str = path or Message("call file")
        if line is not None:
            where = Message("{file}, line {line}", file=where, line=line)
        super().__init__(Message("{where}: {reason}", where=where, reason=reason))


class StorageTrouble(CallFileError):
    """What is kept here cannot be read or written now; what was given may be right: give it again later."""


class Unknown(HumclickError, LookupError):
    """A name that is not in the list it should come from."""

    def __init__(self, kind: Message, name: str, known: Iterable[str]) -> None:
        self.kind = kind
        self.name = name
        self.known = tuple(known)
        near = get_close_matches(name, self.known, n=3, cutoff=0.5)
        hint = Message("known: {names}", names=self.known[:40])
        if near:
            hint = Message("did you mean {names:or}?", names=tuple(near))
        super().__init__(
            Message("unknown {kind} {name}; {hint}", kind=self.kind, name=repr(name[:80]), hint=hint)
        )


class OverBound(HumclickError):
    """Work that took more memory or time than there is for one piece of it."""


class Busy(HumclickError):
    """Too many ask for work at one time; the same may be asked again later."""


class DataError(HumclickError):
    """A data file of the program itself is damaged or incomplete; told in English to who writes it."""

    def __init__(self, text: str) -> None:
        super().__init__(Message.of(text))


def because(error: OSError) -> Message:
    """Why the system did not give a file, in its own words, to be said in any language."""
    return Message.of(error.strerror or str(error))


def choice_of(value: str, known: Iterable[str]) -> Message:
    """What would be right instead of a name that is not known: all there are, and the nearest."""
    names = tuple(known)
    near = get_close_matches(value, names, n=1)
    got = Message("one of {names}; got {value}", names=names, value=Verbatim(ascii(value)[:60]))
    return Message("{got}, did you mean {name}?", got=got, name=near[0]) if near else got
