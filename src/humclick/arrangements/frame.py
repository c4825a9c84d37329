"""
A frame: what all machines of a kind have around their own gear, one file each.

Single-phase machines have a supply, a control, a protector, a run and a start winding; others have none of
these, or others in their place. A frame says so in ``arrangements/frames/<name>.toml`` (or in ``frames`` of a
shelf), with all that judgement, safety and the drawing ask of a kind of machine. An arrangement names the one
it is set in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path

import msgspec

from humclick.errors import DataError, OutOfRange, Unknown, choice_of
from humclick.messages import Message, nothing
from humclick.parts.family import Family, Role, family
from humclick.parts.mode import DataTable
from humclick.parts.shelves import frame_sources, shelves
from humclick.safety import gates
from humclick.typed_data import typed_value

__all__ = ["SINGLE_PHASE", "Frame", "PlacedPart", "PlacedRow", "Try", "frame", "frames"]

#: The frame of an arrangement that names none.
SINGLE_PHASE = "single-phase"


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


class PlacedRow(DataTable, frozen=True):
    """A part as a file places it; its name in the machine is that of its family where none is given."""

    family: str
    connect: dict[str, str]
    id: str = ""
    remedies: dict[str, str] = msgspec.field(default_factory=dict)

    def placed(self, inner: str = "") -> PlacedPart:
        """The part, the node at which the windings meet put in."""
        connect = {terminal: node.replace("{inner}", inner) for terminal, node in self.connect.items()}
        return PlacedPart(self.id or self.family, family(self.family), connect, self.remedies)


class ProtectorRow(DataTable, frozen=True):
    """A protector where it is: the node at which the windings meet, and wires that come with it."""

    family: str = ""  #: Empty where there is none to be tested.
    connect: dict[str, str] = msgspec.field(default_factory=dict)
    inner: str = ""
    built_in: str = ""
    links: tuple[tuple[str, str], ...] = ()


class Try(DataTable, frozen=True):
    """How a machine is tried that no start was simulated for: by its own board, unit or contactor."""

    title: Message
    how: Message


class Frame(DataTable, frozen=True, dict=True):
    """What every machine of a kind has besides its own gear."""

    source: str  #: Of volts and cautions.
    pins: tuple[str, str, str]  #: Names of the pins, where they are named.
    #: What an arrangement of this frame may list as its gear, one of each.
    gear: tuple[Role, ...]
    volts: dict[str, tuple[float, float]]  #: Nominal volts it is made for, by the name of their class. [V]
    usual_volts: float  #: Where nobody read the plate. [V]
    before: tuple[PlacedRow, ...] = ()
    after: tuple[PlacedRow, ...] = ()
    protector: dict[str, ProtectorRow] = msgspec.field(default_factory=dict)
    wires: tuple[tuple[str, str], ...] = ()  #: Plain wires between nodes.
    #: What forbids or warns, and stands before every probe: names of `humclick.safety.gates`.
    gates: tuple[str, ...] = ()
    #: What is passed before hands are on a terminal, besides power off and capacitors discharged.
    touching: tuple[str, ...] = ()
    #: Shown whenever such a machine is in question.
    caution: Message = msgspec.field(default_factory=nothing)
    own_try: Try | None = None  #: How it is tried, where no start is simulated.
    #: Nodes of the drawing from top to bottom, row by row, where it is not that of single-phase machines.
    rows: tuple[tuple[str, ...], ...] = ()
    alternates: bool = True  #: Whether its supply alternates; direct current has no frequency.
    phases: int = 1  #: Phases the compressor is made for, as its plate has them; 0 where it has none.
    earthed: bool = True  #: Whether its shell is grounded and current to ground is proved.
    #: What takes the place of known-good gear, and what shows the supply under load, in order of preference:
    #: probes wanted before a compressor is condemned.
    bypass: tuple[str, ...] = ()
    loaded: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.serves(self.usual_volts):
            raise ValueError(f"usual_volts must lie in one of volts, got {self.usual_volts:g}")

    @cached_property
    def families(self) -> tuple[Family, ...]:
        """Families of its parts, the protector left out."""
        return tuple(family(row.family) for row in (*self.before, *self.after))

    @cached_property
    def started(self) -> bool:
        """Whether its starts are simulated: with a run and a start winding."""
        roles = {kind.role for kind in self.families}
        return {Role.RUN_WINDING, Role.START_WINDING} <= roles

    def framed(self, role: Role) -> Family:
        """The family of a part that every machine of this frame has."""
        return {kind.role: kind for kind in self.families}[role]

    def volts_class(self, volts: float) -> str:
        """
        The class of nominal volts.

        Raises `OutOfRange` if machines of this frame are not made for them.
        """
        for name, (low, high) in self.volts.items():
            if low <= volts <= high:
                return name
        ranges = tuple(f"{low:g}–{high:g}" for low, high in self.volts.values())
        raise OutOfRange(
            Message("nominal volts must be {ranges:or}, got {volts:g}", ranges=ranges, volts=volts)
        )

    def serves(self, volts: float) -> bool:
        """Whether machines of this frame are made for nominal volts. [V]"""
        return any(low <= volts <= high for low, high in self.volts.values())


def frames() -> tuple[str, ...]:
    """Names of all frames, in alphabetical order."""
    return tuple(frame_sources())


def frame(name: str) -> Frame:
    """
    Read one frame.

    Raises `Unknown` if there is none, and `DataError` if its file is damaged: the message says which field,
    and what would be right.
    """
    if name not in frame_sources():
        raise Unknown(Message("frame"), name, frame_sources())
    return _read(name, shelves())


@cache
def _read(name: str, folders: tuple[Path, ...]) -> Frame:
    source = frame_sources()[name]
    read = typed_value(source.table(), Frame, str(source))
    for gate in (*read.gates, *read.touching):
        if gate not in gates():
            raise DataError(f"{source}: gates must be {choice_of(gate, gates())}")
    return read
