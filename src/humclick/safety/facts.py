"""
Hazards and cautions: what can hurt, and what to mind, in plain words with their sources.

A hazard says in ``hazards.toml`` where it bites: at which probes, on which machines, with which remedies.
It is kept away by a gate that names it, or spoken with the probe or the remedy (`humclick.jobs.briefing`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, NamedTuple, Protocol

from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.safety.machine import SafeMachine
from humclick.safety.refrigerant import UNKNOWN, safety_class
from humclick.sourced import read_data
from humclick.typed_data import named_values

__all__ = ["Fact", "Hazard", "caution", "cautions_for", "hazard", "hazards", "met_at", "met_by"]


class _RiskyProbe(Protocol):
    """What safety has to know of a probe; `humclick.diagnosis.probes.Probe` is one."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def quantity(self) -> str: ...
    @property
    def part(self) -> str: ...
    @property
    def live(self) -> bool: ...
    @property
    def inside(self) -> bool: ...
    @property
    def gates(self) -> tuple[str, ...]: ...
    @property
    def heat(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Fact:
    """A hazard or a caution: short name, heading, one or two plain sentences, and where it comes from."""

    name: str
    title: Message
    plain: Message
    source: str

    @property
    def sentence(self) -> Message:
        """Heading and sentences in one."""
        return Message("{title}. {text}", title=self.title, text=self.plain)


@dataclass(frozen=True, slots=True)
class Hazard(Fact):
    """What can hurt, and where."""

    #: The same in a few words, for whoever has read it.
    tick: Message
    #: Conditions under which it is met, any of which is enough; see ``hazards.toml``.
    meets: tuple[Mapping[str, Any], ...]


def _rows(table: str) -> list[Any]:
    return list(read_data("humclick.safety", "hazards.toml")[table])


@cache
def _hazards() -> Mapping[str, Hazard]:
    known = named_values(_rows("hazard"), Hazard, "hazards.toml")
    for row in known.values():
        for condition in row.meets:
            if not condition or set(condition) - set(_CONDITIONS):
                raise DataError(f"hazards.toml: {row.name} has conditions unknown here: {sorted(condition)}")
    return known


def hazards() -> tuple[Hazard, ...]:
    """What can hurt at a compressor that does not start."""
    return tuple(_hazards().values())


def hazard(name: str) -> Hazard:
    """One hazard by name; `Unknown` if there is none."""
    if name not in _hazards():
        raise Unknown(Message("hazard"), name, _hazards())
    return _hazards()[name]


# -- where a hazard bites -----------------------------------------------------------------------------------


class _Doing(NamedTuple):
    """What is done, to which machine: a probe, a remedy, or nothing yet; each condition by its name."""

    cautions: frozenset[str]
    classes: str
    having: frozenset[str]
    electronic: bool
    capacitors: bool
    remedies: str
    kinds: str | None = None
    ids: str | None = None
    parts: str | None = None
    heats: str | None = None
    gates: frozenset[str] = frozenset()
    live: bool | None = None
    inside: bool | None = None
    volts: bool | None = None
    at_pins: bool | None = None

    def fits(self, condition: Mapping[str, Any]) -> bool:
        return all(self._holds(key, wanted) for key, wanted in condition.items())

    def _holds(self, key: str, wanted: Any) -> bool:
        state = getattr(self, key)
        if isinstance(state, frozenset):
            return not state.isdisjoint(wanted)
        return bool(state == wanted if isinstance(wanted, bool) else state in wanted)


_CONDITIONS = _Doing._fields


def _doing(machine: SafeMachine, probe: _RiskyProbe | None = None, remedy: str = "") -> _Doing:
    families = {part.id: part.family for part in machine.parts}
    of_machine = (
        frozenset(machine.arrangement.gates),
        safety_class(machine.nameplate.refrigerant) or UNKNOWN,
        frozenset([family.heat for family in families.values()]),
        any(family.electronic for family in families.values()),
        any("capacitance" in family.sizes for family in families.values()),
        remedy,
    )
    if probe is None:
        return _Doing(*of_machine)
    family = families.get(probe.part)
    of_probe = (str(probe.kind), probe.id, family.heat if family else "", probe.heat, frozenset(probe.gates))
    at_pins = family is not None and family.at_pins
    return _Doing(*of_machine, *of_probe, probe.live, probe.inside, probe.quantity == "voltage", at_pins)


@lru_cache(maxsize=2000)
def _met(doing: _Doing) -> tuple[Hazard, ...]:
    return tuple(entry for entry in hazards() if any(map(doing.fits, entry.meets)))


def met_at(probe: _RiskyProbe, machine: SafeMachine) -> tuple[Hazard, ...]:
    """Every hazard that a probe on a machine meets, those of the machine itself among them."""
    return _met(_doing(machine, probe))


def met_by(remedy: str, machine: SafeMachine) -> tuple[Hazard, ...]:
    """Every hazard that doing a remedy meets, by the remedy's name; without one, those of the machine."""
    return _met(_doing(machine, remedy=remedy))


# -- cautions -----------------------------------------------------------------------------------------------


def caution(name: str) -> Fact:
    """One caution by name; `Unknown` if there is none."""
    known = named_values(_rows("caution"), Fact, "hazards.toml")
    if name not in known:
        raise Unknown(Message("caution"), name, known)
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
    if not machine.arrangement.started:
        names.append("judged-by-readings")
    kind = machine.arrangement
    own = (
        (Fact("kind-of-machine", kind.title.capital(), kind.caution, "common practice"),)
        if kind.caution
        else ()
    )
    return (*own, *(caution(name) for name in names))
