"""Horsepower and cooling capacity as people write them: ``1/4``, ``1 1/2 hp``, ``9000 BTU/h``, ``2.6 kW``."""

from __future__ import annotations

import re

from humclick.errors import Refused
from humclick.messages import Message
from humclick.sourced import read_data, sourced

__all__ = ["cooling_from", "horsepower_from"]

_FIGURE = re.compile(r"(?:([0-9]+) +)?([0-9]+)/([0-9]+)|([0-9]+(?:[.,][0-9]+)?)")


def _parts(text: str, units: tuple[str, ...], what: Message, right: str) -> tuple[float, str]:
    """The figure, and its unit of those that may be written; the first where none is."""
    typed = text.strip()
    match = _FIGURE.match(typed)
    unit = re.sub(r"[\s.]", "", typed[match.end() :]).casefold() if match else "?"
    unit = unit or units[0].casefold()
    known = {name.casefold(): name for name in units}
    if match is None or unit not in known or match[3] in ("0", "00"):
        raise Refused(
            Message(
                "{what}: {text} is not understood; write it such as {right}",
                what=what,
                text=repr(typed[:40]),
                right=right,
            )
        )
    whole, over, under, plain = match.groups()
    if plain is not None:
        return float(plain.replace(",", ".")), known[unit]
    return float(whole or 0) + float(over) / float(under), known[unit]


def _worth(unit: str) -> float:
    row = read_data("humclick.sizes", "sound.toml")["unit"][unit]
    return sourced(row, f"sound.toml unit.{unit}").value


def horsepower_from(text: str) -> float:
    """
    The trade's size of a machine. [hp]

    Raises `Refused` if it cannot be understood; the message says what would be right.

    >>> horsepower_from("1/4"), horsepower_from("1 1/2 hp"), round(horsepower_from("750 W"), 2)
    (0.25, 1.5, 1.01)
    """
    value, unit = _parts(text, ("hp", "W", "kW"), Message("horsepower"), "1/4, 0.5 hp or 1 1/2 hp")
    return value if unit == "hp" else value * _worth(unit) / _worth("hp")


def cooling_from(text: str) -> float:
    """
    Cooling capacity. [W]

    Raises `Refused` if it cannot be understood; the message says what would be right.

    >>> round(cooling_from("9000 BTU/h")), cooling_from("850"), cooling_from("2,6 kW")
    (2638, 850.0, 2600.0)
    """
    units = ("W", "kW", "BTU/h", "BTU", "kcal/h", "ton", "tons")
    value, unit = _parts(text, units, Message("cooling capacity"), "850 W, 2.6 kW or 9000 BTU/h")
    return value * _worth({"BTU": "BTU/h", "tons": "ton"}.get(unit, unit))
