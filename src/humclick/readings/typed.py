"""
Numbers and units as people type them.

One rule for marks: a dot or a comma is the decimal mark, and there is one of them at most; thousands stand
close together or are parted by spaces. ``1,200`` could be read both ways; the refusal gives both forms.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType

from humclick.errors import ReadingRefused
from humclick.messages import Message
from humclick.meters import Quantity

__all__ = [
    "EXAMPLES",
    "QUANTITIES",
    "Digits",
    "Unit",
    "digits_from",
    "normalized",
    "reading_refused",
    "unit_from",
]

#: Longest text that can be a reading or a stamp.
LONGEST = 80

#: What a meter shows, in words.
QUANTITIES: Mapping[Quantity, Message] = {
    Quantity.RESISTANCE: Message("resistance"),
    Quantity.CAPACITANCE: Message("capacitance"),
    Quantity.VOLTAGE: Message("voltage"),
    Quantity.CURRENT: Message("current"),
    Quantity.TEMPERATURE: Message("temperature"),
}
#: What would be right, by what is asked for.
EXAMPLES: Mapping[Quantity | None, Message] = MappingProxyType(
    {
        Quantity.RESISTANCE: Message("4.7 ohm, 4k7 or OL"),
        Quantity.CAPACITANCE: Message("14.84 uF"),
        Quantity.VOLTAGE: Message("115 V or 350 mV"),
        Quantity.CURRENT: Message("3.6 A or 350 mA"),
        Quantity.TEMPERATURE: Message("25 °C or 77 °F"),
        None: Message("4.7 ohm, 4k7, OL, 14.84 uF, 115 V, 3.6 A or 25 °C"),
    }
)

_SPACES = re.compile(r"\s+")
#: Letters that look alike become one: omega, mu, minus and degree signs.
_ONE_LETTER = str.maketrans(
    {
        "\u2126": "Ω",
        "\u00b5": "μ",
        "\u2212": "-",
        "\u2013": "-",
        "\u2014": "-",
        "\u2010": "-",
        "\u2011": "-",
        "º": "°",
        "˚": "°",
        "℃": "°C",
        "℉": "°F",
        "≤": "<",
        "≥": ">",
    }
)


def reading_refused(text: str, why: Message, write: str) -> ReadingRefused:
    """The refusal of a typed text: what came, what is wrong and what would be right."""
    quoted = ascii(text) if not text.isprintable() else repr(text)
    quoted = quoted if len(quoted) <= 40 else quoted[:37] + "…" + quoted[0]
    return ReadingRefused(Message("{shown}: {why}; write {write}", shown=quoted, why=why, write=write))


def normalized(text: object, write: str) -> str:
    """
    Text with one kind of space, mu, omega and minus.

    Raises `ReadingRefused` if it is not text, is empty, is too long, or has digits other than 0–9.
    """
    if not isinstance(text, str):
        raise reading_refused(str(type(text).__name__), Message("a reading is typed text"), write)
    if len(text) > LONGEST + 40 or len(text.strip()) > LONGEST:
        raise reading_refused(
            text, Message("longer than any reading ({longest} characters at most)", longest=LONGEST), write
        )
    plain = _SPACES.sub(" ", text.translate(_ONE_LETTER)).strip()
    if not plain:
        raise reading_refused(text, Message("nothing is written"), write)
    if any(letter.isnumeric() and not letter.isascii() for letter in plain):
        raise reading_refused(text, Message("digits are the plain 0 to 9"), write)
    return plain


@dataclass(frozen=True, slots=True)
class Digits:
    """A number as typed: ``plain`` with a dot for the decimal mark, and how many digits follow it."""

    plain: str
    decimals: int

    def times_ten_to(self, power: int) -> float:
        """The number times a power of ten, rounded once."""
        return float(f"{self.plain}e{power}")

    def last_digit(self, power: int) -> float:
        """Size of the last digit, times a power of ten."""
        return float(f"1e{power - self.decimals}")


def digits_from(run: str, text: str, write: str) -> Digits:
    """
    Read a run of digits, marks and spaces.

    Raises `ReadingRefused` if the number can be read in more than one way, or in none.
    """
    run = run.strip()
    marks = [letter for letter in run if letter in ".,"]
    if re.fullmatch(r"[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?", run):
        whole, mark, part = run.replace(" ", "").replace(",", ".").partition(".")
        return Digits(whole + mark + part, len(part))
    if " " in run:
        raise reading_refused(
            text,
            Message("more than one number, or a space inside one"),
            Message("one number: {write}", write=write),
        )
    if len(marks) > 1:
        raise reading_refused(
            text,
            Message("more than one decimal mark; thousands take no comma or dot"),
            _without_marks(run, write),
        )
    if run.endswith((".", ",")):
        if run[:-1] == "1":
            raise reading_refused(
                text,
                Message("a lone 1 at the left of the display is over limit"),
                Message("OL, or 1.0 if it is a number"),
            )
        raise reading_refused(
            text,
            Message("no digit after the decimal mark"),
            Message("{run}.0", run=run[:-1]) if run[:-1] else write,
        )
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", run):
        raise reading_refused(
            text,
            Message("the comma may part thousands or decimals"),
            Message("{first} or {second}", first=run.replace(",", ""), second=run.replace(",", ".")),
        )
    if not re.fullmatch(r"[0-9]+|[0-9]*[.,][0-9]+", run):
        raise reading_refused(text, Message("not a number"), write)
    whole, mark, part = run.replace(",", ".").partition(".")
    return Digits((whole or "0") + mark + part, len(part))


def _without_marks(run: str, write: str) -> str:
    """The right form of a number with marks between thousands; the general example if it is not one."""
    grouped = re.fullmatch(r"([0-9]{1,3}(?:([.,])[0-9]{3})(?:\2[0-9]{3})*)(?:(?!\2)[.,]([0-9]+))?", run)
    if grouped is None:
        return write
    whole = re.sub(r"[.,]", "", grouped[1])
    return f"{whole}.{grouped[3]}" if grouped[3] else whole


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as typed: the quantity, the power of ten to its SI unit, and whether degrees Fahrenheit."""

    quantity: Quantity
    power: int
    fahrenheit: bool = False


