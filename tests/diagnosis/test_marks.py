"""What a whole-machine reading sees of a set are the bits of its modes; its quick bound is a bound."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import weighing_of
from humclick.diagnosis.observations.model import Taken
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from tests.diagnosis.test_posterior import seen

BENCH = Bench(Machine.of("rsir-ptc", "external"), default_shop())
sets = st.sampled_from(BENCH.space.sets)


@settings(max_examples=60, deadline=None)
@given(chosen=sets, hot=st.booleans())
def test_an_attempt_is_that_of_its_modes_whatever_is_known_of_them(
    chosen: tuple[tuple[int, int], ...], hot: bool
) -> None:
    """The bits of all modes together name the attempt that the modes themselves name."""
    bits = 0
    for fault in chosen:
        bits |= BENCH.marks()[fault]
    halves = BENCH.starts.either_way([bits])
    attempt = BENCH.starts.by(halves[hot][0])
    assert attempt is BENCH.starts.of(BENCH.modes_in(chosen), hot=hot)


@pytest.mark.parametrize("text", ["0.4 A", "4 A", "9.5 A", "16 A", "40 A", "OL"])
def test_the_quick_bound_on_amps_is_a_bound(text: str) -> None:
    """No set gives a reading of amps more than its bound, nor the bound more than the most."""
    taken = Taken(probe_of(BENCH.machine, "attempt.amps", BENCH.shop), seen("attempt.amps", text))
    made = taken.probe.model.factor(weighing_of(BENCH, Situation(BENCH.machine)), [taken], frozenset())
    assert made.per_set is not None
    assert made.rough is not None
    for chosen in BENCH.space.sets[::7]:
        value = made.per_set(chosen)
        assert value <= made.rough(chosen) * (1 + 1e-9)
        assert value <= made.most * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(chosen=sets)
def test_volts_at_a_start_are_those_of_what_shows(chosen: tuple[tuple[int, int], ...]) -> None:
    """Modes that change nothing when power comes may be left out, or others of their kind stand for them."""
    still = BENCH.standstill
    modes = BENCH.modes_in(chosen)
    shown = {part: mode for part, mode in modes.items() if still.shows(part, mode) is not None}
    for one, other in zip(still.terminal_volts(shown), still.terminal_volts(modes), strict=True):
        assert one == pytest.approx(other, rel=1e-12)
