"""
Hazards and cautions: what can hurt, and what to mind, in plain words with their sources.

All texts come from ``hazards.toml``.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.errors import DataError, Unknown
from humclick.safety.machine import SafeMachine
from humclick.safety.refrigerant import safety_class
from humclick.sourced import read_data

__all__ = ["Fact", "caution", "cautions_for", "hazards"]


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


def _facts(table: str) -> dict[str, Fact]:
    try:
        return {
            row["name"]: Fact(str(row["name"]), str(row["title"]), str(row["plain"]), str(row["source"]))
            for row in read_data("humclick.safety", "hazards.toml")[table]
        }
    except (KeyError, TypeError) as error:
        raise DataError(f"hazards.toml: {table}: {error!r}") from error


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


def cautions_for(machine: SafeMachine, *, breaker: bool = False) -> tuple[Fact, ...]:
    """Cautions that hold for a machine from the first minute, or since a breaker went."""
    printed = machine.nameplate.refrigerant
    names = ["breaker-tripped", "never-bypass"] if breaker else ["never-bypass"]
    if not printed.strip():
        names.append("refrigerant-not-read")
    elif safety_class(printed) is None:
        names.append("refrigerant-not-listed")
    return tuple(caution(name) for name in names)
