"""The PTC starter."""

from __future__ import annotations

from humclick.start.case import Plain, Ptc
from humclick.start.gear.placed import Placed

__all__ = ["ptc"]


def ptc(part: Placed) -> Ptc | Plain | None:
    """
    Make the start circuit's gear of a PTC starter in its mode; None where it is open.

    The pill's heat capacity is that which makes a sound one of typical cold resistance switch after the
    typical time: the heat that V²R/|Z|² brings into it meanwhile, over the rise to the middle of its step.
    """
    mode = part.mode.name
    if mode == "open":
        return None
    if mode == "bridged":
        return Plain(max(part.branch("bridged"), 1e-3))
    healthy = part.machine.size(part.id, "cold").median
    cold = part.branch("broken") if mode == "rattles" else part.branch("cold")
    motor = part.motor
    winding = motor.start_ohms + 0.5 * motor.rotor_ohms_start
    leakage = motor.start_leakage + 0.5 * motor.rotor_leakage_start
    amps = part.volts / abs(complex(winding + healthy, leakage))
    knee, span = part.typical("ptc", "knee"), part.typical("ptc", "span")
    rise = knee + 0.35 * span - 25.0
    return Ptc(
        cold_ohms=max(cold, 0.05),
        knee=knee,
        span=span,
        decades=part.typical("ptc", "decades"),
        capacity=amps**2 * healthy * part.typical("ptc", "hold") / rise,
        conductance=part.typical("ptc", "watts_hot") / (knee + 0.5 * span - 25.0),
    )
