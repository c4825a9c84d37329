"""
Values as people read them: a few digits, the trade's prefix, the unit.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from humclick.errors import OutOfRange
from humclick.messages import Message, counted
from humclick.meters import Quantity

__all__ = ["format_si", "minutes_of", "percent"]

#: Prefixes the trade uses, smallest first: power of ten and symbol. Never mF: it is read as micro by some.
_SYMBOLS: Mapping[Quantity, tuple[tuple[int, str], ...]] = {
    Quantity.RESISTANCE: ((0, "Ω"), (3, "kΩ"), (6, "MΩ"), (9, "GΩ")),
    Quantity.CAPACITANCE: ((-12, "pF"), (-9, "nF"), (-6, "µF")),
    Quantity.VOLTAGE: ((-3, "mV"), (0, "V"), (3, "kV")),
    Quantity.CURRENT: ((-6, "µA"), (-3, "mA"), (0, "A")),
    Quantity.TEMPERATURE: ((0, "°C"),),
}
_OF_ZERO = {quantity: symbols[0] for quantity, symbols in _SYMBOLS.items()} | {
    Quantity.CAPACITANCE: (-6, "µF"),
    Quantity.VOLTAGE: (0, "V"),
    Quantity.CURRENT: (0, "A"),
}


def percent(share: float) -> str:
    """
    A probability in whole per cent, never 0 or 100 unless it is.

    The share goes from 0 to 1. [-]

    >>> percent(0.0001), percent(0.42), percent(0.9999), percent(1.0)
    ('<1 %', '42 %', '>99 %', '100 %')
    """
    if 0.0 < share < 0.005:
        return "<1 %"
    if 0.995 <= share < 1.0:
        return ">99 %"
    return f"{share * 100:.0f} %"


def minutes_of(minutes: float) -> Message:
    """
    A time in minutes, as a message. [min]

    Examples
    --------
    >>> minutes_of(1.0), minutes_of(1.5)
    ('1 minute', '1.5 minutes')
    """
    if minutes == int(minutes):
        return counted("{n} minute", "{n} minutes", int(minutes))
    return Message("{n} minutes", n=minutes)


def format_si(value: float | None, quantity: Quantity, digits: int = 3) -> str:
    """
    A value as people read it.

    Parameters
    ----------
    value : float or None
        The value; None or infinite is shown as OL. [Ω, F, V, A or °C]
    digits : int
        Digits that count, 1 to 9. Very small values show fewer.

    Returns
    -------
    str
        Such as ``4.70 Ω``, ``14.8 µF``, ``1.20 MΩ`` or ``OL``; `parse_reading` reads it back.

    Raises
    ------
    OutOfRange
        If the value is not a number, or the digits are not 1 to 9.

    Examples
    --------
    >>> format_si(4.7, Quantity.RESISTANCE)
    '4.70 Ω'
    >>> format_si(999.7, Quantity.RESISTANCE)
    '1.00 kΩ'
    """
    if not 1 <= digits <= 9:
        raise OutOfRange(Message("digits must be 1 to 9, got {digits}", digits=digits))
    if value is None or (math.isinf(value) and value > 0):
        return "OL"
    if not math.isfinite(value):
        raise OutOfRange(
            Message("a {quantity} must be a number, got {value}", quantity=quantity, value=value)
        )
    if value == 0:
        return f"{0:.{digits - 1}f} {_OF_ZERO[quantity][1]}"
    mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
    ten = int(exponent)
    power, symbol = next(
        (pair for pair in reversed(_SYMBOLS[quantity]) if pair[0] <= ten), _SYMBOLS[quantity][0]
    )
    decimals = min(max(digits - 1 - (ten - power), 0), digits + 3)
    figure = f"{float(f'{mantissa}e{ten - power}'):.{decimals}f}"
    return f"{figure} {symbol}"
