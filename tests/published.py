"""
The register of checks against the outside world.

``@published(source=…, where=…)`` marks a test that compares with a published number; the docs list is
made from the register. ``common practice`` and ``from memory`` are sources too, and are shown as such.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

F = TypeVar("F", bound=Callable[..., object])


@dataclass(frozen=True)
class Check:
    """One published check."""

    test: str
    says: str
    source: str
    where: str
    printed_to: str


REGISTER: list[Check] = []


def published(*, source: str, where: str, printed_to: str = "") -> Callable[[F], F]:
    """Register a test as a check against `source` at `where`, to the precision of the printed value."""

    def mark(test: F) -> F:
        says = (test.__doc__ or "").strip().splitlines()[0]
        REGISTER.append(Check(f"{test.__module__}.{test.__name__}", says, source, where, printed_to))
        return test

    return mark
