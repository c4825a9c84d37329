"""
Where the laws hold: every number is looked at before it is used.
"""

from __future__ import annotations

import math

from humclick.errors import OutOfRange
from humclick.messages import Message

__all__ = ["between", "not_negative", "positive"]


def _refusal(value: object, name: str, right: Message) -> OutOfRange:
    known = Message.of(name)  # the catalogue has the names that are given here
    return OutOfRange(
        Message("{name} must be {right}, got {value}", name=known, right=right, value=repr(value))
    )


def _finite(value: float, name: str, right: Message) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise OutOfRange(
            Message(
                "{name} must be {right}, got {value}", name=Message.of(name), right=right, value=repr(value)
            )
        )
    return float(value)


def positive(value: float, name: str, unit: str) -> float:
    """
    Let a finite number above zero through.

    Raises
    ------
    OutOfRange
        If `value` is zero, negative, infinite or not a number.

    Examples
    --------
    >>> positive(4, "resistance", "Ω")
    4.0
    """
    right = Message("a finite number of {unit} above zero", unit=Message.of(unit))
    if _finite(value, name, right) <= 0:
        raise OutOfRange(
            Message(
                "{name} must be {right}, got {value}", name=Message.of(name), right=right, value=repr(value)
            )
        )
    return float(value)


def not_negative(value: float, name: str, unit: str) -> float:
    """
    Let zero and finite numbers above it through.

    Raises
    ------
    OutOfRange
        If `value` is negative, infinite or not a number.

    Examples
    --------
    >>> not_negative(0, "current", "A")
    0.0
    """
    right = Message("zero or a finite number of {unit} above it", unit=Message.of(unit))
    if _finite(value, name, right) < 0:
        raise OutOfRange(
            Message(
                "{name} must be {right}, got {value}", name=Message.of(name), right=right, value=repr(value)
            )
        )
    return float(value)


def between(value: float, lowest: float, highest: float, name: str, unit: str) -> float:
    """
    Let a number from `lowest` to `highest`, both included, through.

    Raises
    ------
    OutOfRange
        If `value` lies outside, is infinite or is not a number.

    Examples
    --------
    >>> between(25, -60, 250, "winding temperature", "°C")
    25.0
    """
    right = Message("from {low:g} to {high:g} {unit}", low=lowest, high=highest, unit=Message.of(unit))
    if not lowest <= _finite(value, name, right) <= highest:
        raise OutOfRange(
            Message(
                "{name} must be {right}, got {value}", name=Message.of(name), right=right, value=repr(value)
            )
        )
    return float(value)
