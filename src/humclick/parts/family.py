"""
What a part is: terminals, modes, and what each mode does to the circuit.

A family is one folder, ``<name>/<name>.toml`` and where needed ``in_time.py``; `Family` is that file, field
by field. A part has exclusive **modes** (`humclick.parts.mode`): healthy, one of its faults, or a passing
condition.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from functools import cache, cached_property
from pathlib import Path
from typing import Any, Literal

import msgspec

from humclick.errors import DataError, Unknown, choice_of
from humclick.messages import Message, nothing
from humclick.parts.mode import Branch, Condition, DataTable, Element, Mode, Regime, When
from humclick.parts.shelves import family_sources, shelves
from humclick.physics.cooling import passing
from humclick.safety import gates, stops
from humclick.sizes.sound import sizes, sound_machine
from humclick.sourced import Spread
from humclick.typed_data import sizes_in, typed_value

__all__ = [
    "GEAR_ROLES",
    "HEALTHY",
    "BenchTest",
    "Branch",
    "Condition",
    "Drawn",
    "Element",
    "Family",
    "FitProbe",
    "Level",
    "Look",
    "Mode",
    "Pattern",
    "Regime",
    "Role",
    "Substitute",
    "Three",
    "When",
    "families",
    "family",
]

HEALTHY = "healthy"


class Role(StrEnum):
    """What a part does in a machine; the code asks for a part by this and not by its name."""

    SUPPLY = "supply"
    GROUND = "ground"
    CONTROL = "control"
    STARTER = "starter"
    START_CAPACITOR = "start capacitor"
    RUN_CAPACITOR = "run capacitor"
    PROTECTOR = "protector"
    WIRING = "wiring"
    RUN_WINDING = "run winding"
    START_WINDING = "start winding"
    MECHANISM = "mechanism"
    WINDINGS = "windings"
    CONDENSER_FAN = "condenser fan"
    OTHER_LOADS = "other loads"
    DRIVE = "drive"
    SWITCH = "contactor"
    FAN = "fan"


#: Roles of the start gear of a single-phase machine, each drawn by its elements.
GEAR_ROLES = (Role.STARTER, Role.START_CAPACITOR, Role.RUN_CAPACITOR)


class Clearance(DataTable, frozen=True):
    """What a look at a part, or work on it, has to show before a compressor is blamed or a machine left."""

    by: tuple[str, ...]  #: Answers of the look after which its part is not what stops the compressor.
    title: Message  #: What is on record before a compressor is condemned.
    seen: Message  #: What stands in it before a machine is left as it is with nothing explained.
    #: Why it need not stand there once the compressor failed after a rest; empty where it must.
    why: Message = msgspec.field(default_factory=nothing)


class Look(DataTable, frozen=True):
    """Something to see, hear or feel on a part, without a meter."""

    name: str  #: Short name; the probe is ``<part>.<name>``.
    question: Message  #: What the person is asked.
    outcomes: tuple[Message, ...]  #: The answers offered, besides "not sure".
    #: Probability of each outcome per mode; ``otherwise`` is the row for modes not named. A mode of another
    #: part, as ``part.mode``, counts where the part itself has none that is named. [-]
    table: dict[str, tuple[float, ...]]
    minutes: float  #: How long it takes. [min]
    source: str  #: Where the probabilities come from.
    gates: tuple[str, ...]  #: Safety gates that must be passed first.
    #: By outcome: the remedy owed to the machine once this is seen, whether it is the cause or not.
    due: dict[str, str] = msgspec.field(default_factory=dict)
    bars: tuple[str, ...] = ()  #: Outcomes after which the machine is not powered until it is put right.
    #: Whether a later look decides: what was seen is put right by hand and leaves no trace but that.
    again: bool = False
    puts_right: tuple[str, ...] = ()  #: Modes that no longer matter once it was done: it calls from then on.
    #: By outcome, those that end the call: names of `humclick.safety.stops`.
    stops: dict[str, str] = msgspec.field(default_factory=dict)
    first: bool = False  #: Whether a silent machine is looked at so before it is opened.
    clears: Clearance | None = None  #: What it has to show before a compressor is blamed.

    def __post_init__(self) -> None:
        for mode, row in self.table.items():
            if len(row) != len(self.outcomes) or abs(sum(row) - 1.0) > 1e-9:
                raise ValueError(
                    f"table.{mode} must have {len(self.outcomes)} probabilities, one an outcome, that sum"
                    f" to 1; got {', '.join(f'{p:g}' for p in row)}"
                )
        for answer in (*self.due, *self.bars, *self.stops, *(self.clears.by if self.clears else ())):
            if answer not in self.outcomes:
                allowed = choice_of(answer, self.outcomes)
                raise ValueError(f"due, bars, stops and clears.by must be of {allowed}")


class BenchTest(DataTable, frozen=True):
    """A measurement on the part by itself, taken off or isolated."""

    name: str  #: Short name; the probe is ``<part>.<name>``.
    title: Message  #: What is measured, in words.
    between: tuple[str, str]  #: The part's terminals to probe.
    minutes: float  #: How long it takes. [min]
    gates: tuple[str, ...]  #: Safety gates that must be passed first.
    how: Message  #: One sentence: how it is done.
    quantity: Literal["resistance", "capacitance"] = "resistance"  #: ``resistance`` or ``capacitance``.
    turned: bool = False  #: Whether the part is turned over for it.
    #: What a display of nothing wants first, and what is tried before a bad reading counts; or empty.
    at_zero: Message = msgspec.field(default_factory=nothing)
    if_bad: Message = msgspec.field(default_factory=nothing)
    again_cool: bool = False  #: Whether it is read once more, cool, before power where it was open while hot.


class Level(DataTable, frozen=True):
    """A live measurement on the part: what stands there follows from its own mode and those of others."""

    name: str  #: Short name; the probe is ``<part>.<name>``.
    title: Message  #: What is measured, in words.
    how: Message  #: One sentence: how it is done.
    between: tuple[str, str]  #: The part's terminals to probe.
    size: str  #: What a sound machine shows; with unit ``-`` it is over the nominal volts.
    minutes: float  #: How long it takes. [min]
    gates: tuple[str, ...]  #: Safety gates that must be passed first.
    source: str  #: Where the factors come from.
    #: By mode, own or ``part.mode`` of another: factor on the size; 0 where nothing is left. [-]
    times: dict[str, float]
    quantity: Literal["voltage", "current"] = "voltage"  #: ``voltage`` or ``current``.
    risk: float = 2.0  #: Of power on while it is taken. [money]


class Pattern(DataTable, frozen=True):
    """What three readings have of their common unknown in a mode, in any order."""

    modes: tuple[str, ...]  #: Own modes, or ``part.mode`` of others.
    times: tuple[
        float, float, float
    ]  #: Factors; 0 where nothing is there, ``inf`` where nothing conducts. [-]
    #: Where it comes in all degrees: the factors at the far end, spread evenly over their logarithms. [-]
    to: tuple[float, float, float] | None = None
    share: float = 1.0  #: How often it is this one of the mode's patterns, over the others. [-]


class Three(DataTable, frozen=True):
    """
    Three readings of one unknown: the windings of three equal ones, the volts of three lines.

    A sound machine shows the same three times, whatever its size; a fault shows by what they differ in.
    """

    title: Message  #: What is measured, in words, with ``{first}`` and ``{second}``.
    how: Message  #: One sentence: how it is done, with the same.
    between: tuple[tuple[str, str], tuple[str, str], tuple[str, str]]  #: The three pairs of terminals.
    quantity: Literal["resistance", "voltage", "current"]
    size: str  #: The unknown they share; with unit ``-`` it is over the nominal volts.
    balance: float  #: 95 % of sound ones lie within this factor of their mean. [-]
    minutes: float  #: How long one takes. [min]
    gates: tuple[str, ...]  #: Safety gates that must be passed first.
    source: str  #: Where balance and patterns come from.
    pattern: tuple[Pattern, ...]  #: By mode; the first that a set has counts, all alike where there is none.
    prefix: str = (
        ""  #: The probes are ``<prefix>.<node>-<node>``; the part where empty, ``pins`` between pins.
    )
    risk: float = 0.2  #: Of taking one. [money]
    limit: float = (
        0.0  #: Unbalance from which it is said, by `humclick.physics.supply.unbalance`; 0 for never.
    )


class Drawn(DataTable, frozen=True):
    """How a part is drawn between two of its terminals."""

    ends: tuple[str, str]  #: The two terminals.
    #: Its shape, one of the plain ones of IEC 60617 (from memory); ``box`` where none says it.
    symbol: Literal[
        "winding", "coil", "capacitor", "thermistor", "make_contact", "break_contact", "thermal_contact",
        "timer", "wire", "box",
    ]  # fmt: skip
    token: str = "[?]"  #: Three letters for the drawing in plain text.
    word: Message = msgspec.field(
        default_factory=nothing
    )  #: Added to the family's title beside it, such as ``coil``.


class FitProbe(DataTable, frozen=True):
    """Trying a machine with this part new or put right, where that is not said as for any start gear."""

    #: The probe's one line, and how it is done; empty for the usual words of a new part.
    title: Message = msgspec.field(default_factory=nothing)
    how: Message = msgspec.field(default_factory=nothing)
    remedy: str = ""  #: The remedy it carries out by work alone; empty where a new part is fitted.
    mends: str = ""  #: The single mode that is put right, as ``part.mode``; empty for the whole part.


class Substitute(DataTable, frozen=True):
    """What a new part is tried by against the old one in the simulated start; see `humclick.replacement`."""

    example: str  #: How its marks are written.
    #: Marks without which nothing can be said, and those whose value the simulation judges.
    essential: tuple[str, ...]
    simulated: tuple[str, ...] = ()
    proved: bool = False  #: Whether it is enough that the compressor's maker lists the new one.
    assumes: str = ""  #: What the simulation takes the new one to have, in a sentence.
    marks: tuple[dict[str, Any], ...] = msgspec.field(name="mark", default=())  #: Marks that count only here.


class Family(DataTable, frozen=True, dict=True):
    """A kind of part."""

    #: Short name, that of its folder, and the trade's name.
    name: str
    title: Message
    terminals: tuple[str, ...]  #: Named terminals.
    role: Role  #: What it does in a machine.
    listed: tuple[Mode, ...] = msgspec.field(name="mode")  #: Its modes, healthy first; by name in `modes`.
    #: ``sizes[name][volts_class]``, with ``""`` for sizes that do not depend on it.
    sizes: dict[str, dict[str, Spread]] = msgspec.field(default_factory=dict)
    #: By size: those that go with the size of the machine, and what they are called in `humclick.sizes`.
    by_machine: dict[str, str] = msgspec.field(default_factory=dict)
    #: What can be measured and seen on it alone.
    tests: tuple[BenchTest, ...] = msgspec.field(name="test", default=())
    looks: tuple[Look, ...] = msgspec.field(name="look", default=())
    #: What is measured on it under power, and three at a time.
    levels: tuple[Level, ...] = msgspec.field(name="level", default=())
    threes: tuple[Three, ...] = msgspec.field(name="three", default=())
    gear: bool = False  #: True for the start gear outside the shell (what a known-good set replaces).
    sealed: bool = False  #: True for what is inside the shell.
    outside: bool = False  #: True for what is reached without taking the terminal cover off.
    apart: bool = False  #: True for what takes no part in a start attempt.
    grounds: bool = False  #: True where the ground wire runs through it.
    #: How it cools, a kind of `humclick.physics.cooling`: its ohms decide nothing before, and it burns.
    heat: str = ""
    #: True where it has contacts, or a body that glows: it must suit a flammable refrigerant.
    sparks: bool = False
    at_pins: bool = False  #: True where working on it moves the pins.
    electronic: bool = False  #: True where an insulation tester would destroy it.
    gear_ohms: str = ""  #: Of a starter that limits the current itself: the size it starts with.
    #: The family whose ``in_time.py`` and typical values it behaves by; its own where empty.
    in_time: str = ""
    #: What is not measured on it, for the start in time: sourced values and spreads.
    typical: dict[str, dict[str, Any]] = msgspec.field(default_factory=dict)
    drawn: tuple[Drawn, ...] = msgspec.field(name="element", default=())  #: How it is drawn.
    #: Trying it new or put right; None where only start gear's usual words apply, or nothing.
    fit: FitProbe | None = None
    #: How a new one is tried in the simulation; None where it cannot be.
    substitute: Substitute | None = None
    #: For the customer: what it does, and what was tested when it was.
    does: Message = msgspec.field(default_factory=nothing)
    tested: Message = msgspec.field(default_factory=nothing)
    #: For windings, by size and regime: impedance at line frequency over the dc resistance. [-]
    impedance: dict[str, dict[Regime, complex]] = msgspec.field(default_factory=dict)
    #: As read from the data file; interpreted by `humclick.replacement`.
    match: dict[str, Any] = msgspec.field(default_factory=dict)

    def __post_init__(self) -> None:
        _check_names(self)
        _check_ends(self)
        for mode, branch in ((m, b) for m in self.listed for b in m.branches):
            for size in (branch.size, branch.pulled_by or branch.size):
                if size not in self.sizes:
                    raise ValueError(f"mode {mode.name!r}: a branch names size {choice_of(size, self.sizes)}")
        for size in (*(level.size for level in self.levels), *(three.size for three in self.threes)):
            if size not in self.sizes:
                raise ValueError(f"size of a level or of three alike must be {choice_of(size, self.sizes)}")
        if self.gear_ohms and self.gear_ohms not in self.sizes:
            raise ValueError(f"gear_ohms must be a size: {choice_of(self.gear_ohms, self.sizes)}")
        if self.role in GEAR_ROLES and not self.drawn:
            raise ValueError("start gear needs an [[element]] with its ends and its symbol, to be drawn")

    @cached_property
    def modes(self) -> Mapping[str, Mode]:
        """Its modes by name, healthy first."""
        return {mode.name: mode for mode in self.listed}

    def mode(self, name: str) -> Mode:
        """One mode by name."""
        try:
            return self.modes[name]
        except KeyError:
            raise Unknown(Message("mode of {title}", title=self.title), name, self.modes) from None

    def size(self, name: str, volts_class: str) -> Spread:
        """A typical size for a voltage class; what is known of a machine narrows it (`Machine.size`)."""
        try:
            by_class = self.sizes[name]
        except KeyError:
            raise Unknown(Message("size of {title}", title=self.title), name, self.sizes) from None
        return by_class.get(volts_class) or by_class[""]

    @cached_property
    def passing(self) -> str:
        """The mode that time alone mends; empty where there is none."""
        return next((mode.name for mode in self.listed if mode.passing), "")


def _check_names(kind: Family) -> None:
    """Refuse a first mode that is not the healthy one, names that come twice, and names nobody has."""
    if not kind.listed or kind.listed[0].name != HEALTHY:
        raise ValueError(f"the first mode must be {HEALTHY!r}")
    for what, names in (
        ("mode", [m.name for m in kind.listed]),
        ("test or look", [t.name for t in kind.tests] + [k.name for k in kind.looks]),
        ("terminal", list(kind.terminals)),
    ):
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{what} {', '.join(twice)} comes twice; each needs a name of its own")
    for mode in kind.listed[1:]:
        if not mode.remedy:
            raise ValueError(f"mode {mode.name!r}: remedy is missing: what puts it right")
    for look in kind.looks:
        for name in look.table:
            if "." not in name and name != "otherwise" and name not in (m.name for m in kind.listed):
                raise ValueError(
                    f"look {look.name!r}: table must be of {choice_of(name, [m.name for m in kind.listed])}"
                )
    for name, by_class in kind.sizes.items():
        if "" not in by_class and set(by_class) != {"115", "230"}:
            raise ValueError(f"sizes.{name} must be given for all, or for both 115 and 230")


def _check_ends(kind: Family) -> None:
    """Refuse a branch, a test or a drawn element that does not stand between two terminals of the part."""
    ends = [(f"mode {m.name!r}", b.between) for m in kind.listed for b in m.branches]
    ends += [(f"test {t.name!r}", t.between) for t in kind.tests]
    ends += [(f"level {t.name!r}", t.between) for t in kind.levels]
    ends += [("alike", pair) for three in kind.threes for pair in three.between]
    ends += [("element", e.ends) for e in kind.drawn]
    for where, pair in ends:
        for end in pair:
            if end not in kind.terminals and not end.startswith("{"):
                raise ValueError(f"{where}: a terminal must be {choice_of(end, kind.terminals)}")


def _check_elsewhere(kind: Family, where: str) -> None:
    """Refuse a gate, a stop or a way of cooling that the tables of safety and physics do not have."""
    named: list[tuple[str, str, Iterable[str]]] = [("heat", kind.heat, passing())] if kind.heat else []
    named += [("gates", gate, gates()) for test in kind.tests for gate in test.gates]
    asked = [look.gates for look in kind.looks] + [level.gates for level in kind.levels]
    asked += [three.gates for three in kind.threes]
    named += [("gates", gate, gates()) for row in asked for gate in row]
    named += [("stops", name, stops()) for look in kind.looks for name in look.stops.values()]
    for what, name, known in named:
        if name not in known:
            raise DataError(f"{where}: {what} must be {choice_of(name, known)}")


def family(name: str) -> Family:
    """
    Read one part family from its folder.

    Raises `Unknown` if there is none, and `DataError` if its file is damaged: the message says which field,
    and what would be right.
    """
    sources = family_sources()
    if name not in sources:
        raise Unknown(Message("part family"), name, sources)
    return _read(name, shelves())


def _by_machine(table: Any, where: str) -> tuple[dict[str, str], Any]:
    """Sizes that name one of the machine's, ``machine = "run_ohms"``, and the rest of the table."""
    if not isinstance(table, Mapping):
        return {}, table
    named = {
        size: str(row["machine"])
        for size, row in table.items()
        if isinstance(row, Mapping) and set(row) == {"machine"}
    }
    for size, of in named.items():
        if of not in sizes():
            raise DataError(f"{where}: sizes.{size}: machine must be {choice_of(of, sizes())}")
    return named, {size: row for size, row in table.items() if size not in named}


def _usual(of: str) -> dict[str, Spread]:
    """A size of the machine by voltage class, where no more is known of it."""
    return {volts: sound_machine(float(volts)).size(of) for volts in ("115", "230")}


@cache
def _read(name: str, folders: tuple[Path, ...]) -> Family:
    source = family_sources()[name]
    data = source.table()
    if "name" in data:
        raise DataError(f"{source}: name is that of its folder; leave it out")
    by_machine, own = _by_machine(data.get("sizes", {}), str(source))
    sized = {**sizes_in(own, str(source)), **{size: _usual(of) for size, of in by_machine.items()}}
    kind = typed_value({**data, "sizes": sized, "by_machine": by_machine, "name": name}, Family, str(source))
    _check_elsewhere(kind, str(source))
    if kind.in_time and kind.in_time not in family_sources():
        raise DataError(f"{source}: in_time must be {choice_of(kind.in_time, family_sources())}")
    return kind


def families() -> tuple[str, ...]:
    """Names of all part families, in alphabetical order."""
    return tuple(family_sources())
