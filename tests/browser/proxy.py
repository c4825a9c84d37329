"""
What stands between a phone and its server and does not behave: sign-in pages, lost replies, doubled requests.

It carries one request a connection, by bytes, so that it can break off where a network would.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import re
import threading
from collections.abc import Callable

__all__ = ["FAULTS", "Proxy"]

_SIGN_IN = b"<!doctype html><title>Sign in</title><h1>Sign in to the network</h1>"

#: What is answered instead of the server's answer; the request does not arrive.
INSTEAD: dict[str, bytes] = {
    "sign-in": b"HTTP/1.1 302 Found\r\nLocation: /sign-in\r\nContent-Length: 0\r\n",
    "page": b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\n",
    "no content": b"HTTP/1.1 204 No Content\r\nContent-Length: 0\r\n",
    "other json": b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n",
    "old json": b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n",
    "other ids": b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n",
    "no json": b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n",
    "bad gateway": b"HTTP/1.1 502 Bad Gateway\r\nContent-Type: text/html\r\n",
    "unavailable": b"HTTP/1.1 503 Service Unavailable\r\nContent-Type: application/json\r\n",
    "too many": b"HTTP/1.1 429 Too Many Requests\r\nContent-Type: application/json\r\n",
    "forbidden": b"HTTP/1.1 403 Forbidden\r\nContent-Type: text/plain\r\n",
}
_BODIES = {
    "page": _SIGN_IN,
    "other json": b'{"ok": true}',
    "old json": b'{"added": 1, "version": "0123456789abcdef", "conflicts": []}',
    "other ids": b'{"results": [{"id": "another", "kept": true, "error": ""}, {"kept": true}, {"id": 7}]}',
    "no json": b'{"results": [',
    "bad gateway": _SIGN_IN,
    "unavailable": b'{"error": "the disk is full"}',
    "too many": b'{"error": "slow down"}',
    "forbidden": b"forbidden",
}
_TOO_LARGE = b"HTTP/1.1 413 Content Too Large\r\nContent-Type: text/html\r\n"
#: What happens to a request that arrives, or to its reply.
ARRIVED = ("lost reply", "half a reply", "doubled")
#: Everything that may go wrong.
FAULTS = (*INSTEAD, "lost", *ARRIVED)


class Proxy:
    """
    A proxy before a server.

    Parameters
    ----------
    server : callable
        The port of the server now.

    Attributes
    ----------
    fault : callable
        What goes wrong with a method and path; empty for nothing.
    largest : int
        Where ``too large`` goes wrong: the largest body that is carried. [byte]
    seen : list of (method, path, fault)
        Every request to the interface.
    """

    def __init__(self, server: Callable[[], int]) -> None:
        self.server = server
        self.fault: Callable[[str, str], str] = lambda method, path: ""
        self.seen: list[tuple[str, str, str]] = []
        self.largest = 600
        self.port = 0
        self._carrying: set[asyncio.Task[None]] = set()
        self._loop = asyncio.new_event_loop()
        began = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(began,), daemon=True)
        self._thread.start()
        began.wait()

    @property
    def address(self) -> str:
        """Where it is, without a slash at the end."""
        return f"http://127.0.0.1:{self.port}"

    def goes_wrong(self, fault: str, pattern: str = "/api/") -> None:
        """From here on this goes wrong with every request whose method and path hold the pattern."""
        self.fault = lambda method, path: fault if re.search(pattern, f"{method} {path}") else ""

    def stop(self) -> None:
        """End it."""
        self._loop.call_soon_threadsafe(self._over.set)
        self._thread.join(10)

    def _run(self, began: threading.Event) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
            runner.run(self._serve(began))

    async def _serve(self, began: threading.Event) -> None:
        self._over = asyncio.Event()
        async with await asyncio.start_server(self._carry, "127.0.0.1", 0) as opened:
            self.port = opened.sockets[0].getsockname()[1]
            began.set()
            await self._over.wait()
        for task in self._carrying:
            task.cancel()
        await asyncio.gather(*self._carrying, return_exceptions=True)
        await asyncio.sleep(0.1)  # until what was closed is

    async def _carry(self, phone: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._carrying.add(task)
        task.add_done_callback(self._carrying.discard)
        try:
            with contextlib.suppress(OSError, asyncio.IncompleteReadError, ValueError):
                head = await phone.readuntil(b"\r\n\r\n")
                length = re.search(rb"\r\ncontent-length: *(\d+)", head, re.IGNORECASE)
                body = await phone.readexactly(int(length[1])) if length else b""
                method, path = head.split(b" ", 2)[:2]
                await self._answer(method.decode(), path.decode(), head, body, back)
        finally:
            back.close()

    async def _answer(
        self, method: str, path: str, head: bytes, body: bytes, back: asyncio.StreamWriter
    ) -> None:
        if path == "/sign-in":
            back.write(_answered("page"))
            return
        fault = self.fault(method, path)
        if "/api/" in path:
            self.seen.append((method, path, fault))
        if fault == "late":
            await asyncio.sleep(random.uniform(0.05, 1.0))
        if fault == "too large" and len(body) > self.largest:
            back.write(_answered("entity too large"))
        elif fault in INSTEAD:
            back.write(_answered(fault))
        elif fault == "lost":
            back.transport.abort()
        else:
            for _ in range(2 if fault == "doubled" else 1):
                reply = await self._asked(head, body)
            if fault == "lost reply":
                back.transport.abort()
                return
            back.write(reply[: len(reply) // 2] if fault == "half a reply" else reply)
        await back.drain()

    async def _asked(self, head: bytes, body: bytes) -> bytes:
        """The server's reply, whole."""
        head = re.sub(rb"\r\nconnection: *[^\r]*", b"", head, flags=re.IGNORECASE)
        head = head[:-2] + b"Connection: close\r\n\r\n"
        there, to = await asyncio.open_connection("127.0.0.1", self.server())
        try:
            to.write(head + body)
            await to.drain()
            return await there.read()
        finally:
            to.close()


def _answered(fault: str) -> bytes:
    given = INSTEAD.get(fault, _TOO_LARGE)
    body = _BODIES.get(fault, b"" if fault in INSTEAD else _SIGN_IN)
    length = b"" if b"Content-Length" in given else b"Content-Length: %d\r\n" % len(body)
    return given + length + b"Connection: close\r\n\r\n" + body
