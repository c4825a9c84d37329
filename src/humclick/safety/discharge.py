"""
How each capacitor of a machine is made safe: ohms, seconds, joules and watts.

The figures come from ``discharge.toml`` and from `humclick.physics.discharge`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from humclick.messages import Message
from humclick.physics.discharge import Discharge, discharge_through
from humclick.safety.machine import SafeMachine
from humclick.sourced import read_data, sourced

__all__ = ["CapacitorDischarge", "discharges"]


@dataclass(frozen=True, slots=True)
class CapacitorDischarge:
    """How one capacitor of a machine is made safe."""

    part: str
    title: Message
    #: True where its size was read from the part; else the largest usual size is taken.
    stamped: bool
    #: True where its voltage was read from the can; else a multiple of the supply is taken.
    marked: bool
    #: How long to hold the resistor on: a multiple of the computed time. [s]
    hold: float
    #: Time, energy and the resistor's watts.
    discharge: Discharge

    @property
    def tick(self) -> Message:
        """The step in a few words."""
        return Message(
            "{part}: {kilohms:g} kΩ for {seconds:.0f} s",
            part=self.title,
            kilohms=self.discharge.ohms / 1000,
            seconds=self.hold,
        )

    @property
    def matter(self) -> str:
        """What is discharged: part, size and volts."""
        return f"{self.part} {self._microfarads:g} µF {self.discharge.peak_volts:.0f} V"

    @property
    def _microfarads(self) -> float:
        """Its size to three digits. [µF]"""
        return float(f"{self.discharge.farads * 1e6:.3g}")

    @property
    def sentence(self) -> Message:
        """The step as shown."""
        d = self.discharge
        size = Message("as stamped") if self.stamped else Message("not read, so the largest usual one")
        volts = (
            Message("as marked")
            if self.marked
            else Message(
                "taken as {times:g} times the supply; the mark on the can wins",
                times=_number("volts_over_supply"),
            )
        )
        return Message(
            "{part} ({microfarads:g} µF, {size}): up to {volts:.0f} V ({how}) and {joules:.2g} J. "
            "Hold {kilohms:g} kΩ, {watts:g} W or more, across it for {hold:.0f} s: "
            "it falls below {safe:g} V in {seconds:.2g} s.",
            part=self.title.capital(),
            microfarads=self._microfarads,
            size=size,
            volts=d.peak_volts,
            how=volts,
            joules=d.joules,
            kilohms=d.ohms / 1000,
            watts=d.resistor_watts,
            hold=self.hold,
            safe=d.safe_volts,
            seconds=d.seconds,
        )


def _number(name: str) -> float:
    return sourced(read_data("humclick.safety", "discharge.toml")[name], f"discharge.toml {name}").value


def discharges(
    machine: SafeMachine, *, ohms: float | None = None, marked_volts: Mapping[str, float] | None = None
) -> tuple[CapacitorDischarge, ...]:
    """
    How each capacitor of a machine is made safe.

    Parameters
    ----------
    ohms : float, optional
        Chosen discharge resistor; 10 kΩ if left out (common practice). [Ω]
    marked_volts : mapping of part to float, optional
        Voltage marked on the can, where it was read; else twice the supply is taken. [V rms]

    Raises
    ------
    OutOfRange
        If the resistor is not usable.

    Notes
    -----
    The upper end of the size's spread is taken: of the stamp, or of what sound machines of such a plate have,
    but no more than the largest that is sold. Time to 50 V (NEC 460.6), energy and watts from
    `humclick.physics.discharge.discharge_through`; the hold is twice the time (common practice).
    """
    resistor = _number("ohms") if ohms is None else ohms
    capacitors = []
    for part in machine.parts:
        if "capacitance" not in part.family.sizes:
            continue
        size = machine.size(part.id, "capacitance")
        marked = (marked_volts or {}).get(part.id)
        volts = marked
        if volts is None:
            volts = machine.nameplate.volts * _number("volts_over_supply")
        stamped = f"{part.id}.capacitance" in machine.known
        farads = size.median * size.factor
        worked = discharge_through(farads if stamped else min(farads, _number("largest")), volts, resistor)
        capacitors.append(
            CapacitorDischarge(
                part=part.id,
                title=part.family.title,
                stamped=stamped,
                marked=marked is not None,
                hold=float(math.ceil(worked.seconds * _number("wait_times")) or 1),
                discharge=worked,
            )
        )
    return tuple(capacitors)
