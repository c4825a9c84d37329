"""Supply: is what arrives good enough to start on."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from humclick.errors import OutOfRange
from humclick.physics.supply import (
    deviation,
    judge_supply,
    limits,
    sag,
    source_ohms,
    torque_fraction,
    unbalance,
    unbalance_derating,
)
from tests.published import published

volts = st.floats(50, 600)


@published(source="NEMA MG 1-2011 (condensed)", where="9.9.1, voltage", printed_to="1 V")
def test_limits_are_ten_per_cent_either_way() -> None:
    """A 230 V motor is made for 207 to 253 V."""
    assert limits(230) == pytest.approx((207, 253))


@published(source="common practice", where="nameplate 208-230: 187 to 253 V", printed_to="1 V")
def test_a_nameplate_of_two_voltages_spans_both() -> None:
    """A motor marked 208-230 V is made for 187 to 253 V."""
    assert limits(208, 230) == pytest.approx((187, 253), abs=0.5)


@published(source="NEMA MG 1-2011 (condensed)", where="9.9.1, combined deviation", printed_to="0.1 %")
def test_deviations_of_voltage_and_frequency_add() -> None:
    """5.1 % low in voltage and 1.6 % high in frequency, together 6.7 %, are acceptable."""
    verdict = judge_supply(230 * 0.949, 230, 60 * 1.016, 60)
    assert verdict.acceptable
    assert abs(verdict.volts_deviation) + abs(verdict.hertz_deviation) == pytest.approx(0.067)


@published(source="NEMA MG 1-2011 (condensed)", where="9.9.1, the three limits", printed_to="1 %")
def test_each_limit_refuses_by_itself() -> None:
    """Voltage above 10 %, frequency above 5 % and a sum above 10 % are each refused; the limits are not."""
    assert judge_supply(207, 230).acceptable
    assert judge_supply(230, 230, 63, 60).acceptable
    assert not judge_supply(206, 230).acceptable
    assert not judge_supply(230, 230, 63.1, 60).acceptable
    assert "together" in judge_supply(230 * 0.93, 230, 60 * 1.04, 60).says
    assert not judge_supply(230 * 0.93, 230, 60 * 1.04, 60).acceptable


@published(source="NEMA MG 1-2011 (condensed)", where="9.9.2, torque", printed_to="0.01")
def test_torque_goes_with_the_square_of_voltage_over_frequency() -> None:
    """A tenth less voltage leaves 81 % of the torque; the same volts at 50 for 60 Hz give 1.44 times."""
    assert torque_fraction(207, 230) == pytest.approx(0.81)
    assert torque_fraction(230, 230, 50, 60) == pytest.approx(1.44)


@published(
    source="Chapman, Electric Machinery Fundamentals",
    where="problem 9-6, torque at 190, 208 and 230 V of a 220 V motor",
    printed_to="0.01 N·m",
)
def test_torque_at_other_voltages_meets_the_textbook_motor() -> None:
    """The textbook motor's 18.76 N·m become 13.99, 16.77 and 20.50 N·m."""
    found = [18.76 * torque_fraction(v, 220) for v in (190, 208, 230)]
    assert found == pytest.approx([13.99, 16.77, 20.50], abs=0.01)


@published(source="NEMA MG 1", where="14.36, example 460, 467, 450 V", printed_to="0.01 %")
def test_unbalance_is_the_greatest_deviation_over_the_average() -> None:
    """460, 467 and 450 V are unbalanced by 1.96 %; 462, 463 and 455 V by 1.09 %."""
    assert 100 * unbalance(460, 467, 450) == pytest.approx(1.96, abs=0.005)
    assert 100 * unbalance(462, 463, 455) == pytest.approx(1.09, abs=0.005)


@published(source="NEMA MG 1", where="14.36, derating curve, from memory", printed_to="0.01")
def test_unbalance_lowers_the_permitted_load() -> None:
    """One to five per cent of unbalance leave 1.0, 0.95, 0.88, 0.82 and 0.75 of the power."""
    found = [unbalance_derating(percent / 100) for percent in range(1, 6)]
    assert found == pytest.approx([1.0, 0.95, 0.88, 0.82, 0.75])


@given(st.floats(0, 0.05), st.floats(0, 0.05))
def test_more_unbalance_never_permits_more_load(a: float, b: float) -> None:
    """The derating factor does not rise with unbalance."""
    low, high = sorted((a, b))
    assert unbalance_derating(low) >= unbalance_derating(high) >= 0.75


@given(volts, volts, st.floats(0.5, 200))
def test_source_resistance_explains_the_sag(a: float, b: float, amps: float) -> None:
    """The source resistance times the current is the voltage lost."""
    loaded, rest = sorted((a, b))
    assert source_ohms(rest, loaded, amps) * amps == pytest.approx(sag(rest, loaded) * rest, abs=1e-9)


@given(volts, volts)
def test_the_limits_are_where_the_verdict_turns(measured: float, rated: float) -> None:
    """At rated frequency a voltage is acceptable exactly within its limits."""
    low, high = limits(rated)
    assume(abs(abs(deviation(measured, rated)) - 0.1) > 1e-8)
    assert judge_supply(measured, rated).acceptable == (low <= measured <= high)


def test_the_verdict_says_which_way_the_voltage_is_off() -> None:
    """Low and high voltage are told apart in the sentence."""
    assert judge_supply(200, 230).says.startswith("Voltage 13.0 % low")
    assert judge_supply(260, 230).says.startswith("Voltage 13.0 % high")


@pytest.mark.parametrize("value", [0, -115, math.nan, math.inf])
def test_a_voltage_that_cannot_be_is_refused(value: float) -> None:
    """Zero, negative and endless voltages are refused."""
    with pytest.raises(OutOfRange, match="rated voltage must be"):
        limits(value)
    with pytest.raises(OutOfRange, match="measured value must be"):
        judge_supply(value, 230)
    with pytest.raises(OutOfRange, match="voltage between lines must be"):
        unbalance(460, value, 450)
    with pytest.raises(OutOfRange, match="voltage at rest must be"):
        sag(value, 100)


def test_senseless_pairs_are_refused() -> None:
    """Swapped nameplate voltages, a voltage that rose while starting and 6 % unbalance are refused."""
    with pytest.raises(OutOfRange, match="give the lower rated voltage first: 208 and 230 V"):
        limits(230, 208)
    with pytest.raises(OutOfRange, match="voltage rose"):
        source_ohms(110, 118, 20)
    with pytest.raises(OutOfRange, match=r"from 0 to 0\.05"):
        unbalance_derating(0.06)
