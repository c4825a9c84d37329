"""Readings: every form people type is understood exactly, the rest is refused with the right form."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from humclick.errors import OutOfRange, ReadingRefused
from humclick.meters import Quantity, meter
from humclick.readings.reading import Reading, parse_reading
from humclick.readings.repeats import spread_of
from humclick.readings.shown import format_si
from humclick.readings.temperature import PartTemperature, parse_temperature
from tests.published import published
from tests.strategies import TypedReading, hostile_text, outcome, quantities, typed_readings, values_of

OHM, FARAD, VOLT, AMPERE, DEGREE = Quantity

expectations = st.one_of(st.none(), quantities)


@pytest.mark.parametrize(
    ("text", "expected", "value", "resolution"),
    [
        ("4.7", OHM, 4.7, 0.1),
        ("4,7", OHM, 4.7, 0.1),
        (" 4.70 ohms ", OHM, 4.7, 0.01),
        ("4.7\u03a9", None, 4.7, 0.1),
        ("4.7 \u2126", None, 4.7, 0.1),
        ("4k7", None, 4700.0, 100.0),
        ("4K7 ohm", OHM, 4700.0, 100.0),
        ("4R7", OHM, 4.7, 0.1),
        ("0R2", OHM, 0.2, 0.1),
        ("R47", OHM, 0.47, 0.01),
        ("4.7k", OHM, 4700.0, 100.0),
        ("4.7 kΩ", OHM, 4700.0, 100.0),
        ("2M", OHM, 2e6, 1e6),
        ("2M2", OHM, 2.2e6, 1e5),
        ("2 megohm", OHM, 2e6, 1e6),
        ("2 MEGOHMS", OHM, 2e6, 1e6),
        ("1.5G", OHM, 1.5e9, 1e8),
        ("20 mΩ", OHM, 0.02, 0.001),
        ("1 200", OHM, 1200.0, 1.0),
        ("1\u202f200 ohm", OHM, 1200.0, 1.0),
        ("1.200", OHM, 1.2, 0.001),
        ("0,200", OHM, 0.2, 0.001),
        ("1234,567", OHM, 1234.567, 0.001),
        (".5", OHM, 0.5, 0.1),
        ("+4.7", OHM, 4.7, 0.1),
        ("14.84 uF", FARAD, 14.84e-6, 1e-8),
        ("14,84 MFD", FARAD, 14.84e-6, 1e-8),
        ("14.84 \u00b5F", FARAD, 14.84e-6, 1e-8),
        ("14.84 \u03bcF", FARAD, 14.84e-6, 1e-8),
        ("14.84 MF D", FARAD, 14.84e-6, 1e-8),
        ("14.84", FARAD, 14.84e-6, 1e-8),
        ("4u7", None, 4.7e-6, 1e-7),
        ("47 nF", FARAD, 47e-9, 1e-9),
        ("470pF", FARAD, 470e-12, 1e-12),
        ("115 V", VOLT, 115.0, 1.0),
        ("115v", VOLT, 115.0, 1.0),
        ("115 VAC", VOLT, 115.0, 1.0),
        ("115 volts AC", None, 115.0, 1.0),
        ("350 mV", VOLT, 0.35, 0.001),
        ("1.2kV", VOLT, 1200.0, 100.0),
        ("3.6 A", AMPERE, 3.6, 0.1),
        ("3.6 amps", AMPERE, 3.6, 0.1),
        ("350 mA", AMPERE, 0.35, 0.001),
        ("25 °C", DEGREE, 25.0, 1.0),
        ("25C", DEGREE, 25.0, 1.0),
        ("77 F", DEGREE, 25.0, 5 / 9),
        ("77°F", None, 25.0, 5 / 9),
        ("-40 F", DEGREE, -40.0, 5 / 9),
        ("\u22125 °C", DEGREE, -5.0, 1.0),
        ("0 °C", DEGREE, 0.0, 1.0),
    ],
)
def test_typed_form_is_understood(
    text: str, expected: Quantity | None, value: float, resolution: float
) -> None:
    """A form people type has its value and last digit, exact, and keeps its text."""
    reading = parse_reading(text, expected)
    assert (reading.value, reading.resolution) == (value, resolution)
    assert not reading.over_limit
    assert not reading.below_resolution
    assert reading.text == text.strip()
    assert expected in (None, reading.quantity)


@pytest.mark.parametrize(
    "text",
    [
        *("OL", "ol", "O.L", "0L", "0.L", "O.L.", "o l", "OL ohm", "OL MΩ", "OL kohm", "O.L. megohm"),
        *("open", "Open", "infinite", "infinity", "inf", "∞", "∞ Ω", "overload", "over limit", "over range"),
    ],
)
@pytest.mark.parametrize("expected", [OHM, None])
def test_over_limit_is_understood_in_every_spelling(text: str, expected: Quantity | None) -> None:
    """Every spelling of over limit is over limit, with no value and no last digit."""
    assert parse_reading(text, expected) == Reading(OHM, None, over_limit=True, text=text)


@pytest.mark.parametrize("expected", list(Quantity))
def test_over_limit_is_of_the_quantity_asked_for(expected: Quantity) -> None:
    """A plain OL belongs to whatever the probe asks for."""
    reading = parse_reading("OL", expected)
    assert (reading.quantity, reading.over_limit, reading.value) == (expected, True, None)


def test_over_limit_with_a_bound_keeps_it() -> None:
    """What an insulation tester shows as more than 550 MΩ is over limit beyond that bound."""
    reading = parse_reading(">550 MΩ", OHM)
    assert (reading.over_limit, reading.value, reading.bound) == (True, None, 550e6)


@pytest.mark.parametrize(
    ("text", "expected", "resolution"),
    [
        *(("0", OHM, 1.0), ("0.0", OHM, 0.1), ("0.00 ohm", OHM, 0.01), ("0,0", OHM, 0.1), ("<0.1", OHM, 0.1)),
        *(("< 0.5 Ω", None, 0.5), ("0 V", VOLT, 1.0), ("0.00 A", AMPERE, 0.01), ("0.00 uF", FARAD, 1e-8)),
    ],
)
def test_nothing_but_zeros_is_below_resolution(
    text: str, expected: Quantity | None, resolution: float
) -> None:
    """A display of zeros says less than its last digit, not exactly nothing."""
    reading = parse_reading(text, expected)
    assert (reading.value, reading.below_resolution, reading.resolution) == (0.0, True, resolution)


@pytest.mark.parametrize(
    ("text", "expected", "right"),
    [
        ("1,200", OHM, "1200 or 1.200"),
        ("12,345 uF", FARAD, "12345 or 12.345"),
        ("1,200.5", OHM, "1200.5"),
        ("1.200,5", OHM, "1200.5"),
        ("12,345,678", OHM, "12345678"),
        ("2m", OHM, "2 megohm or 2 mΩ"),
        ("2 mohm", OHM, "2 megohm or 2 mΩ"),
        ("4m7", OHM, "4M7 or 4.7 mΩ"),
        ("15 mF", FARAD, "15 uF"),
        ("15 MF", FARAD, "15 uF"),
        ("15 F", FARAD, "14.84 uF"),
        ("350 MV", VOLT, "350 mV"),
        ("350 MA", AMPERE, "350 mA"),
        ("77 F", None, "77 uF or 77 °F"),
        ("25", DEGREE, "25 °C or 25 °F"),
        ("298 K", DEGREE, "25 °C"),
        ("-300 °C", DEGREE, "25 °C"),
        ("-4.7", OHM, "without the sign"),
        ("-115 V", VOLT, "without the sign"),
        ("1.", OHM, "OL, or 1.0"),
        ("5.", OHM, "5.0"),
        ("4 7", OHM, "one number"),
        ("4.7 ohm 5.2 ohm", OHM, "4.7 ohm"),
        ("4.7 omh", OHM, "4.7 ohm"),
        ("O.2", OHM, "4.7 ohm, 4k7 or OL"),
        ("1O", OHM, "the digit 0"),
        ("short", OHM, "4.7 ohm, 4k7 or OL"),
        ("good", FARAD, "14.84 uF"),
        ("open", FARAD, "OL, or 14.84 uF"),
        ("OL ohm", VOLT, "OL, or 115 V"),
        ("5 V", OHM, "4.7 ohm, 4k7 or OL"),
        ("4k7", FARAD, "14.84 uF"),
        ("4u7 ohm", None, "4.7 ohm"),
        ("4.7", None, "4.7 ohm"),
        (">5", OHM, "OL"),
        ("<0", OHM, "0.0"),
        ("<5 °C", DEGREE, "25 °C"),
        ("NaN", OHM, "4.7 ohm"),
        ("1e9", OHM, "4.7 ohm"),
        ("٣", OHM, "4.7 ohm"),
        ("4²", OHM, "4.7 ohm"),
        ("½", OHM, "4.7 ohm"),
        ("", OHM, "4.7 ohm"),
        ("   ", VOLT, "115 V"),
        ("9" * 60, OHM, "4.7 ohm"),
        ("9" * 5000, OHM, "4.7 ohm"),
        ("20 kF", FARAD, "14.84 uF"),
        ("99 kV", VOLT, "115 V"),
    ],
)
def test_refusal_says_what_would_be_right(text: str, expected: Quantity | None, right: str) -> None:
    """A text that cannot be understood, or could mean two things, is refused with the right form."""
    with pytest.raises(ReadingRefused) as refusal:
        parse_reading(text, expected)
    said = str(refusal.value)
    assert right in said.split("; write ")[-1]
    assert len(said) < 250


@settings(max_examples=500)
@given(typed_readings(), st.booleans())
def test_every_unit_and_mark_is_exact(typed: TypedReading, asked: bool) -> None:
    """Any number in any spelling of any unit is the nearest float to its exact value and last digit."""
    reading = parse_reading(typed.text, typed.quantity if asked else None)
    assert reading.quantity is typed.quantity
    assert reading.value == float(typed.value)
    assert reading.resolution == float(typed.resolution)
    zero_shown = typed.value == 0 and typed.quantity is not DEGREE
    assert reading.below_resolution == zero_shown


@given(typed_readings(), quantities)
def test_reading_of_another_quantity_is_refused(typed: TypedReading, asked: Quantity) -> None:
    """A unit of another quantity than asked for never passes as a reading."""
    if asked is typed.quantity:
        assert parse_reading(typed.text, asked).quantity is asked
        return
    with pytest.raises(ReadingRefused, match="write"):
        parse_reading(typed.text, asked)


@settings(max_examples=3000)
@given(hostile_text, expectations)
@example("\ud800", None)
@example("4.7\x00", OHM)
@example("\u0130nf", OHM)
@example("1n4148", None)
def test_any_text_is_refused_or_a_right_reading(text: str, expected: Quantity | None) -> None:
    """Any text whatever ends in a refusal that says what to write, or in a reading that holds together."""
    reading = outcome(lambda typed: parse_reading(typed, expected), text)
    if isinstance(reading, str):
        assert "; write " in reading
        assert reading.isprintable()
        return
    assert expected in (None, reading.quantity)
    assert reading.over_limit == (reading.value is None)
    assert reading.value is None or math.isfinite(reading.value)
    assert reading.value is None or reading.quantity is DEGREE or reading.value >= 0
    assert (reading.resolution is None) == reading.over_limit
    assert parse_reading(reading.text, reading.quantity) == reading


@pytest.mark.parametrize("thing", [None, 4.7, b"4.7", ["4.7"]])
def test_what_is_not_text_is_refused(thing: object) -> None:
    """A number or a missing value where text belongs is refused like any text."""
    with pytest.raises(ReadingRefused, match="a reading is typed text"):
        parse_reading(thing, OHM)  # type: ignore[arg-type]


@settings(max_examples=500)
@given(quantities.flatmap(lambda of: st.tuples(st.just(of), values_of(of))), st.integers(1, 9))
def test_value_shown_is_read_back_within_half_a_digit(drawn: tuple[Quantity, float], digits: int) -> None:
    """A value shown with some digits and read back differs by half of the last of them at most."""
    quantity, value = drawn
    reading = parse_reading(format_si(value, quantity, digits), quantity)
    assert reading.value is not None
    half = 0.5 * 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1) if value else 0.0
    if quantity is DEGREE and abs(value) < 0.01:
        half = max(half, 0.5 * (reading.resolution or 0.0))  # hundredths of a degree show fewer digits
    assert abs(reading.value - value) <= half * (1 + 1e-6)


@pytest.mark.parametrize(
    ("value", "quantity", "digits", "shown"),
    [
        (4.7, OHM, 3, "4.70 Ω"),
        (14.84e-6, FARAD, 3, "14.8 µF"),
        (4700.0, OHM, 2, "4.7 kΩ"),
        (1.2e6, OHM, 2, "1.2 MΩ"),
        (999.7, OHM, 3, "1.00 kΩ"),
        (0.2, OHM, 1, "0.2 Ω"),
        (0.0, FARAD, 3, "0.00 µF"),
        (1.5e-3, FARAD, 3, "1500 µF"),
        (47e-9, FARAD, 2, "47 nF"),
        (115.0, VOLT, 3, "115 V"),
        (0.35, AMPERE, 3, "350 mA"),
        (-5.0, DEGREE, 2, "-5.0 °C"),
        (None, OHM, 3, "OL"),
        (math.inf, OHM, 3, "OL"),
    ],
)
def test_value_is_shown_as_people_write_it(
    value: float | None, quantity: Quantity, digits: int, shown: str
) -> None:
    """A value is shown with the trade's prefix, the digits asked for and its unit."""
    assert format_si(value, quantity, digits) == shown


