"""Numbers and units as people type them: one rule for marks, and no guess between two."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import ReadingRefused
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings.typed import (
    EXAMPLES,
    LONGEST,
    Digits,
    digits_from,
    normalized,
    reading_refused,
    unit_from,
)
from tests.strategies import outcome

OHM, FARAD, VOLT, AMPERE, DEGREE = (
    *(Quantity.RESISTANCE, Quantity.CAPACITANCE, Quantity.VOLTAGE),
    *(Quantity.CURRENT, Quantity.TEMPERATURE),
)


def unit(typed: str, expected: Quantity | None = None) -> tuple[Quantity, int]:
    made = unit_from(typed, expected, "4.7", f"4.7 {typed}")
    return made.quantity, made.power


@given(value=st.decimals(0, 10**9, places=4, allow_nan=False), power=st.integers(-12, 9))
def test_digits_are_exact_in_any_power_of_ten(value: Decimal, power: int) -> None:
    """Rounded once: as the decimal module has it; the last digit is a power of ten."""
    plain = f"{value:f}"
    made = digits_from(plain, plain, "")
    assert made.times_ten_to(power) == float(value.scaleb(power))
    assert made.last_digit(power) == float(Decimal(1).scaleb(power - made.decimals))


@pytest.mark.parametrize(
    ("run", "made"),
    [
        ("4,7", Digits("4.7", 1)),
        (".5", Digits("0.5", 1)),
        ("1 200", Digits("1200", 0)),
        ("1 234 567,25", Digits("1234567.25", 2)),
        ("0,125", Digits("0.125", 3)),
        ("1234,567", Digits("1234.567", 3)),
        ("007", Digits("007", 0)),
    ],
)
def test_a_dot_or_a_comma_is_the_decimal_mark(run: str, made: Digits) -> None:
    """Spaces part thousands; a comma before three digits is decimal where it cannot."""
    assert digits_from(run, run, "") == made


@pytest.mark.parametrize(
    ("run", "right"),
    [
        ("1,200", "1200 or 1.200"),
        ("12,345", "12345 or 12.345"),
        ("1,234,567", "1234567"),
        ("1.234,5", "1234.5"),
        ("1,234.5", "1234.5"),
        ("1.2.3", "4.7 ohm"),
        ("1 2", "one number"),
        ("1.", "OL, or 1.0"),
        ("25.", "25.0"),
        (".", "4.7 ohm"),
    ],
)
def test_what_can_be_read_two_ways_is_refused_with_both(run: str, right: str) -> None:
    """Nothing is guessed; what would be right stands in the message."""
    with pytest.raises(ReadingRefused) as refusal:
        digits_from(run, run, EXAMPLES[OHM])
    assert right in str(refusal.value)


@pytest.mark.parametrize(
    ("typed", "expected", "made"),
    [
        ("M", OHM, (OHM, 6)),
        ("MΩ", None, (OHM, 6)),
        ("Mohm", None, (OHM, 6)),
        ("mΩ", None, (OHM, -3)),
        ("milliohm", None, (OHM, -3)),
        ("k", OHM, (OHM, 3)),
        ("k", None, (OHM, 3)),
        ("k", VOLT, (VOLT, 3)),
        ("G", OHM, (OHM, 9)),
        ("u", FARAD, (FARAD, -6)),
        ("MFD", None, (FARAD, -6)),
        ("n", FARAD, (FARAD, -9)),
        ("p", FARAD, (FARAD, -12)),
        ("mV", None, (VOLT, -3)),
        ("mA", None, (AMPERE, -3)),
        ("uA", None, (AMPERE, -6)),
        ("V~", None, (VOLT, 0)),
        ("C", None, (DEGREE, 0)),
        ("", OHM, (OHM, 0)),
        ("", FARAD, (FARAD, -6)),
        ("", VOLT, (VOLT, 0)),
        ("", AMPERE, (AMPERE, 0)),
    ],
)
def test_a_unit_is_what_it_says(typed: str, expected: Quantity | None, made: tuple[Quantity, int]) -> None:
    """With spaces, a full stop at its end, and small or capital where that means nothing."""
    assert unit(typed, expected) == made
    assert unit(f" {typed}.", expected) == made
    if "m" not in typed.casefold():
        assert unit(typed.swapcase(), expected) == made


@pytest.mark.parametrize(
    ("typed", "expected", "right"),
    [
        ("m", OHM, "4.7 megohm or 4.7 mΩ"),
        ("mohm", OHM, "4.7 megohm or 4.7 mΩ"),
        ("MV", VOLT, "4.7 mV"),
        ("MA", AMPERE, "4.7 mA"),
        ("mF", FARAD, "4.7 uF"),
        ("F", None, "4.7 uF or 4.7 °F"),
        ("F", FARAD, EXAMPLES[FARAD]),
        ("", DEGREE, "4.7 °C or 4.7 °F"),
        ("", None, "with its unit"),
        ("K", DEGREE, EXAMPLES[DEGREE]),
        ("u", OHM, EXAMPLES[OHM]),
        ("V", OHM, EXAMPLES[OHM]),
        ("ohn", OHM, "4.7 ohm"),
        ("mx", None, EXAMPLES[None]),
        ("parsec", VOLT, EXAMPLES[VOLT]),
    ],
)
def test_a_unit_that_may_mean_two_things_is_refused(
    typed: str, expected: Quantity | None, right: str
) -> None:
    """Or that is of another quantity, or no unit at all."""
    with pytest.raises(ReadingRefused) as refusal:
        unit(typed, expected)
    assert right in str(refusal.value)


def test_fahrenheit_is_marked() -> None:
    """Alone where a temperature is asked for, else with its degree sign."""
    assert unit_from("F", DEGREE, "77", "77F").fahrenheit
    assert unit_from("°F", None, "77", "77 °F").fahrenheit
    assert not unit_from("°C", None, "25", "25 °C").fahrenheit


@given(text=st.text(st.characters(codec="utf-8"), max_size=LONGEST + 60))
def test_text_is_cleaned_or_refused(text: str) -> None:
    """What passes has one kind of space, mu, omega, minus and degree, and cleans no further."""
    got = outcome(lambda text: (normalized(text, "4.7 ohm"),), text)
    if isinstance(got, str):
        assert "write 4.7 ohm" in got
        assert "\n" not in got
        return
    (plain,) = got
    assert plain == plain.strip() != ""
    assert "  " not in plain
    assert not set(plain) & set("\u2126\u00b5\u2212\u2013\u2014º℃℉≤≥\t\n")
    assert normalized(plain, "4.7 ohm") == plain


@pytest.mark.parametrize(("length", "taken"), [(LONGEST, True), (LONGEST + 1, False)])
def test_the_longest_text_is_taken_and_one_letter_more_is_not(length: int, taken: bool) -> None:
    """Blanks around it do not count, within reason."""
    if taken:
        assert len(normalized("  " + "x" * length + "  ", "")) == length
        return
    with pytest.raises(ReadingRefused, match=f"{LONGEST} characters"):
        normalized("x" * length, "")


def test_a_long_text_is_shown_short_in_its_refusal() -> None:
    """Its quotes kept; one that just fits is shown whole, one that cannot be printed is spelled out."""
    assert str(reading_refused("x" * 38, Message("why"), "this")) == f"{'x' * 38!r}: why; write this"
    long = str(reading_refused("x" * 39, Message("why"), "this")).partition(":")[0]
    assert len(long) < 41
    assert (long[0], long[-1], "…" in long) == ("'", "'", True)
    assert "\\x1b" in str(reading_refused("\x1b[2J", Message("why"), "this"))
