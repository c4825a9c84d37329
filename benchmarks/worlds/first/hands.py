"""
Meters and the hands that hold them.

Limits of error by class as accuracy clauses of meter manuals give them, ± (percent of reading + counts), from
memory of manuals of pocket, 2000-count, 6000-count and clamp meters; slips at rates of this world's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

Range = tuple[float, float, float, float]
"""Full scale, last digit, percent of reading, counts."""

METERS: Mapping[str, Mapping[str, tuple[Range, ...]]] = {
    "basic": {
        "ohm": (
            (200, 0.1, 1.0, 5),
            (2e3, 1, 1.0, 5),
            (2e4, 10, 1.0, 5),
            (2e5, 100, 1.0, 5),
            (2e6, 1e3, 1.5, 5),
        ),
        "V": ((200, 0.1, 1.5, 8), (600, 1, 1.5, 8)),
    },
    "standard": {
        "ohm": (
            (200, 0.1, 0.8, 4),
            (2e3, 1, 0.8, 3),
            (2e4, 10, 0.8, 3),
            (2e5, 100, 0.8, 3),
            (2e6, 1e3, 0.8, 3),
            (2e7, 1e4, 2.0, 5),
        ),
        "F": ((2e-6, 1e-9, 3.0, 8), (2e-5, 1e-8, 3.0, 8), (2e-4, 1e-7, 3.0, 8), (2e-3, 1e-6, 5.0, 10)),
        "V": ((200, 0.1, 1.0, 4), (600, 1, 1.0, 4)),
        "A": ((10, 0.01, 2.5, 8),),
    },
    "good": {
        "ohm": (
            (600, 0.1, 0.9, 2),
            (6e3, 1, 0.9, 1),
            (6e4, 10, 0.9, 1),
            (6e5, 100, 0.9, 1),
            (6e6, 1e3, 0.9, 1),
            (5e7, 1e4, 1.5, 3),
        ),
        "F": ((1e-6, 1e-9, 1.9, 2), (1e-5, 1e-8, 1.9, 2), (1e-4, 1e-7, 1.9, 2), (9.9e-3, 1e-6, 5.0, 20)),
        "V": ((600, 0.1, 1.0, 3), (1000, 1, 1.0, 3)),
        "A": ((10, 0.01, 1.5, 3),),
    },
    "clamp": {
        "ohm": ((600, 0.1, 1.0, 5), (6e3, 1, 1.0, 5), (6e4, 10, 1.0, 5)),
        "F": ((1e-4, 1e-7, 1.9, 4), (1e-3, 1e-6, 1.9, 4)),
        "V": ((600, 0.1, 1.5, 5),),
        "A": ((40, 0.1, 2.0, 5), (400, 0.1, 2.0, 5)),
    },
}

UNIT = {"ohm": " ohm", "V": " V", "F": " uF", "A": " A"}


@dataclass
class Hands:
    """
    A technician with a meter.

    Parameters
    ----------
    gain : mapping of str to float
        The meter's own error by quantity, over its limit, -1 to 1. [-]
    care : float
        How often hands slip, over the usual. [-]
    lead : float
        Of the two leads. [Ω]
    nulled : bool
        Whether leads were nulled.
    known_good, clamp, insulation, spare : bool
        What is in the van.
    writes_heat : bool
        Whether temperatures are written down.
    """

    meter: str
    gain: Mapping[str, float]
    care: float
    lead: float
    nulled: bool
    measured_leads: bool
    known_good: bool
    clamp: bool
    insulation: bool
    spare: bool
    writes_heat: bool
    leak_clamp: bool

    def slips(self, rng: np.random.Generator, rate: float) -> bool:
        """Whether this hand slips at this rate."""
        return bool(rng.random() < rate * self.care)

    def reads(self, quantity: str, true: float, rng: np.random.Generator) -> str | None:
        """What the display shows of a true value [SI]; None where the meter lacks the quantity."""
        ranges = METERS[self.meter].get(quantity)
        if ranges is None:
            return None
        fitting = [each for each in ranges if abs(true) < each[0]]
        if not fitting:
            return "OL"
        scale, digit, percent, counts = fitting[0]
        if self.slips(rng, 0.01) and (scale, digit, percent, counts) != ranges[-1]:
            scale, digit, percent, counts = ranges[-1] if quantity != "ohm" else ranges[-2]
        shown = true * (1 + 0.01 * percent * self.gain[quantity]) + digit * counts * rng.uniform(-0.7, 0.7)
        shown = max(0.0, round(shown / digit) * digit)
        if self.slips(rng, 0.004) and quantity in ("ohm", "F"):
            shown *= 1000.0 if shown < 50 else 0.001
        return written(quantity, shown)


def written(quantity: str, value: float) -> str:
    """
    As it would be written down.

    Examples
    --------
    >>> written("ohm", 4700.0), written("F", 12.34e-6), written("V", 117.3)
    ('4.7 kohm', '12.34 uF', '117.3 V')
    """
    if quantity == "F":
        return f"{value * 1e6:.5g} uF"
    if quantity == "ohm":
        for scale, name in ((1e9, "Gohm"), (1e6, "Mohm"), (1e3, "kohm")):
            if value >= scale:
                return f"{value / scale:.4g} {name}"
        return f"{value:.4g} ohm"
    return f"{value:.4g}{UNIT[quantity]}"


def technician(rng: np.random.Generator) -> Hands:
    """One of the trade, with what is in the van today."""
    meter = str(rng.choice(["basic", "standard", "good", "clamp"], p=[0.12, 0.38, 0.26, 0.24]))
    nulled = rng.random() < 0.4
    return Hands(
        meter=meter,
        gain={quantity: float(np.clip(rng.normal(0, 0.45), -1, 1)) for quantity in UNIT},
        care=float(rng.lognormal(0.0, 0.6)),
        lead=float(rng.uniform(0.06, 0.45)),
        nulled=bool(nulled),
        measured_leads=bool(rng.random() < 0.45),
        known_good=bool(rng.random() < 0.4),
        clamp=bool(rng.random() < 0.65),
        insulation=bool(rng.random() < 0.3),
        spare=bool(rng.random() < 0.35),
        writes_heat=bool(rng.random() < 0.55),
        leak_clamp=bool(rng.random() < 0.08),
    )
