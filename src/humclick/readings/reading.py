"""
A reading: what a person saw on the meter's display.

A value, or over limit (``OL``), or too small for the display to show; with the size of the last digit typed,
which tells the resolution the meter had.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings.typed import (
    EXAMPLES,
    QUANTITIES,
    Digits,
    Unit,
    digits_from,
    normalized,
    reading_refused,
    unit_from,
)
from humclick.sourced import read_data, sourced

__all__ = ["Reading", "parse_reading"]


@dataclass(frozen=True, slots=True)
class Reading:
    """
    One reading as typed.

    Raises `OutOfRange` if the fields contradict each other.
    """

    quantity: Quantity
    value: float | None  #: What the display showed; None when over limit. [Ω, F, V, A or °C]
    over_limit: bool = False  #: The display showed OL.
    below_resolution: bool = False  #: The display showed nothing but zeros, or less than the typed bound.
    resolution: float | None = None  #: Size of the last digit typed; None when over limit. [SI]
    text: str = ""  #: As typed, without the spaces around it.
    #: When over limit, the value it is said to exceed, as in ``>550 MΩ``; None for a plain OL, which exceeds
    #: the meter's top range. [SI]
    bound: float | None = None

    def __post_init__(self) -> None:
        if (self.value is None) != self.over_limit:
            raise OutOfRange(Message("a reading has either a value or over limit"))
        if self.value is not None and not math.isfinite(self.value):
            raise OutOfRange(
                Message("a reading must be a finite number, got {value}; over limit is OL", value=self.value)
            )
        if self.resolution is not None and not self.resolution > 0:
            raise OutOfRange(
                Message("the last digit must be above 0, got {resolution:g}", resolution=self.resolution)
            )


#: Displays that mean over limit, without spaces, dots and slashes.
_OVER_LIMIT = (
    *("overload", "overlimit", "overrange", "outofrange", "opencircuit", "openline"),
    *("infinite", "infinity", "inf", "open", "ol", "0l", "ovld", "∞"),
)
#: Of these, the ones said of ohms only.
_OHMS_ONLY = frozenset({"opencircuit", "openline", "open", "infinite", "infinity", "inf", "∞"})

#: Conclusions, which are not readings.
_CONCLUSIONS = (
    *("short", "shorted", "shortcircuit", "dead", "zero", "none", "nothing", "noreading", "nocontinuity"),
    *("good", "ok", "pass", "bad", "fail", "continuity", "beep", "beeps", "buzz", "weak", "low", "high"),
)

_LETTER_FORM = re.compile(r"([+-]?) ?([0-9]{0,4})([RrKkMmGgUuNnPpμ])([0-9]{1,3}) ?(Ω|ω|F|f|(?i:ohms?))?\.?")
_NUMBER_FORM = re.compile(r"([<>]?) ?([+-]?) ?([0-9.,][0-9., ]*)(.*)", re.DOTALL)


def parse_reading(text: str, expected: Quantity | None = None) -> Reading:
    """
    Understand a reading as people type it.

    Parameters
    ----------
    text : str
        Such as ``4.7``, ``4,7 ohm``, ``4k7``, ``0R2``, ``2M``, ``OL``, ``open``, ``0.0``, ``<0.1``,
        ``14,84 MFD``, ``115 VAC``, ``350 mA``, ``77 °F``.
    expected : Quantity, optional
        What the probe asks for. Then the unit may be left out, except for a temperature; a capacitor's
        number without unit is in microfarads.

    Returns
    -------
    Reading
        In SI units, temperatures in degrees Celsius.

    Raises
    ------
    ReadingRefused
        If the text cannot be understood or could mean two things; the message says what would be right.

    Examples
    --------
    >>> parse_reading("4k7").value
    4700.0
    >>> parse_reading("O.L", Quantity.RESISTANCE).over_limit
    True
    """
    write = EXAMPLES[expected]
    plain = normalized(text, write)
    typed = text.strip()
    over = _over_limit(plain, expected, typed)
    if over is not None:
        return over
    letters = _LETTER_FORM.fullmatch(plain)
    if letters and (letters[2] or letters[3] in "Rr"):
        sign, bound = letters[1], ""
        digits, unit = _letter_form(letters, expected, typed)
    else:
        number = _NUMBER_FORM.fullmatch(plain)
        if number is None:
            raise reading_refused(typed, _why_no_number(plain), write)
        bound, sign, run = number[1], number[2], number[3].strip()
        if re.match(r"\s*[oO][0-9.,]|.*[0-9.,][oO](?![hH])", plain):
            raise reading_refused(
                typed,
                Message("a letter O stands where a digit 0 may be meant"),
                Message("the digit 0, such as {write}", write=write),
            )
        digits = digits_from(run, typed, write)
        unit = unit_from(number[4], expected, run, typed)
    return _reading(digits, unit, sign, bound, typed)


def _over_limit(plain: str, expected: Quantity | None, typed: str) -> Reading | None:
    """The reading, if the display showed OL; None if it did not."""
    folded = re.sub(r"[\s./]", "", plain).casefold()
    word = next((word for word in _OVER_LIMIT if folded.startswith(word)), None)
    if word is None:
        return None
    rest = folded[len(word) :]
    if rest in ("", "mω", "mohm", "mohms", "m"):
        quantity = expected if expected and not rest else Quantity.RESISTANCE
    elif rest in ("k", "ω", "ohm", "ohms", "kω", "kohm", "meg", "megohm", "megohms"):
        quantity = Quantity.RESISTANCE
    else:
        quantity = unit_from(rest, expected, "OL", typed).quantity
    if expected is not None and quantity is not expected:
        raise reading_refused(
            typed,
            Message(
                "that is a {quantity}, and a {expected} is asked for",
                quantity=QUANTITIES[quantity],
                expected=QUANTITIES[expected],
            ),
            Message("OL, or {examples}", examples=EXAMPLES[expected]),
        )
    if word in _OHMS_ONLY and quantity is not Quantity.RESISTANCE:
        raise reading_refused(
            typed,
            Message("that is said of ohms, not of a {quantity}", quantity=QUANTITIES[quantity]),
            Message("OL, or {examples}", examples=EXAMPLES[quantity]),
        )
    return Reading(quantity, None, over_limit=True, text=typed)


def _letter_form(match: re.Match[str], expected: Quantity | None, typed: str) -> tuple[Digits, Unit]:
    """Numbers with the prefix for a decimal mark: 4k7, 0R2, 4u7."""
    _, whole, letter, part, unit = match.groups()
    number = f"{whole or '0'}.{part}"
    digits = Digits(number, len(part))
    if letter == "m":
        raise reading_refused(
            typed,
            Message("a small m may be milli or mega"),
            Message("{whole}M{part} or {number} mΩ", whole=whole, part=part, number=number),
        )
    farads = letter in "UuNnPpμ"
    if unit and (unit in "Ff") != farads:
        raise reading_refused(typed, Message("prefix and unit do not belong together"), EXAMPLES[expected])
    symbol = f"{letter}F" if farads else "ohm" if letter in "Rr" else f"{letter}ohm"
    return digits, unit_from(symbol, expected, number, typed)


def _why_no_number(plain: str) -> Message:
    """Why a text without a number at its beginning is not a reading."""
    folded = re.sub(r"[\s./-]", "", plain).casefold()
    if folded in _CONCLUSIONS:
        return Message(
            "that is a conclusion, not what the display shows (a short shows 0.0, an open shows OL)"
        )
    if folded == "nan":
        return Message("not a number")
    if re.match(r"[oO][0-9.,]", plain):
        return Message("a letter O stands where a digit 0 may be meant")
    return Message("not a reading")


def _reading(digits: Digits, unit: Unit, sign: str, bound: str, typed: str) -> Reading:
    """Put number, unit, sign and bound together and hold them against what can be."""
    quantity = unit.quantity
    write = EXAMPLES[quantity]
    value, resolution = digits.times_ten_to(unit.power), digits.last_digit(unit.power)
    if unit.fahrenheit:
        exact = Fraction(f"{sign if sign == '-' else ''}{digits.plain}")
        value, resolution = float((exact - 32) * 5 / 9), float(Fraction(resolution) * 5 / 9)
    elif sign == "-":
        value = -value
    if quantity is Quantity.TEMPERATURE:
        if bound:
            raise reading_refused(typed, Message("a temperature takes no < or >"), write)
        if value < _figure("lowest", quantity):
            raise reading_refused(typed, Message("below absolute zero"), write)
    elif sign == "-":
        raise reading_refused(
            typed,
            Message("a {quantity} has no minus here", quantity=QUANTITIES[quantity]),
            Message("it without the sign, such as {write}", write=write),
        )
    if value > _figure("largest", quantity):
        raise reading_refused(
            typed,
            Message("too large for a {quantity}; a prefix may be wrong", quantity=QUANTITIES[quantity]),
            write,
        )
    if bound == ">":
        if quantity is not Quantity.RESISTANCE or value < _figure("over_limit_bound", Quantity.RESISTANCE):
            raise reading_refused(
                typed,
                Message("> is read for megohms only, as insulation testers show it"),
                Message("OL, or {write}", write=write),
            )
        return Reading(quantity, None, over_limit=True, text=typed, bound=value)
    if bound == "<":
        if value == 0:
            raise reading_refused(
                typed, Message("nothing is less than zero here"), Message("0.0, or the bound such as <0.1")
            )
        return Reading(quantity, 0.0, below_resolution=True, resolution=value, text=typed)
    below = value == 0 and quantity is not Quantity.TEMPERATURE
    return Reading(quantity, value, below_resolution=below, resolution=resolution, text=typed)


def _figure(table: str, quantity: Quantity) -> float:
    """A bound from readings.toml. [SI]"""
    data = read_data("humclick.readings", "readings.toml")
    return sourced(data[table][quantity], f"readings.toml, {table}.{quantity}").value
