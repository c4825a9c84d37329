"""
Repeats after re-seating the probes: new evidence about the same part, not a new part.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.meters import Meter, Quantity, default_meter
from humclick.readings.reading import Reading
from humclick.readings.shown import format_si

__all__ = ["Repeats", "spread_of"]


@dataclass(frozen=True, slots=True)
class Repeats:
    """How far the repeats of one reading lie apart."""

    readings: tuple[Reading, ...]  #: In the order taken.
    #: Of those with a value; None if all are over limit. [SI]
    lowest: float | None
    highest: float | None
    #: Sample standard deviation; None with fewer than two values, or if some are over limit. [SI]
    scatter: float | None
    #: Whether the meter's last digits explain the difference; None for a single reading.
    settled: bool | None
    sentence: Message  #: The same in plain words.


def spread_of(readings: Sequence[Reading], meter: Meter | None = None) -> Repeats:
    """
    Compare repeats of one reading.

    All are of one quantity, taken at the same two points with `meter`, or the program's default. Raises
    `OutOfRange` if there is none, or they are of different quantities.

    The percent part of the meter's error is the same in all, so only the counts part can part them: two
    readings differ by no more than twice the counts. What differs more is contact, heat or charge.
    """
    if not readings:
        raise OutOfRange(Message("repeats need at least one reading"))
    quantities = sorted({reading.quantity for reading in readings})
    if len(quantities) > 1:
        raise OutOfRange(
            Message("repeats must be of one quantity, got {quantities}", quantities=" and ".join(quantities))
        )
    values = [reading.value for reading in readings if reading.value is not None]
    lowest, highest = (min(values), max(values)) if values else (None, None)
    over = len(readings) - len(values)
    scatter = statistics.stdev(values) if len(values) > 1 and not over else None
    settled = None if len(readings) == 1 else _settled(readings, meter)
    sentence = _sentence(readings, settled)
    return Repeats(tuple(readings), lowest, highest, scatter, settled, sentence)


def _settled(readings: Sequence[Reading], meter: Meter | None) -> bool:
    """Whether the counts explain the difference."""
    values = [reading.value for reading in readings if reading.value is not None]
    if len(values) < len(readings):
        return not values
    quantity = readings[0].quantity
    if meter is None or not meter.measures(quantity):
        meter = default_meter()
    counts = max(meter.count_limit(quantity, value) for value in values)
    # The last digits are decimal, the differences binary: a billionth is no difference.
    return max(values) - min(values) <= 2 * counts * (1 + 1e-9)


def _reading_text(reading: Reading) -> str:
    """A reading with its unit and the digits typed."""
    if reading.below_resolution and reading.resolution is not None:
        return Message("below {amount}", amount=format_si(reading.resolution, reading.quantity, 1))
    if not reading.value or reading.resolution is None:
        return format_si(reading.value, reading.quantity)
    digits = math.floor(math.log10(abs(reading.value) / reading.resolution) + 1e-9) + 1
    return format_si(reading.value, reading.quantity, min(max(digits, 1), 9))


def _sentence(readings: Sequence[Reading], settled: bool | None) -> Message:
    """The repeats in plain words."""
    texts = tuple(_reading_text(reading) for reading in readings)
    if settled is None:
        return Message("one reading: {readings}", readings=texts)
    if settled:
        return Message("steady: {readings}", readings=texts)
    if readings[0].quantity is Quantity.RESISTANCE:
        return Message(
            "scattered: {readings}; contact not settled, clean the points, press the probes and read again",
            readings=texts,
        )
    return Message("scattered: {readings}; not settled, wait and read again", readings=texts)