@pytest.mark.parametrize(("value", "digits"), [(math.nan, 3), (-math.inf, 3), (4.7, 0), (4.7, 10)])
def test_value_that_cannot_be_shown_is_refused(value: float, digits: int) -> None:
    """Not-a-number and a senseless number of digits are refused."""
    with pytest.raises(OutOfRange):
        format_si(value, OHM, digits)


@pytest.mark.parametrize(
    ("value", "over", "resolution"),
    [(None, False, None), (4.7, True, 0.1), (math.nan, False, 0.1), (4.7, False, 0.0)],
)
def test_reading_that_contradicts_itself_is_refused(
    value: float | None, over: bool, resolution: float | None
) -> None:
    """A reading has a finite value or is over limit, never both or neither."""
    with pytest.raises(OutOfRange):
        Reading(OHM, value, over_limit=over, resolution=resolution)


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("cold", PartTemperature("cold")),
        (" Cold ", PartTemperature("cold")),
        ("hot", PartTemperature("hot")),
        ("warm", PartTemperature("hot")),
        ("?", PartTemperature("unknown")),
        ("don\u2019t know", PartTemperature("unknown")),
        ("23 C", PartTemperature("measured", 23.0)),
        ("77F", PartTemperature("measured", 25.0)),
        ("-5 °C", PartTemperature("measured", -5.0)),
    ],
)
def test_part_temperature_is_a_word_or_a_figure(text: str, right: PartTemperature) -> None:
    """A part is cold, hot, unknown or so many degrees."""
    assert parse_temperature(text) == right


