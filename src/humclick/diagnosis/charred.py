"""
Ohms in series with what is sealed in: a lead inside half burnt, or the contact of a protector inside.

They raise every reading of one pin by the same unknown, from some tenths of an ohm to kilohms, and leave the
third as it is: C–S and C–R behind a burnt contact, S–R and C–R behind the lead of the run winding. Such a
reading is integrated over that unknown and over both windings, taken as sound. Ohms at 25 °C.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist
from typing import TYPE_CHECKING

from humclick.diagnosis.delta import three_numbers
from humclick.diagnosis.winding_nodes import Affine, Pair, PinDisplay
from humclick.parts.family import HEALTHY

if TYPE_CHECKING:
    from humclick.diagnosis.windings import Sealed, WindingEvidence

__all__ = ["at_common", "burnt_part", "through_ohms"]

Names = tuple[str, str, str]

_SOUND = (HEALTHY, HEALTHY, HEALTHY)
#: What a burnt lead or contact of each sealed part raises: every reading of this pin.
_PIN = {"run_winding": "R", "start_winding": "S", "internal_protector": "C"}
#: A lead inside burns like a connector at the pin.
_LIKE = {"run_winding": ("wiring", "burnt"), "start_winding": ("wiring", "burnt")}
#: Nodes of the unknown: this far apart over its own spread, and about what the readings leave for it. [-]
_STEPS = [0.5 * k for k in range(-5, 6)]
_ABOUT = (-2.0, -1.2, -0.6, 0.0, 0.6, 1.2, 2.0)
#: Less than this is no burnt contact. [Ω]
_LEAST = 0.05


def burnt_part(windings: WindingEvidence, sealed: Sealed) -> str:
    """The part of a sealed mode that conducts through ohms; empty where none does."""
    for part, mode in zip(_PIN, sealed, strict=True):
        if mode != HEALTHY and windings.machine.part(part).family.mode(mode).scattered:
            return part
    return ""


def through_ohms(windings: WindingEvidence, part: str, displays: Sequence[PinDisplay], names: Names) -> float:
    """
    Probability of displays where a part sealed in conducts through ohms, the pins lying in one way. [-]

    Parameters
    ----------
    windings : WindingEvidence
        The two windings, both sound.
    part : str
        The part that is burnt.
    displays : sequence of PinDisplay
        Everything read between the pins.
    names : (str, str, str)
        The real pin behind each label.
    """
    pin = _PIN[part]
    spread = windings.machine.size(*_LIKE.get(part, (part, "burnt")))
    behind = [pin in (names[d.first], names[d.second]) for d in displays]
    forms = [windings.reading(_SOUND, d, names) for d in displays]
    pair = windings.prior("run_winding", HEALTHY), windings.prior("start_winding", HEALTHY)
    left = _left(displays, forms, behind, pair)
    arm = at_common(displays, names) if pin == "C" else None
    if arm is not None:
        left += [arm[0] + 1.5 * z * arm[1] for z in _ABOUT]
    logs = sorted({spread.mu + z * spread.sigma for z in _STEPS} | {math.log(x) for x in left if x > _LEAST})
    total = 0.0
    for k, at in enumerate(logs):
        width = 0.5 * (logs[min(k + 1, len(logs) - 1)] - logs[max(k - 1, 0)])
        raised = tuple(
            replace(form, constant=form.constant + math.exp(at)) if is_behind else form
            for form, is_behind in zip(forms, behind, strict=True)
        )
        weight = NormalDist(spread.mu, spread.sigma).pdf(at) * width
        total += weight * windings.integral(raised, displays, pair)
    return total


def _left(
    displays: Sequence[PinDisplay], forms: Sequence[Affine], behind: Sequence[bool], pair: Pair
) -> list[float]:
    """What readings behind the burnt place leave for it, with windings about the usual ones. [Ω]"""
    (run, run_sigma), (start, start_sigma) = pair
    return [
        d.display.y / d.copper - form.at(run * math.exp(z * run_sigma), start * math.exp(z * start_sigma))
        for d, form, is_behind in zip(displays, forms, behind, strict=True)
        if is_behind and d.display.y and math.isfinite(form.constant)
        for z in _ABOUT
    ]


def at_common(displays: Sequence[PinDisplay], names: Names = ("C", "R", "S")) -> tuple[float, float] | None:
    """
    What three numbers leave for the common pin, and how sharply they were read; None unless all are. [Ω]

    Half the sum of the two readings at a corner less the third is that corner's arm of the star.
    """
    read = three_numbers(displays)
    if read is None:
        return None
    at = names.index("C")
    arm = 0.5 * math.fsum(value if at in pins else -value for pins, (_, value, _) in read.items())
    return arm, 0.5 * math.hypot(*(deviation for _, _, deviation in read.values()))
