"""A display's probabilities sum to one, and integrals over the unknown agree with independent quadrature."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from humclick.diagnosis.displays import Display, cut_at, shares_of
from humclick.diagnosis.law import Scale, gain
from humclick.diagnosis.likelihood import evidence, nodes_of
from humclick.diagnosis.quadrature import cut, peak_cuts, prior_cuts, rule
from humclick.diagnosis.shop import default_shop
from humclick.meters import Meter, Quantity, meter
from humclick.readings import Reading
from tests.published import published

OHMS = Quantity.RESISTANCE
SLIPS = default_shop().slips
NO_SLIPS = dict.fromkeys(SLIPS, 0.0) | {"dirty_contact_ohms": SLIPS["dirty_contact_ohms"]}
OPEN = Reading(OHMS, None, over_limit=True)


def number(value: float, resolution: float) -> Reading:
    """A reading in ohms, rounded to its last digit."""
    value = max(0.0, round(value / resolution) * resolution)
    return Reading(OHMS, value, below_resolution=value == 0.0, resolution=resolution)


def every_display(own: Meter) -> list[Reading]:
    """Every display of the meter's ohm ranges, each range from where the one below ends."""
    found = [OPEN, number(0.0, own.range_for(OHMS, 0.0).resolution)]
    last = 0.0
    for each in sorted((r for r in own.ranges if r.quantity == OHMS), key=lambda r: r.full_scale):
        first = max(1, math.ceil(last / each.resolution - 1e-9))
        count = round(each.full_scale / each.resolution)
        found.extend(number(k * each.resolution, each.resolution) for k in range(first, count))
        last = each.full_scale
    return found


@pytest.fixture(scope="module")
def displays() -> list[Display]:
    """Every display of the standard meter, slips included."""
    own = meter("standard")
    return [Display(shown, own, SLIPS, 0.2) for shown in every_display(own)]


@pytest.mark.parametrize("x", [0.0, 0.5, 4.0, 12.3, 180.0, 199.9, 2500.0, 3e5, 19.9e6])
def test_probabilities_of_all_displays_sum_to_one(displays: list[Display], x: float) -> None:
    """Whatever is really there, the meter shows some number, zeros or OL."""
    assert math.fsum(d.probability(x) for d in displays) == pytest.approx(1.0, abs=1e-9)


def test_probabilities_of_all_displays_of_an_open_sum_to_one(displays: list[Display]) -> None:
    """On an open circuit the meter shows OL, or something that means nothing."""
    assert math.fsum(d.probability(math.inf) for d in displays) == pytest.approx(1.0, abs=1e-9)


def test_probabilities_without_slips_sum_to_one() -> None:
    """A hand that never slips leaves the meter's own error, spread over the digits."""
    own = meter("good")
    shown = [Display(number(k * 0.1, 0.1), own, NO_SLIPS) for k in range(200)]
    assert math.fsum(d.probability(9.3) for d in shown) == pytest.approx(1.0, abs=1e-6)


@dataclass(frozen=True)
class Drawn:
    """A random case: an unknown and its displays."""

    median: float
    sigma: float
    displays: tuple[Display, ...]


def drawn(seed: int) -> Drawn:
    """An unknown of any size, one to five displays on any meter, some OL, some far from the prior."""
    chance = random.Random(seed)
    own = meter(chance.choice(["basic", "standard", "good", "bench"]))
    median, sigma = 10 ** chance.uniform(-1.0, 4.0), math.log(chance.choice([1.2, 1.5, 3.0, 10.0])) / 1.96
    x = median * math.exp(chance.gauss(0.0, sigma)) * chance.choice([1.0, 1.0, 1.0, 0.4, 1.8])
    digit = own.range_for(OHMS, x).resolution
    offset = chance.choice([0.0, 0.0, 0.25, 0.5])
    shown = []
    for _ in range(chance.choice([1, 1, 2, 3, 5])):
        lost = chance.random() < 0.05
        reading = OPEN if lost else number(x + offset + chance.gauss(0.0, 2.0 * digit), digit)
        shown.append(Display(reading, own, SLIPS, offset))
    return Drawn(median, sigma, tuple(shown))


