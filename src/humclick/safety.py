"""
Safety: hazards, gates and cautions, as facts every face shows.

A **gate** is a list of plain steps that stands before a probe. Probes name their gates, events record that a
gate was passed, and a reading taken without it is marked. All texts and figures come from ``safety.toml``;
farads, ohms, volts, seconds, joules and watts come from `humclick.physics.discharge`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Protocol

from humclick.errors import DataError, Unknown
from humclick.physics.discharge import Discharge, discharge_through
from humclick.sourced import Spread, read_data, sourced

__all__ = [
    "CapacitorDischarge",
    "Fact",
    "Gate",
    "SafeMachine",
    "caution",
    "cautions_for",
    "defer",
    "discharges",
    "energises",
    "flammable",
    "gate",
    "gates",
    "gates_for",
    "hazards",
    "invalidated_by",
    "safety_class",
]

#: Safety classes that do not spread a flame.
_NO_FLAME = ("A1", "B1")

_NUMBERED = re.compile(
    r"(?<![A-Za-z0-9])(?:R|HC|HFC|HFO|HCFC|CFC)[\s.-]{0,2}([0-9]{2,4})([A-Za-z]{0,3})", re.I
)
_BARE = re.compile(r"\s*([0-9]{2,4})([A-Za-z]{0,2})\s*")


class _Nameplate(Protocol):
    @property
    def volts(self) -> float: ...
    @property
    def refrigerant(self) -> str: ...


class _Family(Protocol):
    @property
    def title(self) -> str: ...
    @property
    def sizes(self) -> Mapping[str, object]: ...


class _Part(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def family(self) -> _Family: ...


class _Arrangement(Protocol):
    @property
    def id(self) -> str: ...


class SafeMachine(Protocol):
    """What safety has to know of a machine; `humclick.arrangements.machine.Machine` is one."""

    @property
    def arrangement(self) -> _Arrangement:
        """Its start arrangement."""

    @property
    def nameplate(self) -> _Nameplate:
        """Volts and refrigerant."""

    @property
    def parts(self) -> tuple[_Part, ...]:
        """Its parts."""

    @property
    def known(self) -> Mapping[str, Spread]:
        """Sizes read from stamps."""

    def size(self, part: str, size: str) -> Spread:
        """What a part's size should be."""


@dataclass(frozen=True, slots=True)
class Fact:
    """
    A hazard or a caution.

    Attributes
    ----------
    name, title, plain : str
        Short name, heading, and one or two plain sentences.
    source : str
        Where it comes from.
    """

    name: str
    title: str
    plain: str
    source: str


@dataclass(frozen=True, slots=True)
class CapacitorDischarge:
    """
    How one capacitor of a machine is made safe.

    Attributes
    ----------
    part, title : str
        Name of the part in the machine, and in words.
    stamped : bool
        True where its size was read from the part; else the largest usual size is taken.
    marked : bool
        True where its voltage was read from the can; else a multiple of the supply is taken.
    hold : float
        How long to hold the resistor on: a multiple of the computed time. [s]
    discharge : Discharge
        Time, energy and the resistor's watts.
    """

    part: str
    title: str
    stamped: bool
    marked: bool
    hold: float
    discharge: Discharge

    @property
    def sentence(self) -> str:
        """The step as shown."""
        d = self.discharge
        size = "as stamped" if self.stamped else "not read, so the largest usual one"
        times = _number("discharge", "volts_over_supply")
        volts = (
            "as marked" if self.marked else f"taken as {times:g} times the supply; the mark on the can wins"
        )
        return (
            f"{self.title[:1].upper()}{self.title[1:]} ({d.farads * 1e6:.3g} µF, {size}): "
            f"up to {d.peak_volts:.0f} V ({volts}) and {d.joules:.2g} J. "
            f"Hold {d.ohms / 1000:g} kΩ, {d.resistor_watts:g} W or more, across it for {self.hold:.0f} s: "
            f"it falls below {d.safe_volts:g} V in {d.seconds:.2g} s."
        )


