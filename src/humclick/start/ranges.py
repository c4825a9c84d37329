"""An answer as a range: what nine in ten of the possible machines would show."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.messages import Message

__all__ = ["Range", "range_of"]


@dataclass(frozen=True, slots=True)
class Range:
    """A quantity that is known within limits."""

    #: Limits of the range and the median; infinite where it never happens. In `unit`.
    low: float
    middle: float
    high: float
    unit: str = ""  #: Of all three.

    def holds(self, value: float) -> bool:
        """Whether `value`, in the same unit, lies within."""
        return self.low <= value <= self.high


def _at(ordered: list[float], share: float) -> float:
    place = share * (len(ordered) - 1)
    below = math.floor(place)
    above = min(below + 1, len(ordered) - 1)
    a, b = ordered[below], ordered[above]
    if a == b or place == below:
        return a
    if not (math.isfinite(a) and math.isfinite(b)):
        return b if place - below > 0.5 else a
    return a + (b - a) * (place - below)


def range_of(values: Iterable[float], unit: str = "", level: float = 0.9) -> Range:
    """
    The central range of equally probable values.

    An infinite value stands for never; `level` is the share of the values within. [-] Raises `OutOfRange` if
    there is no value, or the level does not lie between 0 and 1.

    >>> range_of([1, 2, 3, 4, 5], "A", 0.5)
    Range(low=2.0, middle=3.0, high=4.0, unit='A')
    """
    ordered = sorted(float(value) for value in values if not math.isnan(value))
    if not ordered:
        raise OutOfRange(Message("a range needs at least one value"))
    if not 0 < level < 1:
        raise OutOfRange(
            Message("the level of a range must lie between 0 and 1, got {level}", level=repr(level))
        )
    tail = (1 - level) / 2
    return Range(_at(ordered, tail), _at(ordered, 0.5), _at(ordered, 1 - tail), unit)