_OHM, _FARAD, _VOLT = Quantity.RESISTANCE, Quantity.CAPACITANCE, Quantity.VOLTAGE
_AMPERE, _DEGREE = Quantity.CURRENT, Quantity.TEMPERATURE

_OHMS = ("ω", "ohm", "ohms")
_VOLTS = ("v", "volt", "volts", "vac", "vdc", "v~", "voltac", "voltsac", "voltdc", "voltsdc", "vrms")
_AMPS = ("a", "amp", "amps", "ampere", "amperes", "aac", "adc", "a~", "ampsac", "ampac", "arms")


def _spelled() -> dict[str, Unit]:
    """Every spelling in which small and capital letters mean the same; spaces are taken out."""
    table: dict[str, Unit] = {}

    def add(quantity: Quantity, power: int, *spellings: str) -> None:
        table.update({spelling: Unit(quantity, power) for spelling in spellings})

    add(_OHM, 0, "r", *_OHMS)
    add(_OHM, 3, "kr", "kiloohm", "kiloohms", "kilohm", "kilohms", *("k" + ohm for ohm in _OHMS))
    add(_OHM, 6, "meg", "megs", "mega", "megohm", "megohms", "megaohm", "megaohms", "megω")
    add(_OHM, 9, "gig", "giga", "gigohm", "gigohms", "gigaohm", "gigaohms", *("g" + ohm for ohm in _OHMS))
    add(_OHM, -3, "milliohm", "milliohms")
    add(_FARAD, -6, "μf", "uf", "mfd", "mfds", "μfd", "ufd", "microfarad", "microfarads", "microf")
    add(_FARAD, -9, "nf", "nfd", "nanofarad", "nanofarads")
    add(_FARAD, -12, "pf", "picofarad", "picofarads")
    add(_VOLT, 0, *_VOLTS)
    add(_VOLT, 3, "kilovolt", "kilovolts", *("k" + volt for volt in _VOLTS))
    add(_VOLT, -3, "millivolt", "millivolts")
    add(_AMPERE, 0, *_AMPS)
    add(_AMPERE, 3, *("k" + amp for amp in _AMPS))
    add(_AMPERE, -3, "milliamp", "milliamps", "milliampere", "milliamperes")
    add(_AMPERE, -6, "ua", "μa", "microamp", "microamps")
    add(
        _DEGREE, 0, "°c", "degc", "degreesc", "degreec", "celsius", "degreescelsius", "°celsius", "centigrade"
    )
    for spelling in ("°f", "degf", "degreesf", "degreef", "fahrenheit", "degreesfahrenheit"):
        table[spelling] = Unit(_DEGREE, 0, fahrenheit=True)
    return table


_SPELLED = _spelled()

