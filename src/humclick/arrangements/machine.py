"""
A machine on the bench: an arrangement with its nameplate and the stamps read from its parts.

Everything that narrows what a part should measure is applied here, once: voltage class, locked-rotor
amperes, a capacitor's stamp, a winding's data if the technician has it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from humclick.arrangements.arrangement import Arrangement, PlacedPart, arrangement
from humclick.errors import OutOfRange, Refused, Unknown
from humclick.messages import Message
from humclick.parts.family import Branch, Condition, Mode, Regime, Role
from humclick.parts.mode import NO_CHANGE
from humclick.sourced import Spread

__all__ = ["Machine", "Nameplate"]

#: Mains voltages served, two classes. [V]
_CLASSES = {"115": (100.0, 127.0), "230": (200.0, 240.0)}

#: How well V / I_LR and the textbook impedance ratio fix a run winding's dc resistance: 95 % within
#: this factor. From memory: locked power factors of small motors spread about this much. [-]
_LRA_FACTOR = 1.5


@dataclass(frozen=True, slots=True)
class Nameplate:
    """What the plate says."""

    volts: float = 115.0  #: Nominal supply, 100–127 or 200–240. [V]
    hertz: float = 60.0  #: 50 or 60. [Hz]
    #: LRA and RLA where printed. [A]
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""  #: As printed; a flammable one changes the cautions.

    def __post_init__(self) -> None:
        self.volts_class  # noqa: B018  refuses a voltage outside both classes
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
        """``115`` or ``230``."""
        for name, (low, high) in _CLASSES.items():
            if low <= self.volts <= high:
                return name
        raise OutOfRange(Message("nominal volts must be 100–127 or 200–240, got {volts:g}", volts=self.volts))


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
        for key in self.known:
            part, _, size = key.partition(".")
            if size not in self.part(part).family.sizes:
                raise Unknown(Message("size"), key, [f"{part}.{s}" for s in self.part(part).family.sizes])

    def require_model(self) -> None:
        """Refuse a machine that is recognised and taken no further."""
        kind = self.arrangement
        if kind.recognised_only:
            raise Refused(Message("{title}: {caution}", title=kind.title, caution=kind.caution))

    @staticmethod
    def of(
        name: str,
        protector: str | None = None,
        nameplate: Nameplate | None = None,
        known: Mapping[str, Spread] | None = None,
    ) -> Machine:
        """
        Put a machine together by name; the protector defaults to the arrangement's first.

        Raises `Unknown` if the arrangement, the protector or a known size does not exist.
        """
        kind = arrangement(name)
        return Machine(kind, protector or kind.protectors[0], nameplate or Nameplate(), known or {})

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

    @cached_property
    def put_right(self) -> Mapping[str, frozenset[str]]:
        """Single modes (``part.mode``) that a look or a try puts right, by the name of its probe."""
        by_probe: dict[str, frozenset[str]] = {}
        for part in self.parts:
            for look in (look for look in part.family.looks if look.puts_right):
                by_probe[f"{part.id}.{look.name}"] = frozenset(
                    f"{part.id}.{mode}" for mode in look.puts_right
                )
            if part.family.fit is not None and part.family.fit.mends:
                by_probe[f"fit.{part.id}"] = frozenset({part.family.fit.mends})
        return by_probe

    def in_a_start(self, modes: Mapping[str, str]) -> dict[str, str]:
        """
        Modes of parts as a start attempt goes by them: a mode that starts as another is that one.

        A part that is named itself keeps its own mode, and a part this machine does not have changes nothing.
        Raises `Unknown` for a part or a mode there is not.
        """
        own: dict[str, str] = {}
        like: dict[str, str] = {}
        for part, name in modes.items():
            stands_for = self.part(part).family.mode(name).starts_as
            if not stands_for:
                own[part] = name
            elif stands_for != NO_CHANGE:
                other, _, mode = stands_for.partition(".")
                if other in self._by_id:
                    like[other] = mode
        return {**like, **own}

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
