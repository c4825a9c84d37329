"""
What is worked out once for a thing and forgotten with it: tables by typed keys.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any, Generic, TypeVar

__all__ = ["Memory", "Remembering"]

K = TypeVar("K", bound=Hashable)
V = TypeVar("V")


class Remembering:
    """Something that carries the tables of what was worked out for it."""

    def __init__(self) -> None:
        self._tables: dict[Memory[Any, Any], dict[Any, Any]] = {}

    def table(self, memory: Memory[K, V]) -> dict[K, V]:
        """Its own table of a kind of memory, empty at first."""
        return self._tables.setdefault(memory, {})


class Memory(Generic[K, V]):
    """A kind of memory: for each thing that remembers a table, by keys of one type."""

    def of(self, owner: Remembering) -> dict[K, V]:
        """The table of one thing."""
        return owner.table(self)
