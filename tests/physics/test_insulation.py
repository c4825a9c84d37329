"""Insulation: what a resistance to ground is worth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Unknown
from humclick.physics.insulation import (
    corrected_to_40,
    judge,
    judge_polarization,
    minimum_ohms,
    polarization_index,
)
from tests.published import published

readings = st.floats(1e3, 1e12)
temperatures = st.floats(-10, 110)


@published(source="IEEE 43-2013", where="minimum insulation resistance, from memory", printed_to="exact")
def test_minimum_follows_the_kind_of_winding() -> None:
    """Random windings want 5 MΩ, form windings 100 MΩ, windings before 1970 kV + 1 MΩ."""
    assert minimum_ohms() == minimum_ohms("random wound") == 5e6
    assert minimum_ohms("form wound") == 100e6
    assert minimum_ohms("before 1970", 0.23) == pytest.approx(1.23e6)


@published(source="IEEE 43", where="halving per 10 K, thermoplastic, from memory", printed_to="exact")
def test_ten_kelvin_more_halve_the_resistance() -> None:
    """A reading of 100 MΩ at 20 °C is 25 MΩ at 40 °C, and 40 MΩ at 20 °C is 10 MΩ."""
    assert corrected_to_40(100e6, 20) == pytest.approx(25e6)
    assert corrected_to_40(40e6, 20) == pytest.approx(10e6)


@published(source="IEEE 43", where="polarization index, minimum by thermal class", printed_to="exact")
def test_polarization_index_is_judged_by_thermal_class() -> None:
    """An index of 3.0 passes class F; 1.7 passes class A and fails class B, F and H."""
    assert polarization_index(60e6, 180e6) == pytest.approx(3.0)
    assert judge_polarization(60e6, 180e6, "F").passes is True
    assert [judge_polarization(100e6, 170e6, c).passes for c in "ABFH"] == [True, False, False, False]


@published(
    source="IEEE 43", where="polarization index, 5000 MΩ at one minute, from memory", printed_to="exact"
)
def test_polarization_is_not_judged_when_the_insulation_is_too_good() -> None:
    """Above 5000 MΩ after one minute the index says nothing."""
    assert judge_polarization(6e9, 6e9).passes is None
    assert judge_polarization(5e9, 6e9).passes is False


@published(source="common practice", where="hermetic motor good from 100 MΩ", printed_to="exact")
def test_a_hermetic_motor_passes_below_good_with_a_suspicion() -> None:
    """A motor between its minimum and 100 MΩ passes with moisture or acid suspected."""
    middling, good = judge(50e6, 40), judge(500e6, 40)
    assert middling.passes
    assert "suspect moisture or acid" in middling.says
    assert good.passes
    assert "suspect" not in good.says


def test_a_reading_below_the_minimum_forbids_energising() -> None:
    """A reading below the minimum fails and says not to energise."""
    verdict = judge(0.4e6, 25)
    assert not verdict.passes
    assert "do not energise" in verdict.says
    assert "750 W" in verdict.caveat


@given(readings, temperatures)
def test_a_verdict_passes_exactly_when_the_corrected_reading_reaches_the_minimum(
    ohms: float, celsius: float
) -> None:
    """Passing means the corrected reading reaches the minimum."""
    verdict = judge(ohms, celsius)
    assert verdict.passes == (corrected_to_40(ohms, celsius) >= 5e6)


@given(readings, temperatures, temperatures)
def test_the_same_reading_is_worth_more_on_a_hotter_winding(ohms: float, a: float, b: float) -> None:
    """The corrected resistance does not fall as the winding temperature of the reading rises."""
    low, high = sorted((a, b))
    assert corrected_to_40(ohms, low) <= corrected_to_40(ohms, high)


@pytest.mark.parametrize("ohms", [0, -1, math.nan, math.inf])
def test_a_reading_that_cannot_be_is_refused(ohms: float) -> None:
    """Zero, negative and endless readings are refused with what to give for over-range."""
    with pytest.raises(OutOfRange, match="top of the tester's range"):
        judge(ohms, 25)


def test_a_winding_too_hot_to_correct_is_refused() -> None:
    """A winding temperature outside the correction is refused with its range."""
    with pytest.raises(OutOfRange, match="from -10 to 110 °C"):
        corrected_to_40(1e6, 150)


def test_unknown_windings_and_classes_are_refused() -> None:
    """A kind of winding or a thermal class that is not listed is refused."""
    with pytest.raises(Unknown, match="did you mean random wound"):
        minimum_ohms("random")
    with pytest.raises(Unknown, match="thermal class"):
        judge_polarization(1e6, 2e6, "Z")
