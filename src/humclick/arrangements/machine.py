"""
A machine on the bench: an arrangement with its nameplate and the stamps read from its parts.

Everything that narrows what a part should measure is applied here, once: plate, start gear, stamps of the
capacitors, a winding's data if the technician has it; what follows from them is in `humclick.sizes`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from humclick.arrangements.arrangement import Arrangement, arrangement
from humclick.arrangements.frame import PlacedPart
from humclick.errors import OutOfRange, Refused, Unknown
from humclick.messages import Message
from humclick.parts.family import HEALTHY, Branch, Condition, Mode, Role
from humclick.parts.mode import NO_CHANGE
from humclick.physics.bounds import between
from humclick.safety.refrigerant import numbers
from humclick.sizes.sound import SoundMachine, appliances, kind_of_refrigerant, sound_machine
from humclick.sourced import Spread

__all__ = ["UNREAD", "Machine", "Nameplate"]

#: Volts of a plate that nobody read: no number at all, so that none that was typed can mean it. [V]
UNREAD = math.nan


@dataclass(frozen=True, slots=True)
class Nameplate:
    """What the plate says."""

    #: Nominal supply; which there are is the frame's (`humclick.arrangements.frame`). `UNREAD` until the
    #: machine is known: then what is usual for its kind. [V]
    volts: float = UNREAD
    hertz: float = 60.0  #: 50 or 60; of no matter on dc. [Hz]
    #: LRA and RLA where printed. [A]
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    refrigerant: str = ""  #: As printed; a flammable one changes the cautions.
    horsepower: float | None = None  #: The trade's size, of the plate or a list. [hp]
    cooling: float | None = None  #: Cooling capacity. [W]
    appliance: str = ""  #: What stands there, a name of `humclick.sizes.sound.appliances`; empty if not said.

    def __post_init__(self) -> None:
        if self.hertz not in (50.0, 60.0):
            raise OutOfRange(Message("line frequency must be 50 or 60 Hz, got {hertz:g}", hertz=self.hertz))
        for name in ("locked_rotor_amps", "rated_load_amps"):
            amps = getattr(self, name)
            if amps is not None and not 0.05 <= amps <= 300.0:
                raise OutOfRange(
                    Message("{name} must lie between 0.05 and 300 A, got {amps:g}", name=name, amps=amps)
                )
        if self.horsepower is not None:
            between(self.horsepower, 0.02, 10.0, "horsepower", "hp")
        if self.cooling is not None:
            between(self.cooling, 10.0, 50_000.0, "cooling capacity", "W")

        if self.appliance and self.appliance not in appliances():
            raise Unknown(Message("kind of appliance"), self.appliance, tuple(appliances()))

    @property
    def sizes(self) -> dict[str, float]:
        """What it says of the machine's size, by the names of `humclick.sizes`."""
        names = ("locked_rotor_amps", "rated_load_amps", "horsepower", "cooling")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}


