"""Nameplate: the currents a motor may draw, and their protection."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Unknown
from humclick.physics.nameplate import (
    full_load_amps,
    hermetic_limits,
    locked_rotor_amps,
    table_locked_rotor_amps,
    ultimate_trip_amps,
)
from tests.published import published

LETTERS = "ABCDEFGHJKLMNPRSTUV"


@published(
    source="NEC Table 430.7(B)", where="kVA per horsepower with locked rotor", printed_to="0.01 kVA/hp"
)
def test_code_letters_stand_for_the_codes_ranges() -> None:
    """At 1 hp and 1000 V a letter's amperes are its kVA/hp: B to 3.54, H from 6.3, V open above."""
    assert locked_rotor_amps("B", 1, 1000) == (3.15, 3.54)
    assert locked_rotor_amps("h", 1, 1000) == (6.3, 7.09)
    assert locked_rotor_amps("V", 1, 1000) == (22.4, math.inf)


@published(source="NEC Table 430.7(B)", where="letters L and H, single phase", printed_to="0.1 A")
def test_locked_rotor_current_follows_letter_power_and_voltage() -> None:
    """Letter L, 1/3 hp, 115 V is 26.1 to 29.0 A; letter H, 1 hp, 230 V is 27.4 to 30.8 A."""
    assert locked_rotor_amps("L", 1 / 3, 115) == pytest.approx((26.1, 29.0), abs=0.05)
    assert locked_rotor_amps("H", 1, 230) == pytest.approx((27.4, 30.8), abs=0.05)


@published(source="NEC Table 430.248", where="115 and 230 V columns", printed_to="0.1 A")
def test_full_load_current_meets_the_code_table() -> None:
    """From 1/6 to 1 hp the table's full-load currents are given at 115 and 230 V."""
    powers = (1 / 6, 1 / 4, 1 / 3, 1 / 2, 3 / 4, 1)
    assert [full_load_amps(hp, 115) for hp in powers] == [4.4, 5.8, 7.2, 9.8, 13.8, 16]
    assert [full_load_amps(hp, 230) for hp in powers] == [2.2, 2.9, 3.6, 4.9, 6.9, 8]


@published(source="NEC Table 430.251(A), 2008", where="115, 208 and 230 V columns", printed_to="0.1 A")
def test_locked_rotor_current_meets_the_code_table() -> None:
    """From 1/2 to 1 hp the table's locked-rotor currents are given at 115, 208 and 230 V."""
    powers = (1 / 2, 3 / 4, 1)
    assert [table_locked_rotor_amps(hp, 115) for hp in powers] == [58.8, 82.8, 96]
    assert [table_locked_rotor_amps(hp, 208) for hp in powers] == [32.5, 45.8, 53]
    assert [table_locked_rotor_amps(hp, 230) for hp in powers] == [29.4, 41.4, 48]


@published(source="NEC Tables 430.248 and 430.251(A)", where="115 and 230 V columns", printed_to="0.1 A")
def test_the_codes_locked_rotor_current_is_six_times_full_load() -> None:
    """In the code's own tables the locked-rotor current is six times the full-load current."""
    for hp in (0.5, 0.75, 1, 1.5, 2, 3, 5):
        for line in (115, 230):
            assert table_locked_rotor_amps(hp, line) == pytest.approx(6 * full_load_amps(hp, line), abs=0.05)


@published(source="NEC 440.52(B), 2008", where="(2) and (4), 156 %", printed_to="0.1 A")
def test_a_hermetic_thermal_protector_may_pass_156_per_cent() -> None:
    """At 5.0 A rated load a thermal protector may let 7.8 A pass."""
    assert hermetic_limits(5.0).thermal_protector == pytest.approx(7.8)


@published(source="NEC 440.52(A)", where="(1) 140 % and (3) 125 %, from memory", printed_to="0.01 A")
def test_a_hermetic_overload_relay_and_fuse_are_set_lower() -> None:
    """At 5.0 A rated load the relay is set to 7.0 A and a fuse as overload protection to 6.25 A at most."""
    found = hermetic_limits(5.0)
    assert (found.overload_relay, found.fuse_as_overload) == pytest.approx((7.0, 6.25))


@published(source="NEC 440.22(A), 2023", where="175 %, up to 225 %", printed_to="0.1 A")
def test_the_branch_device_may_be_larger_where_the_start_needs_it() -> None:
    """At 10 A rated load the branch device is 17.5 A, and 22.5 A where that will not carry the start."""
    found = hermetic_limits(10.0)
    assert (found.branch_device, found.branch_device_to_start) == pytest.approx((17.5, 22.5))


@published(source="NEC 430.32(A)(2), 2008", where="170, 156 and 140 %", printed_to="1 %")
def test_ultimate_trip_of_a_general_motor_falls_in_steps() -> None:
    """A general motor's protector trips by 170 % up to 9 A, 156 % up to 20 A and 140 % above."""
    assert [ultimate_trip_amps(a) / a for a in (9.0, 9.1, 20.0, 20.1)] == pytest.approx(
        [1.7, 1.56, 1.56, 1.4]
    )


@given(st.sampled_from(LETTERS[:-1]), st.floats(0.1, 10), st.floats(100, 600))
def test_letters_follow_each_other_without_overlap(letter: str, hp: float, line: float) -> None:
    """The next letter begins above the end of the one before."""
    following = LETTERS[LETTERS.index(letter) + 1]
    assert locked_rotor_amps(letter, hp, line)[1] < locked_rotor_amps(following, hp, line)[0]


def test_three_phases_share_the_current() -> None:
    """With three phases the current is less by the root of three."""
    single, three = (locked_rotor_amps("H", 3, 230, phases)[0] for phases in (1, 3))
    assert single / three == pytest.approx(math.sqrt(3))


def test_a_system_voltage_reads_its_column() -> None:
    """Systems of 110 to 120 V and 220 to 240 V read the 115 and 230 V columns."""
    assert full_load_amps(0.5, 120) == full_load_amps(0.5, 110) == 9.8
    assert full_load_amps(0.5, 240) == full_load_amps(0.5, 220) == 4.9


def test_what_is_not_in_the_tables_is_refused_with_what_is() -> None:
    """Letters, powers and voltages outside the tables are refused with those inside."""
    with pytest.raises(Unknown, match="code letter 'I'"):
        locked_rotor_amps("I", 1, 230)
    with pytest.raises(Unknown, match=r"unknown horsepower of the current table '0\.4 hp'"):
        full_load_amps(0.4, 115)
    with pytest.raises(Unknown, match="unknown horsepower"):
        table_locked_rotor_amps(1 / 3, 115)
    with pytest.raises(Unknown, match="voltage of the current table '277 V'"):
        full_load_amps(0.5, 277)


@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf])
def test_numbers_that_cannot_be_are_refused(value: float) -> None:
    """Zero, negative and endless currents and powers are refused by name."""
    with pytest.raises(OutOfRange, match="rated-load current must be"):
        hermetic_limits(value)
    with pytest.raises(OutOfRange, match="full-load current must be"):
        ultimate_trip_amps(value)
    with pytest.raises(OutOfRange, match="rated power must be"):
        locked_rotor_amps("H", value, 230)


def test_two_phases_are_refused() -> None:
    """Phases are one or three."""
    with pytest.raises(OutOfRange, match="phases must be 1 or 3, got 2"):
        locked_rotor_amps("H", 1, 230, 2)
