"""
What stands before every request: bounds, origin, host; and what goes with every answer: the security headers.

The content-security policy lets nothing in from elsewhere and no script or style that stands in a page.
``wasm-unsafe-eval`` allows WebAssembly to be compiled, which Python in the browser is; it allows no
``eval``. A changing request must come from the same site (Fetch Metadata, W3C; else the ``Origin`` header).
The host named must be this machine or an address in figures, so that no foreign name can be made to point
here (DNS rebinding). How large a body may be stands in `humclick.limits.BODIES`; one that stops coming is not
waited for, and all that is coming in at one time has a bound as well. Sizes in bytes.
"""

from __future__ import annotations

import asyncio
import ipaddress
import re
import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from humclick.limits import BODIES_BYTES, BODY_SECONDS, JSON_DEPTH, body_of
from humclick.messages import Message
from humclick.web.asked import said_to

Scope = MutableMapping[str, Any]
Event = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Event]]
Send = Callable[[Event], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

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


#: What opens, closes or hides a list in JSON.
_JSON_MARK = re.compile(rb'[]["{}\\]')


class Unfit(Exception):
    """A request's body that is not taken: the status, why, and what would be right."""

    def __init__(self, status: int, text: Message) -> None:
        super().__init__(text)
        self.status = status
        self.text = text


class JsonDepth:
    """How deep lists and tables stand within each other, told piece by piece as JSON comes in."""

    def __init__(self) -> None:
        self.depth = 0
        self._quoted = False
        self._escaped_at = -1

    def take(self, piece: bytes) -> None:
        """Look at the next piece; `Unfit` if it goes deeper than `JSON_DEPTH`."""
        skip = self._escaped_at
        for match in _JSON_MARK.finditer(piece):
            at, mark = match.start(), match[0]
            if at == skip:
                continue
            if self._quoted:
                if mark == b"\\":
                    skip = at + 1
                elif mark == b'"':
                    self._quoted = False
            elif mark == b'"':
                self._quoted = True
            elif mark in b"[{":
                self.depth += 1
                if self.depth > JSON_DEPTH:
                    raise Unfit(
                        422,
                        Message("nested more than {most} deep; events and forms are flat", most=JSON_DEPTH),
                    )
            elif mark in b"]}":
                self.depth -= 1
        self._escaped_at = 0 if skip == len(piece) else -1


def own_names() -> frozenset[str]:
    """Names under which this machine is called: ``localhost`` and its own."""
    name = socket.gethostname().casefold()
    return frozenset({"localhost", name, name.partition(".")[0], f"{name.partition('.')[0]}.local"})


class _Coming:
    """The body of one request as it comes, counted and looked at."""

    def __init__(self, guard: Guard, receive: Receive, most: int, looked: JsonDepth | None) -> None:
        self.guard, self.receive, self.most, self.looked = guard, receive, most, looked
        self.taken, self.whole = 0, False
        self.unfit: Unfit | None = None

    async def message(self) -> Event:
        """The next piece of it."""
        if self.whole:
            return await self.receive()
        try:
            return await self._piece()
        except Unfit as unfit:
            self.unfit = unfit
            raise

    async def _piece(self) -> Event:
        try:
            message = await asyncio.wait_for(self.receive(), BODY_SECONDS)
        except TimeoutError:
            raise Unfit(408, Message("what you send stopped coming; send it again")) from None
        body = message.get("body", b"")
        self.whole = not message.get("more_body", False)
        self.taken += len(body)
        self.guard.coming += len(body)
        if self.taken > self.most:
            raise Unfit(413, _too_large(self.most))
        if self.guard.coming > BODIES_BYTES:
            raise Unfit(503, Message("too much is being sent at one time; try again in a minute"))
        if self.looked is not None:
            self.looked.take(body)
        return message


class Guard:
    """ASGI middleware; it knows further names under which the server is asked, as behind a reverse proxy."""

    def __init__(self, app: App, names: Iterable[str] = ()) -> None:
        self.app = app
        self.names = own_names() | {name.casefold() for name in names}
        self.coming = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or hand on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = {key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]}
        began = False

        async def sent(message: Event) -> None:
            nonlocal began
            if coming.unfit is not None and not began:  # whatever is made of it: the body was not taken
                return
            if message["type"] == "http.response.start":
                began = True
                pairs = list(message.get("headers", ()))
                there = {key.lower() for key, _ in pairs}
                pairs += [(k.encode(), v.encode()) for k, v in _HEADERS.items() if k.encode() not in there]
                message["headers"] = pairs
            await send(message)

        most = body_of(scope["path"]).most
        coming = _Coming(self, receive, most, JsonDepth() if _is_json(scope, headers) else None)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _say(sent, refusal[0], said_to(headers, refusal[1]))
            return
        declared = headers.get("content-length", "0")
        if not declared.isdecimal() or len(declared) > 15 or int(declared) > most:
            await _say(sent, 413, said_to(headers, _too_large(most)))
            return
        try:
            await self.app(scope, coming.message, sent)
        except Unfit:
            pass
        finally:
            self.coming -= coming.taken
        if coming.unfit is not None and not began:
            status, text = coming.unfit.status, coming.unfit.text
            coming.unfit = None
            await _say(sent, status, said_to(headers, text))

    def _refusal(self, scope: Scope, headers: dict[str, str]) -> tuple[int, Message] | None:
        host = headers.get("host", "")
        if not self._known(host):
            return 421, Message("this server is not asked under that name; start it with --name to allow it")
        if scope["method"] not in _READING:
            site, origin = headers.get("sec-fetch-site", ""), headers.get("origin", "")
            foreign = origin and origin.partition("://")[2] != host
            if site not in ("", "same-origin", "none") or (not site and foreign):
                return 403, Message("this came from another site")
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


def _too_large(most: int) -> Message:
    return Message("at most {most} MiB are taken here", most=most // 2**20)


def _is_json(scope: Scope, headers: dict[str, str]) -> bool:
    return "json" in headers.get("content-type", "") or str(scope["path"]).endswith("/events")


async def _say(send: Send, status: int, text: str) -> None:
    body = text.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
