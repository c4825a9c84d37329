"""
Ohms in series with what is sealed in: a lead inside half burnt, or the contact of a protector inside.

They raise every reading of one pin by the same unknown, from some tenths of an ohm to kilohms, and leave the
third as it is: C–S and C–R behind a burnt contact, S–R and C–R behind the lead of the run winding. A lead is
one with its winding: a winding of so many ohms more. A contact is the third arm of a star, of which three
numbers leave nothing open; fewer are integrated over what they share. The windings themselves are sound, and
how run and start winding go together is left out. Ohms at 25 °C.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from humclick.diagnosis.delta import NODES, Three, in_order, log_normal, over_errors, three_numbers
from humclick.diagnosis.displays import Display
from humclick.diagnosis.quadrature import Cut, cut, peak_cuts, prior_cuts, rule
from humclick.diagnosis.winding_nodes import PinDisplay
from humclick.parts.family import HEALTHY
from humclick.sourced import Spread

if TYPE_CHECKING:
    from humclick.diagnosis.windings import Sealed, WindingEvidence

__all__ = ["at_common", "burnt_part", "through_ohms"]

Names = tuple[str, str, str]
#: Median and ln standard deviation of an unknown. [Ω], [-]
Prior = tuple[float, float]
#: Log-normal unknowns of which one is there, with how probably; most are one alone. [Ω], [-]
Unknown = list[tuple[Prior, float]]

_SOUND = (HEALTHY, HEALTHY, HEALTHY)
#: What a burnt lead or contact of each sealed part raises: every reading of this pin.
_PIN = {"run_winding": "R", "start_winding": "S", "internal_protector": "C"}
#: A lead inside burns like a connector at the pin.
_LIKE = {"run_winding": ("wiring", "burnt"), "start_winding": ("wiring", "burnt")}
#: The ohms of a lead as log-normal shares so far apart, and as wide; the farthest in steps either way. [-]
_STEP, _FARTHEST = 0.8, 12
#: A node that weighs less than this of the heaviest is left out. [-]
_LEAST = 1e-5


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
    spread = windings.machine.size(*_LIKE.get(part, (part, "burnt")))
    sound = {
        "R": (windings.prior("run_winding", HEALTHY), 1.0),
        "S": (windings.prior("start_winding", HEALTHY), 1.0),
    }
    ohms: Unknown = [((spread.median, spread.sigma), 1.0)]
    read = three_numbers(displays)
    rows = in_order(read, names) if read is not None else None
    by_pair: dict[str, list[Display]] = {}
    alone = 1.0
    for d in displays:
        if math.isfinite(windings.reading(_SOUND, d, names).constant):
            by_pair.setdefault("".join(sorted((names[d.first], names[d.second]))), []).append(d.display)
        else:  # a protector that is open with heat
            alone *= d.display.probability(math.inf)
    if _PIN[part] == "C":
        arms: dict[str, Unknown] = {"C": ohms, **{pin: [row] for pin, row in sound.items()}}
        if rows is not None:
            return over_errors(rows, lambda readings: _of_star(readings, arms))
        return alone * _contact(by_pair, arms)
    pin = _PIN[part]
    own, other = sound[pin], sound["S" if pin == "R" else "R"]
    lead = _with_lead(own[0], spread)
    if rows is not None:
        return _of_two(rows if pin == "R" else (rows[1], rows[0], rows[2]), lead, [other])
    first, second = ("CR", "CS") if pin == "R" else ("CS", "CR")
    shown = by_pair.get(first, []), by_pair.get(second, []), by_pair.get("RS", [])
    return alone * _lead(*shown, [own], [other], ohms, lead)


def _contact(by_pair: dict[str, list[Display]], arms: dict[str, Unknown]) -> float:
    """Displays at a burnt contact, at most two pairs of numbers: they share an arm of the star. [-]"""
    alone = 1.0
    if len(by_pair) == 3:  # not all of them numbers: the contact is what they hang on
        alone = _over(arms["R"], [], [(by_pair.pop("RS"), arms["S"])])
    if not by_pair:
        return alone
    outer = min(set.intersection(*map(set, by_pair)))
    beside = [(repeats, arms[pair.replace(outer, "")]) for pair, repeats in by_pair.items()]
    return alone * _over(arms[outer], [], beside)


def _lead(
    own: list[Display],
    other: list[Display],
    both: list[Display],
    winding: Unknown,
    sound: Unknown,
    ohms: Unknown,
    lead: Unknown,
) -> float:
    """Displays of a winding with a burnt lead, of the other and across both, not all of them numbers. [-]"""
    alone = _shown(other, sound, 0.0) if other else 1.0
    if not both:
        return alone * (_over(winding, [], [(own, ohms)]) if own else 1.0)
    if own:  # both hang on the winding with its lead
        return alone * _over(lead, own, [(both, sound)])
    if other:  # both hang on the other winding
        return _over(sound, other, [(both, lead)])
    return _over(_sum(winding, sound), [], [(both, ohms)])


def _sum(first: Unknown, second: Unknown) -> Unknown:
    """Two windings in series as one log-normal unknown, their deviations added as squares. [Ω], [-]"""
    (((a, s_a), _),), (((b, s_b), _),) = first, second
    return [((a + b, math.hypot(a * s_a, b * s_b) / (a + b)), 1.0)]


def _with_lead(winding: Prior, lead: Spread) -> Unknown:
    """A winding and the lead in series with it as log-normal unknowns, and how probable each is. [Ω], [-]"""
    median, sigma = winding
    wide = math.sqrt(max(lead.sigma**2 - _STEP**2, _STEP**2))
    rows = []
    for k in range(-_FARTHEST, _FARTHEST + 1):
        ohms = lead.median * math.exp(_STEP * k)
        both = median + ohms
        spread = math.hypot(median * sigma, ohms * _STEP) / both
        rows.append(((both, spread), math.exp(-0.5 * (_STEP * k / wide) ** 2)))
    total = math.fsum(weight for _, weight in rows)
    return [(prior, weight / total) for prior, weight in rows]


def _of_two(rows: Three, burnt: Unknown, sound: Unknown) -> float:
    """
    Probability of three numbers of which the third is the sum of the others, by errors that are normal. [-]

    The product of the three bells is one over both unknowns, times one over what the sum is off.
    """
    (_, a, s_a), (_, b, s_b), (_, both, s_both) = rows
    off, variance = both - a - b, s_a**2 + s_b**2 + s_both**2
    height = math.exp(-0.5 * off * off / variance) / math.sqrt(2.0 * math.pi * variance)
    a, b = a + off * s_a**2 / variance, b + off * s_b**2 / variance
    rest = s_b**2 + s_both**2
    wide, slope, narrow = s_a * math.sqrt(rest / variance), -(s_b**2) / rest, s_b * s_both / math.sqrt(rest)
    density = 0.0
    for (z, weight), (v, share) in itertools.product(NODES, repeat=2):
        x = a + z * wide
        y = b + slope * (x - a) + v * narrow
        density += weight * share * _density(x, burnt) * _density(y, sound)
    return height * density * math.prod(h for h, _, _ in rows)


def _of_star(readings: Sequence[float], arms: dict[str, Unknown]) -> float:
    """Density of C–R, C–S and S–R, by the three arms they fix, half as dense as these. [1/Ω³]"""
    c_r, c_s, s_r = readings
    ohms = {"C": 0.5 * (c_r + c_s - s_r), "R": 0.5 * (c_r + s_r - c_s), "S": 0.5 * (c_s + s_r - c_r)}
    return 0.5 * math.prod(_density(ohms[arm], unknown) for arm, unknown in arms.items())


def _over(
    outer: Unknown, direct: Sequence[Display], beside: Sequence[tuple[Sequence[Display], Unknown]]
) -> float:
    """Probability of displays of one unknown, and of some of it and another in series each. [-]"""
    (lowest, s_lowest), (highest, s_highest) = outer[0][0], outer[-1][0]
    low, high = math.log(lowest) - 5.0 * s_lowest, math.log(highest) + 5.0 * s_highest
    rows = []
    for ohms, _, width in rule(cut(_cuts(outer, direct, beside), low, high), 3):
        seen = math.prod(d.probability(ohms) for d in direct)
        rows.append((width * ohms * _density(ohms, outer) * seen, ohms))
    least = _LEAST * max(weight for weight, _ in rows)
    return math.fsum(
        weight * math.prod(_shown(repeats, unknown, ohms) for repeats, unknown in beside)
        for weight, ohms in rows
        if weight > least
    )


def _cuts(
    outer: Unknown, direct: Sequence[Display], beside: Sequence[tuple[Sequence[Display], Unknown]]
) -> list[Cut]:
    """Where that bends: with the unknown itself, at what is shown, and at what the other leaves of it. [-]"""
    if len(outer) == 1:
        cuts = prior_cuts(*outer[0][0])
    else:  # shares that lie close together
        cuts = [(math.log(median), sigma) for (median, sigma), _ in outer[::3]]
    cuts += peak_cuts(bend for d in direct for bend in _bends(d))
    for repeats, unknown in beside:
        bends = [bend for d in repeats for bend in _bends(d)]
        cuts += peak_cuts(bends)
        if len(unknown) == 1:
            ((median, sigma), _) = unknown[0]
            for other in (median * math.exp(z * sigma) for z in (-2.0, 0.0, 2.0)):
                cuts += [(math.log(x - other), other * sigma / (x - other)) for x, _ in bends if x > other]
    return cuts


def _bends(display: Display) -> list[Cut]:
    """Where a display peaks or ends, and how sharply. [Ω], [Ω]"""
    return [*display.feet, *((display.peak,) if display.peak else ())]


def _shown(repeats: Sequence[Display], unknown: Unknown, base: float) -> float:
    """Probability of displays of a base and an unknown: of the sharpest, the rest at what it showed. [-]"""
    first, *again = sorted(repeats, key=lambda d: d.high - d.low)
    places = [x for x in (first.low, first.high) if math.isfinite(x)]
    total = 0.0
    for prior, weight in unknown:
        below = first.scale.below_all(places, *prior, base)
        low = below[0] if math.isfinite(first.low) else 0.0
        total += weight * ((below[-1] if math.isfinite(first.high) else 1.0) - low)
    there = first.y if first.y is not None else math.inf
    return max(total, 0.0) * math.prod(d.probability(there) for d in again)


def _density(ohms: float, unknown: Unknown) -> float:
    """Of an unknown. [1/Ω]"""
    return math.fsum(weight * log_normal(ohms, *prior) for prior, weight in unknown)


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
