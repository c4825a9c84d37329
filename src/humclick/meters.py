"""
Meters: what a display can be trusted to say.

A data page promises ±(percent of the reading + counts of the last digit). The percent part is the same
error in every reading of one meter, the counts part is new in every reading; both are given apart, because
readings that share an error share it in the mathematics. SI throughout, temperatures in degrees Celsius.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from functools import cache, lru_cache
from operator import attrgetter
from types import MappingProxyType
from typing import Any

import msgspec

from humclick.errors import DataError, OutOfRange, Refused, Unknown
from humclick.messages import Message, Verbatim
from humclick.sourced import read_data, sourced
from humclick.typed_data import brief, typed_value

__all__ = [
    "Meter",
    "MeterRange",
    "Quantity",
    "default_meter",
    "meter",
    "meter_from_table",
    "meters",
]


class Quantity(StrEnum):
    """What a meter shows; values are in Ω, F, V, A and °C."""

    RESISTANCE = "resistance"
    CAPACITANCE = "capacitance"
    VOLTAGE = "voltage"
    CURRENT = "current"
    TEMPERATURE = "temperature"


#: Unit symbols a meter's table may use, with their power of ten to the SI unit; the SI unit first.
_UNITS: Mapping[Quantity, Mapping[str, int]] = {
    Quantity.RESISTANCE: {"Ω": 0, "mΩ": -3, "kΩ": 3, "MΩ": 6, "GΩ": 9, "ohm": 0, "kohm": 3, "Mohm": 6},
    Quantity.CAPACITANCE: {"F": 0, "µF": -6, "nF": -9, "pF": -12, "uF": -6},
    Quantity.VOLTAGE: {"V": 0, "mV": -3, "kV": 3},
    Quantity.CURRENT: {"A": 0, "mA": -3, "µA": -6, "uA": -6},
    Quantity.TEMPERATURE: {"°C": 0, "C": 0},
}

#: The letters that look alike: micro sign and mu, ohm sign and omega.
_SAME_LETTER = str.maketrans({"\u03bc": "\u00b5", "\u2126": "\u03a9"})

_SI = {quantity: next(iter(symbols)) for quantity, symbols in _UNITS.items()}


@dataclass(frozen=True, slots=True)
class MeterRange:
    """
    One range of a meter and what its data page promises there.

    Raises `OutOfRange` for a number that no data page can give.
    """

    quantity: Quantity
    full_scale: float  #: Where the range ends. [SI unit of the quantity]
    resolution: float  #: Size of the last digit. [SI unit of the quantity]
    percent: float  #: Limit of error, part of the reading. [%]
    counts: int  #: Limit of error, last digits. [-]
    source: str = ""  #: Where the figures come from.

    def __post_init__(self) -> None:
        if not (self.full_scale > 0 and math.isfinite(self.full_scale)):
            raise OutOfRange(
                Message(
                    "full_scale must be a positive number, got {full_scale:g}", full_scale=self.full_scale
                )
            )
        if not (0 < self.resolution < self.full_scale):
            raise OutOfRange(
                Message(
                    "resolution must be above 0 and below full_scale, the size of the last digit; "
                    "got {resolution:g} with full_scale {full_scale:g}",
                    resolution=self.resolution,
                    full_scale=self.full_scale,
                )
            )
        if not 0 <= self.percent < 100:
            raise OutOfRange(
                Message(
                    "percent must be from 0 to under 100, such as {example}; got {percent:g}",
                    example=Verbatim("0.9"),
                    percent=self.percent,
                )
            )
        if self.counts < 0:
            raise OutOfRange(Message("counts must be 0 or more, such as 2; got {counts}", counts=self.counts))
        if self.percent == 0 and self.counts == 0:
            raise OutOfRange(
                Message("percent and counts are both 0; no meter is exact, give the data page's figures")
            )


@lru_cache(maxsize=256)
def _of(meter: Meter, quantity: Quantity) -> tuple[MeterRange, ...]:
    """Ranges of a quantity, the smallest first."""
    own = [span for span in meter.ranges if span.quantity == quantity]
    return tuple(sorted(own, key=attrgetter("full_scale")))


@dataclass(frozen=True, slots=True)
class Meter:
    """
    A meter that picks its own range.

    Raises `OutOfRange` if there is no range, or two of one quantity end at the same value. Its methods raise
    it for a quantity that the meter does not measure and for a value that is not a number.
    """

    #: Short name and a line for people.
    name: str
    title: Message
    #: Sorted by quantity and full scale when made by `meter_from_table`; any order is allowed.
    ranges: tuple[MeterRange, ...]
    #: Voltage an insulation tester puts on the part; None for a multimeter. [V]
    test_voltage: float | None = None
    _hash: int = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        spans = [(r.full_scale, r.resolution, r.percent, r.counts) for r in self.ranges]  # numbers alone
        object.__setattr__(self, "_hash", hash(tuple(spans)))
        if not self.ranges:
            raise OutOfRange(
                Message("meter {name} has no ranges; give at least one", name=Verbatim(repr(self.name)))
            )
        ends: set[tuple[Quantity, float]] = set()
        for span in self.ranges:
            key = (span.quantity, span.full_scale)
            if key in ends:
                raise OutOfRange(
                    Message(
                        "meter {name} has two {quantity} ranges that end at {full_scale:g} {unit}; keep one",
                        name=Verbatim(repr(self.name)),
                        quantity=span.quantity,
                        full_scale=span.full_scale,
                        unit=_SI[span.quantity],
                    )
                )
            ends.add(key)

    def __hash__(self) -> int:
        return self._hash

    def measures(self, quantity: Quantity) -> bool:
        """Whether the meter has a range for the quantity."""
        return bool(_of(self, quantity))

    def range_for(self, quantity: Quantity, value: float) -> MeterRange:
        """
        The smallest range that holds a value, as an auto-ranging meter picks it.

        The value has either sign; above all ranges it is the top one, where the display shows OL. [SI]
        """
        if math.isnan(value):
            raise OutOfRange(Message("a {quantity} must be a number, got nan", quantity=quantity))
        ranges = _of(self, quantity)
        if not ranges:
            can = ", ".join(sorted({str(span.quantity) for span in self.ranges}))
            raise OutOfRange(
                Message(
                    "meter {name} does not measure {quantity}; it measures {can}",
                    name=Verbatim(repr(self.name)),
                    quantity=quantity,
                    can=can,
                )
            )
        return next((span for span in ranges if abs(value) < span.full_scale), ranges[-1])

    def highest(self, quantity: Quantity) -> float:
        """Where OL begins: the end of the top range. [SI]"""
        return self.range_for(quantity, math.inf).full_scale

    def gain_limit(self, quantity: Quantity, value: float) -> float:
        """The percent part of the limit of error, one error shared by all readings of the meter. [SI]"""
        return self.range_for(quantity, value).percent / 100 * abs(value)

    def count_limit(self, quantity: Quantity, value: float, resolution: float | None = None) -> float:
        """
        The counts part of the limit of error, new in every reading. [SI]

        `resolution` is the size of the last digit shown, if the typed digits tell it; else that of the range.
        [SI]
        """
        at = self.range_for(quantity, value)
        if resolution is None:
            resolution = at.resolution
        elif not (resolution > 0 and math.isfinite(resolution)):
            raise OutOfRange(
                Message(
                    "the size of the last digit must be positive, got {resolution:g}", resolution=resolution
                )
            )
        return at.counts * resolution

    def limit(self, quantity: Quantity, value: float, resolution: float | None = None) -> float:
        """
        Limit of error ± of a reading: percent of the reading plus counts of the last digit.

        In the unit of the reading, and no standard deviation; `resolution` is as in `count_limit`. [SI]

        >>> round(meter("good").limit(Quantity.RESISTANCE, 12.3), 4)
        0.2615
        """
        return self.gain_limit(quantity, value) + self.count_limit(quantity, value, resolution)

    def standard_uncertainty(
        self, quantity: Quantity, value: float, resolution: float | None = None
    ) -> float:
        """
        Standard uncertainty of a reading: its limit divided by √3. [SI]

        The limit is read as a uniform distribution: JCGM 100:2008, 4.3.7.
        """
        return self.limit(quantity, value, resolution) / math.sqrt(3)


#: Where the range of any meter that is made may end. [SI, °C]
_MADE: Mapping[Quantity, tuple[float, float]] = {
    Quantity.RESISTANCE: (1e-4, 1e16),
    Quantity.CAPACITANCE: (1e-13, 1e4),
    Quantity.VOLTAGE: (1e-6, 1e7),
    Quantity.CURRENT: (1e-12, 1e6),
    Quantity.TEMPERATURE: (1.0, 1e5),
}
#: Most steps of the last digit in a range: a laboratory's best has 10⁹. [-]
_MOST_STEPS = 1.0000001e10


class _Range(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One range as a table gives it; without a unit in the SI unit."""

    quantity: str
    full_scale: float
    resolution: float
    percent: float
    counts: int
    unit: str = ""
    source: str = "the meter's own data page"


