"""Overload protector, outside or inside the shell."""

from __future__ import annotations

import math

from humclick.parts.laws import InTime, Protector

__all__ = ["law"]


def law(part: InTime) -> Protector:
    """
    Make a protector in its mode.

    Notes
    -----
    From the lowest current that ever trips it, I_u, and the time t to trip at locked current I from
    25 °C: τ = −t / ln(1 − (I_u/I)²), conductance = capacity/τ, heater = conductance (trip − 25)/I_u².
    """
    locked = abs(part.at_slip(1.0, start_circuit=False).run)
    sound = min(part.typical("ultimate"), 0.9)
    share = min(part.typical("early"), sound) if part.mode.name == "trips_early" else sound
    tau = -part.typical("seconds") / math.log(1 - sound**2)
    trip = part.typical("trip")
    capacity = part.typical("capacity")
    conductance = capacity / tau
    return Protector(
        heater_ohms=min(max(conductance * (trip - 25.0) / (share * locked) ** 2, 1e-5), 100.0),
        capacity=capacity,
        conductance=conductance,
        trip=trip,
        reset=min(part.typical("reset"), trip - 5.0),
        inside=part.sealed,
        to_winding=part.typical("to_winding"),
        to_shell=part.typical("to_shell"),
        stuck={"open": "open", "welded": "closed"}.get(part.mode.name, ""),
    )
