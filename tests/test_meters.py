"""Meters are held against published examples of meter accuracy; a wrong table is named for what is wrong."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange, Refused, Unknown
from humclick.messages import Message
from humclick.meters import Meter, MeterRange, Quantity, default_meter, meter, meter_from_table, meters
from humclick.readings import Leads
from tests.published import published
from tests.strategies import values_of

VOLTS, OHMS = Quantity.VOLTAGE, Quantity.RESISTANCE
#: A meter of ±(2.5 % + 3 digits) that shows hundredths of a volt.
TEACHING = Meter("teaching", Message("the worked example's meter"), (MeterRange(VOLTS, 40.0, 0.01, 2.5, 3),))


def table(**changes: Any) -> dict[str, Any]:
    """A right table of the technician's own meter, with the changes a test wants in its only range."""
    row: dict[str, Any] = {
        "quantity": "resistance",
        "full_scale": 4,
        "resolution": 0.001,
        "unit": "kΩ",
        "percent": 0.7,
        "counts": 2,
    }
    row |= changes
    return {"name": "mine", "ranges": [{key: value for key, value in row.items() if value is not ...}]}


@published(
    source="Kwantlen Polytechnic University, PHYS 1102, DMM Uncertainties",
    where="worked example, ±(2.5 % + 3 digits), 32.00 V",
    printed_to="0.01 V",
)
def test_limit_of_a_large_reading_meets_the_worked_example() -> None:
    """A reading of 32.00 V on ±(2.5 % + 3 digits) is good to ±0.83 V."""
    assert TEACHING.limit(VOLTS, 32.00, 0.01) == pytest.approx(0.83, abs=1e-12)


@published(
    source="Kwantlen Polytechnic University, PHYS 1102, DMM Uncertainties",
    where="worked example, ±(2.5 % + 3 digits), 0.09 V",
    printed_to="0.00001 V",
)
def test_limit_of_a_small_reading_is_mostly_counts() -> None:
    """A reading of 0.09 V on ±(2.5 % + 3 digits) is good to ±0.03225 V, nearly all of it counts."""
    assert TEACHING.limit(VOLTS, 0.09) == pytest.approx(0.03225, abs=1e-12)
    assert TEACHING.count_limit(VOLTS, 0.09) > 10 * TEACHING.gain_limit(VOLTS, 0.09)


@published(
    source="JCGM 100:2008",
    where="4.3.7: limits ±a taken as uniform have the standard uncertainty a/√3; here ±(0.5 % + 2) at 12.3 Ω",
    printed_to="0.0001 Ω",
)
def test_standard_uncertainty_is_the_limit_over_root_three() -> None:
    """A reading of 12.3 Ω on ±(0.5 % + 2 digits) is good to ±0.2615 Ω, as a standard uncertainty 0.1510 Ω."""
    good = meter("good")
    assert good.limit(OHMS, 12.3, 0.1) == pytest.approx(0.2615, abs=1e-12)
    assert good.standard_uncertainty(OHMS, 12.3, 0.1) == pytest.approx(0.1510, abs=5e-5)


@published(source="common practice", where="classes of meter: standard ±(0.9 % + 2), good ±(0.5 % + 2)")
def test_classes_of_meter_have_their_usual_figures() -> None:
    """The classes of meter promise on ohms what is usual for them, and the standard one is the default."""
    figures = {name: meter(name).range_for(OHMS, 4.0) for name in ("basic", "standard", "good")}
    assert [(each.percent, each.counts) for each in figures.values()] == [(1.2, 3), (0.9, 2), (0.5, 2)]
    assert default_meter() is meter("standard")


@published(source="common practice", where="a tester of 500 V reads one to two gigaohms")
def test_insulation_tester_reads_gigaohms_at_its_voltage() -> None:
    """The insulation tester works at 500 V and reaches between one and two gigaohms."""
    tester = meter("insulation tester")
    assert tester.test_voltage == 500.0
    assert 1e9 <= tester.highest(OHMS) <= 2e9


def test_every_figure_of_every_class_has_a_source() -> None:
    """Each range of each class says where its figures come from."""
    sources = [each.source for known in meters().values() for each in known.ranges]
    assert len(sources) > 50
    assert all(sources)


@pytest.mark.parametrize(
    ("ohms", "resolution"), [(0.0, 0.1), (4.7, 0.1), (199.9, 0.1), (200.0, 1.0), (4700.0, 10.0)]
)
def test_meter_picks_the_smallest_range_that_holds_the_value(ohms: float, resolution: float) -> None:
    """An auto-ranging meter shows a value with the last digit of the smallest range that holds it."""
    assert default_meter().range_for(OHMS, ohms).resolution == pytest.approx(resolution)


def test_over_limit_begins_at_the_end_of_the_top_range() -> None:
    """The highest value a meter shows is the end of its top range."""
    assert default_meter().highest(OHMS) == 20e6
    assert default_meter().highest(VOLTS) == 600


@given(st.sampled_from(Quantity).flatmap(lambda of: st.tuples(st.just(of), values_of(of))))
def test_limit_is_the_sum_of_its_shared_and_its_random_part(drawn: tuple[Quantity, float]) -> None:
    """For every class and value the limit is its percent part plus its counts part, and is above zero."""
    quantity, value = drawn
    for known in meters().values():
        if known.measures(quantity):
            parts = known.gain_limit(quantity, value) + known.count_limit(quantity, value)
            assert known.limit(quantity, value) == parts > 0


