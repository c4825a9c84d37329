"""Connections that ask for nothing give their place to those that do; the log of a flood stays short."""

from __future__ import annotations

import contextlib
import logging
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from humclick.limits import BUSY_SECONDS, LOG_LINES
from humclick.web.connections import Book, ShortLog, descriptors, protocol
from tests.own_loop import run

resource = pytest.importorskip("resource")

#: Descriptors the server gets here; a flood of more connections than that.
FEW, MANY = 200, 420
_SERVE = """
import resource, sys
resource.setrlimit(resource.RLIMIT_NOFILE, ({few}, {few}))
from humclick.cli.main import main
main(["serve", "--port", "0", "--empty", "--folder", sys.argv[1], *sys.argv[2:]])
"""


@contextlib.contextmanager
def served(folder: Path, *more: str) -> Iterator[tuple[str, int, Path]]:
    """A server of few descriptors: its scheme, its port and its log."""
    log = folder / "log.txt"
    with log.open("wb") as errors:
        process = subprocess.Popen(
            [sys.executable, "-c", _SERVE.format(few=FEW), str(folder / "calls"), *more],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env={
                "PYTHONPATH": ":".join(filter(None, sys.path)),
                "HOME": str(folder),
                "PYTHONUNBUFFERED": "1",
            },
        )
        assert process.stdout is not None
        try:
            said = process.stdout.readline()
            scheme, _, port = said.split()[-1].partition("://127.0.0.1:")
            yield scheme, int(port), log
        finally:
            process.kill()
            process.stdout.close()
            process.wait()


def about(scheme: str, port: int) -> int:
    """Status of one small page, asked in earnest; waits as long as a patient person."""
    trusting = ssl.create_default_context()
    trusting.check_hostname, trusting.verify_mode = False, ssl.CERT_NONE
    address = f"{scheme}://127.0.0.1:{port}/api/about"
    for _ in range(3):  # a connection made while the house is full may be the one that is turned away
        try:
            with urllib.request.urlopen(address, timeout=20, context=trusting) as answer:
                return int(answer.status)
        except (OSError, TimeoutError):
            time.sleep(0.2)
    return 0


@pytest.mark.parametrize("more", [(), ("--certificate",)], ids=["http", "https"])
def test_half_a_request_from_hundreds_leaves_others_served(tmp_path: Path, more: tuple[str, ...]) -> None:
    """More half-open connections than the server has descriptors: others are served, and the log is short."""
    with served(tmp_path, *more) as (scheme, port, log), contextlib.ExitStack() as open_ones:
        assert about(scheme, port) == 200
        held = []
        for number in range(MANY):
            held.append(open_ones.enter_context(socket.create_connection(("127.0.0.1", port), timeout=20)))
            if scheme == "http":
                with contextlib.suppress(OSError):
                    held[-1].sendall(b"GET /api/about HTTP/1.1\r\nhost: localh")
            if number % 140 == 139:
                assert about(scheme, port) == 200
        assert about(scheme, port) == 200
        closed = 0
        for each in held:
            each.setblocking(False)
            try:
                closed += each.recv(1) == b""
            except BlockingIOError:
                continue
            except ConnectionError:
                closed += 1
        assert closed > MANY - FEW
        assert log.stat().st_size < 20_000


def test_a_request_that_is_not_whole_in_time_is_closed(tmp_path: Path) -> None:
    """Half a head, nothing at all, or half a second request: each is closed, and a whole one is answered."""
    import asyncio

    import uvicorn

    async def app(scope: object, receive: object, send: object) -> None:
        assert callable(send)
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    async def asked() -> list[bytes]:
        loop = asyncio.get_running_loop()
        made = protocol(Book())
        made.keywords["head_seconds"] = 0.2
        config = uvicorn.Config(app, http=made, lifespan="off", ws="none", timeout_keep_alive=1)
        server = uvicorn.Server(config)
        config.load()
        state = server.server_state
        listening = await loop.create_server(
            lambda: made(config=config, server_state=state, app_state={}), "127.0.0.1", 0
        )
        port = listening.sockets[0].getsockname()[1]
        whole = b"GET / HTTP/1.1\r\nhost: localhost\r\n\r\n"
        got = []
        for sent in (b"", b"GET / HTT", whole + b"GET / HTT"):
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(sent)
            got.append(await asyncio.wait_for(reader.read(), 20))
            writer.close()
        listening.close()
        return got

    nothing, half, second = run(asked())
    assert nothing == half == b""
    assert second.startswith(b"HTTP/1.1 204")


def test_the_one_that_waits_longest_gives_its_place() -> None:
    """Who is being served stays, unless it reads nothing for minutes; who waits goes, the longest first."""
    now = 0.0
    book = Book(3, clock=lambda: now)
    pairs = [socket.socketpair() for _ in range(4)]
    for number, (here, _) in enumerate(pairs[:3]):
        now = float(number)
        assert book.make_room()
        book.enter(number, here)
    book.note(0, busy=True)
    assert book.make_room()  # 1 has waited longest
    assert pairs[1][1].recv(1) == b""
    book.enter(3, pairs[3][0])
    for number in (2, 3):
        book.note(number, busy=True)
    assert not book.make_room()
    now += BUSY_SECONDS + 1
    assert book.make_room()
    assert pairs[0][1].recv(1) == b""
    assert len(book) == 2
    for pair in pairs:
        for each in pair:
            each.close()
    assert book.make_room()


def test_the_process_gets_what_descriptors_it_may() -> None:
    """The bound is raised to what is allowed and no further."""
    script = (
        "import resource; resource.setrlimit(resource.RLIMIT_NOFILE, (100, 300));"
        "from humclick.web.connections import descriptors;"
        "print(descriptors(), resource.getrlimit(resource.RLIMIT_NOFILE))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "300 (300, 300)"
    assert descriptors() >= 64


def test_a_flood_of_one_line_is_a_few_lines() -> None:
    """So many lines of one kind are written, cut to a length and printable; then how many more there were."""
    now = 0.0
    short = ShortLog(clock=lambda: now, longest=200)
    lines: list[str] = []

    class Kept(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            lines.append(self.format(record))

    logger = logging.Logger("flood")
    logger.addFilter(short)
    logger.addHandler(Kept())
    for _ in range(5000):
        logger.warning("bad request from %s", "\x1b[2J" + "x" * 1000)
    assert len(lines) == LOG_LINES
    assert all(len(line) <= 200 and line.isprintable() for line in lines)
    now = 11.0
    try:
        raise OSError("y" * 5000)
    except OSError:
        logger.exception("bad request from %s", "z")
    logger.warning("bad request from %s", "z")
    assert f"and {5000 - LOG_LINES} more" in lines[-1]
    assert len(lines[-2]) < 400
