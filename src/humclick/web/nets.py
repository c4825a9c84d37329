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

from humclick.errors import Busy, OverBound, printable
from humclick.messages import Message
from humclick.web.asked import said_to

__all__ = ["NETS", "refusal"]

_FULL = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})


def refusal(request: Request, text: str, status: int, headers: Mapping[str, str] | None = None) -> Response:
    """What was wrong in the language of who asks, as JSON where JSON was asked; half letters by number."""
    said = printable(said_to(request.headers, text))
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": said}, status, dict(headers or {}))
    return PlainTextResponse(said, status, dict(headers or {}))


async def _busy(request: Request, error: Exception) -> Response:
    assert isinstance(error, Busy)
    return refusal(request, error.message, 503, {"Retry-After": "30"})


async def _over_bound(request: Request, error: Exception) -> Response:
    assert isinstance(error, OverBound)
    return refusal(request, error.message, 422)


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


async def _half_letter(request: Request, error: Exception) -> Response:
    return refusal(request, Message("a text holds half a letter (a lone surrogate); remove it"), 422)


async def _too_deep(request: Request, error: Exception) -> Response:
    return refusal(request, Message("nested too deeply"), 422)


async def _no_memory(request: Request, error: Exception) -> Response:
    return refusal(request, Message("the server has no memory left for this; try again later"), 503)


#: What answers which failure.
NETS: Mapping[type[Exception], Callable[[Request, Exception], Awaitable[Any]]] = {
    Busy: _busy,
    OverBound: _over_bound,
    OSError: _storage,
    UnicodeError: _half_letter,
    RecursionError: _too_deep,
    MemoryError: _no_memory,
}
