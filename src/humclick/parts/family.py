"""
What a part is: terminals, modes, and what each mode does to the circuit.

A part has exclusive **modes**: healthy, one of its faults, or a passing condition.
A mode is a list of **branches** between the part's terminals, each valid under a **condition**: at rest
(dead, an ohmmeter on it), at the start (energised, rotor locked) or running; hot or cold; turned over or not.
Resistances in ohms at 25 °C, capacitances in farads. A branch that is absent is open.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any

from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.sourced import Spread, read_data, spread

__all__ = [
    "HEALTHY",
    "BenchTest",
    "Branch",
    "Condition",
    "Element",
    "Family",
    "Look",
    "Mode",
    "Regime",
    "families",
    "family",
]

HEALTHY = "healthy"


class Regime(StrEnum):
    """In which of its three lives the circuit is."""

    REST = "rest"
    START = "start"
    RUN = "run"


class Element(StrEnum):
    """What a branch is made of."""

    OHMIC = "ohmic"
    CAPACITIVE = "capacitive"


@dataclass(frozen=True, slots=True)
class Condition:
    """
    The state in which a part is looked at.

    Attributes
    ----------
    regime : Regime
        At rest, at the start with the rotor locked, or running.
    hot : bool
        Just tried: protector and thermistor have not cooled.
    turned : bool
        Turned over against its working position (matters for a gravity relay).
    """

    regime: Regime = Regime.REST
    hot: bool = False
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Branch:
    """
    One two-terminal element of a part in some mode.

    Attributes
    ----------
    between : tuple of str
        Two terminals of the part. A terminal in braces (``{shell}``) is a node of the machine.
    size : str
        Name of the size in the family's table: the unknown this branch carries.
    element : Element
        Ohmic or capacitive.
    times : float
        Factor on the size's median in this mode. [-]
    within : float
        Extra spread factor of this mode, on top of the size's own. [-]
    when : tuple of (str, str | bool)
        Conditions under which the branch exists; empty means always.
    pulled_by : str
        Size of the coil whose current must pull this contact in before it closes at a start.
    """

    between: tuple[str, str]
    size: str
    element: Element = Element.OHMIC
    times: float = 1.0
    within: float = 1.0
    when: tuple[tuple[str, str | bool], ...] = ()
    pulled_by: str = ""

    def exists(self, condition: Condition) -> bool:
        """Whether the branch is there under a condition."""
        return all(_holds(key, wanted, condition) for key, wanted in self.when)


def _holds(key: str, wanted: str | bool, condition: Condition) -> bool:
    if key == "regime":
        return condition.regime in str(wanted).split("|")
    if key == "hot":
        return condition.hot is wanted
    if key == "turned":
        return condition.turned is wanted
    raise DataError(f"a branch condition must be regime, hot or turned, got {key!r}")


@dataclass(frozen=True, slots=True)
class Mode:
    """
    One condition a part can be in.

    Attributes
    ----------
    name : str
        Short name, unique in its family.
    title : str
        In the technician's words.
    plain : str
        In the customer's words.
    odds : float
        Prior odds against the healthy mode, before any complaint. [-]
    remedy : str
        What fixes it; a name in the remedies table. Empty for healthy.
    passing : bool
        True where nothing is broken and time alone mends it.
    eased : bool
        True where a rest takes a fault that stays out of the next start and its first minutes.
    branches : tuple of Branch
        What the mode is electrically.
    volts : float
        Factor on the supply voltage (supply modes). [-]
    breakaway : float
        Factor on the torque needed to start (mechanism modes). [-]
    load : float
        Factor on the running torque (mechanism modes). [-]
    trips : bool
        True where the protector lets go of a healthy running current.
    scattered : bool
        True where repeats after re-seating do not agree.
    hot_open : float
        Probability of being open when hot though the mode is healthy. [-]
    makes, loses : float
        Of a mode that scatters: share of readings in which it makes good contact all the same, and in which
        it makes none. [-]
    """

    name: str
    title: Message
    plain: Message
    odds: float
    remedy: str
    passing: bool = False
    eased: bool = False
    branches: tuple[Branch, ...] = ()
    volts: float = 1.0
    breakaway: float = 1.0
    load: float = 1.0
    trips: bool = False
    scattered: bool = False
    hot_open: float = 0.0
    makes: float = 0.0
    loses: float = 0.0

    @property
    def short(self) -> Message:
        """The title without what stands behind its colon, to be named in a sentence."""
        return Message.of(self.title.partition(":")[0])


@dataclass(frozen=True, slots=True)
class Look:
    """
    Something to see, hear or feel on a part, without a meter.

    Attributes
    ----------
    name : str
        Short name; the probe is ``<part>.<name>``.
    question : str
        What the person is asked.
    outcomes : tuple of str
        The answers offered, besides "not sure".
    table : mapping of mode name to probabilities
        Probability of each outcome per mode; ``otherwise`` is the row for modes not named. [-]
    minutes : float
        How long it takes. [min]
    source : str
        Where the probabilities come from.
    gates : tuple of str
        Safety gates that must be passed first.
    due : mapping of outcome to remedy
        What is owed to the machine once this is seen, whether it is the cause or not.
    bars : tuple of str
        Outcomes after which the machine is not powered until it is put right.
    again : bool
        Whether a later look decides: what was seen is put right by hand and leaves no trace but that.
    stops : mapping of outcome to stop
        Outcomes that end the call; names of `humclick.safety.stops`.
    """

    name: str
    question: Message
    outcomes: tuple[Message, ...]
    table: Mapping[str, tuple[float, ...]]
    minutes: float
    source: str
    gates: tuple[str, ...]
    due: Mapping[str, str]
    bars: tuple[str, ...] = ()
    again: bool = False
    stops: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class BenchTest:
    """
    A measurement on the part by itself, taken off or isolated.

    Attributes
    ----------
    name : str
        Short name; the probe is ``<part>.<name>``.
    title : str
        What is measured, in words.
    between : tuple of str
        The part's terminals to probe.
    quantity : str
        ``resistance`` or ``capacitance``.
    turned : bool
        Whether the part is turned over for it.
    minutes : float
        How long it takes. [min]
    gates : tuple of str
        Safety gates that must be passed first.
    how : str
        One sentence: how it is done.
    """

    name: str
    title: Message
    between: tuple[str, str]
    quantity: str
    turned: bool
    minutes: float
    gates: tuple[str, ...]
    how: Message


@dataclass(frozen=True, slots=True)
class Family:
    """
    A kind of part.

    Attributes
    ----------
    name, title : str
        Short name, and the trade's name.
    terminals : tuple of str
        Named terminals.
    modes : mapping of str to Mode
        Healthy first.
    sizes : mapping of str to Spread per voltage class
        ``sizes[name][volts_class]``, with ``""`` for sizes that do not depend on it.
    tests, looks
        What can be measured and seen on it alone.
    gear : bool
        True for the start gear outside the shell (what a known-good set replaces).
    sealed : bool
        True for what is inside the shell.
    outside : bool
        True for what is reached without taking the terminal cover off.
    apart : bool
        True for what takes no part in a start attempt.
    impedance : mapping of size name to mapping of regime to complex
        For windings: impedance at line frequency as a multiple of the dc resistance. [-]
    match : tables for ordering a replacement
        As read from the data file; interpreted by `humclick.replacement`.
    """

    name: str
    title: Message
    terminals: tuple[str, ...]
    modes: Mapping[str, Mode]
    sizes: Mapping[str, Mapping[str, Spread]]
    tests: tuple[BenchTest, ...]
    looks: tuple[Look, ...]
    gear: bool
    sealed: bool
    impedance: Mapping[str, Mapping[str, complex]]
    match: Mapping[str, Any]
    outside: bool = False
    apart: bool = False

    def mode(self, name: str) -> Mode:
        """
        One mode by name.

        Raises
        ------
        Unknown
            If the family has no such mode.
        """
        try:
            return self.modes[name]
        except KeyError:
            raise Unknown(f"mode of {self.title}", name, self.modes) from None

    def size(self, name: str, volts_class: str) -> Spread:
        """
        A typical size for a voltage class.

        Raises
        ------
        Unknown
            If the family has no such size.
        """
        try:
            by_class = self.sizes[name]
        except KeyError:
            raise Unknown(f"size of {self.title}", name, self.sizes) from None
        return by_class.get(volts_class) or by_class[""]


def _branch(row: Mapping[str, Any], family_name: str, size_names: Mapping[str, object]) -> Branch:
    size = str(row["size"])
    if size not in size_names:
        raise DataError(f"{family_name}: branch names size {size!r}, which is not in its table")
    first, second = row["between"]
    return Branch(
        between=(str(first), str(second)),
        size=size,
        element=Element(row.get("element", "ohmic")),
        times=float(row.get("times", 1.0)),
        within=float(row.get("within", 1.0)),
        when=tuple(sorted(row.get("when", {}).items())),
        pulled_by=str(row.get("pulled_by", "")),
    )


def _mode(row: Mapping[str, Any], family_name: str, size_names: Mapping[str, object]) -> Mode:
    branches = tuple(_branch(b, family_name, size_names) for b in row.get("branch", ()))
    plain_keys = ("volts", "breakaway", "load", "hot_open", "makes", "loses")
    numbers = {key: float(row[key]) for key in plain_keys if key in row}
    flags = {key: bool(row[key]) for key in ("passing", "eased", "trips", "scattered") if key in row}
    return Mode(
        name=str(row["name"]),
        title=Message.of(row["title"]),
        plain=Message.of(row.get("plain", row["title"])),
        odds=float(row.get("odds", 1.0)),
        remedy=str(row.get("remedy", "")),
        branches=branches,
        **numbers,  # type: ignore[arg-type]
        **flags,
    )


def _look(row: Mapping[str, Any]) -> Look:
    return Look(
        name=str(row["name"]),
        question=Message.of(row["question"]),
        outcomes=tuple(map(Message.of, row["outcomes"])),
        table={mode: tuple(float(p) for p in ps) for mode, ps in row["table"].items()},
        minutes=float(row["minutes"]),
        source=str(row["source"]),
        gates=tuple(row["gates"]),
        due={str(outcome): str(remedy) for outcome, remedy in row.get("due", {}).items()},
        bars=tuple(map(str, row.get("bars", ()))),
        again=bool(row.get("again", False)),
        stops={str(outcome): str(stop) for outcome, stop in row.get("stops", {}).items()},
    )


def _test(row: Mapping[str, Any]) -> BenchTest:
    first, second = row["between"]
    return BenchTest(
        name=str(row["name"]),
        title=Message.of(row["title"]),
        between=(str(first), str(second)),
        quantity=str(row.get("quantity", "resistance")),
        turned=bool(row.get("turned", False)),
        minutes=float(row["minutes"]),
        gates=tuple(row["gates"]),
        how=Message.of(row["how"]),
    )


@cache
def family(name: str) -> Family:
    """
    Read one part family from its data file.

    Raises
    ------
    Unknown
        If there is no such family.
    DataError
        If its file is damaged.
    """
    if name not in families():
        raise Unknown("part family", name, families())
    data = read_data("humclick.parts", f"{name}.toml")
    try:
        sizes: dict[str, dict[str, Spread]] = {}
        for size, rows in data.get("sizes", {}).items():
            if "median" in rows:
                rows = {"": rows}
            sizes[size] = {key: spread(row, f"{name}.{size}.{key}") for key, row in rows.items()}
        modes = {row["name"]: _mode(row, name, sizes) for row in data["mode"]}
        if next(iter(modes)) != HEALTHY:
            raise DataError(f"{name}: the first mode must be {HEALTHY!r}")
        return Family(
            name=name,
            title=Message.of(data["title"]),
            terminals=tuple(data["terminals"]),
            modes=modes,
            sizes=sizes,
            tests=tuple(_test(row) for row in data.get("test", ())),
            looks=tuple(_look(row) for row in data.get("look", ())),
            gear=bool(data.get("gear", False)),
            sealed=bool(data.get("sealed", False)),
            impedance={
                size: {regime: complex(*row[regime]) for regime in ("start", "run")}
                for size, row in data.get("impedance", {}).items()
            },
            match=data.get("match", {}),
            outside=bool(data.get("outside", False)),
            apart=bool(data.get("apart", False)),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise DataError(f"part family {name}: {error!r}") from error


@cache
def families() -> tuple[str, ...]:
    """Names of all part families, in alphabetical order."""
    entries = resources.files("humclick.parts").iterdir()
    return tuple(sorted(e.name.removesuffix(".toml") for e in entries if e.name.endswith(".toml")))