#: A prefix with no unit, where only one quantity of this trade uses it.
_BARE_PREFIX: Mapping[str, Mapping[Quantity, int]] = {
    "k": {_OHM: 3, _VOLT: 3},
    "g": {_OHM: 9},
    "u": {_FARAD: -6},
    "μ": {_FARAD: -6},
    "n": {_FARAD: -9},
    "p": {_FARAD: -12},
}

#: What a number without a unit means: ohms, volts and amperes as they are, a motor capacitor in microfarads.
_BARE_NUMBER = {_OHM: 0, _FARAD: -6, _VOLT: 0, _AMPERE: 0}


def unit_from(typed: str, expected: Quantity | None, number: str, text: str) -> Unit:
    """
    The unit typed after a number, or the one meant when there is none.

    Raises `ReadingRefused` if it is unknown, could mean two things, or is of another quantity than expected.
    """
    compact = typed.replace(" ", "").rstrip(".")
    unit = _unit(compact, expected, number, text)
    if expected is not None and unit.quantity is not expected:
        raise reading_refused(
            text,
            Message(
                "that is a {quantity}, and a {expected} is asked for",
                quantity=QUANTITIES[unit.quantity],
                expected=QUANTITIES[expected],
            ),
            EXAMPLES[expected],
        )
    return unit


def _unit(compact: str, expected: Quantity | None, number: str, text: str) -> Unit:
    """The unit, before it is compared with what is asked for."""
    folded = compact.casefold()
    if not folded:
        if expected in _BARE_NUMBER:
            return Unit(expected, _BARE_NUMBER[expected])
        if expected is _DEGREE:
            raise reading_refused(
                text,
                Message("the degrees may be Celsius or Fahrenheit"),
                Message("{number} °C or {number} °F", number=number),
            )
        raise reading_refused(
            text,
            Message("the unit is missing"),
            Message("it with its unit, such as {example}", example=EXAMPLES[None]),
        )
    if folded in _SPELLED:
        return _SPELLED[folded]
    if folded[0] == "m":
        return _unit_with_m(compact[0], folded[1:], number, text)
    if folded in _BARE_PREFIX:
        fits = _BARE_PREFIX[folded]
        quantity = expected or next(iter(fits))
        if quantity in fits:
            return Unit(quantity, fits[quantity])
        if quantity is _DEGREE:
            raise reading_refused(text, Message("kelvins are not read here"), EXAMPLES[_DEGREE])
        raise reading_refused(
            text,
            Message("a prefix without a unit does not fit a {quantity}", quantity=QUANTITIES[quantity]),
            EXAMPLES[quantity],
        )
    if folded == "c" and expected in (None, _DEGREE):
        return Unit(_DEGREE, 0)
    if folded == "f":
        if expected is _DEGREE:
            return Unit(_DEGREE, 0, fahrenheit=True)
        right = f"{number} uF or {number} °F" if expected is None else EXAMPLES[expected]
        raise reading_refused(text, Message("F alone may be farads or degrees Fahrenheit"), right)
    fitting = [
        name for name, unit in _SPELLED.items() if name.isascii() and expected in (None, unit.quantity)
    ]
    near = get_close_matches(folded, fitting, n=1, cutoff=0.66)
    right = f"{number} {near[0]}" if near else EXAMPLES[expected]
    raise reading_refused(text, Message("{unit} is not a unit known here", unit=ascii(compact[:20])), right)


def _unit_with_m(letter: str, rest: str, number: str, text: str) -> Unit:
    """
    Units that begin with m or M, where the letter's size decides.

    M is mega before ohms; m is milli before volts and amperes, and before Ω itself. The rest could be off
    by a million or a billion, and is refused.
    """
    if rest == "" or rest in _OHMS:
        if letter == "M":
            return Unit(_OHM, 6)
        if rest == "ω":
            return Unit(_OHM, -3)
        raise reading_refused(
            text,
            Message("a small m may be milli or mega"),
            Message("{number} megohm or {number} mΩ", number=number),
        )
    for quantity, units in ((_VOLT, _VOLTS), (_AMPERE, _AMPS)):
        if rest in units:
            if letter == "m":
                return Unit(quantity, -3)
            symbol = "V" if quantity is _VOLT else "A"
            raise reading_refused(
                text,
                Message("a large M is mega, milli is a small m"),
                Message("{number} m{symbol}", number=number, symbol=symbol),
            )
    if rest == "f":
        raise reading_refused(
            text, Message("mF is micro to some and milli to others"), Message("{number} uF", number=number)
        )
    raise reading_refused(
        text, Message("{unit} is not a unit known here", unit=ascii((letter + rest)[:20])), EXAMPLES[None]
    )
