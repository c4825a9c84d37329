"""
A machine on the bench: an arrangement with its nameplate and the stamps read from its parts.

Everything that narrows what a part should measure is applied here, once: voltage class, locked-rotor
amperes, a capacitor's stamp, a winding's data if the technician has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property

from humclick.arrangements.arrangement import Arrangement, arrangement
from humclick.arrangements.frame import SINGLE_PHASE, PlacedPart, frame, frames
from humclick.errors import OutOfRange, Unknown
from humclick.messages import Message
from humclick.parts.family import Branch, Condition, Mode, Regime, Role
from humclick.sourced import Spread

__all__ = ["Machine", "Nameplate"]

#: How well V / I_LR and the textbook impedance ratio fix a run winding's dc resistance: 95 % within
#: this factor. From memory: locked power factors of small motors spread about this much. [-]
_LRA_FACTOR = 1.5


#: Volts of a plate that nobody read. [V]
_UNREAD = 115.0


@dataclass(frozen=True, slots=True)
class Nameplate:
    """What the plate says."""

    volts: float = (
        _UNREAD  #: Nominal supply; which there are is the frame's (`humclick.arrangements.frame`). [V]
    )
    hertz: float = 60.0  #: 50 or 60; of no matter on dc. [Hz]
    #: LRA and RLA where printed. [A]
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""  #: As printed; a flammable one changes the cautions.

    def __post_init__(self) -> None:
        if self.hertz not in (50.0, 60.0):
            raise OutOfRange(Message("line frequency must be 50 or 60 Hz, got {hertz:g}", hertz=self.hertz))
        for name in ("locked_rotor_amps", "rated_load_amps"):
            amps = getattr(self, name)
            if amps is not None and not 0.05 <= amps <= 300.0:
                raise OutOfRange(
                    Message("{name} must lie between 0.05 and 300 A, got {amps:g}", name=name, amps=amps)
                )

    @property
    def volts_class(self) -> str:
        """``115``, ``230`` or that of another frame."""
        usual = frame(SINGLE_PHASE)
        for kind in (usual, *map(frame, frames())):
            with suppress(OutOfRange):
                return kind.volts_class(self.volts)
        return usual.volts_class(self.volts)


@dataclass(frozen=True, repr=False)
class Machine:
    """An arrangement made concrete."""

    arrangement: Arrangement
    protector: str  #: ``external``, ``integrated`` or ``internal``.
    nameplate: Nameplate = field(default_factory=Nameplate)
    #: By ``part.size``: sizes read from a stamp or a data sheet; they replace the typical ones.
    known: Mapping[str, Spread] = field(default_factory=dict)

    def __repr__(self) -> str:
        plate = self.nameplate
        words = [self.arrangement.id, f"{self.protector} protector", f"{plate.volts:g} V {plate.hertz:g} Hz"]
        words += [f"LRA {plate.locked_rotor_amps:g} A"] if plate.locked_rotor_amps is not None else []
        words += [plate.refrigerant] if plate.refrigerant else []
        return f"<{', '.join(words)}>"

    def __post_init__(self) -> None:
        self.arrangement.frame.volts_class(self.nameplate.volts)
        for key in self.known:
            part, _, size = key.partition(".")
            if size not in self.part(part).family.sizes:
                raise Unknown(Message("size"), key, [f"{part}.{s}" for s in self.part(part).family.sizes])

    @staticmethod
    def of(
        name: str,
        protector: str | None = None,
        nameplate: Nameplate | None = None,
        known: Mapping[str, Spread] | None = None,
    ) -> Machine:
        """
        Put a machine together by name; the protector defaults to the arrangement's first.

        Volts of a plate that nobody read are those usual for its kind.

        Raises `Unknown` if the arrangement, the protector or a known size does not exist.
        """
        kind = arrangement(name)
        plate = nameplate or Nameplate()
        if plate.volts == _UNREAD:
            plate = replace(plate, volts=kind.frame.suited(plate.volts))
        return Machine(kind, protector or kind.protectors[0], plate, known or {})

    @cached_property
    def started(self) -> bool:
        """Whether its starts are simulated; else judgement goes by readings alone."""
        return self.arrangement.started

    @cached_property
    def pins(self) -> tuple[str, str, str]:
        """Names of its pins."""
        return self.arrangement.frame.pins

    @cached_property
    def sealed(self) -> frozenset[str]:
        """Parts inside the shell, by name."""
        return frozenset(p.id for p in self.parts if p.family.sealed)

    @cached_property
    def windings(self) -> tuple[str, ...]:
        """Parts whose insulation to the shell is tested, by name."""
        return tuple(p.id for p in self.parts if p.family.sealed and "insulation" in p.family.sizes)

    @cached_property
    def nodes(self) -> frozenset[str]:
        """Every node that a part of it is connected to, and the shell."""
        return frozenset(n for p in self.parts for n in p.connect.values()) | {"shell"}

    @cached_property
    def parts(self) -> tuple[PlacedPart, ...]:
        """All parts, from the outlet to the mechanism."""
        return self.arrangement.parts(self.protector)

    @cached_property
    def _by_id(self) -> dict[str, PlacedPart]:
        return {p.id: p for p in self.parts}

    @cached_property
    def _sized(self) -> dict[tuple[str, str, Condition], tuple[tuple[str, str, Branch, Spread], ...]]:
        return {}

    @property
    def wires(self) -> tuple[tuple[str, str], ...]:
        """Plain wires between nodes."""
        return self.arrangement.wires(self.protector)

    def part(self, name: str) -> PlacedPart:
        """One part by its name in this machine."""
        try:
            return self._by_id[name]
        except KeyError:
            raise Unknown(
                Message("part of {arrangement}", arrangement=self.arrangement.id), name, self._by_id
            ) from None

    @cached_property
    def _by_role(self) -> dict[Role, PlacedPart]:
        return {p.family.role: p for p in self.parts}

    def has(self, role: Role) -> PlacedPart | None:
        """The part that does something in this machine, or None."""
        return self._by_role.get(role)

    def having(self, role: Role) -> PlacedPart:
        """
        The part that does something in this machine.

        Raises `Unknown` if no part of it does that.
        """
        try:
            return self._by_role[role]
        except KeyError:
            raise Unknown(
                Message("part of {arrangement}", arrangement=self.arrangement.id), role, self._by_role
            ) from None

    def size(self, part: str, size: str) -> Spread:
        """
        What a part's size should be on this machine: stamp, else nameplate, else typical.

        Notes
        -----
        A run winding follows from locked-rotor amperes by R = V / (I_LR |z|), with z the ratio of locked
        impedance to dc resistance in the winding's data file.
        """
        known = self.known.get(f"{part}.{size}")
        if known is not None:
            return known
        placed = self.part(part)
        typical = placed.family.size(size, self.nameplate.volts_class)
        amps, role = self.nameplate.locked_rotor_amps, placed.family.role
        if size == "winding" and amps is not None and role in (Role.RUN_WINDING, Role.START_WINDING):
            run = self.having(Role.RUN_WINDING).family
            ratio = abs(run.impedance["winding"][Regime.START])
            expected = self.nameplate.volts / (amps * ratio)
            if role is Role.RUN_WINDING:
                return Spread(expected, _LRA_FACTOR, "Ω", "nameplate volts and locked-rotor amps")
            scale = expected / run.size("winding", self.nameplate.volts_class).median
            return Spread(typical.median * scale, min(typical.factor, 2.2), "Ω", "nameplate and usual ratio")
        return typical

    def spread_of(self, part: str, mode: Mode, branch: Branch) -> Spread:
        """Spread of a branch's size in a mode: the size, times and within that the mode adds."""
        return self.size(part, branch.size).scaled(branch.times, branch.within)

    def eased(self, part: str, mode: str) -> bool:
        """
        Whether a rest takes a mode out of the next start: it has cooled, or the pressures are equal again.

        A control that does not call is passing too, but no rest makes it call.
        """
        family = self.part(part).family
        state = family.mode(mode)
        return family.role is not Role.CONTROL and (state.passing or state.eased)

    def sized(
        self, part: str, mode: str, condition: Condition
    ) -> tuple[tuple[str, str, Branch, Spread], ...]:
        """Branches of a part under a condition, each with its spread; kept, for networks ask often."""
        key = (part, mode, condition)
        if key not in self._sized:
            state = self.part(part).family.mode(mode)
            rows = self.branches(part, mode, condition)
            self._sized[key] = tuple((a, b, row, self.spread_of(part, state, row)) for a, b, row in rows)
        return self._sized[key]

    def branches(self, part: str, mode: str, condition: Condition) -> tuple[tuple[str, str, Branch], ...]:
        """Branches of a part under a condition, with the machine's nodes at their ends."""
        placed = self.part(part)
        placed_branches = []
        for branch in placed.family.mode(mode).branches:
            if branch.exists(condition):
                first, second = (_node(placed, t) for t in branch.between)
                placed_branches.append((first, second, branch))
        return tuple(placed_branches)


def _node(placed: PlacedPart, terminal: str) -> str:
    if terminal.startswith("{"):
        return terminal.strip("{}")
    return placed.connect[terminal]
