r"""
The text of a call file: blocks as they are written, their heads, lines of keys, and torn ones; read once from
front to back.

A block as the program appends it::

    # event 3f0c begins
    [[event]]
    …
    # event 3f0c is complete

A block is torn that was begun and not completed, or that holds what no text holds: a disk whose power was cut
may give zeros for what was written last. Zeros, or what is left of a first line, at the end of a file are
torn as well. The rest of the file is read.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from humclick.errors import CallFileError
from humclick.jobs.event_tables import table_of
from humclick.jobs.events import Event
from humclick.messages import Message
from humclick.toml_text import unmeant

__all__ = [
    "block_of",
    "decoded",
    "heads",
    "line_in",
    "line_of",
    "parted",
    "refuse_unmeant",
    "torn_regions",
    "with_comments",
]

_HEAD = re.compile(r"^[ \t]*+\[\[[ \t]*+event[ \t]*+\]\]", re.MULTILINE)
_MARK = re.compile(
    rb"^(?:# event ([A-Za-z0-9._-]++) (begins|is complete)[ \t\r]*+$|[ \t]*+\[\[[ \t]*+event[ \t]*+\]\])",
    re.MULTILINE,
)
#: What may stand before the damage in the first line of a block.
_FRONT = re.compile(rb"# event [A-Za-z0-9._-]*+ ?+[a-z ]*+")
_ZEROS = re.compile("\0{2,}")


def heads(plain: str) -> list[int]:
    """Where the lines ``[[event]]`` begin, in text that is `blanked`."""
    return [head.start() for head in _HEAD.finditer(plain)]


def refuse_unmeant(plain: str, name: str) -> None:
    """
    Refuse keys of too many parts, endless numbers and lists nested too deeply, in text that is `blanked`.
    """
    wrong = unmeant(plain)
    if wrong is not None:
        reason, line = wrong
        if "nested" in reason:
            reason = Message("nested too deeply; an event is a flat block")
        raise CallFileError(reason, line=line, path=name)


def line_of(key: str, plain: str) -> int | None:
    """Line on which a key of the file's top stands first."""
    place = re.search(rf"^[ \t]*+\[*+[ \t]*+{re.escape(key[:64])}", plain, re.MULTILINE)
    return plain.count("\n", 0, place.start()) + 1 if place else None


def line_in(plain: str, starts: list[int], number: int, key: str) -> int:
    """Line of a key in the n-th block; of the block's head if the key is not found there."""
    start = starts[number]
    end = starts[number + 1] if number + 1 < len(starts) else len(plain)
    place = re.compile(rf"^[ \t]*+{re.escape(key)}[ \t]*+[=.]", re.MULTILINE).search(plain, start, end)
    return plain.count("\n", 0, place.start() if key and place else start) + 1


# -- torn blocks ------------------------------------------------------------------------------------------


def torn_regions(data: bytes) -> list[tuple[int, int]]:
    """Where torn text starts and ends, in order."""
    marks = list(_MARK.finditer(data))
    torn: list[tuple[int, int]] = []
    begun: re.Match[bytes] | None = None
    inside: list[int] = []
    for mark in marks:
        if mark[2] is None:
            inside.append(mark.start())
        elif mark[2] == b"begins":
            if begun is not None:
                torn.append((begun.start(), inside[1] if len(inside) > 1 else mark.start()))
            begun, inside = mark, []
        elif begun is not None and mark[1] == begun[1]:
            if _damaged(data[begun.start() : mark.end()]):
                torn.append((begun.start(), mark.end()))
            begun = None
    if begun is not None:
        torn.append((begun.start(), inside[1] if len(inside) > 1 else len(data)))
    places = [mark.start() for mark in marks if mark[2] != b"is complete"]
    return sorted(torn + _damaged_ends(data, torn, places))


def _damaged(block: bytes) -> bool:
    """Whether a block holds what no text holds."""
    if b"\0" in block:
        return True
    try:
        block.decode("utf-8")
    except UnicodeDecodeError:
        return True
    return False