@dataclass(frozen=True, repr=False)
class Machine:
    """An arrangement made concrete."""

    arrangement: Arrangement
    protector: str  #: ``external``, ``integrated`` or ``internal``.
    nameplate: Nameplate = field(default_factory=Nameplate)
    #: By ``part.size``: sizes read from a stamp or a data sheet; they replace the typical ones.
    known: Mapping[str, Spread] = field(default_factory=dict)
    #: Names of other arrangements that it may be as well: nobody is sure.
    also: tuple[str, ...] = ()

    def __repr__(self) -> str:
        plate = self.nameplate
        words = [self.arrangement.id, f"{self.protector} protector", self.supply]
        words += [f"LRA {plate.locked_rotor_amps:g} A"] if plate.locked_rotor_amps is not None else []
        words += [plate.refrigerant] if plate.refrigerant else []
        words += [f"or {', '.join(self.also)}"] if self.also else []
        return f"<{', '.join(words)}>"

    def __post_init__(self) -> None:
        if math.isnan(self.nameplate.volts):
            usual = replace(self.nameplate, volts=self.arrangement.frame.usual_volts)
            object.__setattr__(self, "nameplate", usual)
        self.volts_class  # noqa: B018  refuses volts that no machine of its kind is made for
        for key in self.known:
            part, _, size = key.partition(".")
            if size not in self.part(part).family.sizes:
                raise Unknown(Message("size"), key, [f"{part}.{s}" for s in self.part(part).family.sizes])

    def require_model(self) -> None:
        """Refuse a machine that is recognised and taken no further."""
        if self.arrangement.recognised_only:
            raise self._refused

    def require_start(self) -> None:
        """Refuse a machine whose start is not simulated: a board or a unit turns it, or three lines do."""
        if not self.started:
            raise self._refused

    @property
    def _refused(self) -> Refused:
        kind = self.arrangement
        return Refused(Message("{title}: {caution}", title=kind.title, caution=kind.caution))

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
        return Machine(kind, protector or kind.protectors[0], nameplate or Nameplate(), known or {})

    @property
    def may_be(self) -> tuple[Machine, ...]:
        """Itself and every other machine it may be, each as if it were known; those alone its volts suit."""
        machines = [replace(self, also=())]
        for name in self.also:
            kind = arrangement(name)
            if not kind.judged or not kind.frame.serves(self.nameplate.volts):
                continue
            protector = self.protector if self.protector in kind.protectors else kind.protectors[0]
            sizes = {f"{part.id}.{size}" for part in kind.parts(protector) for size in part.family.sizes}
            known = {size: value for size, value in self.known.items() if size in sizes}
            machines.append(Machine(kind, protector, self.nameplate, known))
        return tuple(machines)

    @cached_property
    def volts_class(self) -> str:
        """The class of its volts: ``115``, ``230`` or one of another frame."""
        return self.arrangement.frame.volts_class(self.nameplate.volts)

    @property
    def supply(self) -> str:
        """What it is made for, as ``115 V 60 Hz`` or ``12 V DC``."""
        volts = f"{self.nameplate.volts:g} V"
        return f"{volts} {self.nameplate.hertz:g} Hz" if self.alternates else f"{volts} DC"

    @property
    def alternates(self) -> bool:
        """Whether its supply alternates."""
        return self.arrangement.frame.alternates

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
        What a part's size should be on this machine: stamp, else that of a sound machine, else typical.

        Notes
        -----
        What goes with the size of the machine is that of `sound`: all that is known narrows it.
        """
        known = self.known.get(f"{part}.{size}")
        if known is not None:
            return known
        family = self.part(part).family
        of = family.by_machine.get(size)
        return family.size(size, self.volts_class) if of is None else self.sound.size(of)

    def unsized(self, part: str, size: str) -> bool:
        """Whether a size goes with that of the machine, and neither stamp nor data sheet tells it."""
        return size in self.part(part).family.by_machine and f"{part}.{size}" not in self.known

    @cached_property
    def sound(self) -> SoundMachine:
        """All sizes of a sound machine of this plate, kind and stamps."""
        known = {name: Spread(value, 1.0) for name, value in self.nameplate.sizes.items()}
        for key, value in self.known.items():
            part, _, size = key.partition(".")
            of = self.part(part).family.by_machine.get(size)
            if of is not None:
                known[of] = value
        return sound_machine(self.nameplate.volts, self.nameplate.hertz, self.words, known)

    @property
    def words(self) -> frozenset[str]:
        """What `humclick.sizes` goes by: capacitors, pill, electronics, refrigerant, kind of appliance."""
        roles = (Role.RUN_CAPACITOR, Role.START_CAPACITOR)
        words = {role.value if self.has(role) else f"no {role.value}" for role in roles}
        starter = self.has(Role.STARTER)
        if starter is None or not starter.family.gear_ohms:
            words.add("no pill")
        if starter is not None and starter.family.electronic:
            words.add("electronic")
        plate = self.nameplate
        return frozenset(words | {kind_of_refrigerant(numbers(plate.refrigerant)), plate.appliance} - {""})

    def together(self, first: tuple[str, str], second: tuple[str, str]) -> float:
        """
        How far the logarithms of two sizes, each a part and its size, go together; 0 where one is known. [-]
        """
        names = [self.part(part).family.by_machine.get(size) for part, size in (first, second)]
        known = any(f"{part}.{size}" in self.known for part, size in (first, second))
        if known or names[0] is None or names[1] is None:
            return 0.0
        return self.sound.correlation(names[0], names[1])

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
            if part.family.gear or part.family.fit is not None:
                by_probe[f"fit.{part.id}"] = self._fitted(part)
        return by_probe

    @cached_property
    def only_set(self) -> frozenset[str]:
        """Single modes (``part.mode``) that setting alone puts right: what was wrong is there still."""
        return frozenset(
            f"{part.id}.{mode}"
            for part in self.parts
            for look in part.family.looks
            for mode in look.puts_right
        )

    @staticmethod
    def _fitted(part: PlacedPart) -> frozenset[str]:
        """What fitting a part, or the work put into it, mends: the whole part, or single modes of it."""
        fit = part.family.fit
        if fit is None or not (fit.mends or fit.remedy):
            return frozenset({part.id})
        if fit.mends:
            return frozenset({fit.mends})
        faults = [mode for mode in part.family.listed if mode.name != HEALTHY]
        worked_on = [f"{part.id}.{mode.name}" for mode in faults if mode.remedy == fit.remedy]
        return frozenset({part.id} if len(worked_on) == len(faults) else worked_on)

    def in_a_start(self, modes: Mapping[str, str], *, hot: bool = True) -> tuple[tuple[str, str], ...]:
        """
        Faults as a start attempt goes by them, part and mode: one that starts as another is that one.

        Two may be of one part, where one of them stands for a fault elsewhere. A part this machine does not
        have changes nothing, nor, unless `hot`, a fault that a rest has eased. Raises `Unknown` for a part or
        a mode there is not.
        """
        faults = []
        for part, name in modes.items():
            stands_for = self.part(part).family.mode(name).starts_as
            if not stands_for:
                faults.append((part, name))
            elif stands_for != NO_CHANGE and (hot or not self.eased(part, name)):
                other, _, mode = stands_for.partition(".")
                if other in self._by_id:
                    faults.append((other, mode))
        return tuple(dict.fromkeys(faults))

    def eased(self, part: str, mode: str) -> bool:
        """
        Whether a rest takes a mode out of the next start: it has cooled, or the pressures are equal again.

        A control that does not call is passing too, but no rest makes it call.
        """
        state = self.part(part).family.mode(mode)
        return state.eased or (state.passing and state.remedy == "wait")

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
