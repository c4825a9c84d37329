"""
A start arrangement: which parts, joined at which nodes.

Nodes, from the outlet inwards: ``L`` ``N`` ``PE`` outlet · ``l`` ``n`` after the cord · ``k`` after the
control · ``c`` ``r`` ``s`` the start gear's sockets · ``C`` ``R`` ``S`` the pins · ``c0`` behind an internal
protector · ``shell``; any other name is a node inside the start gear. Each file lists only the start gear;
supply, ground, control, protector, wiring at the pins, windings and mechanism are the same for all
(``parts/frame.toml``) and are added here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec

from humclick.errors import DataError, Unknown, choice_of
from humclick.messages import Message, nothing
from humclick.parts.family import GEAR_ROLES, Family, Role, families, family
from humclick.parts.mode import DataTable
from humclick.parts.shelves import arrangement_sources, shelves, starts_table
from humclick.sourced import read_data
from humclick.typed_data import typed_value

__all__ = ["PINS", "PROTECTORS", "Arrangement", "PlacedPart", "arrangement", "arrangements", "framed"]

PINS = ("C", "R", "S")
#: Where a protector may sit, in a word.
PROTECTORS: Mapping[str, Message] = {
    "external": Message("external"),
    "integrated": Message("integrated"),
    "internal": Message("internal"),
}


@dataclass(frozen=True, slots=True)
class PlacedPart:
    """A part in its place."""

    id: str  #: Name in this machine, for example ``start_capacitor``.
    family: Family
    connect: Mapping[str, str]  #: Node of the machine at each terminal of the part.
    #: Remedies that differ here from the family's own (a protector built into the starter is replaced with
    #: it).
    remedies: Mapping[str, str] = field(default_factory=dict)

    def remedy(self, mode: str) -> str:
        """Name of the remedy for a mode of this part."""
        usual = self.family.mode(mode).remedy
        return self.remedies.get(usual, usual)


class _Part(DataTable, frozen=True):
    """A part as a file places it; its name in the machine is that of its family where none is given."""

    family: str
    connect: dict[str, str]
    id: str = ""
    remedies: dict[str, str] = msgspec.field(default_factory=dict)

    def placed(self, inner: str = "") -> PlacedPart:
        connect = {terminal: node.replace("{inner}", inner) for terminal, node in self.connect.items()}
        return PlacedPart(self.id or self.family, family(self.family), connect, self.remedies)


class _Protector(DataTable, frozen=True):
    """A protector where it is: the node at which the windings meet, and wires that come with it."""

    family: str
    connect: dict[str, str]
    inner: str
    built_in: str = ""
    links: tuple[tuple[str, str], ...] = ()


class _Frame(DataTable, frozen=True):
    """What every machine has besides its start gear."""

    before: tuple[_Part, ...]
    after: tuple[_Part, ...]
    protector: dict[str, _Protector]


@cache
def _frame() -> _Frame:
    return typed_value(read_data("humclick.parts", "frame.toml"), _Frame, "parts/frame.toml")


def framed(role: Role) -> Family:
    """The family of a part that every machine with a run and a start winding has."""
    frame = _frame()
    by_role = {kind.role: kind for kind in (family(p.family) for p in (*frame.before, *frame.after))}
    return by_role[role]


class _File(DataTable, frozen=True):
    """A file of an arrangement, field by field; see `Arrangement`."""

    title: Message
    seen: tuple[Message, ...]
    protectors: tuple[Literal["external", "integrated", "internal"], ...]
    part: tuple[_Part, ...]
    abbreviation: str = ""
    links: tuple[tuple[str, str], ...] = ()
    protector_remedy: str = "replace overload protector"
    recognised_only: bool = False
    caution: Message = msgspec.field(default_factory=nothing)
    answers: dict[str, tuple[str, ...]] = msgspec.field(default_factory=dict)
    starts_as: str = ""


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A kind of start circuit."""

    #: Short name, words, and the trade's letters where it has them.
    id: str
    title: Message
    abbreviation: str
    seen: tuple[Message, ...]  #: What is seen under the cover.
    gear: tuple[PlacedPart, ...]  #: The start gear outside the shell.
    links: tuple[tuple[str, str], ...]  #: Plain wires between nodes.
    #: ``external``, ``integrated`` (built into the starter) or ``internal`` (inside the shell).
    protectors: tuple[str, ...]
    protector_remedy: str  #: What is replaced when an integrated protector fails.
    recognised_only: bool  #: True where the tool recognises the machine and goes no further.
    caution: Message  #: A warning shown whenever this arrangement is in question.
    #: By question: what is seen of it, for choosing it by looking (``recognise.toml``); nothing rules it out
    #: where empty.
    answers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    #: The arrangement whose simulated start attempts stand in for its own; the nearest where empty.
    starts_as: str = ""
    simulated: bool = True  #: Whether it has a table of simulated start attempts of its own.

    def parts(self, protector: str) -> tuple[PlacedPart, ...]:
        """
        All parts with a given protector, from the outlet to the mechanism.

        Raises `Unknown` if this arrangement does not come with that protector.
        """
        if protector not in self.protectors:
            raise Unknown(
                Message("protector of {arrangement}", arrangement=self.id), protector, self.protectors
            )
        if self.recognised_only:
            return self.gear
        frame = _frame()
        guard = frame.protector[protector]
        remedies = {guard.built_in: self.protector_remedy} if guard.built_in else {}
        return (
            *(part.placed() for part in frame.before),
            *self.gear,
            _Part(guard.family, guard.connect, remedies=remedies).placed(),
            *(part.placed(guard.inner) for part in frame.after),
        )

    def wires(self, protector: str) -> tuple[tuple[str, str], ...]:
        """Plain wires with a given protector."""
        if self.recognised_only:
            return self.links
        return (*self.links, *_frame().protector[protector].links)


