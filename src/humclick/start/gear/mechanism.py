"""What is turned: compressor load in each mode of the mechanism."""

from __future__ import annotations

import math
from functools import cache

from humclick.start.case import Load
from humclick.start.gear.placed import Placed
from humclick.start.load import Four, reciprocating
from humclick.start.machine import steady

__all__ = ["RATED_SLIP", "mechanism"]

#: Slip that a load is given at. [-]
RATED_SLIP = 0.05
#: From this factor on the torque needed to start, nothing turns it. [-]
_SEIZED = 1.0e5


@cache
def _shape(suction: float, discharge: float, clearance: float, exponent: float) -> tuple[Four, Four]:
    _, cosines, sines = reciprocating(1e-5, suction, discharge, clearance, exponent)
    return cosines, sines


def mechanism(part: Placed, crank: float = math.pi) -> Load:
    """
    Make the load of a mechanism in its mode, scaled to the motor's torque at slip 0.05.

    `crank` is the angle at which it stands, from top dead centre. [rad] The shape of the gas torque comes
    from typical pressures.
    """
    rated = steady(part.motor, part.volts, RATED_SLIP).torque
    name, mode = part.mode.name, part.mode
    stiff = mode.breakaway if name in ("tight", "liquid") else 1.0
    friction = rated * part.typical("friction")
    if name == "tight":
        friction *= stiff
    elif name == "liquid":
        friction *= part.typical("liquid_friction")
    cosines, sines = _shape(*map(part.usual, ("suction", "discharge", "clearance", "exponent")))
    left = {"unequal": "unequal", "high_head": "head_left"}.get(name)
    return Load(
        gas_torque=rated * part.typical("gas") * mode.load,
        cosines=cosines,
        sines=sines,
        difference=part.typical(left) if left else 0.0,
        pull_apart=part.typical("pull_apart"),
        equalise=part.typical("equalise"),
        friction=friction,
        breakaway=max(friction, rated * part.typical("breakaway") * stiff),
        angle=crank,
        seized=mode.breakaway >= _SEIZED,
    )
