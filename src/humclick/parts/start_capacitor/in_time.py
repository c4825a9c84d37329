"""A capacitor, to start with or to run with."""

from __future__ import annotations

import math

from humclick.parts.laws import Capacitor, InTime

__all__ = ["law"]


def law(part: InTime) -> Capacitor:
    """
    Make a capacitor in its mode: its farads, its loss as a share of its reactance, its leakage or bleed.

    A shorted one is `farads` infinite, an open one 0 with only its bleed resistor left.
    """
    mode = part.mode.name
    if mode == "shorted":
        return Capacitor(math.inf, max(part.branch("shorted"), 1e-3))
    sizes = {b.size for b in part.mode.branches}
    leak = part.branch("bleed") if "bleed" in sizes else part.branch("leak") if "leak" in sizes else math.inf
    if mode == "open":
        return Capacitor(0.0, 1e-3, leak)
    farads = min(max(part.branch("capacitance"), 1e-8), 0.1)
    loss = part.typical("loss") / (2 * math.pi * part.hertz * farads)
    return Capacitor(farads, min(max(loss, 1e-3), 1e5), max(leak, 0.1))
