"""
Hazards and cautions: what can hurt, and what to mind, in plain words with their sources.

A hazard says in ``hazards.toml`` where it bites: at which probes, on which machines, with which remedies.
It is kept away by a gate that names it, or spoken with the probe or the remedy (`humclick.jobs.briefing`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

from humclick.errors import DataError, Unknown
from humclick.safety.machine import SafeMachine
from humclick.safety.refrigerant import UNKNOWN, safety_class
from humclick.sourced import read_data
from humclick.typed_data import named

__all__ = ["Fact", "Hazard", "RiskyProbe", "caution", "cautions_for", "hazard", "hazards", "met_at", "met_by"]


class RiskyProbe(Protocol):
    """What safety has to know of a probe; `humclick.diagnosis.probes.Probe` is one."""

    @property
    def id(self) -> str:
        """Its name."""

    @property
    def kind(self) -> str:
        """What sort of probe it is."""

    @property
    def quantity(self) -> str:
        """``voltage`` and the like; empty for a look or an attempt."""

    @property
    def part(self) -> str:
        """The part it looks at, or empty."""

    @property
    def live(self) -> bool:
        """Whether power is on."""

    @property
    def inside(self) -> bool:
        """Whether the terminal cover is off."""

    @property
    def gates(self) -> tuple[str, ...]:
        """Gates it asks for."""

    @property
    def heat(self) -> str:
        """What of it may be hot."""


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
class Hazard(Fact):
    """
    What can hurt, and where.

    Attributes
    ----------
    tick : str
        The same in a few words, for whoever has read it.
    meets : tuple of mappings
        Conditions under which it is met, any of which is enough; see ``hazards.toml``.
    """

    tick: str
    meets: tuple[Mapping[str, Any], ...]


def _rows(table: str) -> list[Any]:
    return list(read_data("humclick.safety", "hazards.toml")[table])


@cache
def _hazards() -> Mapping[str, Hazard]:
    known = named(_rows("hazard"), Hazard, "hazards.toml")
    for each in known.values():
        for condition in each.meets:
            if not condition or set(condition) - set(_CONDITIONS):
                raise DataError(f"hazards.toml: {each.name} has conditions unknown here: {sorted(condition)}")
    return known


def hazards() -> tuple[Hazard, ...]:
    """
    What can hurt at a compressor that does not start.

    Raises
    ------
    DataError
        If the data file is damaged.
    """
    return tuple(_hazards().values())


def hazard(name: str) -> Hazard:
    """
    One hazard by name.

    Raises
    ------
    Unknown
        If there is no such hazard.
    """
    if name not in _hazards():
        raise Unknown("hazard", name, _hazards())
    return _hazards()[name]


# -- where a hazard bites -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Doing:
    """What is done, to which machine: a probe, a remedy, or nothing yet."""

    machine: SafeMachine
    probe: RiskyProbe | None = None
    remedy: str = ""

    def holds(self, key: str, wanted: Any) -> bool:
        machine, probe = self.machine, self.probe
        match key:
            case "remedies":
                return bool(self.remedy in wanted)
            case "having":
                return any(part.family.heat in wanted for part in machine.parts)
            case "electronic":
                return bool(any(part.family.electronic for part in machine.parts) == wanted)
            case "capacitors":
                return bool(any("capacitance" in part.family.sizes for part in machine.parts) == wanted)
            case "arrangements":
                return bool(machine.arrangement.id in wanted)
            case "classes":
                return bool((safety_class(machine.nameplate.refrigerant) or UNKNOWN) in wanted)
        if probe is None:
            return False
        own = next((part.family for part in machine.parts if part.id == probe.part), None)
        held = {
            "kinds": str(probe.kind),
            "ids": probe.id,
            "parts": own.heat if own else "",
            "heats": probe.heat,
        }
        if key in held:
            return bool(held[key] in wanted)
        if key == "gates":
            return not set(wanted).isdisjoint(probe.gates)
        flags = {"live": probe.live, "inside": probe.inside, "volts": probe.quantity == "voltage"}
        flags["at_pins"] = own is not None and own.at_pins
        return bool(flags[key] == wanted)


_CONDITIONS = (
    *("remedies", "having", "electronic", "capacitors", "arrangements", "classes"),
    *("kinds", "ids", "parts", "heats", "gates", "live", "inside", "volts", "at_pins"),
)


def _met(doing: _Doing) -> tuple[Hazard, ...]:
    return tuple(
        each
        for each in hazards()
        if any(all(doing.holds(key, wanted) for key, wanted in condition.items()) for condition in each.meets)
    )


def met_at(probe: RiskyProbe, machine: SafeMachine) -> tuple[Hazard, ...]:
    """Every hazard that a probe on a machine meets, those of the machine itself among them."""
    return _met(_Doing(machine, probe))


def met_by(remedy: str, machine: SafeMachine) -> tuple[Hazard, ...]:
    """Every hazard that doing a remedy meets, by the remedy's name; without one, those of the machine."""
    return _met(_Doing(machine, remedy=remedy))


# -- cautions -----------------------------------------------------------------------------------------------


def caution(name: str) -> Fact:
    """
    One caution by name.

    Raises
    ------
    Unknown
        If there is no such caution.
    DataError
        If the data file is damaged.
    """
    known = named(_rows("caution"), Fact, "hazards.toml")
    if name not in known:
        raise Unknown("caution", name, known)
    return known[name]


def cautions_for(machine: SafeMachine, *, breaker: bool = False) -> tuple[Fact, ...]:
    """Cautions that hold for a machine from the first minute, or since a breaker went."""
    printed = machine.nameplate.refrigerant
    names = ["breaker-tripped", "never-bypass"] if breaker else ["never-bypass"]
    if not printed.strip():
        names.append("refrigerant-not-read")
    elif safety_class(printed) is None:
        names.append("refrigerant-not-listed")
    if not machine.arrangement.simulated:
        names.append("starts-not-simulated")
    return tuple(caution(name) for name in names)
