"""
The register of hazards and the tests of what stands before them.

``@controls("hot-pill", …)`` marks a test that fails where a control of these hazards is gone; the table of
hazards in the docs is made from the register.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from humclick.safety import hazard

F = TypeVar("F", bound=Callable[..., object])

#: Names of tests by hazard.
CONTROLLED: dict[str, list[str]] = {}


def controls(*names: str) -> Callable[[F], F]:
    """Register a test as the test of what stands before some hazards."""

    def mark(test: F) -> F:
        for name in names:
            CONTROLLED.setdefault(hazard(name).name, []).append(f"{test.__module__}.{test.__name__}")
        return test

    return mark