@dataclass(frozen=True, slots=True)
class Gate:
    """
    Steps that stand before a probe.

    Attributes
    ----------
    name, title : str
        Short name and heading.
    steps : tuple of str
        What to do, in order.
    why, source : str
        The reason, and where it comes from.
    lasts : str
        How long it holds once passed, in words.
    ends : frozenset of str
        Gates that hold no longer once this one is passed.
    energises : bool
        True where passing it means that power comes back.
    discharges : tuple of CapacitorDischarge
        For ``capacitors-discharged`` on a known machine: one for each capacitor.
    """

    name: str
    title: str
    steps: tuple[str, ...]
    why: str
    source: str
    lasts: str
    ends: frozenset[str] = frozenset()
    energises: bool = False
    discharges: tuple[CapacitorDischarge, ...] = ()


def _data() -> Mapping[str, Any]:
    return read_data("humclick", "safety.toml")


def _number(table: str, name: str) -> float:
    return sourced(_data()[table][name], f"safety.toml {table}.{name}").value


@cache
def gates() -> Mapping[str, Gate]:
    """
    Every gate by name, in the order in which gates are passed.

    Raises
    ------
    DataError
        If the data file is damaged.
    """
    try:
        found = {
            row["name"]: Gate(
                name=str(row["name"]),
                title=str(row["title"]),
                steps=tuple(str(step) for step in row["steps"]),
                why=str(row["why"]),
                source=str(row["source"]),
                lasts=str(row["lasts"]),
                ends=frozenset(row["ends"]),
                energises=bool(row["energises"]),
            )
            for row in _data()["gate"]
        }
    except (KeyError, TypeError) as error:
        raise DataError(f"safety.toml: {error!r}") from error
    for each in found.values():
        if each.ends - set(found):
            raise DataError(f"safety.toml: {each.name} ends unknown gates {sorted(each.ends - set(found))}")
    return found


def gate(name: str) -> Gate:
    """
    One gate by name.

    Raises
    ------
    Unknown
        If there is no such gate.
    """
    if name not in gates():
        raise Unknown("gate", name, gates())
    return gates()[name]


def _facts(table: str) -> dict[str, Fact]:
    try:
        return {
            row["name"]: Fact(str(row["name"]), str(row["title"]), str(row["plain"]), str(row["source"]))
            for row in _data()[table]
        }
    except (KeyError, TypeError) as error:
        raise DataError(f"safety.toml: {table}: {error!r}") from error


def hazards() -> tuple[Fact, ...]:
    """What can hurt at a compressor that does not start."""
    return tuple(_facts("hazard").values())


def caution(name: str) -> Fact:
    """
    One caution by name.

    Raises
    ------
    Unknown
        If there is no such caution.
    """
    known = _facts("caution")
    if name not in known:
        raise Unknown("caution", name, known)
    return known[name]


def defer() -> str:
    """The sentence that puts local codes and licensed practice first; shown with every gate."""
    return str(_data()["defer"])


def cautions_for(machine: SafeMachine, *, breaker: bool = False) -> tuple[Fact, ...]:
    """Cautions that hold for a machine from the first minute, or since a breaker went."""
    printed = machine.nameplate.refrigerant
    names = ["breaker-tripped", "never-bypass"] if breaker else ["never-bypass"]
    if not printed.strip():
        names.append("refrigerant-not-read")
    elif safety_class(printed) is None:
        names.append("refrigerant-not-listed")
    return tuple(caution(name) for name in names)


@cache
def _classes() -> Mapping[str, str]:
    by_class = _data()["refrigerants"]["class"]
    return {str(name).upper(): str(kind) for kind, names in by_class.items() for name in names}


