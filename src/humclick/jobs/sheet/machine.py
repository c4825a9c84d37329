"""The machine on a sheet: arrangement and nameplate."""

from __future__ import annotations

from humclick.arrangements.arrangement import PROTECTORS
from humclick.arrangements.machine import Machine
from humclick.jobs.sheet.model import Row
from humclick.messages import NOTHING, Message
from humclick.safety import flammable, safety_class
from humclick.sizes.sound import appliances

__all__ = ["machine_rows"]


def machine_rows(machine: Machine) -> tuple[Row, ...]:
    """Arrangement and nameplate."""
    plate, kind = machine.nameplate, machine.arrangement
    title = kind.title.capital()
    if kind.abbreviation:
        title = Message("{arrangement} ({letters})", arrangement=title, letters=kind.abbreviation)
    rows = [
        Row(Message("Start arrangement"), title),
        Row(Message("Protector"), PROTECTORS[machine.protector]),
        Row(Message("Supply"), machine.supply),
    ]
    if plate.locked_rotor_amps is not None:
        rows.append(Row(Message("Locked-rotor amps (LRA)"), f"{plate.locked_rotor_amps:g} A"))
    if plate.rated_load_amps is not None:
        rows.append(Row(Message("Running amps (RLA)"), f"{plate.rated_load_amps:g} A"))
    if plate.horsepower is not None:
        rows.append(Row(Message("Horsepower"), f"{plate.horsepower:.3g} hp"))
    if plate.cooling is not None:
        rows.append(Row(Message("Cooling capacity"), f"{plate.cooling:.4g} W"))
    if plate.appliance:
        rows.append(Row(Message("Kind of appliance"), appliances()[plate.appliance]))
    printed = plate.refrigerant.strip()
    rows.append(Row(Message("Refrigerant"), printed or Message("not read"), _safety_class(printed)))
    return tuple(rows)


def _safety_class(refrigerant: str) -> Message:
    """Its class in words, and that it burns; nothing where it was not read."""
    name, burns = safety_class(refrigerant), flammable(refrigerant)
    if not refrigerant:
        return NOTHING
    if name is None:
        return Message("not in the list, flammable") if burns else Message("not in the list")
    return Message("class {name}, flammable", name=name) if burns else Message("class {name}", name=name)
