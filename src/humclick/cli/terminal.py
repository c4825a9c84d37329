"""
What reaches the terminal: text, and nothing that steers it.

A call file, a shop file or a file's name may hold codes that clear the screen, hide text or turn the writing.
Every verb writes through `Plain`, which shows such a letter by its number. Bytes (a PDF) go past it.
"""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterable, Iterator
from typing import Any

from humclick.errors import printable


class Plain:
    """A text stream that shows what steers a terminal instead of doing it."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write a text."""
        self._stream.write(printable(text))
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._stream)


@contextlib.contextmanager
def plain_terminal() -> Iterator[None]:
    """Both output streams are `Plain` meanwhile."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Plain(sys.stdout), Plain(sys.stderr)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before