def safety_class(refrigerant: str) -> str | None:
    """
    Safety class of a refrigerant as printed on a nameplate, such as ``A3``.

    Parameters
    ----------
    refrigerant : str
        Such as ``R600a``, ``R-290``, ``HC 600a`` or ``isobutane``.

    Returns
    -------
    str or None
        Of several named, a flammable one wins; None if none is in the list.

    Notes
    -----
    ISO 817, from memory.

    Examples
    --------
    >>> safety_class("R-600a (isobutane), 57 g"), safety_class("R134a"), safety_class("R999")
    ('A3', 'A1', None)
    """
    found: list[str | None] = []
    bare = _BARE.fullmatch(refrigerant)
    for digits, letters in [bare.groups()] if bare else _NUMBERED.findall(refrigerant):
        found.append(_classes().get(f"R{digits}{letters}".upper()))
    for name, number in _data()["refrigerants"]["names"].items():
        if re.search(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", refrigerant, re.I):
            found.append(_classes()[str(number).upper()])
    burning = [kind for kind in found if kind is not None and kind not in _NO_FLAME]
    if burning:
        return burning[0]
    return None if not found or None in found else found[0]


def flammable(refrigerant: str) -> bool:
    """
    Whether a refrigerant is to be treated as flammable.

    One that is not in the list, or has not been read, is treated as flammable until it is known.

    Examples
    --------
    >>> flammable("R290"), flammable("R404A"), flammable("R999"), flammable("")
    (True, False, True, True)
    """
    return safety_class(refrigerant) not in _NO_FLAME


def discharges(
    machine: SafeMachine, *, ohms: float | None = None, marked_volts: Mapping[str, float] | None = None
) -> tuple[CapacitorDischarge, ...]:
    """
    How each capacitor of a machine is made safe.

    Parameters
    ----------
    machine : Machine
        The machine; a stamp read from a capacitor gives its size.
    ohms : float, optional
        Chosen discharge resistor; 10 kΩ if left out (common practice). [Ω]
    marked_volts : mapping of part to float, optional
        Voltage marked on the can, where it was read; else twice the supply is taken. [V rms]

    Raises
    ------
    OutOfRange
        If the resistor is not usable.

    Notes
    -----
    The upper end of the size's spread is taken. Time to 50 V (NEC 460.6), energy and watts from
    `humclick.physics.discharge.discharge_through`; the hold is twice the time (common practice).
    """
    resistor = _number("discharge", "ohms") if ohms is None else ohms
    found = []
    for part in machine.parts:
        if "capacitance" not in part.family.sizes:
            continue
        size = machine.size(part.id, "capacitance")
        marked = (marked_volts or {}).get(part.id)
        volts = marked
        if volts is None:
            volts = machine.nameplate.volts * _number("discharge", "volts_over_supply")
        worked = discharge_through(size.median * size.factor, volts, resistor)
        found.append(
            CapacitorDischarge(
                part=part.id,
                title=part.family.title,
                stamped=f"{part.id}.capacitance" in machine.known,
                marked=marked is not None,
                hold=float(math.ceil(worked.seconds * _number("discharge", "wait_times")) or 1),
                discharge=worked,
            )
        )
    return tuple(found)


def gates_for(
    probe_gates: Iterable[str],
    machine: SafeMachine,
    *,
    ohms: float | None = None,
    marked_volts: Mapping[str, float] | None = None,
) -> tuple[Gate, ...]:
    """
    The gates before a probe on a machine, in the order in which they are passed.

    A flammable refrigerant puts its caution first, whatever the probe. Discharging is asked for only where
    the machine has a capacitor, and then with the computed time, energy and watts.

    Parameters
    ----------
    probe_gates : iterable of str
        Names the probe asks for.
    machine : Machine
        The machine on the bench.
    ohms, marked_volts
        As in `discharges`.

    Raises
    ------
    Unknown
        If a gate does not exist.
    OutOfRange
        If the discharge resistor is not usable.
    """
    wanted = {gate(name).name for name in probe_gates}
    if flammable(machine.nameplate.refrigerant):
        wanted.add("flammable-caution")
    if machine.arrangement.id in _data()["inverter"]["arrangements"]:
        wanted.add("inverter-caution")
    chosen = []
    for name, each in gates().items():
        if name not in wanted:
            continue
        if name == "capacitors-discharged":
            worked = discharges(machine, ohms=ohms, marked_volts=marked_volts)
            if not worked:
                continue
            steps = (*each.steps[:-1], *(one.sentence for one in worked), each.steps[-1])
            each = replace(each, steps=steps, discharges=worked)
        chosen.append(each)
    return tuple(chosen)


def energises(probe_gates: Iterable[str]) -> bool:
    """Whether a probe with these gates puts the machine under power."""
    return any(gate(name).energises for name in probe_gates)


def invalidated_by(probe_gates: Iterable[str]) -> frozenset[str]:
    """
    Gates that hold no longer once these have been passed, or once a probe that needs them was done.

    Power back on ends "proved dead" and "discharged"; "proved dead" ends "cover on": the cover comes off.

    Raises
    ------
    Unknown
        If a gate does not exist.

    Examples
    --------
    >>> sorted(invalidated_by(["cover-on"]))
    ['capacitors-discharged', 'power-off-proved-dead']
    """
    return frozenset().union(*(gate(name).ends for name in probe_gates))
