"""A part in its place and mode, with the numbers it draws from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from humclick.arrangements.machine import Machine
from humclick.errors import DataError
from humclick.parts.family import HEALTHY, Mode
from humclick.sourced import Sourced, Spread, read_data, sourced, spread
from humclick.start.machine import Motor

__all__ = ["Draw", "Placed", "median", "typical", "typical_spread"]

#: Chooses a value of a named quantity from its spread.
Draw = Callable[[str, Spread], float]


def median(name: str, of: Spread) -> float:
    """Choose the middle of a spread, whatever its name: the draw of a single, typical case. [as in `of`]"""
    del name
    return of.median


@cache
def _table(group: str) -> Mapping[str, Sourced | Spread]:
    rows = read_data("humclick.start.gear", "typical.toml").get(group, {})
    return {
        name: (spread if "median" in row else sourced)(row, f"typical.toml {group}.{name}")
        for name, row in rows.items()
    }


def typical(group: str, name: str) -> float:
    """
    One typical value of typical.toml, the median of a spread. [as in the file]

    Raises
    ------
    DataError
        If it is not there.
    """
    found = _entry(group, name)
    return found.median if isinstance(found, Spread) else found.value


def typical_spread(group: str, name: str) -> Spread:
    """
    One typical spread of typical.toml; a plain value is a spread of factor 1.

    Raises
    ------
    DataError
        If it is not there.
    """
    found = _entry(group, name)
    return found if isinstance(found, Spread) else Spread(found.value, 1.0, found.unit, found.source)


def _entry(group: str, name: str) -> Sourced | Spread:
    try:
        return _table(group)[name]
    except KeyError:
        raise DataError(f"typical.toml has no {group}.{name}") from None


@dataclass(frozen=True, slots=True)
class Placed:
    """
    A part of a machine in a mode.

    Attributes
    ----------
    machine : Machine
        Where it stands.
    motor : Motor
        What it starts.
    id : str
        Its name there.
    mode : Mode
        Its condition.
    volts : float
        Nominal voltage of the machine. [V]
    draw : Draw
        Chooses each value from its spread.
    """

    machine: Machine
    motor: Motor
    id: str
    mode: Mode
    volts: float
    draw: Draw

    def size(self, name: str) -> float:
        """Size of the part as it should be, drawn. [Ω] or [F]"""
        return self.draw(f"{self.id}.{name}", self.machine.size(self.id, name))

    def branch(self, name: str) -> float:
        """Size of the branch that this mode makes of it, drawn. [Ω] or [F]"""
        for branch in self.mode.branches:
            if branch.size == name:
                key = (
                    f"{self.id}.{self.mode.name}.{name}" if self.mode.name != HEALTHY else f"{self.id}.{name}"
                )
                return self.draw(key, self.machine.spread_of(self.id, self.mode, branch))
        return self.size(name)

    def typical(self, group: str, name: str) -> float:
        """Return a value of typical.toml, drawn. [as in the file]"""
        return self.draw(f"{self.id}.{name}", typical_spread(group, name))