class _Volts(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A sourced voltage."""

    value: float
    unit: str = ""
    source: str = ""


class _Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A meter as a table gives it."""

    name: str
    ranges: tuple[_Range, ...]
    title: str = ""
    source: str = ""
    test_voltage: float | _Volts | None = None


def meter_from_table(table: Mapping[str, Any], where: str = "meter") -> Meter:
    """
    A meter from a TOML table: the technician's own, written with the fields of meters.toml.

    It has ``name``, ``ranges`` and, if wanted, ``title``, ``source`` and ``test_voltage`` [V]. A range has
    ``quantity``, ``full_scale``, ``resolution``, ``percent``, ``counts`` and, if wanted, ``unit`` (such as
    "kΩ"; without it the SI unit) and ``source``. Raises `Refused` if a field is missing, unknown or cannot be
    right; the message names the field.
    """
    fields = typed_value(table, _Table, where, Refused)
    if not fields.name.strip():
        raise Refused(
            Message("{where}: name must be text; got {value}", where=where, value=brief(fields.name))
        )
    ranges = [
        _range(row, Message("{where}, range {number}", where=where, number=number))
        for number, row in enumerate(fields.ranges, start=1)
    ]
    voltage = fields.test_voltage.value if isinstance(fields.test_voltage, _Volts) else fields.test_voltage
    if voltage is not None and not 0 < voltage < math.inf:
        raise Refused(
            Message(
                "{where}: test_voltage must be above 0, such as 500; got {voltage:g}",
                where=where,
                voltage=voltage,
            )
        )
    order = list(Quantity)
    ranges.sort(key=lambda span: (order.index(span.quantity), span.full_scale))
    try:
        return Meter(
            fields.name.strip(),
            Message.of(fields.title.strip() or fields.name.strip()),
            tuple(ranges),
            voltage,
        )
    except OutOfRange as error:
        raise Refused(Message("{where}: {reason}", where=where, reason=error.message)) from None


def _range(row: _Range, where: str) -> MeterRange:
    """One range in SI units; figures that no meter has are refused as slips, for no reckoning stands them."""
    if row.quantity not in list(Quantity):
        raise Refused(
            Message(
                "{where}: quantity must be one of {known}; got {value}",
                where=where,
                known=tuple(Quantity),
                value=brief(row.quantity),
            )
        )
    quantity = Quantity(row.quantity)
    units = _UNITS[quantity]
    power = units.get(row.unit.translate(_SAME_LETTER) or _SI[quantity])
    if power is None:
        raise Refused(
            Message(
                "{where}: unit of a {quantity} must be one of {units}; got {value}",
                where=where,
                quantity=quantity,
                units=tuple(units),
                value=brief(row.unit),
            )
        )
    try:
        scale, least = (_scaled(number, power) for number in (row.full_scale, row.resolution))
        made = MeterRange(quantity, scale, least, row.percent, row.counts, row.source)
    except OutOfRange as error:
        raise Refused(Message("{where}: {reason}", where=where, reason=error.message)) from None
    low, high = _MADE[quantity]
    if not low <= scale <= high:
        raise Refused(
            Message(
                "{where}: full_scale of a {quantity} is from {low:g} to {high:g} {unit}; got {scale:g}",
                where=where,
                quantity=quantity,
                low=low,
                high=high,
                unit=_SI[quantity],
                scale=scale,
            )
        )
    if scale > _MOST_STEPS * least:
        raise Refused(
            Message(
                "{where}: resolution is the size of the last digit, such as {example}; got {least:g}",
                where=where,
                example=Verbatim(f"{scale / 6000:g}"),
                least=least,
            )
        )
    if row.counts * least > scale:
        raise Refused(
            Message(
                "{where}: counts is a number of last digits, such as 2; {counts:g} go beyond the range",
                where=where,
                counts=row.counts,
            )
        )
    return made


def _scaled(number: float, power: int) -> float:
    """A number times a power of ten, rounded once."""
    return float(Decimal(repr(number)).scaleb(power)) if math.isfinite(number) else number


@cache
def meters() -> Mapping[str, Meter]:
    """The classes of meter the program knows, by name."""
    data = read_data("humclick", "meters.toml")
    known = {}
    for name, table in data["meters"].items():
        where = f"meters.toml, {name}"
        if "test_voltage" in table:
            sourced(table["test_voltage"], f"{where}, test_voltage")
        try:
            known[name] = meter_from_table({"name": name, **table}, where)
        except Refused as error:
            raise DataError(str(error)) from error
    return MappingProxyType(known)


def meter(name: str) -> Meter:
    """A class of meter by name."""
    known = meters()
    if name not in known:
        raise Unknown(Message("meter"), name, known)
    return known[name]


def default_meter() -> Meter:
    """The meter taken when nobody says which: the one meters.toml names."""
    return meter(read_data("humclick", "meters.toml")["default"])
