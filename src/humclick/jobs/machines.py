"""The machine of a call: the last one described, with what is stamped on its parts. Volts and farads."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

from humclick.arrangements.arrangement import arrangements
from humclick.arrangements.machine import UNREAD, Machine, Nameplate
from humclick.diagnosis.recognise import candidates, seen_under_cover
from humclick.errors import HumclickError
from humclick.jobs.events import Event, MachineRead, ReadingTaken, StampRead
from humclick.messages import Message
from humclick.parts.family import Role
from humclick.physics.cooling import probability_passed
from humclick.readings import parse_stamp
from humclick.sourced import Spread

__all__ = ["cooled", "machine_read"]

#: Probability from which a wait counts as long enough. A choice. [-]
_COOLED = 0.9


def machine_read(
    live: Iterable[Event], problem: Callable[[str, Message, str], None]
) -> tuple[Machine | None, dict[str, float]]:
    """
    The machine as last described with what is stamped on its parts, and the volts stamped on capacitors. [V]

    Of events in force, in order. `problem` takes what cannot be used: the event's id, why, what was written.
    """
    live = tuple(live)
    machine: Machine | None = None
    for event in live:
        if isinstance(event, MachineRead):
            try:
                plate = Nameplate(
                    UNREAD if event.volts is None else event.volts,
                    event.hertz,
                    event.locked_rotor_amps,
                    event.rated_load_amps,
                    event.refrigerant,
                    event.horsepower,
                    event.cooling,
                    event.appliance,
                )
                described = Machine.of(event.arrangement, event.protector or None, plate)
                described.parts  # noqa: B018  refuses a protector the arrangement does not come with
                machine = _likeliest(described, event, live)
            except HumclickError as error:
                problem(event.id, error.message, event.arrangement)
    marked: dict[str, float] = {}
    if machine is None:
        return None, marked
    known: dict[str, Spread] = {}
    for event in live:
        if isinstance(event, StampRead):
            try:
                _stamp(event, machine, known, marked)
            except HumclickError as error:
                problem(event.id, error.message, event.text)
    return replace(machine, known=known), marked


def _likeliest(described: Machine, event: MachineRead, live: tuple[Event, ...]) -> Machine:
    """
    The machine as described, with all that it may be as well where nobody is sure.

    What was seen under the cover comes before what it was taken for: of those that fit that, the most usual
    one stands for all.
    """
    others = tuple(name for name in event.also_fits if name in arrangements() and name != event.arrangement)
    if not event.provisional or not others:
        return described
    seen = seen_under_cover((e.probe, e.value) for e in live if isinstance(e, ReadingTaken))
    names = (event.arrangement, *others)
    fitting = [name for name in candidates(seen) if name in names] if seen else []
    first = fitting[0] if fitting and event.arrangement not in fitting else event.arrangement
    unsure = replace(described, also=tuple(name for name in names if name != event.arrangement))
    chosen = next((each for each in unsure.may_be if each.arrangement.id == first), described)
    return replace(chosen, also=tuple(name for name in names if name != first))


def _stamp(event: StampRead, machine: Machine, known: dict[str, Spread], marked: dict[str, float]) -> None:
    placed = machine.part(event.part)
    if "capacitance" not in placed.family.sizes:
        return
    stamp = parse_stamp(event.text)
    low, high = stamp.limits("start" if placed.family.role is Role.START_CAPACITOR else "run")
    source = f"stamp: {event.text}"
    known[f"{event.part}.capacitance"] = Spread(
        math.sqrt(low * high), max(1.0, math.sqrt(high / low)), "F", source
    )
    marked.pop(event.part, None)
    if stamp.volts is not None:
        marked[event.part] = stamp.volts


def cooled(machine: Machine, minutes: float) -> bool:
    """Whether all that was warm has cooled and the pressures are equal, as far as the chosen probability."""
    kinds = {part.family.heat for part in machine.parts} - {""} | {"pressures", "windings"}
    return all(probability_passed(kind, minutes) >= _COOLED for kind in kinds)
