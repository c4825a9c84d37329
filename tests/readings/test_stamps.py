"""Stamps of capacitors: every printed form is understood exactly, the rest is refused with the right form."""

from __future__ import annotations

import pytest
from hypothesis import given, settings

from humclick.errors import OutOfRange, ReadingRefused
from humclick.meters import Quantity
from humclick.readings.reading import parse_reading
from humclick.readings.stamps import Stamp, parse_stamp
from tests.published import published
from tests.strategies import hostile_text, outcome, typed_ranges

FARAD = Quantity.CAPACITANCE


@published(source="common practice", where="start capacitor stamped 88-108 MFD", printed_to="1 µF")
def test_stamped_range_is_the_range() -> None:
    """A start capacitor stamped 88-108 MFD is good from 88 to 108 µF, whatever it is for."""
    stamp = parse_stamp("88-108 MFD")
    assert stamp == Stamp(88e-6, None, 108e-6, True, None, "88-108 MFD")
    assert stamp.limits("start") == stamp.limits("run") == (88e-6, 108e-6)


@published(
    source="common practice",
    where="start capacitor marked 15 µF: 14.84 and 15.41 µF are good",
    printed_to="0.01 µF",
)
def test_bare_stamp_of_a_start_capacitor_has_five_per_cent() -> None:
    """A bare 15 µF on a start capacitor takes in 14.84 µF and 15.41 µF: about ±5 %."""
    low, high = parse_stamp("15 uF").limits("start")
    assert (low, high) == (14.25e-6, 15.75e-6)
    for text in ("14.84 uF", "15.41 uF"):
        value = parse_reading(text, FARAD).value
        assert value is not None
        assert low <= value <= high


@published(
    source="EIA-456-A, from memory", where="run capacitors, usual tolerance ±6 %: 40 µF", printed_to="0.1 µF"
)
def test_bare_stamp_of_a_run_capacitor_has_six_per_cent() -> None:
    """A bare 40 µF on a run capacitor means 37.6 to 42.4 µF."""
    assert parse_stamp("40 MFD").limits("run") == (37.6e-6, 42.4e-6)


@published(
    source="EIA-463, from memory", where="electrolytic start capacitor −0/+20 %: 108 µF", printed_to="1 µF"
)
def test_one_sided_tolerance_is_the_printed_range() -> None:
    """A 108 µF capacitor of −0/+20 % is the one stamped 108-130 MFD."""
    stamp = parse_stamp("108 uF -0/+20%")
    assert stamp.low == 108e-6
    assert stamp.high == pytest.approx(130e-6, abs=0.5e-6)


@pytest.mark.parametrize(
    ("text", "low", "nominal", "high", "volts"),
    [
        ("88–108 µF", 88e-6, None, 108e-6, None),
        ("88 to 108 mfd", 88e-6, None, 108e-6, None),
        ("88-108", 88e-6, None, 108e-6, None),
        ("88-108 MFD 110/125 VAC", 88e-6, None, 108e-6, 125.0),
        ("220 VAC 88-108MFD", 88e-6, None, 108e-6, 220.0),
        ("88-108MFD/125V", 88e-6, None, 108e-6, 125.0),
        ("15 µF ±5 %", 14.25e-6, 15e-6, 15.75e-6, None),
        ("35 MFD +/-6%", 32.9e-6, 35e-6, 37.1e-6, None),
        ("12,5 µF ±10%", 11.25e-6, 12.5e-6, 13.75e-6, None),
        ("12.5uF -0/+20%", 12.5e-6, 12.5e-6, 15e-6, None),
        ("12.5uF +20/-0 %", 12.5e-6, 12.5e-6, 15e-6, None),
        ("40 µF 5% 450 V~ 50/60 Hz", 38e-6, 40e-6, 42e-6, 450.0),
        ("40 µF ±5 % 370-440 V AC", 38e-6, 40e-6, 42e-6, 440.0),
    ],
)
def test_stamp_is_understood(
    text: str, low: float, nominal: float | None, high: float, volts: float | None
) -> None:
    """A stamp as printed has its range, value and highest voltage, exact to the decimal."""
    assert parse_stamp(text) == Stamp(low, nominal, high, True, volts, text)


def test_dual_stamp_has_two_sections_and_answers_for_the_larger() -> None:
    """A dual capacitor keeps both sections in the order stamped and is itself the larger."""
    stamp = parse_stamp("5/45 MFD ±6 % 440 VAC")
    assert [section.nominal for section in stamp.sections] == [5e-6, 45e-6]
    assert (stamp.nominal, stamp.low, stamp.volts) == (45e-6, 42.3e-6, 440.0)
    assert stamp.sections[0].limits("run") == (4.7e-6, 5.3e-6)


@given(typed_ranges())
def test_every_stamped_range_is_exact(typed: tuple[str, int, int]) -> None:
    """Any range in any form has its two ends exactly."""
    text, low, high = typed
    stamp = parse_stamp(text)
    assert (stamp.low, stamp.nominal, stamp.high) == (float(f"{low}e-6"), None, float(f"{high}e-6"))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("108-88 MFD", "from low to high"),
        ("88-108 MFD ±5 %", "already says the tolerance"),
        ("15 mF", "write 15 uF"),
        ("15 V", "not a capacitor's stamp"),
        ("15 uF 3 V", "not the voltage"),
        ("15 uF 110 V 220 V", "more than one voltage"),
        ("15 uF ±0.5 uF", "not a capacitor's stamp"),
        ("15 uF ±0 %", "between 0 and 100 %"),
        ("15 uF ±100 %", "between 0 and 100 %"),
        ("1,200 uF", "1200 or 1.200"),
        ("45/5/3 MFD", "not a capacitor's stamp"),
        ("0 uF", "not the value"),
        ("999999 uF", "not the value"),
        ("15 ohm", "that is a resistance"),
        ("OL", "not a capacitor's stamp"),
        ("", "nothing is written"),
    ],
)
def test_wrong_stamp_is_refused_with_the_right_form(text: str, says: str) -> None:
    """A stamp that cannot be is refused with why and what to write."""
    with pytest.raises(ReadingRefused) as refusal:
        parse_stamp(text)
    assert says in str(refusal.value)
    assert "; write " in str(refusal.value)


@settings(max_examples=2000)
@given(hostile_text)
def test_any_text_is_refused_or_a_right_stamp(text: str) -> None:
    """Any text whatever ends in a refusal or in a stamp whose range holds together for both kinds."""
    stamp = outcome(parse_stamp, text)
    if isinstance(stamp, str):
        assert "; write " in stamp
        return
    for low, high in (stamp.limits("start"), stamp.limits("run")):
        assert 0 < low <= high <= 0.2
    assert parse_stamp(stamp.text) == stamp


def test_stamp_for_another_kind_or_without_a_range_is_refused() -> None:
    """A capacitor is for starting or for running, and a range goes upward."""
    with pytest.raises(OutOfRange, match="start or a run capacitor"):
        parse_stamp("15 uF").limits("power")  # type: ignore[arg-type]
    with pytest.raises(OutOfRange, match="from low to high"):
        Stamp(2e-6, None, 1e-6, True)
