"""The switch of the faults that `benchmarks.mutations` puts into a copy of the sources."""

from __future__ import annotations

import os

__all__ = ["ACTIVE", "SEEN", "on"]

#: Number of the fault that is awake, none below zero; what a test starts is told by its environment.
ACTIVE = int(os.environ.get("MUTANT", "-1"))
#: Numbers of the places that were come by.
SEEN: set[int] = set()


def on(number: int) -> bool:
    """Whether a fault is awake; notes that its place was come by."""
    SEEN.add(number)
    return number == ACTIVE
