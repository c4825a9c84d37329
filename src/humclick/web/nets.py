"""
Answers where a request fails for a reason that is nobody's mistake, or that no reader expected.

Each says what to do next; none takes the server down. Storage that is full or out of order is 507 or 503.
"""

from __future__ import annotations

import errno
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from humclick.errors import Busy, HumclickError, OverBound, printable
from humclick.messages import NOTHING, Message
from humclick.web.asked import said_to

_Answer = Callable[[Request, Exception], Awaitable[Any]]
_FULL = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})


def refusal(request: Request, text: str, status: int, headers: Mapping[str, str] | None = None) -> Response:
    """What was wrong in the language of who asks, as JSON where JSON was asked; half letters by number."""
    words = printable(said_to(request.headers, text))
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": words}, status, dict(headers or {}))
    return PlainTextResponse(words, status, dict(headers or {}))


async def _storage(request: Request, error: Exception) -> Response:
    assert isinstance(error, OSError)
    if error.errno in _FULL:
        text = Message("the server's disk is full: nothing was kept; make room there and send it again")
        return refusal(request, text, 507)
    text = Message(
        "the server's storage does not answer ({why}): send it again later",
        why=Message.of(error.strerror or type(error).__name__),
    )
    return refusal(request, text, 503)


def _says(status: int, text: Message = NOTHING, headers: Mapping[str, str] | None = None) -> _Answer:
    """An answer with these words, else with the failure's own."""

    async def answered(request: Request, error: Exception) -> Response:
        own = error.message if isinstance(error, HumclickError) else Message.of(str(error))
        return refusal(request, text or own, status, headers)

    return answered


#: What answers which failure.
NETS: Mapping[type[Exception], _Answer] = {
    Busy: _says(503, headers={"Retry-After": "30"}),
    OverBound: _says(422),
    OSError: _storage,
    UnicodeError: _says(422, Message("a text holds half a letter (a lone surrogate); remove it")),
    RecursionError: _says(422, Message("nested too deeply")),
    MemoryError: _says(503, Message("the server has no memory left for this; try again later")),
}
