"""
The most that a display can be given.
"""

from __future__ import annotations

from humclick.diagnosis.displays import Display
from humclick.diagnosis.likelihood import Together

__all__ = ["highest"]


def highest(display: Display, sigma: float) -> float:
    """The most that any median gives a display, the unknown spread by at least `sigma`. [-]"""
    if display.y is None or display.y <= 0.0:
        return display.most
    return min(display.most, 1.1 * Together([display]).value(display.y, sigma))
