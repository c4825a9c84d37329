"""
A start arrangement: which parts, joined at which nodes.

Nodes, from the outlet inwards: ``L`` ``N`` ``PE`` outlet · ``l`` ``n`` after the cord · ``k`` after the
control · ``c`` ``r`` ``s`` the start gear's sockets · ``C`` ``R`` ``S`` the pins · ``c0`` behind an internal
protector · ``shell``. Each file lists only the start gear; supply, ground, control, protector, wiring at
the pins, windings and mechanism are the same for all and are added here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.parts.family import Family, families, family
from humclick.sourced import read_data

__all__ = ["PINS", "PROTECTORS", "Arrangement", "PlacedPart", "arrangement", "arrangements"]

PINS = ("C", "R", "S")
#: Where a protector may sit, in a word.
PROTECTORS: Mapping[str, Message] = {
    "external": Message("external"),
    "integrated": Message("integrated"),
    "internal": Message("internal"),
}

_COMMON = {
    "supply": ("supply", {"from_l": "L", "from_n": "N", "l": "l", "n": "n"}),
    "earth": ("earth", {"pe": "PE", "body": "shell"}),
    "control": ("control", {"in": "l", "out": "k"}),
    "wiring": ("wiring", {"c": "c", "r": "r", "s": "s", "C": "C", "R": "R", "S": "S"}),
    "mechanism": ("mechanism", {}),
}


@dataclass(frozen=True, slots=True)
class PlacedPart:
    """
    A part in its place.

    Attributes
    ----------
    id : str
        Name in this machine, for example ``start_capacitor``.
    family : Family
        What it is.
    connect : mapping
        Node of the machine at each terminal of the part.
    remedies : mapping
        Remedies that differ here from the family's own (a protector built into the starter is
        replaced with it).
    """

    id: str
    family: Family
    connect: Mapping[str, str]
    remedies: Mapping[str, str] = field(default_factory=dict)

    def remedy(self, mode: str) -> str:
        """Name of the remedy for a mode of this part."""
        own = self.family.mode(mode).remedy
        return self.remedies.get(own, own)


@dataclass(frozen=True, slots=True)
class Arrangement:
    """
    A kind of start circuit.

    Attributes
    ----------
    id, title, abbreviation : str
        Short name, words, and the trade's letters where it has them.
    seen : tuple of str
        What is seen under the cover.
    gear : tuple of PlacedPart
        The start gear outside the shell.
    links : tuple of (str, str)
        Plain wires between nodes.
    protectors : tuple of str
        ``external``, ``integrated`` (built into the starter) or ``internal`` (inside the shell).
    protector_remedy : str
        What is replaced when an integrated protector fails.
    recognised_only : bool
        True where the tool recognises the machine and goes no further.
    caution : str
        A warning shown whenever this arrangement is in question.
    """

    id: str
    title: Message
    abbreviation: str
    seen: tuple[Message, ...]
    gear: tuple[PlacedPart, ...]
    links: tuple[tuple[str, str], ...]
    protectors: tuple[str, ...]
    protector_remedy: str
    recognised_only: bool
    caution: Message

    def parts(self, protector: str) -> tuple[PlacedPart, ...]:
        """
        All parts with a given protector, from the outlet to the mechanism.

        Raises
        ------
        Unknown
            If this arrangement does not come with that protector.
        """
        if protector not in self.protectors:
            raise Unknown(f"protector of {self.id}", protector, self.protectors)
        if self.recognised_only:
            return self.gear
        placed = {i: PlacedPart(i, family(f), c) for i, (f, c) in _COMMON.items()}
        first = [placed[i] for i in ("supply", "earth", "control")]
        if protector == "internal":
            guard = PlacedPart("internal_protector", family("internal_protector"), {"in": "C", "out": "c0"})
            inner = "c0"
        else:
            remedies = (
                {"replace overload protector": self.protector_remedy} if protector == "integrated" else {}
            )
            guard = PlacedPart(
                "overload_protector", family("overload_protector"), {"in": "n", "out": "c"}, remedies
            )
            inner = "C"
        windings = [
            PlacedPart("run_winding", family("run_winding"), {"common": inner, "run": "R"}),
            PlacedPart("start_winding", family("start_winding"), {"common": inner, "start": "S", "run": "R"}),
        ]
        return (*first, *self.gear, guard, placed["wiring"], *windings, placed["mechanism"])

    def wires(self, protector: str) -> tuple[tuple[str, str], ...]:
        """Plain wires with a given protector."""
        if protector == "internal" and not self.recognised_only:
            return (*self.links, ("n", "c"))
        return self.links


def _part(row: Mapping[str, Any], where: str) -> PlacedPart:
    kind = str(row["family"])
    if kind not in families():
        raise DataError(f"{where}: unknown part family {kind!r}")
    connect = {str(t): str(n) for t, n in row["connect"].items()}
    placed = PlacedPart(
        str(row.get("id", kind)),
        family(kind),
        connect,
        {str(k): str(v) for k, v in row.get("remedies", {}).items()},
    )
    missing = set(placed.family.terminals) - set(connect)
    if missing:
        raise DataError(f"{where}: {placed.id} leaves terminals unconnected: {', '.join(sorted(missing))}")
    return placed


@cache
def arrangement(name: str) -> Arrangement:
    """
    Read one arrangement.

    Raises
    ------
    Unknown
        If there is no such arrangement.
    DataError
        If its file is damaged.
    """
    if name not in arrangements():
        raise Unknown("arrangement", name, arrangements())
    data = read_data("humclick.arrangements", f"{name}.toml")
    try:
        return Arrangement(
            id=name,
            title=Message.of(data["title"]),
            abbreviation=str(data["abbreviation"]),
            seen=tuple(map(Message.of, data["seen"])),
            gear=tuple(_part(row, name) for row in data["part"]),
            links=tuple((str(a), str(b)) for a, b in data.get("links", ())),
            protectors=tuple(data["protectors"]),
            protector_remedy=str(data.get("protector_remedy", "replace overload protector")),
            recognised_only=bool(data.get("recognised_only", False)),
            caution=Message.of(data.get("caution", "")),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise DataError(f"arrangement {name}: {error!r}") from error


@cache
def arrangements() -> tuple[str, ...]:
    """Names of all arrangements, in alphabetical order."""
    entries = resources.files("humclick.arrangements").iterdir()
    return tuple(sorted(e.name.removesuffix(".toml") for e in entries if e.name.endswith(".toml")))
