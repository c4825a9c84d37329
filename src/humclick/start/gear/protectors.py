"""Overload protector, outside or inside the shell."""

from __future__ import annotations

import math

from humclick.start.case import Protector
from humclick.start.gear.placed import Placed
from humclick.start.machine import steady

__all__ = ["protector"]


def protector(part: Placed) -> Protector:
    """
    Make a protector in its mode.

    Notes
    -----
    From the lowest current that ever trips it, I_u, and the time t to trip at locked current I from
    25 °C: τ = −t / ln(1 − (I_u/I)²), conductance = capacity/τ, heater = conductance (trip − 25)/I_u².
    """
    inside = part.machine.part(part.id).family.name == "internal_protector"
    locked = abs(steady(part.motor, part.volts, 1.0).run)
    sound = min(part.typical("protector", "ultimate"), 0.9)
    share = min(part.typical("protector", "early"), sound) if part.mode.name == "trips_early" else sound
    tau = -part.typical("protector", "seconds") / math.log(1 - sound**2)
    trip = part.typical("protector", "trip")
    capacity = part.typical("protector", "capacity")
    conductance = capacity / tau
    return Protector(
        heater_ohms=min(max(conductance * (trip - 25.0) / (share * locked) ** 2, 1e-5), 100.0),
        capacity=capacity,
        conductance=conductance,
        trip=trip,
        reset=min(part.typical("protector", "reset"), trip - 5.0),
        inside=inside,
        to_winding=part.typical("protector", "to_winding"),
        to_shell=part.typical("protector", "to_shell"),
        stuck={"open": "open", "welded": "closed"}.get(part.mode.name, ""),
    )
