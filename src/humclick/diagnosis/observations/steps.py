"""
Unknowns in steps: simulated medians and spreads that nobody could tell apart are worked out once.
"""

from __future__ import annotations

import math

from humclick.diagnosis.displays import Display
from humclick.diagnosis.likelihood import evidence

__all__ = ["highest", "in_steps"]

#: Of a spread, and twice that of a median over its spread. [-]
_STEP = 0.1


def in_steps(median: float, sigma: float) -> tuple[float, float]:
    """
    A log-normal unknown in steps, so that those nobody could tell apart are worked out once.

    A tenth of the spread either way, and the spread to five per cent: finer than medians and spreads of the
    simulated attempts are known, of which each has some thirty at most.

    Parameters
    ----------
    median, sigma : float
        Of the unknown; the standard deviation is that of ln. [any], [-]

    Returns
    -------
    tuple of (median, sigma)
        In the same units.
    """
    sigma = math.exp(_STEP * round(math.log(sigma) / _STEP))
    step = 2.0 * _STEP * sigma
    return math.exp(step * round(math.log(median) / step)), sigma


def highest(display: Display, sigma: float) -> float:
    """The most that any median gives a display, the unknown spread by at least `sigma`. [-]"""
    if display.y is None or display.y <= 0.0:
        return display.most
    return min(display.most, 1.1 * evidence([display], display.y, sigma).value)
