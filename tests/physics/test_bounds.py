"""Where the laws hold."""

from __future__ import annotations

import math

import pytest

from humclick.errors import OutOfRange
from humclick.physics.bounds import between, not_negative, positive


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf, -math.inf, True])
def test_what_is_not_a_finite_number_above_zero_is_refused_with_what_would_be_right(value: float) -> None:
    """Zero, negative, infinite and not-a-number are refused, and the message says what would be right."""
    with pytest.raises(OutOfRange, match="capacitance must be a finite number of F above zero, got"):
        positive(value, "capacitance", "F")


@pytest.mark.parametrize("value", [-1, math.nan, math.inf])
def test_zero_passes_where_only_negative_numbers_are_wrong(value: float) -> None:
    """Zero is let through where only negative numbers are senseless."""
    assert not_negative(0, "current", "A") == 0
    with pytest.raises(OutOfRange, match="current must be zero or"):
        not_negative(value, "current", "A")


@pytest.mark.parametrize("value", [-60.01, 250.01, math.nan, math.inf])
def test_a_range_includes_its_ends_and_nothing_beyond(value: float) -> None:
    """Both ends of a range are let through and everything beyond is refused."""
    assert (between(-60, -60, 250, "t", "°C"), between(250, -60, 250, "t", "°C")) == (-60, 250)
    with pytest.raises(OutOfRange, match="t must be from -60 to 250 °C"):
        between(value, -60, 250, "t", "°C")