def _damaged_ends(data: bytes, torn: list[tuple[int, int]], places: list[int]) -> list[tuple[int, int]]:
    """Damage outside blocks: in a block's first line, or zeros to the end of the file."""
    regions: list[tuple[int, int]] = []
    starts = [start for start, _ in torn]
    at = 0
    while (zero := data.find(b"\0", at)) >= 0:
        k = bisect_right(starts, zero) - 1
        if k >= 0 and zero < torn[k][1]:
            at = torn[k][1]
            continue
        region = _region(data, zero, places)
        if region is None:
            return regions
        regions.append(region)
        at = region[1]
    if regions or b"# event" not in data:
        return regions
    try:
        _without(data, torn).decode("utf-8")
    except UnicodeDecodeError as error:
        region = _region(data, error.start, places)
        if region is not None and data.startswith(b"# event ", region[0]) and region[1] == len(data):
            regions.append(region)
    return regions


def _region(data: bytes, damage: int, places: list[int]) -> tuple[int, int] | None:
    """The torn text around a damage; None where it is no torn block."""
    start = data.rfind(b"\n", 0, damage) + 1
    if data.find(b"humclick_call", 0, start) < 0:
        return None
    if b"# event ".startswith(data[start:damage]) or _FRONT.fullmatch(data, start, damage):
        k = bisect_right(places, damage)
        return start, places[k] if k < len(places) else len(data)
    if not data[damage:].strip(b"\0 \t\r\n"):
        return damage, len(data)
    return None


def _changed(data: bytes, torn: list[tuple[int, int]], change: Callable[[bytes], bytes]) -> bytes:
    """The file with its torn text changed."""
    pieces, at = [], 0
    for start, end in torn:
        pieces += [data[at:start], change(data[start:end])]
        at = end
    return b"".join((*pieces, data[at:]))


def _without(data: bytes, torn: list[tuple[int, int]]) -> bytes:
    """The file with spaces for its torn text; lines and places stay."""
    return _changed(data, torn, lambda text: re.sub(rb"[^\n]", b" ", text))


def with_comments(data: bytes, torn: list[tuple[int, int]]) -> bytes:
    """The file with its torn text turned into comments; a run of zeros stands as their number."""
    return _changed(data, torn, _as_comment)


def _as_comment(torn: bytes) -> bytes:
    text = _ZEROS.sub(lambda run: f"\0 ({len(run[0])} of them)", _text(torn))
    return "".join(f"# torn: {_printable(line)}\n" for line in text.splitlines() if line.strip()).encode()


def _text(data: bytes) -> str:
    return data.decode("utf-8", "backslashreplace")


def _printable(text: str) -> str:
    """Text as a TOML comment may hold it."""
    return "".join(c if c == "\t" or c.isprintable() else ascii(c)[1:-1] for c in text)


def parted(data: bytes) -> tuple[bytes, str, int | None]:
    """The file without its torn text, the torn text, and the line where that begins."""
    torn = torn_regions(data)
    line = data.count(b"\n", 0, torn[0][0]) + 1 if torn else None
    return _without(data, torn), _text(b"".join(data[start:end] for start, end in torn)), line


def block_of(event: Event, counted: bool) -> str:
    """An event as a block of the file; its turn is written, be it 0, where others above it have one."""
    table = table_of(event)
    if counted:
        table.setdefault("turn", 0)
    lines = [f"{key} = {_toml(value)}" for key, value in table.items()]
    return "\n".join(("[[event]]", *lines)) + "\n"


def _toml(value: Any) -> str:
    """A value on one line of TOML."""
    import tomlkit  # here: only writing needs it

    if isinstance(value, Mapping):
        inner = (f"{tomlkit.key(str(key)).as_string()} = {_toml(item)}" for key, item in value.items())
        return f"{{ {', '.join(inner)} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(_toml(item) for item in value)}]"
    if isinstance(value, datetime):
        return value.isoformat()
    return str(tomlkit.item(value).as_string())


def decoded(data: bytes, name: str) -> str:
    """The text of a file's bytes; raises `CallFileError` if it is none."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise CallFileError(Message("this is UTF-16; save it as UTF-8"), line=1, path=name)
    data = data.removeprefix(b"\xef\xbb\xbf")
    if b"\0" in data:
        line = data.count(b"\n", 0, data.index(b"\0")) + 1
        raise CallFileError(Message("binary data; a call file is text"), line=line, path=name)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise CallFileError(Message("not UTF-8 text; save it as UTF-8"), line=line, path=name) from None
