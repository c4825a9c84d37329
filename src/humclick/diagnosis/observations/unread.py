"""
What stands on plate and capacitors and was not read yet: the cheapest way to know what a size should be.

It says nothing of what is wrong. It is asked for where a size decides, and met by the figure itself, which
narrows the sizes of the machine; or by the answer that it cannot be read.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.observations.model import Model, Probe, with_discharge
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.shop import Shop
from humclick.messages import Message

__all__ = ["KINDS", "PLATE", "STAMP", "Unread"]

#: Name of the probe for the plate's amps, and the end of the names of those for stamps.
PLATE, STAMP = "plate.lra", ".stamp"
_DEAD = ("power-off-proved-dead",)


class Unread(Model):
    """A figure that is printed on the machine."""

    name: ClassVar[str] = "unread"
    order: ClassVar[int] = 125

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        yield Probe(
            PLATE,
            Message("Read the locked-rotor amps (LRA) on the compressor's plate"),
            Message(
                "Write it as lra 12, or on the Nameplate page; the running amps help where there is no LRA. "
                "The healthy ohms follow from it."
            ),
            self,
            outcomes=(Message("cannot be read"),),
            minutes=0.5,
            inside=False,
        )
        for placed in machine.parts:
            if "capacitance" in placed.family.by_machine:
                yield Probe(
                    f"{placed.id}{STAMP}",
                    Message("Read what is stamped on the {part}", part=placed.family.title),
                    Message(
                        "Write it as it stands there, such as stamp start_capacitor 88-108 MFD 125 VAC, or "
                        "on the Nameplate page. Only the stamp says how many microfarads are right."
                    ),
                    self,
                    outcomes=(Message("cannot be read"),),
                    part=placed.id,
                    minutes=0.5,
                    gates=with_discharge(machine, _DEAD),
                )

    def offered(self, offer: Offer, probe: Probe) -> bool:
        return False


KINDS = (Unread(),)
