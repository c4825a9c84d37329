"""
Gates: lists of plain steps that stand before a probe.

Probes name their gates, events record that a gate was passed, and a reading taken without it is marked. All
texts come from ``gates.toml``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from humclick.errors import DataError, Unknown
from humclick.safety.discharge import CapacitorDischarge, discharges
from humclick.safety.machine import SafeMachine
from humclick.safety.refrigerant import flammable
from humclick.sourced import read_data

__all__ = ["Gate", "defer", "energises", "gate", "gates", "gates_for", "invalidated_by"]


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
    return read_data("humclick.safety", "gates.toml")


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
        raise DataError(f"gates.toml: {error!r}") from error
    for each in found.values():
        if each.ends - set(found):
            raise DataError(f"gates.toml: {each.name} ends unknown gates {sorted(each.ends - set(found))}")
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


def defer() -> str:
    """The sentence that puts local codes and licensed practice first; shown with every gate."""
    return str(_data()["defer"])


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
