"""What the tests of the server share: a store in a folder of its own, the server on it, and pictures."""

from __future__ import annotations

import asyncio
import io
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx
from fastapi import FastAPI
from PIL import Image

from humclick.web.app import create_app
from humclick.web.office import standard_office
from humclick.web.store import Store

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "examples"

#: A call as a phone would send it: opened, described, one reading.
EVENTS: list[dict[str, Any]] = [
    {
        "kind": "opened",
        "id": "e1",
        "at": "2026-03-02T09:00:00+01:00",
        "customer": "invented",
        "invented": True,
    },
    {"kind": "machine", "id": "e2", "at": "2026-03-02T09:01:00+01:00", "arrangement": "rsir-ptc"},
    {"kind": "complaint", "id": "e3", "at": "2026-03-02T09:02:00+01:00", "heard": "hum_click"},
    {"kind": "reading", "id": "e4", "at": "2026-03-02T09:03:00+01:00", "probe": "pins.C-R", "value": "4.7"},
]


class Client:
    """
    Asks the application itself, without a network; nothing is followed, cookies are kept.

    Parameters
    ----------
    app : FastAPI
        The application.
    """

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        self.cookies = httpx.Cookies()

    def __call__(self, method: str, path: str, **given: Any) -> httpx.Response:
        """One request."""
        with ThreadPoolExecutor(1) as apart:  # a browser test before this one leaves its loop running here
            return apart.submit(asyncio.run, self._asked(method, path, **given)).result()

    async def _asked(self, method: str, path: str, **given: Any) -> httpx.Response:
        transport = httpx.ASGITransport(app=self.app)
        async with httpx.AsyncClient(
            transport=transport, base_url="http://localhost", cookies=self.cookies
        ) as asked:
            answer = await asked.request(method, path, **given)
            self.cookies = asked.cookies
            return answer


def client(folder: Path, *, examples: Path | None = None, **given: Any) -> Client:
    """A client of a server on a folder."""
    return Client(create_app(standard_office(Store.at(folder, examples)), **given))


def picture(
    width: int = 640, height: int = 480, *, form: str = "JPEG", exif: Image.Exif | None = None, **more: Any
) -> bytes:
    """A picture of one colour."""
    out = io.BytesIO()
    if exif is not None:
        more["exif"] = exif
    Image.new("RGB", (width, height), (90, 120, 60)).save(out, form, **more)
    return out.getvalue()
