"""Start and run capacitor."""

from __future__ import annotations

import math

from humclick.start.case import Capacitor
from humclick.start.gear.placed import Placed

__all__ = ["capacitor", "impedance"]


def capacitor(part: Placed) -> Capacitor:
    """
    Make a capacitor in its mode: its farads, its loss as a share of its reactance, its leakage or bleed.

    A shorted one is `farads` infinite, an open one 0 with only its bleed resistor left.
    """
    mode = part.mode.name
    kind = part.machine.part(part.id).family.name
    if mode == "shorted":
        return Capacitor(math.inf, max(part.branch("shorted"), 1e-3))
    sizes = {b.size for b in part.mode.branches}
    leak = part.branch("bleed") if "bleed" in sizes else part.branch("leak") if "leak" in sizes else math.inf
    if mode == "open":
        return Capacitor(0.0, 1e-3, leak)
    farads = min(max(part.branch("capacitance"), 1e-8), 0.1)
    hertz = part.machine.nameplate.hertz
    loss = part.typical(kind, "loss") / (2 * math.pi * hertz * farads)
    return Capacitor(farads, min(max(loss, 1e-3), 1e5), max(leak, 0.1))


def impedance(part: Placed) -> complex:
    """Impedance at line frequency of this capacitor when it is as it should be. [Ω]"""
    farads = part.machine.size(part.id, "capacitance").median
    return -1j / (2 * math.pi * part.machine.nameplate.hertz * farads)
