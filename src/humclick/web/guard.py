"""
What stands before every request: bounds, origin, host; and what goes with every answer: the security headers.

The content-security policy lets nothing in from elsewhere and no script or style that stands in a page.
``wasm-unsafe-eval`` allows WebAssembly to be compiled, which Python in the browser is; it allows no
``eval``. A changing request must come from the same site (Fetch Metadata, W3C; else the ``Origin`` header).
The host named must be this machine or an address in figures, so that no foreign name can be made to point
here (DNS rebinding). Sizes in bytes.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from humclick.web.parcel import LARGEST_PARCEL
from humclick.web.photos import LARGEST_PHOTO

__all__ = ["CSP", "Guard", "TooLarge", "own_names"]

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

#: Largest form or JSON body.
LARGEST_FORM = 2 * 1024 * 1024

CSP = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self' 'wasm-unsafe-eval'",
        "worker-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "media-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "permissions-policy": "camera=(self), microphone=(self), geolocation=(), payment=(), usb=()",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
}
_READING = ("GET", "HEAD", "OPTIONS")


class TooLarge(Exception):
    """A request's body is larger than what it may be."""


def own_names() -> frozenset[str]:
    """Names under which this machine is called: ``localhost`` and its own."""
    name = socket.gethostname().casefold()
    return frozenset({"localhost", name, name.partition(".")[0], f"{name.partition('.')[0]}.local"})


class Guard:
    """
    ASGI middleware.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    names : iterable of str
        Further names under which the server is asked, as behind a reverse proxy.
    """

    def __init__(self, app: App, names: Iterable[str] = ()) -> None:
        self.app = app
        self.names = own_names() | {name.casefold() for name in names}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or hand on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]}
        began = False

        async def sent(message: Message) -> None:
            nonlocal began
            if message["type"] == "http.response.start":
                began = True
                given = list(message.get("headers", ()))
                there = {key.lower() for key, _ in given}
                given += [(k.encode(), v.encode()) for k, v in _HEADERS.items() if k.encode() not in there]
                message["headers"] = given
            await send(message)

        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _say(sent, *refusal)
            return
        left = _bound(scope["path"])
        declared = headers.get("content-length", "0")
        if not declared.isdecimal() or int(declared) > left:
            await _say(sent, 413, f"at most {left // 2**20} MiB are taken here")
            return

        async def counted() -> Message:
            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if left < 0:
                raise TooLarge
            return message

        try:
            await self.app(scope, counted, sent)
        except TooLarge:
            if not began:
                await _say(sent, 413, "more came than is taken here")

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if not self._known(host):
            return 421, "this server is not asked under that name; start it with --name to allow it"
        if scope["method"] not in _READING:
            site, origin = headers.get("sec-fetch-site", ""), headers.get("origin", "")
            foreign = origin and origin.partition("://")[2] != host
            if site not in ("", "same-origin", "none") or (not site and foreign):
                return 403, "this came from another site"
        return None

    def _known(self, host: str) -> bool:
        name = host.casefold()
        if name.startswith("["):
            name = name[1:].partition("]")[0]
        elif name.count(":") == 1:
            name = name.partition(":")[0]
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return name in self.names
        return True


def _bound(path: str) -> int:
    if path in ("/api/import", "/import"):
        return LARGEST_PARCEL
    if path.startswith("/api/photos") or path.endswith(("/photos", "/recordings")):
        return LARGEST_PHOTO + LARGEST_FORM
    return LARGEST_FORM


async def _say(send: Send, status: int, text: str) -> None:
    body = text.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
