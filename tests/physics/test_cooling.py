"""Cooling: how long to wait."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from humclick.errors import OutOfRange, Unknown
from humclick.physics.cooling import minutes_for, passing, probability_passed, time_to_reach
from tests.published import published

kinds = st.sampled_from(passing())


@published(
    source="Çengel, Heat and Mass Transfer",
    where="Ex. 4-1, thermocouple to 99 %, b = 0.462 1/s",
    printed_to="1 s",
)
def test_lumped_cooling_meets_the_textbook() -> None:
    """A junction of time constant 1/0.462 s has done 99 % of its way after 10 s."""
    assert round(time_to_reach(100, 1, 0, 1 / 0.462)) == 10


@published(source="common practice", where="PTC restart wait 3 to 10 min", printed_to="1 min")
def test_a_ptc_has_most_likely_cooled_within_the_usual_wait() -> None:
    """A PTC starter is unlikely to be ready after 2 min and almost surely is after 10 min."""
    assert probability_passed("ptc", 2) < 0.03
    assert probability_passed("ptc", 10) > 0.97


@published(source="common practice", where="an internal protector may take hours", printed_to="1 h")
def test_an_internal_protector_may_take_hours() -> None:
    """An internal protector is most likely still open after 10 min and may be after two hours."""
    assert probability_passed("internal_protector", 10) < 0.02
    assert 0.9 < probability_passed("internal_protector", 120) < 0.99


@published(source="SciPy", where="scipy.stats.lognorm", printed_to="1e-12")
def test_the_wait_is_log_normal_as_an_independent_library_has_it() -> None:
    """The probability equals an independent log-normal with median 4 and a 95 % factor of 3."""
    sigma = math.log(3) / stats.norm.ppf(0.975)
    for minutes in (0.5, 2.0, 4.0, 9.0, 30.0):
        expected = stats.lognorm.cdf(minutes, sigma, scale=4.0)
        assert probability_passed("external_protector", minutes) == pytest.approx(expected, rel=1e-12)


@given(kinds, st.floats(1e-6, 1 - 1e-6))
def test_waiting_as_long_as_told_gives_the_probability_wanted(kind: str, probability: float) -> None:
    """The probability after the wait told is the probability asked for."""
    assert probability_passed(kind, minutes_for(kind, probability)) == pytest.approx(probability, rel=1e-7)


@given(kinds, st.floats(0, 1e4), st.floats(0, 1e4))
def test_waiting_longer_never_makes_it_less_likely(kind: str, a: float, b: float) -> None:
    """The probability does not fall with time, begins at 0 and stays within 0 to 1."""
    early, late = sorted((a, b))
    assert 0 <= probability_passed(kind, early) <= probability_passed(kind, late) <= 1
    assert probability_passed(kind, 0) == 0


@given(st.floats(60, 150), st.floats(0.05, 0.95), st.floats(-10, 45), st.floats(0.1, 500))
def test_temperature_after_the_time_told_is_the_one_waited_for(
    start: float, part: float, ambient: float, tau: float
) -> None:
    """After the time told the exponential stands at the temperature waited for."""
    target = ambient + part * (start - ambient)
    wait = time_to_reach(start, target, ambient, tau)
    assert ambient + (start - ambient) * math.exp(-wait / tau) == pytest.approx(target, abs=1e-9)


def test_a_part_that_is_there_already_needs_no_wait() -> None:
    """No time is needed when the temperature waited for is the temperature now."""
    assert time_to_reach(40, 40, 25, 10) == 0


def test_a_part_below_its_surroundings_warms_by_the_same_law() -> None:
    """Warming takes as long as cooling over the same differences."""
    assert time_to_reach(-20, 10, 25, 10) == pytest.approx(time_to_reach(70, 40, 25, 10))


@pytest.mark.parametrize(("target", "ambient"), [(20, 25), (25, 25), (130, 25)])
def test_a_temperature_never_reached_is_refused(target: float, ambient: float) -> None:
    """A target at or beyond the surroundings, or on the other side, is refused."""
    with pytest.raises(OutOfRange, match=f"never reaches {target} °C; wait for a temperature between"):
        time_to_reach(110, target, ambient, 20)


def test_unknown_conditions_are_refused_with_the_known_ones() -> None:
    """A condition that is not listed is answered with the nearest."""
    with pytest.raises(Unknown, match="did you mean pressures"):
        probability_passed("pressure", 5)


@pytest.mark.parametrize("probability", [0, 1, -0.1, 1.1, math.nan])
def test_certainty_is_refused(probability: float) -> None:
    """No wait gives certainty, so a probability lies strictly between 0 and 1."""
    with pytest.raises(OutOfRange, match="probability must be"):
        minutes_for("ptc", probability)


@pytest.mark.parametrize("minutes", [-1, math.nan, math.inf])
def test_a_wait_that_cannot_be_is_refused(minutes: float) -> None:
    """Negative and endless waits are refused."""
    with pytest.raises(OutOfRange, match="wait must be"):
        probability_passed("ptc", minutes)
