"""
How long the machine has stood since it was last tried, and whether it is still hot. Minutes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from humclick.arrangements.machine import Machine
from humclick.diagnosis.situation import warmth
from humclick.jobs.event import Event
from humclick.jobs.events import GatePassed
from humclick.jobs.machines import cooled
from humclick.readings import PartTemperature

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe

__all__ = ["Stand"]

#: The gate from which on nobody powers the machine unnoticed.
_DEAD = "power-off-proved-dead"
#: A longer stand is not believed: a clock was set. [min]
_LONGEST = 48 * 60


@dataclass(frozen=True, slots=True)
class Stand:
    """How long it has stood, as far as waits that were written down and the clock of one device say."""

    hot: bool | None = None  #: Protector and starter now; None if not known.
    minutes: float = 0.0  #: Since it was last tried. [min]
    written: float = 0.0  #: Of that, waits written down. [min]
    since: Event | None = None  #: What it has stood since.
    felt_cold: str = ""  #: What cools so (`humclick.physics.cooling`) was last felt cold since it was tried.

    def tried(self, event: Event) -> Stand:
        """It has just been tried, and is hot."""
        return Stand(hot=True, since=event)

    def warmth_of(self, probe: Probe, said: PartTemperature | None) -> PartTemperature:
        """
        How warm it is: as said, as last said since the last try, else by how long it stands.

        Work on it takes longer than cooling, where no clock says otherwise.
        """
        by_rest = warmth(self.hot, self.minutes, probe.heat)
        if said is not None:
            return replace(said, rested=True) if said.kind == "measured" and by_rest.cool else said
        remembered = probe.heat != "" and self.felt_cold == probe.heat
        worked = bool(probe.mends) and by_rest.kind == "unknown"
        return PartTemperature("cold") if remembered or worked else by_rest

    def felt(self, temperature: PartTemperature, probe: Probe, event: Event) -> Stand:
        """Somebody said how warm that is: a warm one has just been tried, a cold one is remembered."""
        if not probe.heat:
            return self
        stand = self.tried(event) if temperature.warm and self.hot is not True else self
        return replace(stand, felt_cold=probe.heat) if temperature.cool else stand

    def waited(self, minutes: float, machine: Machine | None) -> Stand:
        """A wait was written down. [min]"""
        return replace(self, written=self.written + minutes)._at_least(self.written + minutes, machine)

    def at(self, event: Event, machine: Machine | None) -> Stand:
        """
        By the time of an event, a wait written down or not.

        Counted by the clock of one device, from the last try or from when its power was first proved off.
        """
        stand = self
        if self.since is None and isinstance(event, GatePassed) and event.gate == _DEAD:
            stand = replace(self, since=event)
        since = stand.since
        if since is None or not (event.timed and since.timed) or event.device != since.device:
            return stand
        minutes = (event.at - since.at).total_seconds() / 60
        return stand._at_least(minutes, machine) if 0 < minutes <= _LONGEST else stand

    def _at_least(self, minutes: float, machine: Machine | None) -> Stand:
        stood = max(self.minutes, minutes)
        cool = self.hot is not False and machine is not None and cooled(machine, stood)
        return replace(self, minutes=stood, hot=False if cool else self.hot)
