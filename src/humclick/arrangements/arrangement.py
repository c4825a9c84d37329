"""
A start arrangement: which parts, joined at which nodes.

Nodes, from the outlet inwards: ``L`` ``N`` ``PE`` outlet · ``l`` ``n`` after the cord · ``k`` after the
control · ``c`` ``r`` ``s`` the start gear's sockets · ``C`` ``R`` ``S`` the pins · ``c0`` behind an internal
protector · ``shell`` · ``f1`` ``f2`` the condenser fan · ``x1`` ``x2`` the other loads; any other name is a
node inside the start gear. Each file lists only the start gear; supply, ground, control, protector, wiring at
the pins, windings and mechanism are the same for all of a kind of machine (`humclick.arrangements.frame`) and
are added here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec

from humclick.arrangements.frame import SINGLE_PHASE, Frame, PlacedPart, PlacedRow, frame, frames
from humclick.errors import DataError, Unknown, choice_of
from humclick.messages import Message, nothing
from humclick.parts.family import Family, Role, families
from humclick.parts.mode import DataTable
from humclick.parts.shelves import arrangement_sources, shelves, starts_table
from humclick.typed_data import typed_value

__all__ = [
    "PINS",
    "PROTECTORS",
    "Arrangement",
    "Common",
    "PlacedPart",
    "arrangement",
    "arrangements",
    "framed",
]

PINS = ("C", "R", "S")
#: Where a protector may sit, in a word.
PROTECTORS: Mapping[str, Message] = {
    "external": Message("external"),
    "integrated": Message("integrated"),
    "internal": Message("internal"),
}


def framed(role: Role) -> Family:
    """The family of a part that every machine with a run and a start winding has."""
    return frame(SINGLE_PHASE).framed(role)


class Common(DataTable, frozen=True):
    """Which share of all calls is on machines of an arrangement."""

    source: str
    usual: float  #: Whatever the machine. [-]
    #: Of calls on machines with a kind of refrigerant (`humclick.sizes.sound.kind_of_refrigerant`). [-]
    by: dict[str, float] = msgspec.field(default_factory=dict)

    def __post_init__(self) -> None:
        for share in (self.usual, *self.by.values()):
            if not 0.0 < share <= 1.0:
                raise ValueError(f"a share of calls must be above 0 and at most 1, got {share:g}")


#: Of an arrangement whose file says nothing of it.
_RARE = Common("assumed", 0.003)


class _File(DataTable, frozen=True):
    """A file of an arrangement, field by field; see `Arrangement`."""

    title: Message
    seen: tuple[Message, ...]
    protectors: tuple[Literal["external", "integrated", "internal"], ...]
    part: tuple[PlacedRow, ...] = ()
    frame: str = SINGLE_PHASE
    abbreviation: str = ""
    links: tuple[tuple[str, str], ...] = ()
    protector_remedy: str = "replace overload protector"
    recognised_only: bool = False
    caution: Message = msgspec.field(default_factory=nothing)
    answers: dict[str, tuple[str, ...]] = msgspec.field(default_factory=dict)
    common: Common = _RARE
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
    common: Common = _RARE  #: How common it is among calls.
    #: The arrangement whose simulated start attempts stand in for its own; the nearest where empty.
    starts_as: str = ""
    simulated: bool = True  #: Whether it has a table of simulated start attempts of its own.
    set_in: str = SINGLE_PHASE  #: The frame it is set in, by name.

    @property
    def frame(self) -> Frame:
        """What all machines of its kind have besides."""
        return frame(self.set_in)

    @property
    def gates(self) -> tuple[str, ...]:
        """What stands before every probe of its machines."""
        return self.frame.gates

    @property
    def judged(self) -> bool:
        """Whether its machines are judged, and not only recognised."""
        return not self.recognised_only

    @property
    def started(self) -> bool:
        """Whether starts of its machines are simulated; else judgement goes by readings alone."""
        return self.judged and self.frame.started

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
        around = self.frame
        guard = around.protector[protector]
        remedies = {guard.built_in: self.protector_remedy} if guard.built_in else {}
        guards = (PlacedRow(guard.family, guard.connect, remedies=remedies),) if guard.family else ()
        return (
            *(part.placed() for part in around.before),
            *self.gear,
            *(part.placed() for part in guards),
            *(part.placed(guard.inner) for part in around.after),
        )

    def wires(self, protector: str) -> tuple[tuple[str, str], ...]:
        """Plain wires with a given protector."""
        if self.recognised_only:
            return self.links
        return (*self.links, *self.frame.wires, *self.frame.protector[protector].links)


def _gear(rows: Iterable[PlacedRow], around: Frame, where: str) -> tuple[PlacedPart, ...]:
    """Parts in their places, each of a family there is, with a node at each of its terminals."""
    placed: list[PlacedPart] = []
    taken = {part.id or part.family for part in (*around.before, *around.after)}
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
    if file.frame not in frames():
        raise DataError(f"{where}: frame must be {choice_of(file.frame, frames())}")
    around = frame(file.frame)
    if not file.protectors:
        raise DataError(f"{where}: protectors must name one of {', '.join(around.protector)}, or more")
    for name_ in file.protectors:
        if name_ not in around.protector:
            raise DataError(f"{where}: protectors must be {choice_of(name_, around.protector)}")
    if file.starts_as and file.starts_as not in arrangement_sources():
        raise DataError(f"{where}: starts_as must be {choice_of(file.starts_as, arrangement_sources())}")
    gear = _gear(file.part, around, where)
    _check_roles(gear, (Role.WINDINGS,) if file.recognised_only else around.gear, where)
    values = {key: getattr(file, key) for key in file.__struct_fields__ if key not in ("part", "frame")}
    values["caution"] = file.caution or around.caution
    simulated = file.recognised_only or not around.started or starts_table(name) is not None
    return Arrangement(id=name, gear=gear, simulated=simulated, set_in=file.frame, **values)


def _check_roles(gear: tuple[PlacedPart, ...], allowed: tuple[Role, ...], where: str) -> None:
    """One part a role of the frame's gear at most; the three windings where nothing more is judged."""
    roles = [part.family.role for part in gear]
    for part, role in zip(gear, roles, strict=True):
        if role not in allowed or roles.count(role) > 1:
            raise DataError(f"{where}: part {part.id!r} is a {role}; allowed is one {', one '.join(allowed)}")


def arrangements() -> tuple[str, ...]:
    """Names of all arrangements, in alphabetical order."""
    return tuple(arrangement_sources())
