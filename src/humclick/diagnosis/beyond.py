"""Four faults and more at once, which are not worked out: how that is said."""

from __future__ import annotations

from humclick.messages import Message
from humclick.readings.shown import percent

__all__ = ["four_or_more"]

#: A bound from here on bounds nothing. [-]
_NO_BOUND = 0.5


def four_or_more(beyond: float) -> Message:
    """
    What is said of more than three faults at once.

    Parameters
    ----------
    beyond : float
        Most that they can hold of the probability. [-]

    Examples
    --------
    >>> four_or_more(0.02), four_or_more(1.0)
    ('Four or more faults at once: 2 % at most', 'Four or more faults at once are not ruled out')
    """
    if beyond >= _NO_BOUND:
        return Message("Four or more faults at once are not ruled out")
    return Message("Four or more faults at once: {chance} at most", chance=percent(beyond))
