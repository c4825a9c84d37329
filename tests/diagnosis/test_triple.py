"""Three readings of one unknown: the closed form against the integral taken step by step."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.diagnosis.displays import Display
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.triple import Triple, orders_of
from humclick.meters import Quantity, meter
from humclick.readings import parse_reading

METER = meter("standard")
CLEAN = {name: 0.0 if name != "dirty_contact_ohms" else 1.0 for name in default_shop().slips}


def shown(*texts: str, slips: dict[str, float] | None = None) -> list[list[Display]]:
    """One display a pair."""
    return [
        [Display(parse_reading(text, Quantity.RESISTANCE), METER, slips or CLEAN)] if text else []
        for text in texts
    ]


def stepped(
    displays: list[list[Display]], times: tuple[float, float, float], median: float, sigma: float
) -> float:
    """The integral over ln of the unknown in 40,000 steps."""
    steps, reach = 40_000, 6.0 * sigma
    total, width = 0.0, 2.0 * reach / steps
    for k in range(steps):
        t = -reach + (k + 0.5) * width
        x = median * math.exp(t)
        weight = math.exp(-0.5 * (t / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
        for factor, row in zip(times, displays, strict=True):
            for display in row:
                weight *= display.probability(factor * x)
        total += weight * width
    return total


@pytest.mark.parametrize("texts", [("12.0", "12.1", "11.9"), ("40.2", "40.0", ""), ("8.0", "", "")])
def test_the_closed_form_is_the_integral(texts: tuple[str, str, str]) -> None:
    """Without slips, the sum over bells is the integral to a few percent."""
    rows = shown(*texts)
    own = 1e-6
    triple = Triple(rows, 10.0, 1.0, own, lambda display: display.probability(0.0))
    assert triple.value((1.0, 1.0, 1.0)) == pytest.approx(stepped(rows, (1.0, 1.0, 1.0), 10.0, 1.0), rel=0.06)


@given(order=st.permutations(range(3)))
def test_readings_and_factors_turned_alike_give_the_same(order: list[int]) -> None:
    """Which pair is called the first does not matter."""
    texts, times = ("6.0", "12.0", "12.1"), (0.5, 1.0, 1.0)
    slips = dict(default_shop().slips)
    base = Triple(shown(*texts, slips=slips), 10.0, 1.5, 0.01, lambda d: d.probability(0.0)).value(times)
    turned = Triple(
        shown(*(texts[k] for k in order), slips=slips), 10.0, 1.5, 0.01, lambda d: d.probability(0.0)
    ).value((times[order[0]], times[order[1]], times[order[2]]))
    assert turned == pytest.approx(base, rel=1e-9)


@given(share=st.floats(0.55, 0.97))
def test_degrees_lie_close_where_the_readings_have_them(share: float) -> None:
    """One of the degrees is as uneven as the readings are, and their weights sum to 1."""
    texts = ("40.0", f"{40.0 * share:.1f}", f"{40.0 * share:.1f}")
    triple = Triple(shown(*texts), 30.0, 1.5, 0.01, lambda d: d.probability(0.0))
    degrees = triple.degrees((1.0, 0.99, 0.99), (1.0, 0.5, 0.5))
    assert math.fsum(weight for weight, _ in degrees) == pytest.approx(1.0)
    assert min(abs(math.log(times[1] / share)) for _, times in degrees) < 0.01


def test_orders_of_a_pattern_are_told_apart_once() -> None:
    """Two alike and one apart can lie in three ways, three alike in one."""
    assert len(orders_of((1.0, 0.5, 0.5), (1.0, 0.5, 0.5))) == 3
    assert len(orders_of((1.0, 1.0, 1.0), (1.0, 1.0, 1.0))) == 1
    assert len(orders_of((1.0, 0.9, 0.8), (1.0, 0.5, 0.2))) == 6
