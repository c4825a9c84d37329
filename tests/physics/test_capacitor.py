"""Capacitors on alternating current, and the start winding."""

from __future__ import annotations

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange
from humclick.physics.capacitor import (
    StartCurrents,
    amps_through,
    farads_from,
    greatest_torque_farads,
    in_parallel,
    in_series,
    quadrature_farads,
    reactance,
    start_currents,
)
from tests.published import published

FITZGERALD = "Fitzgerald, Kingsley and Umans, Electric Machinery, 6th ed."
KOSOW = "Kosow, Electric Machinery and Transformers"
farads = st.floats(1e-7, 1e-3)
ohms = st.floats(0.5, 100)
impedances = st.builds(complex, ohms, ohms)


@published(source="College Physics (OpenStax)", where="Ex. 23.11, from memory", printed_to="3 digits")
def test_reactance_and_current_meet_the_textbook() -> None:
    """Five microfarads on 120 V have 531 Ω and draw 0.226 A at 60 Hz, 3.18 Ω and 37.7 A at 10 kHz."""
    assert [float(f"{reactance(5e-6, hertz):.3g}") for hertz in (60, 10_000)] == [531, 3.18]
    assert [float(f"{amps_through(5e-6, 120, hertz):.3g}") for hertz in (60, 10_000)] == [0.226, 37.7]


@published(source="College Physics (OpenStax)", where="Ex. 19.9, from memory", printed_to="0.001 µF")
def test_series_capacitors_meet_the_textbook() -> None:
    """One, five and eight microfarads in series are 0.755 µF."""
    assert in_series(1e-6, 5e-6, 8e-6) * 1e6 == pytest.approx(0.755, abs=5e-4)


@published(source="common practice", where="2652.6 µF·V/A at 60 Hz, 3183.1 at 50 Hz", printed_to="0.01 µF")
def test_running_current_gives_the_capacitance() -> None:
    """3.2 A at 370 V and 60 Hz are 22.94 µF; 1.2 A at 300 V and 50 Hz are 12.73 µF."""
    assert farads_from(370, 3.2, 60) * 1e6 == pytest.approx(22.94, abs=0.005)
    assert farads_from(300, 1.2, 50) * 1e6 == pytest.approx(12.73, abs=0.005)


@published(source=FITZGERALD, where="Ex. 9.1, prints 177 µF", printed_to="1 %")
def test_quadrature_capacitor_meets_the_textbook() -> None:
    """The capacitor for a quarter period is 176.2 µF, as printed within 1 %."""
    found = quadrature_farads(4.5 + 3.7j, 9.5 + 3.5j, 60) * 1e6
    assert found == pytest.approx(177, rel=0.01)
    assert found == pytest.approx(176.2, abs=0.05)


@published(source="Kothari and Nagrath, Electric Machines", where="Ex. 10.4", printed_to="0.1 µF")
def test_both_start_capacitors_meet_the_second_textbook() -> None:
    """For quadrature 295.3 µF and for the greatest torque 520.3 µF are wanted."""
    assert quadrature_farads(3 + 2.7j, 7 + 3j, 50) * 1e6 == pytest.approx(295.3, abs=0.05)
    assert greatest_torque_farads(3 + 2.7j, 7 + 3j, 50) * 1e6 == pytest.approx(520.3, abs=0.05)


@published(source=FITZGERALD, where="Ex. 9.1, standstill angle of the main winding", printed_to="0.1°")
def test_start_currents_meet_the_textbook_motor() -> None:
    """The textbook motor draws 32.0 A split-phase, with its capacitor 22.1 A at 2.06 times the torque."""
    plain = start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j)
    helped = start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j, farads=quadrature_farads(4.5 + 3.7j, 9.5 + 3.5j, 60))
    assert (abs(plain.main), math.degrees(cmath.phase(plain.main))) == pytest.approx((20.60, -39.4), abs=0.05)
    assert (abs(plain.line), abs(helped.line)) == pytest.approx((32.03, 22.11), abs=0.01)
    assert (helped.angle_between, helped.capacitor_volts) == pytest.approx((90, 120.8), abs=0.1)
    assert helped.torque_index / plain.torque_index == pytest.approx(2.06, abs=0.01)


@published(source=FITZGERALD, where="chapter 9 problem, 4.82 + j7.25 and 7.95 + j9.21 Ω", printed_to="0.1")
def test_a_start_capacitor_may_carry_more_than_the_supply() -> None:
    """With its quadrature capacitor of 183 µF the problem's motor puts 182 V on it from 120 V."""
    main, auxiliary = 4.82 + 7.25j, 7.95 + 9.21j
    capacitor = quadrature_farads(main, auxiliary, 60)
    assert capacitor * 1e6 == pytest.approx(183.0, abs=0.1)
    assert start_currents(120, main, auxiliary).angle_between == pytest.approx(7.2, abs=0.05)
    helped = start_currents(120, main, auxiliary, farads=capacitor)
    assert (abs(helped.auxiliary), abs(helped.line)) == pytest.approx((12.57, 18.65), abs=0.01)
    assert helped.capacitor_volts == pytest.approx(182.2, abs=0.1)