@pytest.mark.parametrize(
    "text", ["", "lukewarm", "25", "OL", "OL °C", "4k7", "23 C 24 C", "<5 C", "9 kelvin"]
)
def test_part_temperature_that_is_neither_is_refused(text: str) -> None:
    """What is neither such a word nor a temperature is refused with what to write."""
    with pytest.raises(ReadingRefused, match="; write "):
        parse_temperature(text)


@given(hostile_text)
def test_any_text_is_refused_or_a_right_part_temperature(text: str) -> None:
    """Any text whatever ends in a refusal or in a part temperature between two others."""
    part = outcome(parse_temperature, text)
    if isinstance(part, str):
        assert "; write " in part
        return
    low, high = part.between
    assert low < high


def test_part_temperature_lies_between_what_its_word_allows() -> None:
    """Cold lies below hot, unknown takes in both, and a figure is good to a few degrees."""
    cold, hot, unknown = (PartTemperature(kind).between for kind in ("cold", "hot", "unknown"))
    assert cold[1] <= hot[0]
    assert unknown == (cold[0], hot[1])
    assert PartTemperature("measured", 25.0).between == (22.0, 28.0)


@pytest.mark.parametrize(("kind", "celsius"), [("measured", None), ("cold", 20.0), ("tepid", None)])
def test_part_temperature_that_contradicts_itself_is_refused(kind: str, celsius: float | None) -> None:
    """Only a measured temperature has a figure, and it must have one."""
    with pytest.raises(OutOfRange):
        PartTemperature(kind, celsius)  # type: ignore[arg-type]


