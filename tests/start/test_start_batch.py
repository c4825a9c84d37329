"""Many attempts at once give what each alone gives."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from humclick.errors import OutOfRange, Refused
from humclick.start.batch import simulate_many, simulate_packed
from humclick.start.case import Load, Protector, Ptc, StartCase
from humclick.start.packed import pack_many
from humclick.start.rows import OUTCOMES
from humclick.start.run import simulate
from tests.start.test_start_gear import MOTOR, PILL, SUPPLY, SWITCHED


def mixed() -> list[StartCase]:
    """Cases of all sorts and angles, more than there are lanes."""
    rng = np.random.default_rng(7)
    kinds = [*SWITCHED.values(), PILL, PILL.with_(load=Load(seized=True))]
    found = []
    for k in range(27):
        angle, volts = rng.uniform(0, 2 * math.pi), rng.uniform(80.0, 125.0)
        found.append(kinds[k % len(kinds)].with_(supply=replace(SUPPLY, volts=volts, angle=angle)))
    return found


def test_lanes_give_what_single_runs_give() -> None:
    """Outcome, times, currents and temperatures of each lane are those of the case alone."""
    cases = mixed()
    together = simulate_many(cases, 3.0, step=1e-4, quick=False)
    for k, case in enumerate(cases):
        alone = simulate(case, 3.0, step=1e-4).features
        assert OUTCOMES[together.outcome[k]] == OUTCOMES[int(alone["outcome"])]
        for name in ("peak", "locked", "running", "speed_time", "release_time", "run_winding_max", "ptc_max"):
            assert getattr(together, name)[k] == pytest.approx(alone[name], rel=1e-7, nan_ok=True)


def test_threads_do_not_change_the_result() -> None:
    """One thread or two: the same numbers to the last bit."""
    table = pack_many(mixed() * 3)
    one, two = (simulate_packed(table, 1.0, threads=n) for n in (1, 2))
    assert np.array_equal(one.locked, two.locked)
    assert np.array_equal(one.speed_time, two.speed_time, equal_nan=True)


def test_leaps_keep_trip_times() -> None:
    """With leaps, trip times are within 2 %, outcomes the same, temperatures within 3 K."""
    rng = np.random.default_rng(3)
    seized = StartCase(MOTOR, SUPPLY, Ptc(5.0), protector=Protector(0.022), load=Load(seized=True))
    cases = [
        seized.with_(supply__volts=float(v), protector__heater_ohms=float(h))
        for v, h in zip(rng.uniform(85, 125, 12), rng.uniform(0.015, 0.04, 12), strict=True)
    ]
    cases += [PILL.with_(protector__heater_ohms=float(h)) for h in rng.uniform(0.02, 0.5, 12)]
    cases += [c.with_(gear__stuck="closed", protector=Protector(0.03)) for c in SWITCHED.values()]
    quick, full = (simulate_many(cases, 20.0, quick=q) for q in (True, False))
    assert np.array_equal(quick.outcome, full.outcome)
    assert len(set(full.words())) >= 3
    both = ~np.isnan(full.trip_time)
    assert both.sum() > 8
    assert quick.trip_time[both] == pytest.approx(full.trip_time[both], rel=0.02)
    assert quick.run_winding_max == pytest.approx(full.run_winding_max, abs=3.0)
    assert quick.running == pytest.approx(full.running, rel=0.03, abs=0.05)


def test_bad_batches_are_refused() -> None:
    """No cases, a table of another shape, a number that is none, no time."""
    with pytest.raises(Refused, match="columns and a row"):
        simulate_many([], 1.0)
    with pytest.raises(Refused, match="columns and a row"):
        simulate_packed(np.zeros((3, 5)), 1.0)
    table = pack_many([PILL])
    table[0, 3] = math.nan
    with pytest.raises(Refused, match="finite"):
        simulate_packed(table, 1.0)
    with pytest.raises(OutOfRange, match="must last"):
        simulate_many([PILL], -1.0)
