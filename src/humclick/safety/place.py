"""
The rules of a place: United States, European Union and United Kingdom, Mexico and Latin America.

A place is chosen once, by the shop or on the device, and recorded on the call. One data file in ``places/``
holds what it decides: how dead is proved, who works live, what takes a certificate, the figures of a ground
test, and the sources of the gates. Where none is chosen, the strictest of all stands. Ohms and amperes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from humclick.errors import Unknown
from humclick.messages import Message
from humclick.sourced import Sourced, read_data
from humclick.typed_data import typed_value

__all__ = ["PLACES", "GateRule", "Place", "PlaceRule", "chosen_place", "place_of"]

#: Names of the places that can be chosen; empty stands for none.
PLACES = ("us", "eu", "mx")


@dataclass(frozen=True, slots=True)
class PlaceRule:
    """
    What a place decides on one matter.

    Attributes
    ----------
    name, title, text, source : str
        Short name, heading, the rule in plain words, and where it stands.
    certificate : bool
        Whether it takes a certificate.
    """

    name: str
    title: Message
    text: Message
    source: str
    certificate: bool = False


@dataclass(frozen=True, slots=True)
class GateRule:
    """
    What a place has otherwise at one gate.

    Attributes
    ----------
    source : str
        Where the gate's rule stands in this place.
    instead : mapping of int to (str, str)
        Steps that read otherwise, by their number from 1: text, and tick.
    """

    source: str
    instead: Mapping[int, tuple[Message, Message]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Place:
    """
    The rules of a place.

    Attributes
    ----------
    name, title : str
        One of `PLACES`, or empty; the same in words.
    rules : mapping of name to PlaceRule
        ``proving-dead``, ``live-work``, ``opened-circuit``, ``ground-test``.
    gates : mapping of name to GateRule
        Gates that read otherwise here.
    figures : mapping of name to Sourced
        Limits: ``ground_ohms``, with ``cord_ohms`` where it is meant without the cord, ``insulation_ohms``
        [Ω]; ``touch_amps``, in the EU ``conductor_amps`` [A].
    """

    name: str
    title: Message
    rules: Mapping[str, PlaceRule]
    gates: Mapping[str, GateRule]
    figures: Mapping[str, Sourced]

    def rule(self, name: str) -> PlaceRule:
        """
        One rule by name.

        Raises
        ------
        Unknown
            If there is no such rule.
        """
        if name not in self.rules:
            raise Unknown(Message("rule of a place"), name, self.rules)
        return self.rules[name]


@cache
def place_of(name: str) -> Place:
    """
    The rules of a place by its name; empty, or a name of a later version, gives the strictest of all.

    Raises
    ------
    DataError
        If its data file is damaged.
    """
    file = f"places/{name if name in PLACES else 'common'}.toml"
    data = read_data("humclick.safety", file)
    rows = {
        "name": name if name in PLACES else "",
        "title": data.get("title"),
        "rules": {key: {"name": key, **row} for key, row in data.get("rule", {}).items()},
        "gates": {key: {**row, "instead": _instead(row)} for key, row in data.get("gate", {}).items()},
        "figures": data.get("figure"),
    }
    return typed_value(rows, Place, file)


def _instead(row: Mapping[str, Any]) -> dict[Any, tuple[Any, Any]]:
    """Steps that read otherwise, by their number."""
    return {each.get("step"): (each.get("text"), each.get("tick")) for each in row.get("instead", ())}


def chosen_place(text: str) -> str:
    """
    The name of a place as it was typed.

    Raises
    ------
    Unknown
        If there is no such place.

    Examples
    --------
    >>> chosen_place(" US "), chosen_place("")
    ('us', '')
    """
    name = text.strip().casefold()
    if name and name not in PLACES:
        raise Unknown(Message("place"), text[:40], PLACES)
    return name