def repeats(*texts: str, of: Quantity = OHM) -> list[Reading]:
    """Readings of one quantity from their texts."""
    return [parse_reading(text, of) for text in texts]


@published(
    source="common practice",
    where="dusty relay contact: 3.9 Ω, then 0.2 Ω after working it: re-seat and repeat",
)
def test_scattered_repeats_are_named() -> None:
    """A contact that reads 3.9 Ω and then 0.2 Ω is not settled, and the sentence says both."""
    spread = spread_of(repeats("3.9", "0.2"))
    assert spread.settled is False
    assert spread.scatter == pytest.approx(3.7 / math.sqrt(2))
    assert (spread.lowest, spread.highest) == (0.2, 3.9)
    assert spread.sentence.startswith("scattered: 3.9 Ω, 0.2 Ω; contact not settled")


@pytest.mark.parametrize(
    ("texts", "settled"), [(("4.7", "4.9"), True), (("4.7", "5.1"), True), (("4.7", "5.2"), False)]
)
def test_difference_the_last_digits_explain_is_settled(texts: tuple[str, ...], settled: bool) -> None:
    """Repeats within twice the meter's counts, here 2 × 2 × 0.1 Ω, are steady; further apart they are not."""
    assert spread_of(repeats(*texts), meter("standard")).settled is settled


