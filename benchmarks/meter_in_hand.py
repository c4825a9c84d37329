"""
The meter in a technician's hands: its own gain error, its leads, and the slips of who holds it.
"""

from __future__ import annotations

import math
import random

from benchmarks.world import World
from humclick.meters import Meter, Quantity, default_meter
from humclick.meters import meter as meter_named
from humclick.readings import Leads, Reading

__all__ = ["MeterInHand"]

#: Rates of slips in the world, written down here and not read from the shop's file. Guesses. [-]
_NO_CONTACT, _DIRTY, _WILD, _KILO, _NULL_FORGOTTEN = 0.006, 0.03, 0.006, 0.002, 0.03


class MeterInHand:
    """
    One meter of one technician.

    Parameters
    ----------
    world : World
        Its slips, leads and gain.
    rng : random.Random
        Draws leads, habits and gain.

    Attributes
    ----------
    leads : Leads
        What is told of them.
    """

    def __init__(self, world: World, rng: random.Random) -> None:
        self.world = world
        self.meter = default_meter()
        leads = rng.lognormvariate(math.log(0.245), math.log(2.449) / 1.96)
        habit, forgot = rng.random(), rng.random() < _NULL_FORGOTTEN * world.slips
        if world.lead_ohms is not None:
            self.leads, self._lead_ohms = Leads(nulled=True), world.lead_ohms
        elif habit < 0.35:
            self.leads, self._lead_ohms = Leads(nulled=True), leads if forgot else 0.0
        elif habit < 0.65:
            self.leads, self._lead_ohms = Leads(resistance=round(leads, 1)), leads
        else:
            self.leads, self._lead_ohms = Leads(), leads
        self._gain = rng.uniform(-1.0, 1.0)

    def shown(
        self, value: float, quantity: Quantity, rng: random.Random, meter: Meter | None = None
    ) -> Reading:
        """
        What the display shows of a value, and what is written down of it. [SI]

        Parameters
        ----------
        value : float
            Between the tips, or through the clamp.
        quantity : Quantity
            What is read.
        rng : random.Random
            Draws slips and noise of this reading.
        meter : Meter, optional
            Where it is read with another than the one in hand.
        """
        slips = self.world.slips
        slip = rng.random() / slips
        stray, noise = rng.random(), rng.uniform(-1.0, 1.0)
        ohms = quantity is Quantity.RESISTANCE
        if slip < _NO_CONTACT:
            value = math.inf if ohms else 0.0  # neither volts nor farads without contact
        elif slip < _NO_CONTACT + _WILD:
            value = math.inf if stray < 0.2 else min(value, 1e7) * 10 ** rng.uniform(-2.5, 2.5)
        elif ohms and slip < _NO_CONTACT + _WILD + _DIRTY:
            value -= math.log(1.0 - stray) * max(1.0, 0.5 * value)
        elif slip < _NO_CONTACT + _WILD + _DIRTY + _KILO:
            value *= 1e3 if stray < 0.5 else 1e-3
        if ohms:
            value += self._lead_ohms
        own = self.meter if quantity is not Quantity.CURRENT else meter_named("clamp")
        return self._rounded(value, quantity, noise, meter or own)

    def leaking(self, amps: float, rng: random.Random) -> Reading:
        """What a leakage clamp or a touch-current meter shows: 0.01 mA to a digit, 3 % and 5 digits. [A]"""
        shown = round(max(0.0, amps * (1.0 + 0.03 * self._gain) + 5e-5 * rng.uniform(-1.0, 1.0)), 5)
        return Reading(Quantity.CURRENT, shown, False, shown == 0.0, 1e-5, f"{1e3 * shown:.2f} mA")

    def _rounded(self, value: float, quantity: Quantity, noise: float, meter: Meter) -> Reading:
        if value >= meter.highest(quantity):
            return Reading(quantity, None, over_limit=True, text="OL")
        at = meter.range_for(quantity, value)
        gain = at.percent / 100.0 * self._gain if self.world.gain is None else self.world.gain
        shown = max(0.0, value * (1.0 + gain) + noise * at.counts * at.resolution)
        if shown >= meter.highest(quantity):
            return Reading(quantity, None, over_limit=True, text="OL")
        digit = meter.range_for(quantity, shown).resolution
        if quantity is Quantity.VOLTAGE:  # nobody writes down millivolts of a mains supply
            digit = max(digit, 0.1)
        shown = round(shown / digit) * digit
        return Reading(quantity, shown, False, shown == 0.0, digit, f"{shown:.6g}")
