"""
Refrigerants as printed on a nameplate: their safety class, and whether they may burn.

The list is in ``refrigerants.toml``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from humclick.messages import NOTHING, Message
from humclick.sourced import read_data

__all__ = ["Meaning", "flammable", "meaning", "numbers", "safety_class", "toxic"]

#: Stands for the class of a refrigerant that was not read, or is not in the list.
UNKNOWN = "unknown"
#: Volume of a mole of gas at 23 °C and 101.325 kPa (ideal gas law). [litre]
_LITRES = 24.3
#: Safety classes that do not spread a flame.
_NO_FLAME = ("A1", "B1")

_NUMBERED = re.compile(
    r"(?<![A-Za-z0-9])(?:R|HC|HFC|HFO|HCFC|CFC)[\s.-]{0,2}([0-9]{2,4})([A-Za-z]{0,3})", re.I
)
_BARE = re.compile(r"\s*([0-9]{2,4})([A-Za-z]{0,2})\s*")


def _data() -> Mapping[str, Any]:
    return read_data("humclick.safety", "refrigerants.toml")


@cache
def _classes() -> Mapping[str, str]:
    by_class = _data()["class"]
    return {str(name).upper(): str(kind) for kind, names in by_class.items() for name in names}


def numbers(refrigerant: str) -> tuple[str, ...]:
    """Numbers of the refrigerants that a text names, in capitals, such as ``R600A``."""
    whole = re.sub(r"[\s.-]", "", refrigerant).upper()
    if whole in _classes():
        return (whole,)
    bare = _BARE.fullmatch(refrigerant)
    named = [
        f"R{digits}{letters}".upper()
        for digits, letters in ([bare.groups()] if bare else _NUMBERED.findall(refrigerant))
    ]
    for name, number in _data()["names"].items():
        if re.search(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", refrigerant, re.I):
            named.append(str(number).upper())
    return tuple(named)


def safety_class(refrigerant: str) -> str | None:
    """
    Safety class of a refrigerant as printed on a nameplate (ISO 817, from memory).

    Of several named, a flammable one wins; None if none is in the list.

    Examples
    --------
    >>> safety_class("R-600a (isobutane), 57 g"), safety_class("R134a"), safety_class("R999")
    ('A3', 'A1', None)
    """
    classes = [_classes().get(key) for key in numbers(refrigerant)]
    burning = [kind for kind in classes if kind is not None and kind not in _NO_FLAME]
    if burning:
        return burning[0]
    return None if not classes or None in classes else classes[0]


def flammable(refrigerant: str) -> bool:
    """
    Whether a refrigerant is to be treated as flammable.

    One that is not in the list, or has not been read, is treated as flammable until it is known.

    Examples
    --------
    >>> flammable("R290"), flammable("R404A"), flammable("R999"), flammable("")
    (True, False, True, True)
    """
    return safety_class(refrigerant) not in _NO_FLAME


def toxic(refrigerant: str) -> bool:
    """
    Whether a refrigerant is of a class of higher toxicity (B).

    Examples
    --------
    >>> toxic("R717"), toxic("R290"), toxic("")
    (True, False, False)
    """
    return (safety_class(refrigerant) or "").startswith("B")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What the class of a refrigerant means to whoever works beside it."""

    #: ``A1`` … ``B3`` or ``unknown``.
    name: str
    title: Message
    plain: Message
    #: From how much in the air it burns, in a sentence; empty where that is not known or it does not burn.
    limit: Message
    source: str

    @property
    def said(self) -> tuple[Message, ...]:
        """What it means, and from how much it burns where that is known."""
        return tuple(text for text in (self.plain, self.limit) if text)


def meaning(refrigerant: str) -> Meaning:
    """
    What a refrigerant means to whoever works beside it.

    Notes
    -----
    The lower flammability limit of the list [kg/m³] is told as a share of the air: one mole of a gas takes up
    24.3 litres at 23 °C (ideal gas law at 101.325 kPa).

    Examples
    --------
    >>> meaning("R290").limit, meaning("R134a").name, meaning("").name
    ('R290 burns from 2.1 % in air.', 'A1', 'unknown')
    """
    kind = safety_class(refrigerant) or UNKNOWN
    words = _data()["meaning"][kind]
    limits, limit = _data()["burns_from"], NOTHING
    spelled = {str(key).upper(): key for key in limits}
    for number in numbers(refrigerant):
        key = spelled.get(number)
        if key is not None and _classes().get(number) == kind:
            share = limits[key] / _data()["molar_mass"][key] * _LITRES * 100.0
            limit = Message(
                "{refrigerant} burns from {share:.2g} % in air.", refrigerant=str(key), share=share
            )
            break
    source = str(_data()["meaning"]["source"])
    return Meaning(kind, Message.of(words["title"]), Message.of(words["plain"]), limit, source)
