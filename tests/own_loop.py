"""Coroutines run in a thread of their own: a worker that drives a browser has a loop running already."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

__all__ = ["run"]

T = TypeVar("T")


def run(work: Coroutine[Any, Any, T]) -> T:
    """What a coroutine returns."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()
