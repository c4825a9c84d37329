"""The guard's bounds on bodies: by address, in all, and in time."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick import limits
from humclick.limits import BODIES, FORM_BYTES, LIMITS, body_of
from humclick.web import guard
from humclick.web.guard import Guard
from tests.own_loop import run
from tests.web.bench import client

ROOT = Path(__file__).resolve().parents[2]


async def greedy(scope: Any, receive: Any, send: Any) -> None:
    """An application that reads its whole body and hides whatever goes wrong in that."""
    status = 200
    try:
        while (await receive()).get("more_body"):
            pass
    except Exception:
        status = 400
    await send({"type": "http.response.start", "status": status, "headers": []})
    await send({"type": "http.response.body", "body": b""})


def scope_of(path: str, **headers: str) -> dict[str, Any]:
    given = [
        (b"host", b"localhost"),
        *((k.replace("_", "-").encode(), v.encode()) for k, v in headers.items()),
    ]
    return {"type": "http", "method": "POST", "path": path, "headers": given}


async def asked(stands: Guard, scope: dict[str, Any], pieces: Iterator[bytes | None]) -> int:
    """Status of one request whose body comes in pieces; at None it stops coming."""
    got: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        piece = next(pieces, b"")
        if piece is None:
            await asyncio.sleep(60)
        return {"type": "http.request", "body": piece or b"", "more_body": bool(piece)}

    async def send(message: Any) -> None:
        got.append(message)

    await stands(scope, receive, send)
    return int(got[0]["status"])


#: Addresses that take each kind of body.
PATHS = (
    *("/import", "/api/import", "/api/photos", "/api/photos/0", "/call/c1/photos", "/call/c1/recordings"),
    *("/api/calls/c1/recordings", "/api/calls/c1/events", "/call/c1/reading", "/"),
)


@pytest.mark.parametrize("path", PATHS)
def test_each_address_takes_its_own_bound_and_no_more(path: str) -> None:
    """Told beforehand or found while it comes, more than the bound is 413, however it is read."""
    assert {body_of(each) for each in PATHS} == set(BODIES)
    most = body_of(path).most

    def pieces(count: int) -> Iterator[bytes | None]:
        size = 1 << 20
        while count > 0:
            yield bytes(min(size, count))
            count -= size

    stands = Guard(greedy)
    assert run(asked(stands, scope_of(path), pieces(most))) == 200
    assert run(asked(stands, scope_of(path), pieces(most + 1))) == 413
    assert run(asked(stands, scope_of(path, content_length=str(most + 1)), pieces(0))) == 413
    assert run(asked(stands, scope_of(path, content_length="9" * 5000), pieces(0))) == 413
    assert stands.coming == 0


@given(st.text(max_size=30))
def test_every_path_has_a_bound(path: str) -> None:
    """No path falls through the table."""
    assert body_of("/" + path).most >= FORM_BYTES


def test_a_body_that_stops_coming_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """After so many seconds without a piece the answer is 408."""
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.05)
    stands = Guard(greedy)
    assert run(asked(stands, scope_of("/x"), iter([b"a", None]))) == 408
    assert stands.coming == 0


def test_all_that_comes_at_one_time_has_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many bodies at once, each within its own bound, are together no more than the server holds."""
    monkeypatch.setattr(guard, "BODIES_BYTES", 3_000_000)
    stands = Guard(greedy)

    async def slow() -> list[int]:
        gate = asyncio.Event()

        async def one() -> int:
            got: list[int] = []
            sent = 0

            async def receive() -> dict[str, Any]:
                nonlocal sent
                sent += 1
                if sent == 2:
                    await gate.wait()
                return {
                    "type": "http.request",
                    "body": bytes(900_000 if sent == 1 else 0),
                    "more_body": sent < 2,
                }

            async def send(message: Any) -> None:
                got.append(message.get("status", 0))

            await stands(scope_of("/x"), receive, send)
            return got[0]

        waiting = [asyncio.create_task(one()) for _ in range(5)]
        await asyncio.sleep(0.05)
        gate.set()
        return await asyncio.gather(*waiting)

    assert sorted(run(slow())) == [200, 200, 200, 503, 503]
    assert stands.coming == 0


def test_a_refused_body_is_said_by_the_server_itself(tmp_path: Path) -> None:
    """The real application answers 413 in words too."""
    answer = client(tmp_path)("POST", "/api/calls/c1/events", content=bytes(FORM_BYTES + 1))
    assert answer.status_code == 413
    assert "2 MiB" in answer.text


def test_the_page_on_limits_names_every_bound() -> None:
    """Each bound of the module stands in the table, and the table on the page."""
    page = (ROOT / "docs" / "reference" / "limits.md").read_text("utf-8")
    names = [limit.name for limit in LIMITS]
    assert len(set(names)) == len(names)
    assert {name for name, value in vars(limits).items() if name.isupper() and isinstance(value, int)} - {
        "_MIB"
    } == set(names)
    for limit in LIMITS:
        assert f"`{limit.name}`" in page
        assert limit.most > 0
        assert limit.why
