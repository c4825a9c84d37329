"""
Connections: how many, and how long one may hold its place without asking for anything.

The server listens at a `Door`. It keeps a book of who is connected; when the house is full, the one that has
waited longest without a whole request gives its place to the next who comes. Half a request, or none, is
closed after `HEAD_SECONDS`. The log of a flood stays short (`ShortLog`). Times in seconds.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import os
import socket
import time
import weakref
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from humclick.errors import printable
from humclick.limits import BUSY_SECONDS, CONNECTIONS, HEAD_SECONDS, KNOCKING, LOG_LETTERS, LOG_LINES

try:
    import resource
except ImportError:  # a system without such bounds
    resource = None  # type: ignore[assignment]

_LOGGERS = ("asyncio", "concurrent.futures", "uvicorn", "uvicorn.asgi", "uvicorn.error")
#: How long lines of the log are counted together.
_LOG_SECONDS = 10.0


def descriptors(most: int = 4096) -> int:
    """How many files and connections the process may have open, raised as far as it may without asking."""
    if resource is None:
        return 512
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = most if hard == resource.RLIM_INFINITY else min(most, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
            soft = wanted
    return most if soft == resource.RLIM_INFINITY else soft


@dataclass(slots=True)
class _Guest:
    """A connection: its socket, since when it is as it is, and whether it waits for an answer."""

    connection: weakref.ref[socket.socket]
    since: float
    busy: bool = False


@dataclass(slots=True)
class Book:
    """Who is connected, by address."""

    #: Most connections.
    most: int = CONNECTIONS
    #: A clock that only goes on. [s]
    clock: Callable[[], float] = time.monotonic
    _guests: dict[Any, _Guest] = field(default_factory=dict, repr=False)

    def __len__(self) -> int:
        return len(self._guests)

    def enter(self, address: Any, connection: socket.socket) -> None:
        """A connection has come."""
        self._guests[address] = _Guest(weakref.ref(connection), self.clock())

    def note(self, address: Any, busy: bool) -> None:
        """A connection has sent a whole request, or has its answer."""
        guest = self._guests.get(address)
        if guest is not None and guest.busy != busy:
            guest.busy, guest.since = busy, self.clock()

    def leave(self, address: Any) -> None:
        """A connection is gone."""
        self._guests.pop(address, None)

    def make_room(self) -> bool:
        """See that one more may come; False where everybody is being served."""
        if len(self._guests) < self.most:
            return True
        for address, guest in list(self._guests.items()):
            there = guest.connection()
            if there is None or there.fileno() < 0:
                del self._guests[address]
        if len(self._guests) < self.most:
            return True
        long_ago = self.clock() - BUSY_SECONDS
        leaving = [item for item in self._guests.items() if not item[1].busy or item[1].since < long_ago]
        if not leaving:
            return False
        address, guest = min(leaving, key=lambda item: (item[1].busy, item[1].since))
        del self._guests[address]
        there = guest.connection()
        if there is not None:
            with contextlib.suppress(OSError):
                there.shutdown(socket.SHUT_RDWR)
        return True


class Door(socket.socket):
    """A listening socket that lets in no more than its book has room for."""

    book: Book
    _spare: int = -1

    def listen(self, backlog: int = 0, /) -> None:
        """Listen; the system keeps those who knock in a long row, however few are let in at one time."""
        super().listen(max(backlog, KNOCKING))

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection, and its address; `ConnectionAbortedError` if the next was turned away."""
        room = self.book.make_room()
        try:
            connection, address = super().accept()
        except OSError as error:
            if error.errno not in (errno.EMFILE, errno.ENFILE):
                raise
            self._turn_away()
            raise ConnectionAbortedError("no descriptor is left") from None
        if self._spare < 0:
            with contextlib.suppress(OSError):
                self._spare = os.open(os.devnull, os.O_RDONLY)
        if not room:
            connection.close()
            raise ConnectionAbortedError("everybody is being served")
        self.book.enter(address, connection)
        return connection, address

    def _turn_away(self) -> None:
        """Let the next in by the descriptor kept for it, and out again, or it would knock for ever."""
        if self._spare >= 0:
            os.close(self._spare)
            self._spare = -1
        with contextlib.suppress(OSError):
            super().accept()[0].close()
        with contextlib.suppress(OSError):
            self._spare = os.open(os.devnull, os.O_RDONLY)


class HeadTimed(H11Protocol):
    """HTTP/1.1 whose requests must be whole in time; says in the book who is being served."""

    def __init__(
        self, *arguments: Any, book: Book | None = None, head_seconds: float = HEAD_SECONDS, **more: Any
    ) -> None:
        super().__init__(*arguments, **more)
        self._book = book if book is not None else Book()
        self._head_seconds = head_seconds
        self._head: asyncio.TimerHandle | None = None
        self._address: Any = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """A connection stands."""
        super().connection_made(transport)
        self._address = transport.get_extra_info("peername")
        self._head = self.loop.call_later(self._head_seconds, self._late)

    def data_received(self, data: bytes) -> None:
        """Something came."""
        super().data_received(data)
        if self._busy():
            self._stop()
        elif self._head is None and not self.transport.is_closing():
            self._head = self.loop.call_later(self._head_seconds, self._late)
        self._book.note(self._address, self._busy())

    def on_response_complete(self) -> None:
        """An answer is given."""
        super().on_response_complete()
        self._book.note(self._address, self._busy())

    def connection_lost(self, exc: Exception | None) -> None:
        """The connection is gone."""
        self._stop()
        self._book.leave(self._address)
        super().connection_lost(exc)

    def _busy(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _stop(self) -> None:
        if self._head is not None:
            self._head.cancel()
            self._head = None

    def _late(self) -> None:
        self._head = None
        if not self._busy():
            self.transport.abort()


def protocol(book: Book) -> Any:
    """What the server makes of each connection."""
    return partial(HeadTimed, book=book)


class ShortLog(logging.Filter):
    """
    Lets so many lines of one kind through in ten seconds, none of them endless.

    Parameters
    ----------
    clock : callable
        A clock that only goes on. [s]
    """

    def __init__(
        self,
        most: int = LOG_LINES,
        longest: int = LOG_LETTERS,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.most, self.longest, self.clock = most, longest, clock
        self._counts: dict[tuple[str, int], tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether a line is written; it is made short, and says how many like it were not."""
        kind = (str(record.msg)[:60], record.levelno)
        now = self.clock()
        began, count = self._counts.get(kind, (now, 0))
        passed = 0
        if now - began > _LOG_SECONDS:
            began, passed, count = now, max(count - self.most, 0), 0
        if len(self._counts) > 200:
            self._counts.clear()
        self._counts[kind] = began, count + 1
        if count >= self.most:
            return False
        text = printable(record.getMessage())[: self.longest]
        if passed:
            text += f" (and {passed} more like it were not written)"
        if record.exc_info and not record.exc_text:
            record.exc_text = logging.Formatter().formatException(record.exc_info)
        if record.exc_text:
            half = self.longest // 2
            long = len(record.exc_text) > self.longest
            cut = f"{record.exc_text[:half]}\n…\n{record.exc_text[-half:]}" if long else record.exc_text
            record.exc_text = printable(cut)
        record.msg, record.args = text, ()
        return True


def short_logs() -> None:
    """Keep the server's own logs short."""
    short = ShortLog()
    for name in _LOGGERS:
        logger = logging.getLogger(name)
        if not any(isinstance(filter_, ShortLog) for filter_ in logger.filters):
            logger.addFilter(short)
