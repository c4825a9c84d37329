"""Wire: gauge, resistance, and what is left at the motor."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Unknown
from humclick.physics.wire import (
    area,
    diameter,
    longest_run,
    loop_resistance,
    resistance_per_metre,
    smallest_gauge,
    terminal_volts,
    torque_fraction,
    voltage_drop,
)
from tests.published import published

FOOT = 0.3048
gauges = st.integers(-3, 40)


@published(source="ASTM B258", where="solid round wire diameters", printed_to="0.0001 mm")
def test_diameter_follows_the_gauge_law() -> None:
    """Gauges 18 and 14 have the standard's diameters, and 4/0 is 0.46 in."""
    assert (round(diameter(18), 4), round(diameter("14 AWG"), 4)) == (1.0237, 1.6277)
    assert diameter("4/0") == pytest.approx(0.46 * 25.4, rel=1e-12)


@published(source="ASTM B258 with IEC 60028", where="100 % IACS at 20 °C", printed_to="0.1 %")
def test_resistance_at_20_follows_gauge_and_annealed_copper() -> None:
    """Gauges 10 to 18 have the ohms per 1000 ft of annealed copper at 20 °C."""
    printed = {10: 0.9988, 12: 1.588, 14: 2.525, 16: 4.016, 18: 6.385}
    found = {gauge: resistance_per_metre(gauge) * 1000 * FOOT for gauge in printed}
    assert found == pytest.approx(printed, rel=1e-3)


@published(source="NEC chapter 9, Table 8", where="solid uncoated copper, 75 °C", printed_to="3 digits")
def test_resistance_at_75_meets_the_code_table_for_solid_wire() -> None:
    """Solid gauges 14, 12 and 8 meet the code's ohms per 1000 ft at 75 °C to the last printed digit."""
    found = {
        gauge: float(f"{resistance_per_metre(gauge, 75) * 1000 * FOOT:.3g}") for gauge in (14, 12, 10, 8)
    }
    assert found == {14: 3.07, 12: 1.93, 10: 1.21, 8: 0.764}


@published(
    source="NEC chapter 9, Table 8", where="stranded uncoated copper, 75 °C, from memory", printed_to="0.5 %"
)
def test_resistance_at_75_meets_the_code_table_for_stranded_wire() -> None:
    """Stranded gauges 14, 12 and 10 meet the code's ohms per 1000 ft at 75 °C within its rounding."""
    printed = {14: 3.14, 12: 1.98, 10: 1.24}
    found = {gauge: resistance_per_metre(gauge, 75, stranded=True) * 1000 * FOOT for gauge in printed}
    assert found == pytest.approx(printed, rel=5e-3)


@published(source="NEC chapter 9, Table 8", where="2 L R I at 3.07 Ω per 1000 ft", printed_to="0.01 V")
def test_drop_counts_the_way_out_and_back() -> None:
    """A hundred feet of solid 14 AWG at 10 A and 75 °C lose 6.14 V."""
    assert voltage_drop(100 * FOOT, "14 AWG", 10, 75) == pytest.approx(6.14, abs=0.005)


@published(
    source="NEC chapter 9, Table 8", where="2 L R I at 1.98 Ω per 1000 ft, from memory", printed_to="0.1 V"
)
def test_a_locked_rotor_on_a_long_cord_loses_over_a_quarter_of_its_torque() -> None:
    """At 60 A seventy-five feet of 12 AWG take 17.8 of 115 V and leave 71 % of the torque."""
    drop = voltage_drop(75 * FOOT, 12, 60, 75, stranded=True)
    assert drop == pytest.approx(17.8, abs=0.1)
    assert torque_fraction(115 - drop, 115) == pytest.approx(0.71, abs=0.005)


@published(
    source="Fitzgerald, Kingsley and Umans, Electric Machinery, 6th ed.",
    where="Ex. 9.2 main winding at standstill, 5.877 + j5.075 Ω",
    printed_to="0.1 V",
)
def test_terminal_volts_divide_the_supply_over_cord_and_locked_motor() -> None:
    """Locked terminal volts equal the voltage divider of cord and standstill impedance."""
    motor = 5.877 + 5.075j
    expected = abs(110 * motor / (motor + 0.5))
    found = terminal_volts(110, 0.5, 110 / abs(motor), power_factor=motor.real / abs(motor))
    assert found == pytest.approx(expected, rel=1e-9)
    assert terminal_volts(110, 0.5, 14.17) == pytest.approx(expected, abs=0.1)


