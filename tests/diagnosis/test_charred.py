"""Ohms in series with what is sealed in: the integral over them, against one on a plain fine grid."""

from __future__ import annotations

import math

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.charred import at_common, burnt_part, through_ohms
from humclick.diagnosis.displays import Display
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.winding_nodes import PinDisplay
from humclick.diagnosis.windings import WindingEvidence
from humclick.meters import Quantity, default_meter
from humclick.parts.family import HEALTHY
from humclick.readings import parse_reading

NAMES = ("C", "R", "S")
WINDINGS = WindingEvidence(Machine.of("rsir-ptc", "internal", Nameplate(115.0, 60.0)))
SLIPS = default_shop().slips


def shown(pins: tuple[int, int], text: str) -> PinDisplay:
    display = Display(parse_reading(text, Quantity.RESISTANCE), default_meter(), SLIPS)
    return PinDisplay(*pins, display, 1.0, False)


def grid(median: float, sigma: float, points: int) -> list[tuple[float, float]]:
    """Values and weights of a log-normal unknown, evenly over its logarithm, six deviations either way."""
    steps = [12.0 * k / (points - 1) - 6.0 for k in range(points)]
    weights = [math.exp(-0.5 * z * z) for z in steps]
    total = math.fsum(weights)
    return [(median * math.exp(sigma * z), w / total) for z, w in zip(steps, weights, strict=True)]


def windings(points: int) -> list[list[tuple[float, float]]]:
    return [grid(*WINDINGS.prior(part, HEALTHY), points) for part in ("run_winding", "start_winding")]


@pytest.mark.parametrize(("run", "start"), [("0.42k", "0.43k"), ("38.5", "47.0"), ("3.1", "OL")])
def test_ohms_at_the_common_pin_are_integrated_over(run: str, start: str) -> None:
    """C–R and C–S raised by the same unknown: the sum over a fine grid of all three."""
    spread = WINDINGS.machine.size("internal_protector", "burnt")
    displays = [shown((0, 1), run), shown((0, 2), start)]
    plain = 0.0
    for ohms, weight in grid(spread.median, spread.sigma, 3001):
        both = 1.0
        for display, usual in zip(displays, windings(61), strict=True):
            chances = display.display.probabilities([ohms + value for value, _ in usual])
            both *= math.fsum(p * w for p, (_, w) in zip(chances, usual, strict=True))
        plain += weight * both
    assert through_ohms(WINDINGS, "internal_protector", displays, NAMES) == pytest.approx(plain, rel=0.15)


@pytest.mark.parametrize(
    ("texts", "near"),
    [(("253", "12.4", "262"), (240.0, 266.0)), (("31.0", "9.1", "40.5"), (29.0, 33.0))],
)
def test_ohms_in_a_lead_are_integrated_over(texts: tuple[str, str, str], near: tuple[float, float]) -> None:
    """C–R and S–R raised by the same unknown, C–S not: the sum over a fine grid of all three."""
    lead = WINDINGS.machine.size("wiring", "burnt")
    displays = [shown(pins, text) for pins, text in zip(((0, 1), (0, 2), (1, 2)), texts, strict=True)]
    run, start = windings(201)[0], [row for row in windings(1501)[1] if 0.5 < row[0] / float(texts[1]) < 2.0]
    step = (near[1] - near[0]) / 250
    plain = 0.0
    for k in range(250):
        both = near[0] + k * step
        behind = [
            (math.log((both - ohms) / lead.median) / lead.sigma, both - ohms, w)
            for ohms, w in run
            if ohms < both
        ]
        density = math.fsum(w * math.exp(-0.5 * z * z) / (x * lead.sigma) for z, x, w in behind)
        first, second, third = (d.display for d in displays)
        sound = second.probabilities([ohms for ohms, _ in start])
        across = third.probabilities([both + ohms for ohms, _ in start])
        rest = math.fsum(a * b * w for a, b, (_, w) in zip(sound, across, start, strict=True))
        plain += step * density / math.sqrt(2.0 * math.pi) * first.probability(both) * rest
    assert through_ohms(WINDINGS, "run_winding", displays, NAMES) == pytest.approx(plain, rel=0.15)


def test_what_is_burnt_is_named_by_the_mode() -> None:
    """A part in a mode of ohms; nothing where a mode opens or is sound."""
    assert burnt_part(WINDINGS, (HEALTHY, "burnt_lead", HEALTHY)) == "start_winding"
    assert burnt_part(WINDINGS, (HEALTHY, HEALTHY, "burnt")) == "internal_protector"
    assert burnt_part(WINDINGS, ("open", HEALTHY, HEALTHY)) == ""


def test_three_numbers_leave_the_arm_of_the_common_pin() -> None:
    """Half of 104 and 112 less 16 is 100; without the third nothing is left."""
    three = [shown((0, 1), "104.0"), shown((0, 2), "112.0"), shown((1, 2), "16.0")]
    found = at_common(three)
    assert found is not None
    assert found[0] == pytest.approx(100.0, rel=1e-3)
    assert 0.0 < found[1] < 2.0
    assert at_common(three[:2]) is None