def by_scipy(case: Drawn) -> float:
    """The same integral over z = (ln x − μ)/σ, piece by piece with scipy's own rule."""
    mu = math.log(case.median)
    places = {0.5 * k for k in range(-18, 19)}
    for d in case.displays:
        edges = list(d.steps)
        if d.peak is not None:
            edges += [d.peak[0] + k * d.peak[1] for k in (-9, -6, -4, -2, -1, 0, 1, 2, 4, 6, 9)]
        places |= {(math.log(x) - mu) / case.sigma for x in edges if x > 0.0}
    at = sorted(z for z in places if -13.0 <= z <= 13.0)

    def integrand(zs: list[float]) -> list[float]:
        rows = []
        for z in zs:
            p = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
            for d in case.displays:
                p *= d.probability(math.exp(mu + case.sigma * z))
            rows.append(p)
        return rows

    return math.fsum(float(integrate.fixed_quad(integrand, a, b, n=12)[0]) for a, b in itertools.pairwise(at))


@pytest.mark.parametrize("seed", range(60))
def test_evidence_agrees_with_scipy(seed: int) -> None:
    """Probability of displays of one unknown is that of an independent quadrature to one in a thousand."""
    case = drawn(seed)
    value = evidence(case.displays, case.median, case.sigma).value
    assert value == pytest.approx(by_scipy(case), rel=1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_order_of_repeats_does_not_matter(seed: int) -> None:
    """Repeats are one body of evidence, whichever was taken first."""
    case = drawn(seed)
    back = evidence(tuple(reversed(case.displays)), case.median, case.sigma).value
    assert evidence(case.displays, case.median, case.sigma).value == pytest.approx(back, rel=1e-12)


def log_odds(repeats: int) -> float:
    """Healthy, 20 Ω ± 5 %, against shorted, 14.5 Ω ± 16 %, after readings of 18.8 Ω. [nat]"""
    two_counts = meter("good")
    shown = [Display(number(18.8, 0.1), two_counts, NO_SLIPS)] * repeats
    error = gain(two_counts, OHMS, 18.8)
    healthy = evidence(shown, 20.0, math.hypot(0.05, error)).value
    shorted = evidence(shown, 14.5, math.hypot(0.16, error)).value
    return math.log(healthy / shorted)


def test_five_repeats_count_about_as_one() -> None:
    """Repeats tell the same value again: they add little to what the first one said of the winding."""
    once, five = log_odds(1), log_odds(5)
    assert abs(five - once) < 0.1 * abs(once) + 0.02
    assert abs(five - 5.0 * once) > 1.0


def test_a_reading_narrows_the_unknown_to_the_meter_error() -> None:
    """After a reading the unknown lies around it, as far as the meter is off."""
    shown = Display(number(12.3, 0.1), meter("good"), NO_SLIPS)
    nodes = evidence([shown], 10.0, 0.5).nodes
    mean = math.fsum(x * w for x, w in nodes)
    assert shown.peak is not None
    deviation = math.sqrt(math.fsum((x - mean) ** 2 * w for x, w in nodes))
    assert mean == pytest.approx(12.3, abs=0.02)
    assert deviation == pytest.approx(shown.peak[1], rel=0.02)


@published(
    source="JCGM 100:2008", where="4.3.7 and F.2.2.1, uniform limit and resolution", printed_to="formula"
)
def test_deviation_of_a_display_follows_limit_and_digit() -> None:
    """Two counts of 0.1 Ω and its rounding make √(0.2²/3 + 0.1²/12)."""
    shown = Display(number(12.3, 0.1), meter("good"), SLIPS)
    assert shown.peak is not None
    assert shown.peak[1] == pytest.approx(math.sqrt(0.2**2 / 3 + 0.1**2 / 12), rel=1e-12)


@published(source="JCGM 100:2008", where="4.3.7, uniform limit", printed_to="formula")
def test_gain_is_the_percent_part_over_root_three() -> None:
    """A limit of 0.5 % of reading is a standard deviation of 0.5 %/√3, and nothing where nothing is shown."""
    assert gain(meter("good"), OHMS, 12.3) == pytest.approx(0.005 / math.sqrt(3.0), rel=1e-12)
    assert gain(meter("good"), OHMS, math.inf) == 0.0
    assert gain(meter("good"), Quantity.VOLTAGE, -1.0) == 0.0


@given(st.floats(1e-3, 1e9), st.floats(1e-3, 3.0))
def test_nodes_have_the_moments_of_a_log_normal(median: float, sigma: float) -> None:
    """Nodes of an unknown sum to one and give back mean and variance of its logarithm."""
    nodes = nodes_of(median, sigma)
    mean = math.fsum(w * math.log(x / median) for x, w in nodes)
    square = math.fsum(w * math.log(x / median) ** 2 for x, w in nodes)
    assert math.fsum(w for _, w in nodes) == pytest.approx(1.0, rel=1e-12)
    assert mean == pytest.approx(0.0, abs=1e-9)
    assert square == pytest.approx(sigma**2, rel=1e-3)


@pytest.mark.parametrize("median", [math.inf, 0.0])
def test_an_unknown_that_is_no_spread_is_one_node(median: float) -> None:
    """Open and dead short are what they are."""
    assert nodes_of(median, 0.5) == ((median, 1.0),)


@given(st.floats(0.01, 1e6), st.floats(0.01, 2.0))
@settings(max_examples=30)
def test_pieces_integrate_a_gaussian(median: float, sigma: float) -> None:
    """The rule on a Gaussian's own cuts gives its area."""
    cuts = prior_cuts(median, sigma)
    nodes = rule(cut(cuts, cuts[0][0], cuts[-1][0]))
    mu = math.log(median)
    area = math.fsum(w * math.exp(-0.5 * ((y - mu) / sigma) ** 2) for _, y, w in nodes)
    assert area == pytest.approx(sigma * math.sqrt(2.0 * math.pi), rel=2e-4)


def test_cuts_that_are_nearly_one_are_one() -> None:
    """Two peaks at the same place are cut once, with the narrower one's cuts."""
    twice = cut([*peak_cuts([(4.0, 0.1)]), *peak_cuts([(4.0001, 0.1)])], 0.0, 5.0)
    assert len(twice) == len(cut(peak_cuts([(4.0, 0.1)]), 0.0, 5.0))
    assert twice == sorted(twice)


@pytest.mark.parametrize("quantity", [OHMS, Quantity.VOLTAGE, Quantity.CAPACITANCE, Quantity.CURRENT])
@given(median=st.floats(-3.0, 8.0), sigma=st.sampled_from((0.0, 0.004, 0.03, 0.2, 0.8, 2.0)))
@settings(max_examples=5, deadline=None)
def test_stretches_over_an_unknown_are_their_mean_over_close_nodes(
    quantity: Quantity, median: float, sigma: float
) -> None:
    """The closed form of a forecast against a plain sum of the same law; all stretches sum to one."""
    scale = Scale(meter("standard"), quantity, SLIPS, 0.2)
    unit = 1e-6 if quantity is Quantity.CAPACITANCE else 1.0
    stretches = cut_at(scale, [edge * unit for edge in (0.05, 0.35, 3.0, 100.0, 200.0, 2000.0)])
    made = shares_of(stretches, 10**median * unit, sigma)
    assert math.fsum(made) == pytest.approx(1.0, abs=1e-12)
    zs = [-8.0 + 0.0025 * k for k in range(6401)] if sigma else [0.0]  # the law jumps where OL begins
    weights = [math.exp(-0.5 * z * z) for z in zs]
    for stretch, share in zip(stretches, made, strict=True):
        rows = (stretch.probability(10**median * unit * math.exp(sigma * z)) for z in zs)
        plain = math.fsum(w * p for w, p in zip(weights, rows, strict=True)) / math.fsum(weights)
        assert share == pytest.approx(plain, abs=2e-3)


@pytest.mark.parametrize("name", ["basic", "standard"])
@given(x=st.floats(-3.0, 8.0))
@settings(max_examples=20, deadline=None)
def test_a_stretch_is_the_sum_of_its_displays(name: str, x: float) -> None:
    """Whatever is there, displays lie side by side, also where a range ends or a contact adds ohms."""
    own, there = meter(name), 10**x
    scale = Scale(own, OHMS, SLIPS, 0.2)
    for low, high in ((190.0, 210.0), (1.0, 4.0)):
        (_, stretch, *_) = cut_at(scale, [low, high])
        tenths = [k / 10 for k in range(round(10 * low), round(10 * min(high, 200.0)))]
        shown = [number(value, 0.1) for value in tenths]
        shown += [number(float(ohms), 1.0) for ohms in range(200, round(high))]
        inside = [Display(reading, own, SLIPS, 0.2) for reading in shown]
        total = math.fsum(display.probability(there) for display in inside)
        assert stretch.probability(there) == pytest.approx(total, abs=1e-9)


def test_a_wild_display_is_never_impossible() -> None:
    """No display has probability zero, whatever is there."""
    own = meter("standard")
    for reading in (number(4.0, 0.1), number(0.0, 0.1), OPEN):
        for x in (0.0, 1e-6, 4.0, 1e5, math.inf):
            assert 0.0 < Display(reading, own, SLIPS).probability(x) <= 1.0
