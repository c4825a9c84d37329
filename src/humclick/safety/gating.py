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
from humclick.messages import Message
from humclick.safety.discharge import CapacitorDischarge, discharges
from humclick.safety.facts import hazard
from humclick.safety.machine import SafeMachine
from humclick.safety.place import Place, place_of
from humclick.safety.refrigerant import flammable, meaning, toxic
from humclick.sourced import read_data
from humclick.typed_data import named_values

__all__ = ["Gate", "defer", "energises", "gate", "gates", "gates_for", "invalidated_by"]


@dataclass(frozen=True, slots=True)
class Gate:
    """Steps that stand before a probe."""

    name: str
    title: Message
    steps: tuple[Message, ...]
    #: The steps in a few words each, for whoever has read them once.
    ticks: tuple[Message, ...]
    why: Message
    source: str
    #: How long it holds once passed, in words.
    lasts: Message
    #: Gates that hold no longer once this one is passed.
    ends: frozenset[str] = frozenset()
    #: True where passing it means that power comes back.
    energises: bool = False
    #: True where it is about power being on.
    live: bool = False
    #: True where it holds for one live test only.
    once: bool = False
    #: Quantity, such as ``voltage``: it ends with anything taken that is not of it. Empty where it does not.
    on: str = ""
    #: What its steps keep away.
    hazards: frozenset[str] = frozenset()
    #: What it is about on this machine: class of refrigerant, capacitors and their volts. A gate passed
    #: for another matter is to be read anew.
    matter: str = ""
    #: What has to be known of this matter before the steps, such as what the class of a refrigerant means.
    said: tuple[Message, ...] = ()
    #: For ``capacitors-discharged`` on a known machine: one for each capacitor.
    discharges: tuple[CapacitorDischarge, ...] = ()


def _data() -> Mapping[str, Any]:
    return read_data("humclick.safety", "gates.toml")


@cache
def gates() -> Mapping[str, Gate]:
    """Every gate by name, in the order in which gates are passed."""
    rows = [
        {
            **row,
            "steps": [step.get("text") for step in row["steps"]],
            "ticks": [step.get("tick") for step in row["steps"]],
        }
        for row in _data()["gate"]
    ]
    table = named_values(rows, Gate, "gates.toml")
    for entry in table.values():
        if entry.ends - set(table):
            raise DataError(f"gates.toml: {entry.name} ends unknown gates {sorted(entry.ends - set(table))}")
        for name in entry.hazards:
            hazard(name)
    return table


def gate(name: str) -> Gate:
    """One gate by name; `Unknown` if there is none."""
    if name not in gates():
        raise Unknown(Message("gate"), name, gates())
    return gates()[name]


def defer() -> Message:
    """The sentence that puts local codes and licensed practice first; shown with every gate."""
    return Message.of(_data()["defer"])


def gates_for(
    probe_gates: Iterable[str],
    machine: SafeMachine,
    *,
    ohms: float | None = None,
    marked_volts: Mapping[str, float] | None = None,
    place: str = "",
) -> tuple[Gate, ...]:
    """
    The gates before a probe on a machine, in the order in which they are passed.

    A flammable or a toxic refrigerant puts its caution first, whatever the probe, and says what its class
    means. Discharging is asked for only where the machine has a capacitor, and then with the computed time,
    energy and watts. Steps and sources are those of the place; of the strictest if none is named.

    Parameters
    ----------
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
    refrigerant = machine.nameplate.refrigerant
    if flammable(refrigerant):
        wanted.add("flammable-caution")
    if toxic(refrigerant):
        wanted.add("toxic-caution")
    wanted.update(machine.arrangement.gates)
    chosen = []
    for name in filter(wanted.__contains__, gates()):
        placed = _in_place(gate(name), place_of(place))
        if name in ("flammable-caution", "toxic-caution"):
            placed = _for_class(placed, refrigerant)
        if name == "capacitors-discharged":
            capacitors = discharges(machine, ohms=ohms, marked_volts=marked_volts)
            if not capacitors:
                continue
            placed = _with_discharges(placed, capacitors)
        chosen.append(placed)
    return tuple(chosen)


def _with_discharges(entry: Gate, capacitors: tuple[CapacitorDischarge, ...]) -> Gate:
    """The gate of the capacitors, with a step for each before its last."""
    return replace(
        entry,
        steps=(*entry.steps[:-1], *(capacitor.sentence for capacitor in capacitors), entry.steps[-1]),
        ticks=(*entry.ticks[:-1], *(capacitor.tick for capacitor in capacitors), entry.ticks[-1]),
        matter="; ".join(capacitor.matter for capacitor in capacitors),
        discharges=capacitors,
    )


def _in_place(entry: Gate, place: Place) -> Gate:
    """A gate with the steps and the source of a place."""
    rule = place.gates.get(entry.name)
    if rule is None:
        return entry
    steps, ticks = list(entry.steps), list(entry.ticks)
    for number, (text, tick) in rule.instead.items():
        steps[number - 1], ticks[number - 1] = text, tick
    return replace(entry, steps=tuple(steps), ticks=tuple(ticks), source=rule.source)


def _for_class(entry: Gate, refrigerant: str) -> Gate:
    """The gate of a refrigerant, with what its class means."""
    class_ = meaning(refrigerant)
    return replace(entry, said=class_.said, matter=f"{class_.name} {refrigerant}".strip())


def energises(probe_gates: Iterable[str]) -> bool:
    """Whether a probe with these gates puts the machine under power."""
    return any(map(_energises, probe_gates))


@cache
def _energises(name: str) -> bool:
    return gate(name).energises


def invalidated_by(probe_gates: Iterable[str]) -> frozenset[str]:
    """
    Gates that hold no longer once these have been passed, or once a probe that needs them was done.

    Power back on ends "proved dead" and "discharged"; "proved dead" ends "cover on": the cover comes off.

    Examples
    --------
    >>> sorted(invalidated_by(["cover-on"]))
    ['capacitors-discharged', 'dc-link-discharged', 'power-off-proved-dead']
    """
    return frozenset().union(*(gate(name).ends for name in probe_gates))
