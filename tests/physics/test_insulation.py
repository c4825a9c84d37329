"""Insulation: what a resistance to ground is worth."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Unknown
from humclick.physics.insulation import (
    InsulationStanding,
    corrected_to_40,
    judge_insulation,
    judge_polarization,
    polarization_index,
    proves_insulation,
    standing,
)
from tests.published import published

readings = st.floats(1e3, 1e12)
temperatures = st.floats(-10, 110)


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
    middling, good = judge_insulation(50e6, 40), judge_insulation(500e6, 40)
    assert middling.passes
    assert "Suspect moisture or acid" in middling.says
    assert good.passes
    assert "uspect" not in good.says


def test_a_reading_below_the_floor_is_never_powered() -> None:
    """A reading below 1 MΩ says never to power it; the limits of its source are named."""
    verdict = judge_insulation(0.4e6, 25)
    assert not verdict.passes
    assert verdict.standing is InsulationStanding.NEVER
    assert "never power it" in verdict.says
    assert "750 W" in verdict.caveat


@published(source="IEEE 43-2013", where="5 MΩ at 40 °C, random wound, from memory", printed_to="exact")
def test_a_reading_between_floor_and_minimum_is_a_warning_and_no_verdict() -> None:
    """2 MΩ at 40 °C asks for warming or drying and a retest; 5 MΩ at 40 °C is enough."""
    assert judge_insulation(2e6, 40).standing is InsulationStanding.RETEST
    assert "a warning, not a verdict" in judge_insulation(2e6, 40).says
    assert judge_insulation(5e6, 40).passes
    assert judge_insulation(19e6, 20).standing is InsulationStanding.RETEST
    assert judge_insulation(20e6, 20).passes


@given(readings, temperatures, st.booleans(), st.booleans())
def test_no_temperature_lifts_a_reading_over_the_floor(
    ohms: float, celsius: float, tester: bool, known: bool
) -> None:
    """Whatever the temperature and the meter, a reading below 1 MΩ is never powered, and only such a one."""
    allows = standing(ohms, tester=tester, celsius=celsius if known else None)
    assert (allows is InsulationStanding.NEVER) == (ohms < 1e6)


@given(readings, temperatures)
def test_only_a_tester_at_a_measured_temperature_is_corrected(ohms: float, celsius: float) -> None:
    """An ohmmeter's reading stands as it is; a tester's above the floor is carried to 40 °C."""
    assert standing(ohms, celsius=celsius) is standing(ohms)
    corrected = standing(ohms, tester=True, celsius=celsius)
    if ohms >= 1e6:
        assert (corrected is InsulationStanding.PASSES) == (corrected_to_40(ohms, celsius) >= 5e6)


@given(readings)
def test_over_range_counts_as_the_lower_bound_its_range_gives(ohms: float) -> None:
    """OL of a range that ends below 5 MΩ proves nothing; above it, it passes; it never condemns."""
    allows = standing(ohms, at_least=True)
    assert allows is (InsulationStanding.PASSES if ohms >= 5e6 else InsulationStanding.UNPROVED)


def test_an_ohmmeter_proves_no_insulation() -> None:
    """A meter without a test voltage, or with a few volts, proves nothing; a 500 V tester does."""
    assert not proves_insulation(None)
    assert not proves_insulation(9.0)
    assert proves_insulation(500.0)


@given(readings, temperatures, temperatures)
def test_the_same_reading_is_worth_more_on_a_hotter_winding(ohms: float, a: float, b: float) -> None:
    """The corrected resistance does not fall as the winding temperature of the reading rises."""
    low, high = sorted((a, b))
    assert corrected_to_40(ohms, low) <= corrected_to_40(ohms, high)


@pytest.mark.parametrize("ohms", [0, -1, math.nan, math.inf])
def test_a_reading_that_cannot_be_is_refused(ohms: float) -> None:
    """Zero, negative and endless readings are refused with what to give for over-range."""
    with pytest.raises(OutOfRange, match="top of the tester's range"):
        judge_insulation(ohms, 25)


def test_a_winding_too_hot_to_correct_is_refused() -> None:
    """A winding temperature outside the correction is refused with its range."""
    with pytest.raises(OutOfRange, match="from -10 to 110 °C"):
        corrected_to_40(1e6, 150)


def test_an_unknown_thermal_class_is_refused() -> None:
    """A thermal class that is not listed is refused."""
    with pytest.raises(Unknown, match="thermal class"):
        judge_polarization(1e6, 2e6, "Z")
