"""
Stamps on capacitors: what the maker promises in a few signs.

A start capacitor is usually stamped with a range, a run capacitor with a value and a tolerance; a single bare
value has the tolerance usual for its kind. Values in farads and volts.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings.typed import digits_from, normalized, reading_refused, unit_from
from humclick.sourced import read_data, sourced

__all__ = ["Stamp", "parse_stamp"]

_WRITE = "88-108 MFD, 35 MFD ±6 % or 45/5 MFD, with 110/125 VAC after it if stamped"

_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
#: A number with thousands parted by spaces too; `digits_from` judges it.
_VALUE = r"[0-9.,][0-9., ]*"
_VOLTS = re.compile(
    rf"(?<![0-9.,-])(?<![0-9 ]/)({_NUMBER})(?: ?(?:/|-) ?({_NUMBER}))? ?"
    r"V(?:OLTS?)?\.? ?(?:AC|DC|~)?(?![A-Z0-9])",
    re.IGNORECASE,
)
_HERTZ = re.compile(r"(?<![0-9.,/-])[0-9]+(?: ?[/-] ?[0-9]+)? ?(?:HZ|CPS|~)(?![A-Z0-9])", re.IGNORECASE)
_BOTH_WAYS = re.compile(rf"(?:±|\+ ?/ ?-|- ?/ ?\+|\+-) ?({_NUMBER}) ?%")
_BELOW_ABOVE = re.compile(rf"- ?({_NUMBER}) ?%? ?[/,]? ?\+ ?({_NUMBER}) ?%")
_ABOVE_BELOW = re.compile(rf"\+ ?({_NUMBER}) ?%? ?[/,]? ?- ?({_NUMBER}) ?%")
_PERCENT = re.compile(rf"(?<![0-9.,/+-])(?<![/+-] )({_NUMBER}) ?%")
_VALUES = re.compile(rf"({_VALUE})(?:(-|/|\+|to)({' ?' + _VALUE}))?([^0-9]*)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Stamp:
    """The stamp of a capacitor."""

    low: float  #: Lower end of the stamped range, or the bare value, see `limits`. [F]
    nominal: float | None  #: The stamped value; None for a range. [F]
    high: float  #: Upper end, or the bare value. [F]
    tolerance_stated: bool  #: Whether the stamp itself says the range or the tolerance.
    volts: float | None = None  #: Rated voltage, the highest stamped; None if there is none. [V]
    text: str = ""  #: As typed, without the spaces around it.
    #: The sections of a dual capacitor in the order stamped, else empty. The other fields are then those of
    #: the largest section, which serves the compressor (common practice).
    sections: tuple[Stamp, ...] = ()

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.high:
            raise OutOfRange(
                Message(
                    "a stamp's range goes from low to high, got {low:g} to {high:g} F",
                    low=self.low,
                    high=self.high,
                )
            )

    def limits(self, kind: Literal["start", "run"]) -> tuple[float, float]:
        """
        Between which values a good capacitor lies, with the usual tolerance if none is stamped.

        Lowest and highest of a start or a run capacitor. [F]

        A bare value: about ±5 % for a start capacitor (common practice), ±6 % for a run capacitor
        (EIA-456-A); both from readings.toml.
        """
        if kind not in ("start", "run"):
            raise OutOfRange(
                Message("a capacitor is a start or a run capacitor, not {kind}", kind=repr(kind))
            )
        if self.tolerance_stated or self.nominal is None:
            return self.low, self.high
        table = read_data("humclick.readings", "readings.toml")["stamp"][kind]
        below = sourced(table["below"], f"readings.toml, stamp.{kind}").value
        above = sourced(table["above"], f"readings.toml, stamp.{kind}").value
        return _with_percent(self.nominal, -below), _with_percent(self.nominal, above)


def _with_percent(value: float, percent: float) -> float:
    """A value and some per cent more, exact in decimals and rounded once, so that readings compare."""
    return float(Fraction(repr(value)) * (100 + Fraction(repr(percent))) / 100)


def parse_stamp(text: str) -> Stamp:
    """
    Understand the stamp of a capacitor.

    Parameters
    ----------
    text : str
        Such as ``88-108 MFD``, ``15 µF ±5 %``, ``12.5uF -0/+20%``, ``45/5 MFD 440 VAC``. Without a unit the
        value is in microfarads; a mains frequency is read over.

    Returns
    -------
    Stamp
        In farads and volts.

    Raises
    ------
    ReadingRefused
        If the stamp cannot be understood; the message says what would be right.

    Examples
    --------
    >>> stamp = parse_stamp("88-108 MFD 110/125 VAC")
    >>> stamp.low, stamp.high, stamp.volts
    (8.8e-05, 0.000108, 125.0)
    """
    plain = normalized(text, _WRITE)
    typed = text.strip()
    plain, volts = _volts(plain, typed)
    plain = _HERTZ.sub(" ", plain, count=1)
    plain, tolerance = _tolerance(plain, typed)
    match = _VALUES.fullmatch(plain.strip(" ,;@"))
    if match is None:
        raise reading_refused(typed, Message("not a capacitor's stamp"), _WRITE)
    first, joined, second, unit = match.groups()
    values = [_farads(run, unit, typed) for run in (first, second) if run is not None]
    if len(values) == 1:
        return _single(values[0], tolerance, volts, typed)
    if joined in ("/", "+"):
        sections = tuple(_single(value, tolerance, volts, typed) for value in values)
        largest = max(sections, key=lambda section: section.high)
        return replace(largest, sections=sections)
    low, high = values
    if tolerance is not None:
        raise reading_refused(typed, Message("a range already says the tolerance"), _WRITE)
    if not low < high:
        raise reading_refused(
            typed,
            Message("a range goes from low to high"),
            Message("{write}; the last is a dual capacitor", write=_WRITE),
        )
    return Stamp(low, None, high, True, volts, typed)


def _single(value: float, tolerance: tuple[float, float] | None, volts: float | None, typed: str) -> Stamp:
    """A stamp with one value."""
    if tolerance is None:
        return Stamp(value, value, value, False, volts, typed)
    below, above = tolerance
    return Stamp(_with_percent(value, -below), value, _with_percent(value, above), True, volts, typed)


def _volts(plain: str, typed: str) -> tuple[str, float | None]:
    """The stamp without its voltage, and the highest voltage stamped. [V]"""
    matches = list(_VOLTS.finditer(plain))
    if not matches:
        return plain, None
    if len(matches) > 1:
        raise reading_refused(typed, Message("more than one voltage"), _WRITE)
    rated = [
        digits_from(run, typed, _WRITE).times_ten_to(0) for run in matches[0].groups() if run is not None
    ]
    if not 10 <= min(rated) <= max(rated) <= 5000:
        raise reading_refused(typed, Message("not the voltage of a motor capacitor"), _WRITE)
    return plain[: matches[0].start()] + " " + plain[matches[0].end() :], max(rated)


def _tolerance(plain: str, typed: str) -> tuple[str, tuple[float, float] | None]:
    """The stamp without its tolerance, and the per cent below and above. [%]"""
    for pattern in (_BOTH_WAYS, _BELOW_ABOVE, _ABOVE_BELOW, _PERCENT):
        match = pattern.search(plain)
        if match is None:
            continue
        parts = [digits_from(part, typed, _WRITE).times_ten_to(0) for part in match.groups()]
        below, above = parts[0], parts[-1]
        if pattern is _ABOVE_BELOW:
            below, above = above, below
        if below >= 100 or above >= 100 or below + above == 0:
            raise reading_refused(typed, Message("a tolerance is between 0 and 100 %"), _WRITE)
        return plain[: match.start()] + " " + plain[match.end() :], (below, above)
    return plain, None


def _farads(run: str, unit: str, typed: str) -> float:
    """One value of the stamp. [F]"""
    power = unit_from(unit.strip(" ,;/"), Quantity.CAPACITANCE, run.strip(), typed).power
    value = digits_from(run, typed, _WRITE).times_ten_to(power)
    largest = read_data("humclick.readings", "readings.toml")["largest"]["capacitance"]
    if not 0 < value <= sourced(largest, "readings.toml, largest.capacitance").value:
        raise reading_refused(typed, Message("not the value of a motor capacitor"), _WRITE)
    return value
