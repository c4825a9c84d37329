"""
Who comes: four kinds of people with habits of their own, and what they write down of a true value.

Slips here are of habit, not of chance alone: a person who swaps C-R and C-S does so for the whole call,
one who rounds rounds everything, one with tired leads has them all day. Meter limits follow accuracy
clauses of hand-held and clamp meters with autoranging (± percent of reading ± counts), from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Kind:
    """
    A kind of person.

    Parameters
    ----------
    share : float
        Of all calls. [-]
    meters : mapping of str to float
        What is used.
    gear, insulation, clamp, spares, leakage : float
        Chance that it is in the van. [-]
    nulls, measures, notes_heat, waits : float
        Habits. [-]
    slip : float
        Rate of a wrong look or reading. [-]
    """

    share: float
    meters: Mapping[str, float]
    gear: float
    insulation: float
    clamp: float
    spares: float
    leakage: float
    nulls: float
    measures: float
    notes_heat: float
    waits: float
    slip: float


KINDS: Mapping[str, Kind] = {
    "appliance repairer": Kind(
        4, {"standard": 6, "basic": 3, "clamp": 1}, 0.45, 0.1, 0.4, 0.5, 0.05, 0.3, 0.4, 0.3, 0.85, 0.02
    ),
    "refrigeration journeyman": Kind(
        4, {"good": 5, "clamp": 4, "standard": 2}, 0.55, 0.45, 0.9, 0.45, 0.1, 0.5, 0.4, 0.6, 0.95, 0.012
    ),
    "apprentice": Kind(
        2, {"standard": 5, "clamp": 3, "basic": 2}, 0.3, 0.15, 0.5, 0.2, 0.02, 0.25, 0.3, 0.5, 0.8, 0.045
    ),
    "house electrician": Kind(
        1, {"good": 6, "bench": 1, "standard": 2}, 0.1, 0.7, 0.7, 0.1, 0.4, 0.7, 0.5, 0.5, 0.9, 0.02
    ),
}

LIMITS: Mapping[str, Mapping[str, tuple[int, float, float, float, float]]] = {
    "basic": {"ohm": (1999, 1.2, 4, 0.1, 2e6), "V": (1999, 1.2, 6, 0.1, 600)},
    "standard": {
        "ohm": (1999, 1.0, 4, 0.1, 2e7),
        "uF": (1999, 3.0, 5, 0.001, 2000),
        "V": (1999, 1.0, 5, 0.1, 600),
    },
    "good": {
        "ohm": (6000, 0.9, 2, 0.1, 4e7),
        "uF": (1000, 1.9, 2, 0.001, 9999),
        "V": (6000, 1.0, 3, 0.1, 1000),
    },
    "clamp": {
        "ohm": (4000, 1.0, 5, 0.1, 4e4),
        "uF": (4000, 1.9, 4, 0.1, 1000),
        "V": (6000, 1.0, 5, 0.1, 600),
    },
    "bench": {
        "ohm": (20000, 0.1, 4, 0.01, 2e7),
        "uF": (20000, 1.0, 5, 0.001, 2000),
        "V": (20000, 0.5, 8, 0.01, 750),
    },
}
"""Counts of the display, percent of reading, counts of error, least digit, most that it shows."""


@dataclass(frozen=True)
class Person:
    """One person on one day."""

    kind: Kind
    meter: str
    bias: float
    lead: float
    nulled: bool
    measured: bool
    rounds: bool
    swaps: bool
    impatient: bool
    gear: bool
    insulation: bool
    clamp: bool
    spares: bool
    leakage: bool
    notes_heat: bool

    def shows(self, unit: str, true: float, rng: np.random.Generator) -> str | None:
        """What is written down of a true value; None where the meter lacks it. [Ω, µF or V]"""
        limits = LIMITS[self.meter].get(unit)
        if limits is None:
            return None
        counts, percent, digits, least, most = limits
        if true > most:
            return "OL"
        digit = least
        while true / digit > counts:
            digit *= 10
        if unit == "uF" and self.impatient:
            true *= float(rng.uniform(0.93, 1.0))
        error = true * percent / 100 * self.bias + digit * digits * float(rng.triangular(-1, 0, 1))
        value = max(0.0, round((true + error) / digit) * digit)
        if rng.random() < 0.25 * self.kind.slip and value > 10:
            value = _transposed(value)
        return text_of(value, unit, self.rounds)


def _transposed(value: float) -> float:
    """Two digits written the wrong way round."""
    digits = f"{value:.4g}"
    if "e" in digits or len(digits) < 2 or "." in digits[:2]:
        return value
    return float(digits[1] + digits[0] + digits[2:])


def text_of(value: float, unit: str, rounds: bool) -> str:
    """
    As it is written down.

    Examples
    --------
    >>> text_of(4.72, "ohm", True), text_of(4720.0, "ohm", False), text_of(88.4, "uF", False)
    ('4.7 ohm', '4720 ohm', '88.4 uF')
    """
    figure = float(f"{value:.2g}") if rounds and value else value
    if unit == "ohm" and figure >= 1e5:
        return f"{figure / 1e6:.4g} Mohm"
    return f"{figure:.6g} {unit}"


def person(rng: np.random.Generator) -> Person:
    """Somebody of the trade."""
    shares = [kind.share for kind in KINDS.values()]
    kind = list(KINDS.values())[int(rng.choice(len(KINDS), p=np.divide(shares, sum(shares))))]
    odds = list(kind.meters.values())

    def has(chance: float) -> bool:
        return bool(rng.random() < chance)

    nulled = has(kind.nulls)
    return Person(
        kind,
        meter=str(rng.choice(list(kind.meters), p=np.divide(odds, sum(odds)))),
        bias=float(rng.uniform(-0.8, 0.8)),
        lead=float(rng.gamma(3.0, 0.07)) + (0.4 if has(0.06) else 0.0),
        nulled=nulled,
        measured=not nulled and has(kind.measures),
        rounds=has(0.2),
        swaps=has(0.7 * kind.slip),
        impatient=not has(kind.waits),
        gear=has(kind.gear),
        insulation=has(kind.insulation),
        clamp=has(kind.clamp),
        spares=has(kind.spares),
        leakage=has(kind.leakage),
        notes_heat=has(kind.notes_heat),
    )
