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
    """
    Steps that stand before a probe.

    Attributes
    ----------
    name, title : str
        Short name and heading.
    steps : tuple of str
        What to do, in order.
    ticks : tuple of str
        The same steps in a few words each, for whoever has read them once.
    why, source : str
        The reason, and where it comes from.
    lasts : str
        How long it holds once passed, in words.
    ends : frozenset of str
        Gates that hold no longer once this one is passed.
    energises : bool
        True where passing it means that power comes back.
    live : bool
        True where it is about power being on.
    once : bool
        True where it holds for one live test only.
    on : str
        Quantity, such as ``voltage``: it ends with anything taken that is not of it. Empty where it does not.
    hazards : frozenset of str
        What its steps keep away.
    matter : str
        What it is about on this machine: class of refrigerant, capacitors and their volts. A gate passed for
        another matter is to be read anew.
    said : tuple of str
        What has to be known of this matter before the steps, such as what the class of a refrigerant means.
    discharges : tuple of CapacitorDischarge
        For ``capacitors-discharged`` on a known machine: one for each capacitor.
    """

    name: str
    title: Message
    steps: tuple[Message, ...]
    ticks: tuple[Message, ...]
    why: Message
    source: str
    lasts: Message
    ends: frozenset[str] = frozenset()
    energises: bool = False
    live: bool = False
    once: bool = False
    on: str = ""
    hazards: frozenset[str] = frozenset()
    matter: str = ""
    said: tuple[Message, ...] = ()
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
    rows = [
        {
            **row,
            "steps": [step.get("text") for step in row["steps"]],
            "ticks": [step.get("tick") for step in row["steps"]],
        }
        for row in _data()["gate"]
    ]
    found = named_values(rows, Gate, "gates.toml")
    for each in found.values():
        if each.ends - set(found):
            raise DataError(f"gates.toml: {each.name} ends unknown gates {sorted(each.ends - set(found))}")
        for name in each.hazards:
            hazard(name)
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
    energy and watts. Steps and sources are those of the place.

    Parameters
    ----------
    probe_gates : iterable of str
        Names the probe asks for.
    machine : Machine
        The machine on the bench.
    ohms, marked_volts
        As in `discharges`.
    place : str
        Whose rules hold: one of `humclick.safety.place.PLACES`; empty for the strictest of all.

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
    if machine.arrangement.id in _data()["inverter"]["arrangements"]:
        wanted.add("inverter-caution")
    chosen = []
    for name, each in gates().items():
        if name not in wanted:
            continue
        each = _in_place(each, place_of(place))
        if name in ("flammable-caution", "toxic-caution"):
            each = _for_class(each, refrigerant)
        if name == "capacitors-discharged":
            worked = discharges(machine, ohms=ohms, marked_volts=marked_volts)
            if not worked:
                continue
            each = replace(
                each,
                steps=(*each.steps[:-1], *(one.sentence for one in worked), each.steps[-1]),
                ticks=(*each.ticks[:-1], *(one.tick for one in worked), each.ticks[-1]),
                matter="; ".join(one.matter for one in worked),
                discharges=worked,
            )
        chosen.append(each)
    return tuple(chosen)


def _in_place(each: Gate, place: Place) -> Gate:
    """A gate with the steps and the source of a place."""
    rule = place.gates.get(each.name)
    if rule is None:
        return each
    steps, ticks = list(each.steps), list(each.ticks)
    for number, (text, tick) in rule.instead.items():
        steps[number - 1], ticks[number - 1] = text, tick
    return replace(each, steps=tuple(steps), ticks=tuple(ticks), source=rule.source)


def _for_class(each: Gate, refrigerant: str) -> Gate:
    """The gate of a refrigerant, with what its class means."""
    found = meaning(refrigerant)
    return replace(each, said=found.said, matter=f"{found.name} {refrigerant}".strip())


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
