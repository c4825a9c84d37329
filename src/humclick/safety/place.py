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
    """What a place decides on one matter: the rule in plain words, and where it stands."""

    name: str
    title: Message
    text: Message
    source: str
    #: Whether it takes a certificate.
    certificate: bool = False


@dataclass(frozen=True, slots=True)
class GateRule:
    """What a place has otherwise at one gate, and where that stands."""

    source: str
    #: Steps that read otherwise, by their number from 1: text, and tick.
    instead: Mapping[int, tuple[Message, Message]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Place:
    """The rules of a place, one of `PLACES` or none."""

    name: str
    title: Message
    #: ``proving-dead``, ``live-work``, ``opened-circuit``, ``ground-test``.
    rules: Mapping[str, PlaceRule]
    #: Gates that read otherwise here.
    gates: Mapping[str, GateRule]
    #: Limits: ``ground_ohms``, with ``cord_ohms`` where it is meant without the cord, ``insulation_ohms``
    #: [Ω]; ``touch_amps``, in the EU ``conductor_amps`` [A].
    figures: Mapping[str, Sourced]

    def rule(self, name: str) -> PlaceRule:
        """One rule by name; `Unknown` if there is none."""
        if name not in self.rules:
            raise Unknown(Message("rule of a place"), name, self.rules)
        return self.rules[name]


@cache
def place_of(name: str) -> Place:
    """The rules of a place by its name; empty, or a name of a later version, gives the strictest of all."""
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
    return {step.get("step"): (step.get("text"), step.get("tick")) for step in row.get("instead", ())}


def chosen_place(text: str) -> str:
    """
    The name of a place as it was typed; `Unknown` if there is none.

    Examples
    --------
    >>> chosen_place(" US "), chosen_place("")
    ('us', '')
    """
    name = text.strip().casefold()
    if name and name not in PLACES:
        raise Unknown(Message("place"), text[:40], PLACES)
    return name
