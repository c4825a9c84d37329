"""A part in its place and mode, with the numbers it draws from."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from humclick.arrangements.machine import Machine
from humclick.errors import DataError
from humclick.parts.family import HEALTHY, Family, Mode, Role, family
from humclick.parts.laws import Law, law_of, typical_of
from humclick.parts.shelves import shelves
from humclick.sourced import Sourced, Spread, sourced, spread
from humclick.start.machine import Motor, Steady, steady

__all__ = ["Draw", "Placed", "capacitor_impedance", "median", "usual"]

#: Chooses a value of a named quantity from its spread.
Draw = Callable[[str, Spread], float]


def median(name: str, of: Spread) -> float:
    """Choose the middle of a spread, whatever its name: the draw of a single, typical case. [as in `of`]"""
    del name
    return of.median


@cache
def _typical(name: str, folders: tuple[Path, ...]) -> Mapping[str, Sourced | Spread | str]:
    """Values of ``[typical]``; of one that goes with the size of the machine its name in `humclick.sizes`."""
    return {
        key: str(row["machine"])
        if "machine" in row
        else (spread if "median" in row else sourced)(row, f"{name}.toml typical.{key}")
        for key, row in typical_of(family(name)).items()
    }


def _entry(kind: Family, name: str, machine: Machine | None = None) -> Sourced | Spread:
    try:
        entry = _typical(kind.name, shelves())[name]
    except KeyError:
        raise DataError(f"{kind.name}.toml has no typical.{name}, which its law in time asks for") from None
    if not isinstance(entry, str):
        return entry
    if machine is None:
        raise DataError(f"{kind.name}.toml typical.{name} goes with the size of a machine, and none is named")
    return machine.sound.size(entry)


def usual(kind: Family, name: str, machine: Machine | None = None) -> float:
    """The middle of a value of a family's ``[typical]``. [as in the file]"""
    entry = _entry(kind, name, machine)
    return entry.median if isinstance(entry, Spread) else entry.value


def capacitor_impedance(machine: Machine, role: Role) -> complex | None:
    """Impedance at line frequency of a machine's capacitor as it should be; None if it has none. [Ω]"""
    part = machine.has(role)
    if part is None:
        return None
    return -1j / (2 * math.pi * machine.nameplate.hertz * machine.size(part.id, "capacitance").median)


@dataclass(frozen=True, slots=True)
class Placed:
    """
    A part of a machine in a mode; `humclick.parts.laws.InTime` is what the laws of the families see of it.
    """

    machine: Machine
    motor: Motor  #: What it starts.
    id: str  #: Its name there.
    mode: Mode  #: Its condition.
    volts: float  #: Nominal voltage of the machine. [V]
    draw: Draw  #: Chooses each value from its spread.

    @property
    def kind(self) -> Family:
        """What it is."""
        return self.machine.part(self.id).family

    @property
    def sealed(self) -> bool:
        """Whether it is inside the shell."""
        return self.kind.sealed

    @property
    def hertz(self) -> float:
        """Line frequency. [Hz]"""
        return self.machine.nameplate.hertz

    @property
    def start_branch(self) -> complex:
        """The start winding with the rotor locked, half the rotor's part of it. [Ω]"""
        motor = self.motor
        ohms = motor.start_ohms + 0.5 * motor.rotor_ohms_start
        return complex(ohms, motor.start_leakage + 0.5 * motor.rotor_leakage_start)

    def size(self, name: str) -> float:
        """Size of the part as it should be, drawn. [Ω] or [F]"""
        return self.draw(f"{self.id}.{name}", self.machine.size(self.id, name))

    def middle(self, name: str) -> float:
        """The middle of that size. [Ω] or [F]"""
        return self.machine.size(self.id, name).median

    def branch(self, name: str) -> float:
        """Size of the branch that this mode makes of it, drawn. [Ω] or [F]"""
        for branch in self.mode.branches:
            if branch.size == name:
                key = (
                    f"{self.id}.{self.mode.name}.{name}" if self.mode.name != HEALTHY else f"{self.id}.{name}"
                )
                return self.draw(key, self.machine.spread_of(self.id, self.mode, branch))
        return self.size(name)

    def typical(self, name: str) -> float:
        """Return a value of the family's ``[typical]``, drawn. [as in the file]"""
        entry = _entry(self.kind, name, self.machine)
        of = entry if isinstance(entry, Spread) else Spread(entry.value, 1.0, entry.unit, entry.source)
        return self.draw(f"{self.id}.{name}", of)

    def usual(self, name: str) -> float:
        """Return the middle of a value of the family's ``[typical]``. [as in the file]"""
        return usual(self.kind, name, self.machine)

    def at_slip(self, slip: float, *, start_circuit: bool = True, run_capacitor: bool = True) -> Steady:
        """Return the motor at a slip on the nominal voltage; as `humclick.parts.laws.InTime.at_slip`."""
        through = beside = None
        if start_circuit:
            through = capacitor_impedance(self.machine, Role.START_CAPACITOR) or 0j
        if start_circuit and run_capacitor:
            beside = capacitor_impedance(self.machine, Role.RUN_CAPACITOR)
        return steady(self.motor, self.volts, slip, start_impedance=through, run_capacitor=beside)

    def law(self) -> Law | None:
        """What it follows in the start."""
        return law_of(self.kind, self)
