"""Copper: resistance and temperature of a winding."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Unknown
from humclick.physics.copper import resistance_at, temperature_from
from tests.published import published

temperatures = st.floats(-60, 250)
resistances = st.floats(0.01, 1e4)
materials = st.sampled_from(["copper", "aluminium"])


@published(source="IEC 60034-1", where="rise by resistance, k = 235, from memory", printed_to="0.00001")
def test_resistance_ratio_follows_the_copper_constant_of_the_standard() -> None:
    """Copper goes up by the standard's ratio (235 + t2) / (235 + t1)."""
    assert resistance_at(75, 1.0, 20) == pytest.approx(1.21569, abs=5e-6)
    assert resistance_at(95, 1.0, 25) == pytest.approx(1.26923, abs=5e-6)


@published(source="IEC 60335-1", where="clause 11.3, k = 234.5 for copper", printed_to="0.05 %")
def test_the_other_standard_constant_makes_no_difference_at_the_bench() -> None:
    """The constant 234.5 of the appliance standard changes a ratio by less than 0.05 %."""
    assert resistance_at(75, 1.0, 20) == pytest.approx((234.5 + 75) / (234.5 + 20), rel=5e-4)


@published(source="IEC 60034-1", where="rise by resistance, k = 235, from memory", printed_to="0.1 °C")
def test_hot_winding_temperature_comes_from_hot_and_cold_resistance() -> None:
    """A winding of 4.00 Ω at 25 °C that reads 5.20 Ω hot is at 103.0 °C."""
    assert temperature_from(5.20, 4.00, 25) == pytest.approx(103.0, abs=0.05)


@published(source="IEC 60034-1 and IEC 60335-1", where="aluminium windings, k = 225", printed_to="exact")
def test_aluminium_uses_its_own_constant() -> None:
    """An aluminium winding is carried with 225."""
    assert resistance_at(75, 1.0, 20, "aluminium") == pytest.approx(300 / 245, rel=1e-12)


@given(temperatures, resistances, temperatures, materials)
def test_temperature_undoes_resistance(wanted: float, ohms: float, measured: float, material: str) -> None:
    """The temperature found from the carried resistance is the temperature it was carried to."""
    hot = resistance_at(wanted, ohms, measured, material)
    assert temperature_from(hot, ohms, measured, material) == pytest.approx(wanted, abs=1e-6)


@given(temperatures, temperatures, resistances, materials)
def test_a_hotter_winding_never_reads_less(a: float, b: float, ohms: float, material: str) -> None:
    """Resistance rises with temperature."""
    low, high = sorted((a, b))
    assert resistance_at(low, ohms, 20, material) <= resistance_at(high, ohms, 20, material)


@pytest.mark.parametrize("ohms", [0, -3, math.nan, math.inf])
def test_a_resistance_that_cannot_be_is_refused(ohms: float) -> None:
    """A winding resistance of zero, below zero or not finite is refused by name."""
    with pytest.raises(OutOfRange, match="winding resistance must be"):
        resistance_at(25, ohms, 20)
    with pytest.raises(OutOfRange, match="hot resistance must be"):
        temperature_from(ohms, 4.0, 20)


@pytest.mark.parametrize("celsius", [-61, 251, math.nan])
def test_a_temperature_no_winding_has_is_refused(celsius: float) -> None:
    """A winding temperature outside the law's range is refused with the range."""
    with pytest.raises(OutOfRange, match="from -60 to 250 °C"):
        resistance_at(celsius, 4.0, 20)


def test_two_readings_that_cannot_belong_together_are_refused() -> None:
    """A hot reading that would mean 785 °C asks for both readings again."""
    with pytest.raises(OutOfRange, match="785 °C, outside -60 to 250 °C; take both readings again"):
        temperature_from(16.0, 4.0, 20)


def test_an_unknown_material_is_refused_with_the_known_ones() -> None:
    """A misspelt winding material is answered with the right one."""
    with pytest.raises(Unknown, match="did you mean copper"):
        resistance_at(25, 4.0, 20, "coper")