def test_over_limit_among_values_is_not_settled() -> None:
    """A contact that is sometimes OL is not settled, one that is always OL is steady."""
    mixed = spread_of(repeats("OL", "0.2"))
    assert (mixed.settled, mixed.scatter) == (False, None)
    assert "OL, 0.2 Ω" in mixed.sentence
    steady = spread_of(repeats("OL", "open"))
    assert (steady.settled, steady.lowest, steady.sentence) == (True, None, "steady: OL, OL")


def test_single_reading_has_no_spread() -> None:
    """One reading says nothing about repeats, and zeros are shown as what they are."""
    one = spread_of(repeats("0.0"))
    assert (one.settled, one.scatter, one.sentence) == (None, None, "one reading: below 0.1 Ω")


def test_repeats_of_a_quantity_the_meter_lacks_use_the_default_meter() -> None:
    """Capacitances are compared although the pocket meter named has no such range."""
    spread = spread_of(repeats("14.84", "16.9", of=FARAD), meter("basic"))
    assert spread.settled is False
    assert spread.sentence == "scattered: 14.84 µF, 16.9 µF; not settled, wait and read again"


def test_repeats_of_nothing_or_of_two_quantities_are_refused() -> None:
    """There is no spread of nothing, nor of ohms and volts together."""
    with pytest.raises(OutOfRange, match="at least one"):
        spread_of([])
    with pytest.raises(OutOfRange, match="resistance and voltage"):
        spread_of([*repeats("4.7"), *repeats("115", of=VOLT)])
