"""The PTC starter."""

from __future__ import annotations

from humclick.parts.laws import ClosedCircuit, InTime, Ptc

__all__ = ["law"]


def law(part: InTime) -> Ptc | ClosedCircuit | None:
    """
    Make the start circuit's gear of a PTC starter in its mode; None where it is open.

    The pill's heat capacity is that which makes a sound one of typical cold resistance switch after the
    typical time: the heat that V²R/|Z|² brings into it meanwhile, over the rise to the middle of its step.
    """
    mode = part.mode.name
    if mode == "open":
        return None
    if mode == "bridged":
        return ClosedCircuit(max(part.branch("bridged"), 1e-3))
    healthy = part.middle("cold")
    cold = part.branch("broken") if mode == "rattles" else part.branch("cold")
    amps = part.volts / abs(part.start_branch + healthy)
    knee, span = part.typical("knee"), part.typical("span")
    rise = knee + 0.35 * span - 25.0
    return Ptc(
        cold_ohms=max(cold, 0.05),
        knee=knee,
        span=span,
        decades=part.typical("decades"),
        capacity=amps**2 * healthy * part.typical("hold") / rise,
        conductance=part.typical("watts_hot") / (knee + 0.5 * span - 25.0),
    )
