"""Discharge: how long until a capacitor is safe."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange
from humclick.physics.discharge import (
    bleeder_watts,
    discharge_through,
    largest_bleeder,
    seconds_to,
    stored_joules,
)
from tests.published import published

farads = st.floats(1e-6, 1e-3)
volts = st.floats(40, 480)
resistors = st.floats(5_000, 100_000)


@published(
    source="College Physics (OpenStax)", where="section 21.6, defibrillator, from memory", printed_to="0.1 ms"
)
def test_time_to_fall_meets_the_textbook() -> None:
    """A time constant of 8.00 ms takes 24.0 ms from 10 kV to 500 V."""
    assert seconds_to(8e-6, 1000, 10_000, 500) * 1000 == pytest.approx(24.0, abs=0.05)


@published(
    source="College Physics (OpenStax)", where="section 19.7, defibrillator, from memory", printed_to="1 J"
)
def test_energy_meets_the_textbook() -> None:
    """Eight microfarads at 10 kV hold 400 J."""
    assert stored_joules(8e-6, 10_000) == pytest.approx(400, abs=0.5)


@published(source="NEC 460.6", where="50 V or less within one minute", printed_to="0.1 kΩ")
def test_largest_bleeder_keeps_the_code_limit() -> None:
    """A 45 µF capacitor on 440 V needs 528.8 kΩ or less to reach 50 V within a minute."""
    assert largest_bleeder(45e-6, 440) / 1000 == pytest.approx(528.8, abs=0.05)
    assert seconds_to(45e-6, 528_800, 440 * math.sqrt(2), 50) == pytest.approx(60, abs=0.01)


@published(source="common practice", where="15 kΩ, 2 W, across a start capacitor", printed_to="1 W")
def test_the_usual_discharge_resistor_is_recommended_at_its_usual_rating() -> None:
    """The usual 15 kΩ makes 100 µF from 220 V safe in 2.74 s and needs its usual 2 W."""
    emptied = discharge_through(100e-6, 220, 15_000)
    assert emptied.time_constant == pytest.approx(1.5)
    assert emptied.seconds == pytest.approx(2.742, abs=5e-4)
    assert emptied.peak_watts == pytest.approx(6.453, abs=5e-4)
    assert emptied.resistor_watts == 2
    assert "working voltage must be 312 V or more" in emptied.reason


@pytest.mark.parametrize(
    ("capacitance", "rms", "joules"), [(45e-6, 440, 8.71), (200e-6, 330, 21.8), (5e-6, 230, 0.265)]
)
def test_energy_is_taken_at_the_crest(capacitance: float, rms: float, joules: float) -> None:
    """The energy is that of the crest of the alternating voltage: twice that of its rms value."""
    found = discharge_through(capacitance, rms, 15_000).joules
    assert found == pytest.approx(joules, rel=3e-3)
    assert found == pytest.approx(2 * stored_joules(capacitance, rms))


@given(farads, volts, resistors)
def test_voltage_after_the_time_given_is_the_safe_voltage(
    capacitance: float, rms: float, ohms: float
) -> None:
    """After the time given the exponential stands at the safe voltage, or it never was above."""
    emptied = discharge_through(capacitance, rms, ohms)
    left = emptied.peak_volts * math.exp(-emptied.seconds / emptied.time_constant)
    assert left == pytest.approx(min(50.0, emptied.peak_volts), rel=1e-9)


@given(farads, volts, resistors)
def test_the_resistor_is_never_asked_for_more_than_it_stands(
    capacitance: float, rms: float, ohms: float
) -> None:
    """The recommended rating is 2 W or more, and a fifth of the peak, or all of it in a long discharge."""
    emptied = discharge_through(capacitance, rms, ohms)
    short = emptied.time_constant / 2 <= 5
    assert emptied.resistor_watts >= max(2.0, emptied.peak_watts / (5 if short else 1))


@given(farads, st.floats(60, 480), st.floats(1, 300), st.floats(20, 60))
def test_the_largest_bleeder_takes_exactly_the_time_allowed(
    capacitance: float, rms: float, seconds: float, safe: float
) -> None:
    """The largest bleeder reaches the safe voltage at the last allowed moment."""
    ohms = largest_bleeder(capacitance, rms, seconds, safe)
    assert seconds_to(capacitance, ohms, rms * math.sqrt(2), safe) == pytest.approx(seconds, rel=1e-9)


@given(farads, volts, resistors, resistors)
def test_a_larger_resistor_never_discharges_faster(
    capacitance: float, rms: float, first: float, second: float
) -> None:
    """The time to the safe voltage does not fall as the resistor grows."""
    low, high = sorted((first, second))
    assert (
        discharge_through(capacitance, rms, low).seconds <= discharge_through(capacitance, rms, high).seconds
    )


def test_a_capacitor_below_the_safe_voltage_takes_no_time() -> None:
    """Nothing is to be waited for when the crest is already safe."""
    assert discharge_through(100e-6, 30, 15_000).seconds == 0
    with pytest.raises(OutOfRange, match="no bleeder is needed"):
        largest_bleeder(100e-6, 30)


def test_a_bleeder_left_in_place_heats_by_the_rms_voltage() -> None:
    """A 15 kΩ bleeder on 330 V dissipates 7.26 W all the time."""
    assert bleeder_watts(330, 15_000) == pytest.approx(7.26)


def test_a_resistor_too_small_to_hold_is_refused_with_one_that_will_do() -> None:
    """A 10 Ω resistor is refused with the smallest that stands the first moment, and that one is accepted."""
    with pytest.raises(OutOfRange, match="use at least 388 Ω"):
        discharge_through(100e-6, 220, 10)
    assert discharge_through(100e-6, 220, 388).resistor_watts == 50


@pytest.mark.parametrize("value", [0, -5, math.nan, math.inf])
def test_numbers_that_cannot_be_are_refused(value: float) -> None:
    """Zero, negative and endless farads, volts, ohms and limits are refused by name."""
    for call, name in (
        (lambda: discharge_through(value, 220, 15_000), "capacitance"),
        (lambda: discharge_through(100e-6, value, 15_000), "alternating voltage"),
        (lambda: discharge_through(100e-6, 220, value), "resistance"),
        (lambda: discharge_through(100e-6, 220, 15_000, value), "safe voltage"),
        (lambda: largest_bleeder(100e-6, 220, value), "time allowed"),
    ):
        with pytest.raises(OutOfRange, match=f"{name} must be"):
            call()