@given(st.floats(0, 5), st.floats(1, 200), st.floats(0.05, 1))
def test_terminal_volts_lie_between_full_drop_and_supply(ohms: float, amps: float, cosine: float) -> None:
    """A locked motor keeps at least what is left after the drop at full locked-rotor current."""
    left = terminal_volts(115, ohms, amps, power_factor=cosine)
    assert 115 - ohms * amps - 1e-9 <= left <= 115 + 1e-9


@given(gauges, gauges)
def test_a_higher_gauge_number_is_a_thinner_wire(a: int, b: int) -> None:
    """Resistance rises strictly with the gauge number."""
    assert (a < b) == (resistance_per_metre(a) < resistance_per_metre(b))


@given(gauges, st.floats(0.1, 200), st.floats(0.1, 50), st.floats(-40, 90))
def test_longest_run_undoes_the_drop(gauge: int, amps: float, allowed: float, celsius: float) -> None:
    """The longest run loses exactly the allowed volts."""
    run = longest_run(gauge, amps, allowed, celsius)
    assert voltage_drop(run, gauge, amps, celsius) == pytest.approx(allowed, rel=1e-9)


@given(st.floats(1, 40), st.floats(1, 60))
def test_smallest_gauge_holds_the_drop_and_the_next_thinner_does_not(length: float, amps: float) -> None:
    """The advised cord holds the allowed drop; the next thinner one does not."""
    try:
        gauge = smallest_gauge(length, amps, 5.75)
    except OutOfRange:
        assert voltage_drop(length, 4, amps, stranded=True) > 5.75
        return
    assert voltage_drop(length, gauge, amps, stranded=True) <= 5.75
    assert gauge == 18 or voltage_drop(length, gauge + 2, amps, stranded=True) > 5.75


@pytest.mark.parametrize(
    ("written", "same"), [("14", 14), ("#14", 14), ("AWG 14", 14), ("2/0", -1), ("00", -1), (" 18 awg ", 18)]
)
def test_a_gauge_may_be_written_in_the_usual_ways(written: str, same: int) -> None:
    """Usual ways of writing a gauge mean the same wire."""
    assert area(written) == area(same)


def test_a_metric_conductor_is_taken_at_its_cross_section() -> None:
    """2.5 mm² is 2.5 mm², with a point or a comma, and 6.9 mΩ a metre at 20 °C."""
    assert area("2.5 mm²") == area("2,5mm2") == 2.5
    assert resistance_per_metre("2.5 mm²") == pytest.approx(0.0068964, rel=1e-4)


@pytest.mark.parametrize("gauge", ["thick", "41", 41, -4, "5/0", ""])
def test_an_unknown_gauge_is_refused(gauge: int | str) -> None:
    """A gauge outside 4/0 to 40 is refused with what can be written."""
    with pytest.raises(Unknown, match="unknown wire gauge"):
        resistance_per_metre(gauge)


@pytest.mark.parametrize("number", [-1, math.nan, math.inf])
def test_a_length_or_current_that_cannot_be_is_refused(number: float) -> None:
    """Negative and endless lengths and currents are refused by name."""
    with pytest.raises(OutOfRange, match="length one way must be"):
        loop_resistance(number, 14)
    with pytest.raises(OutOfRange, match="current must be"):
        voltage_drop(10, 14, number)


def test_a_cord_that_cannot_exist_is_refused_with_the_reach_of_the_heaviest() -> None:
    """When no cord holds the drop the message gives the reach of the heaviest one."""
    with pytest.raises(OutOfRange, match="even 4 AWG reaches only 57 m"):
        smallest_gauge(300, 60, 5.75)


@pytest.mark.parametrize("cosine", [0, 1.2, -0.5])
def test_a_power_factor_outside_0_to_1_is_refused(cosine: float) -> None:
    """A power factor is above 0 and at most 1."""
    with pytest.raises(OutOfRange, match="power factor must be"):
        terminal_volts(115, 0.3, 60, power_factor=cosine)