@published(source=KOSOW, where="Ex. 10-1", printed_to="0.01 A")
def test_line_current_adds_start_and_run_currents_as_in_the_textbook() -> None:
    """Four amperes at −15° and six at −40° make 9.77 A at −30.0°, 25° apart."""
    currents = StartCurrents(
        cmath.rect(6, math.radians(-40)), cmath.rect(4, math.radians(-15)), capacitor_volts=0
    )
    assert abs(currents.line) == pytest.approx(9.77, abs=0.005)
    assert math.degrees(cmath.phase(currents.line)) == pytest.approx(-30.0, abs=0.05)
    assert currents.angle_between == pytest.approx(25, abs=1e-9)


@published(source=KOSOW, where="Ex. 10-3", printed_to="0.001")
def test_a_capacitor_multiplies_starting_torque_as_in_the_textbook() -> None:
    """Moving the start current from −15° to +42° multiplies the torque by sin 82° / sin 25° = 2.343."""
    run = cmath.rect(6, math.radians(-40))
    split = StartCurrents(run, cmath.rect(4, math.radians(-15)), 0)
    helped = StartCurrents(run, cmath.rect(4, math.radians(42)), 0)
    assert abs(helped.line) == pytest.approx(7.66, abs=0.01)
    assert helped.torque_index / split.torque_index == pytest.approx(2.343, abs=5e-4)


@given(farads, st.floats(1, 500), st.sampled_from([50.0, 60.0]))
def test_capacitance_undoes_current(capacitance: float, volts: float, hertz: float) -> None:
    """The capacitance found from volts and amperes is the one that made the amperes."""
    amps = amps_through(capacitance, volts, hertz)
    assert farads_from(volts, amps, hertz) == pytest.approx(capacitance, rel=1e-12)


@given(st.lists(farads, min_size=1, max_size=5))
def test_series_is_below_and_parallel_above_every_part(parts: list[float]) -> None:
    """Series capacitance is never above the smallest part, parallel never below the greatest."""
    assert in_series(*parts) <= min(parts) * (1 + 1e-12)
    assert in_parallel(*parts) >= max(parts)


@given(impedances, impedances, st.floats(0.3, 3))
def test_no_other_capacitor_gives_more_torque_at_the_start(
    main: complex, auxiliary: complex, times: float
) -> None:
    """Any other capacitor gives no more torque than the one for the greatest torque."""
    best = greatest_torque_farads(main, auxiliary, 60)
    most = start_currents(120, main, auxiliary, farads=best).torque_index
    assert start_currents(120, main, auxiliary, farads=best * times).torque_index <= most * (1 + 1e-9)


@given(impedances, impedances)
def test_the_quadrature_capacitor_sets_the_currents_a_quarter_apart(
    main: complex, auxiliary: complex
) -> None:
    """With the quadrature capacitor the start current leads by 90°."""
    capacitor = quadrature_farads(main, auxiliary, 50)
    found = start_currents(230, main, auxiliary, farads=capacitor, hertz=50)
    assert found.angle_between == pytest.approx(90, abs=1e-6)


def test_resistance_in_series_with_the_start_winding_spreads_the_currents() -> None:
    """A resistor in the start circuit widens the angle and lowers the start current."""
    plain, resisted = (start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j, series_ohms=r) for r in (0, 10))
    assert resisted.angle_between > plain.angle_between
    assert abs(resisted.auxiliary) < abs(plain.auxiliary)


@pytest.mark.parametrize("value", [0, -1e-6, math.nan, math.inf])
def test_a_capacitance_that_cannot_be_is_refused(value: float) -> None:
    """Zero, negative and endless capacitances are refused."""
    with pytest.raises(OutOfRange, match="capacitance must be a finite number of F above zero"):
        in_series(10e-6, value)
    with pytest.raises(OutOfRange, match="capacitance must be"):
        reactance(value, 60)
    with pytest.raises(OutOfRange, match="capacitance must be"):
        start_currents(120, 4.5 + 3.7j, 9.5 + 3.5j, farads=value)


def test_no_capacitor_at_all_is_refused() -> None:
    """Series and parallel of nothing are refused."""
    with pytest.raises(OutOfRange, match="at least one"):
        in_series()
    with pytest.raises(OutOfRange, match="at least one"):
        in_parallel()


@pytest.mark.parametrize("impedance", [4.5 + 0j, 0 + 3j, complex(math.nan, 1)])
def test_a_winding_without_resistance_or_reactance_is_refused(impedance: complex) -> None:
    """A standstill impedance has both resistance and reactance."""
    with pytest.raises(OutOfRange, match="impedance of the main winding"):
        quadrature_farads(impedance, 9.5 + 3.5j, 60)
