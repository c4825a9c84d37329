"""Safety asks of a machine what its protocol says and nothing more."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from humclick.safety.discharge import discharges
from humclick.safety.facts import met_by
from humclick.safety.gating import gates_for
from humclick.safety.machine import SafeMachine
from humclick.sourced import Spread
from tests.visit import MACHINES, machine_of


@dataclass(frozen=True)
class Plate:
    """Its nameplate."""

    volts: float
    refrigerant: str


@dataclass(frozen=True)
class Kind:
    """Of a part."""

    name: str
    title: str
    sizes: Mapping[str, object]
    heat: str = ""
    electronic: bool = False
    at_pins: bool = False


@dataclass(frozen=True)
class Part:
    """In its place."""

    id: str
    family: Kind


@dataclass(frozen=True)
class Arrangement:
    """How it starts."""

    id: str
    simulated: bool
    gates: tuple[str, ...]


@dataclass(frozen=True)
class Plain:
    """A machine that nobody drew: its fields and its sizes, no more."""

    arrangement: Arrangement
    nameplate: Plate
    parts: tuple[Part, ...]
    sizes: Mapping[tuple[str, str], Spread]
    known: Mapping[str, Spread] = field(default_factory=dict)

    def size(self, part: str, size: str) -> Spread:
        """Of a part."""
        return self.sizes[part, size]


def plain_of(name: str, guard: str) -> SafeMachine:
    """The same machine with nothing but what the protocol names."""
    machine = machine_of(name, guard)
    families = {p.id: p.family for p in machine.parts}
    plain: Any = Plain(
        Arrangement(name, machine.arrangement.simulated, machine.arrangement.gates),
        Plate(machine.nameplate.volts, machine.nameplate.refrigerant),
        tuple(
            Part(id, Kind(f.name, f.title, f.sizes, f.heat, f.electronic, f.at_pins))
            for id, f in families.items()
        ),
        {(id, size): machine.size(id, size) for id, f in families.items() for size in f.sizes},
    )
    machine_like: SafeMachine = plain
    return machine_like


def test_gates_hazards_and_discharges_need_no_more_than_the_protocol() -> None:
    """Every machine described by those fields alone gets the same answers as itself."""
    asked = ["power-off-proved-dead", "capacitors-discharged", "cover-on", "stand-clear", "meter-for-line"]
    for name, guard in MACHINES:
        machine, plain = machine_of(name, guard), plain_of(name, guard)
        assert gates_for(asked, plain) == gates_for(asked, machine)
        assert discharges(plain) == discharges(machine)
        assert met_by("replace compressor", plain) == met_by("replace compressor", machine)