def _gear(rows: Iterable[_Part], where: str) -> tuple[PlacedPart, ...]:
    """Parts in their places, each of a family there is, with a node at each of its terminals."""
    placed: list[PlacedPart] = []
    frame = _frame()
    taken = {part.id or part.family for part in (*frame.before, *frame.after)}
    for row in rows:
        name = row.id or row.family
        if row.family not in families():
            raise DataError(f"{where}: part {name!r}: family must be {choice_of(row.family, families())}")
        part = row.placed()
        if name in taken:
            raise DataError(f"{where}: a part {name!r} is there already; give this one an id of its own")
        taken.add(name)
        terminals, joined = set(part.family.terminals), set(part.connect)
        if open_ends := ", ".join(sorted(terminals - joined)):
            raise DataError(f"{where}: part {name!r} leaves terminals unconnected: {open_ends}")
        for terminal in sorted(joined - terminals):
            raise DataError(
                f"{where}: part {name!r}: connect names a terminal that must be"
                f" {choice_of(terminal, part.family.terminals)}"
            )
        remedies = {mode.remedy for mode in part.family.listed}
        for remedy in part.remedies:
            if remedy not in remedies:
                raise DataError(
                    f"{where}: part {name!r}: remedies must be of {choice_of(remedy, sorted(remedies))}"
                )
        placed.append(part)
    return tuple(placed)


def arrangement(name: str) -> Arrangement:
    """
    Read one arrangement.

    Raises `Unknown` if there is none, and `DataError` if its file is damaged: the message says which field,
    and what would be right.
    """
    sources = arrangement_sources()
    if name not in sources:
        raise Unknown(Message("arrangement"), name, sources)
    return _read(name, shelves())


@cache
def _read(name: str, folders: tuple[Path, ...]) -> Arrangement:
    source = arrangement_sources()[name]
    where = str(source)
    file = typed_value(source.table(), _File, where)
    if not file.protectors:
        raise DataError(f"{where}: protectors must name one of {', '.join(_frame().protector)}, or more")
    if file.starts_as and file.starts_as not in arrangement_sources():
        raise DataError(f"{where}: starts_as must be {choice_of(file.starts_as, arrangement_sources())}")
    gear = _gear(file.part, where)
    _check_roles(gear, file.recognised_only, where)
    values = {key: getattr(file, key) for key in file.__struct_fields__ if key != "part"}
    simulated = file.recognised_only or starts_table(name) is not None
    return Arrangement(id=name, gear=gear, simulated=simulated, **values)


def _check_roles(gear: tuple[PlacedPart, ...], recognised_only: bool, where: str) -> None:
    """One part a role of start gear at most; the three windings only where nothing more is judged."""
    roles = [part.family.role for part in gear]
    allowed = (Role.WINDINGS,) if recognised_only else GEAR_ROLES
    for part, role in zip(gear, roles, strict=True):
        if role not in allowed or roles.count(role) > 1:
            raise DataError(f"{where}: part {part.id!r} is a {role}; allowed is one {', one '.join(allowed)}")


def arrangements() -> tuple[str, ...]:
    """Names of all arrangements, in alphabetical order."""
    return tuple(arrangement_sources())