def test_typed_digits_tell_the_resolution() -> None:
    """A finer last digit typed makes the counts part smaller and leaves the percent part alone."""
    standard = default_meter()
    assert standard.count_limit(OHMS, 4.7, 0.01) == pytest.approx(0.02)
    assert standard.limit(OHMS, 4.7, 0.01) == pytest.approx(0.009 * 4.7 + 0.02)


def test_quantity_the_meter_lacks_is_refused_with_those_it_has() -> None:
    """A meter without capacitance refuses it and says what it measures."""
    basic = meter("basic")
    assert not basic.measures(Quantity.CAPACITANCE)
    with pytest.raises(OutOfRange, match="does not measure capacitance; it measures resistance, voltage"):
        basic.limit(Quantity.CAPACITANCE, 15e-6)


@pytest.mark.parametrize("resolution", [0.0, -0.1, math.nan, math.inf])
def test_last_digit_that_cannot_be_is_refused(resolution: float) -> None:
    """A last digit of no size is refused."""
    with pytest.raises(OutOfRange, match="last digit must be positive"):
        default_meter().limit(OHMS, 4.7, resolution)


def test_value_that_is_no_number_is_refused() -> None:
    """Not-a-number has no range."""
    with pytest.raises(OutOfRange, match="must be a number"):
        default_meter().range_for(OHMS, math.nan)


def test_unknown_class_is_answered_with_the_nearest() -> None:
    """A misspelt class of meter is answered with the right name."""
    with pytest.raises(Unknown, match="clamp"):
        meter("clamb")


def test_own_meter_is_read_in_its_own_units() -> None:
    """A table in kilo-ohms gives a meter in ohms, exact to the decimal."""
    mine = meter_from_table(table())
    assert mine.title == "mine"
    assert mine.ranges == (MeterRange(OHMS, 4000.0, 1.0, 0.7, 2, "the meter's own data page"),)


@pytest.mark.parametrize("unit", ["\u2126", "\u03a9", "ohm", ...])
def test_own_meter_takes_ohms_in_every_letter(unit: object) -> None:
    """The ohm sign, the omega, the word and no unit at all mean ohms."""
    assert meter_from_table(table(unit=unit)).highest(OHMS) == 4.0


@pytest.mark.parametrize(
    ("given_table", "names"),
    [
        (table(quantity="ohms"), "range 1: quantity must be one of resistance"),
        (table(full_scale=...), "ranges, row 1: full_scale is missing"),
        (table(full_scale="4k"), "ranges, row 1: full_scale must be a number, got '4k'"),
        (table(full_scale=math.nan), "full_scale must be a positive number, got nan"),
        (table(full_scale=10**400), "full_scale: number out of range"),
        (table(full_scale=-1), "full_scale must be a positive number"),
        (table(resolution=5), "resolution must be above 0 and below full_scale"),
        (table(percent=True), "percent must be a number"),
        (table(percent=-1), "percent must be from 0 to under 100"),
        (table(counts=1.5), "counts must be a whole number"),
        (table(counts=-1), "counts must be 0 or more"),
        (table(counts=0, percent=0), "no meter is exact"),
        (table(unit="kV"), "unit of a resistance must be one of Ω"),
        (table(digits=3), "there is no field 'digits'"),
        (table(percnt=3), "did you mean percent"),
        ({"name": "mine"}, "ranges is missing"),
        ({"name": "mine", "ranges": []}, "no ranges; give at least one"),
        ({"name": "mine", "ranges": ["ohms"]}, "ranges, row 1 must be a table, got 'ohms'"),
        ({"ranges": table()["ranges"]}, "name is missing"),
        ({"name": 3, "ranges": table()["ranges"]}, "name must be text in quotes, got 3"),
        ({"name": "mine", "ranges": table()["ranges"] * 2}, "two resistance ranges that end at 4000"),
        (table() | {"test_voltage": -500}, "test_voltage must be above 0"),
        (table() | {"test_voltage": {"unit": "V"}}, "test_voltage: value is missing"),
        ([], "it must be a table, got a list"),
    ],
)
def test_wrong_table_is_refused_by_the_name_of_its_fault(given_table: Any, names: str) -> None:
    """A wrong table of one's own meter is refused with the field that is wrong and what would be right."""
    with pytest.raises(Refused) as refusal:
        meter_from_table(given_table, "my meter")
    assert str(refusal.value).startswith("my meter")
    assert names in str(refusal.value)


def test_nulled_leads_add_nothing_and_measured_leads_what_was_measured() -> None:
    """Nulled leads add nothing, measured leads their resistance, and neither has a spread."""
    assert Leads(nulled=True).offset == 0.0
    assert Leads(resistance=0.3).offset == 0.3
    assert Leads(nulled=True, resistance=0.3).offset == 0.0
    assert Leads(nulled=True).spread is None
    assert Leads(resistance=0.3).spread is None


@published(source="common practice", where="test leads not nulled: 0.1 to 0.6 Ω", printed_to="0.01 Ω")
def test_unknown_leads_add_a_tenth_to_six_tenths_of_an_ohm() -> None:
    """Leads nobody looked at add 0.1 to 0.6 Ω in 95 % of cases."""
    unknown = Leads().spread
    assert Leads().offset is None
    assert unknown is not None
    assert unknown.median / unknown.factor == pytest.approx(0.1, abs=0.005)
    assert unknown.median * unknown.factor == pytest.approx(0.6, abs=0.005)


@pytest.mark.parametrize("ohms", [-0.1, math.nan, math.inf])
def test_lead_resistance_that_cannot_be_is_refused(ohms: float) -> None:
    """A negative or endless lead resistance is refused with how to find the right one."""
    with pytest.raises(OutOfRange, match="Touch the tips together"):
        Leads(resistance=ohms)
