"""The result of a start does not depend on the step it is taken in, within what is stated."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from humclick.start.case import Capacitor, Load, Protector, Ptc, StartCase, Supply
from humclick.start.run import simulate
from tests.start.machines import KRAUSE
from tests.start.test_start_gear import LOAD, SWITCHED

MOTOR = replace(KRAUSE, inertia=0.003)
CASES = {
    **SWITCHED,
    "pill and run capacitor": StartCase(
        MOTOR, Supply(110.0, 60.0, 0.3, 3e-4, angle=0.7), Ptc(5.0), None, Capacitor(15e-6, 2.0), load=LOAD
    ),
    "seized, with a pill and a protector": StartCase(
        MOTOR, Supply(110.0, 60.0, 0.3, 3e-4), Ptc(5.0), protector=Protector(0.06), load=Load(seized=True)
    ),
}
MARKS = ("three quarters of synchronous speed", "start contact opens", "protector opens", "protector closes")
SECONDS = 4.0


@pytest.mark.parametrize("step", [1e-4, 2e-4])
@pytest.mark.parametrize("name", CASES)
def test_switching_times_and_currents_do_not_depend_on_the_step(name: str, step: float) -> None:
    """Against 10 µs steps: times within 1 ms (2 ms at 0.2 ms), currents within 0.3 % (1 %) of the peak."""
    fine, coarse = (simulate(CASES[name], SECONDS, step=h) for h in (1e-5, step))
    loose = 1.0 if step <= 1e-4 else 2.0
    for mark in MARKS:
        one, other = fine.when(mark), coarse.when(mark)
        assert math.isnan(one) == math.isnan(other)
        if not math.isnan(one) and one < 1.0:
            assert other == pytest.approx(one, abs=1e-3 * loose)
        elif not math.isnan(one):
            assert other == pytest.approx(one, rel=1e-3 * loose)
    early = fine.time < min(fine.when("protector opens"), SECONDS) - 0.02
    early = early if early.any() else fine.time < SECONDS
    level = float(fine.line.max())
    for ours, theirs in ((coarse.line, fine.line), (coarse.start, fine.start)):
        gap = np.interp(fine.time[early], coarse.time, ours) - theirs[early]
        assert np.abs(gap).max() < (0.003 if step <= 1e-4 else 0.01) * level


def test_the_half_steps_after_a_switch_keep_a_hot_pill_from_ringing() -> None:
    """With a hot pill joined, its milliamps are right to 3 % from the third step on, and do not swing."""
    hot = CASES["seized, with a pill and a protector"].with_(temperatures__ptc=160.0, supply__angle=1.5)
    coarse, fine = (simulate(hot, 0.004, step=h, record="wave") for h in (1e-4, 2e-6))
    truth = np.interp(coarse.time, fine.time, fine.gear)
    assert coarse.gear[3:] == pytest.approx(truth[3:], rel=0.03)
