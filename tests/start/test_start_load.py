"""Gas torque of a reciprocating compressor from its pressures."""

from __future__ import annotations

import math

import pytest

from humclick.errors import OutOfRange
from humclick.start.load import indicated_work, reciprocating
from tests.published import published


@published(
    source="Stoecker and Jones, Refrigeration and Air Conditioning (from memory)",
    where="ideal indicator diagram with clearance, polytropic work",
    printed_to="formula",
)
def test_the_mean_torque_is_the_indicated_work_over_a_turn() -> None:
    """The torque curve's mean, times a turn, is the closed formula's work."""
    for suction, discharge in ((1e5, 4e5), (1.3e5, 10e5), (2e5, 16e5)):
        mean, cosines, sines = reciprocating(5e-6, suction, discharge)
        assert mean * 2 * math.pi == pytest.approx(indicated_work(5e-6, suction, discharge), rel=1e-9)
        k = (1.1 - 1) / 1.1
        ratio = discharge / suction
        drawn = 5e-6 * (1 + 0.03 - 0.03 * ratio ** (1 / 1.1))
        assert mean * 2 * math.pi == pytest.approx(suction * drawn * (ratio**k - 1) / k, rel=1e-9)
        assert len(cosines) == len(sines) == 4


def test_the_curve_itself_has_that_mean() -> None:
    """Summed over the crank from its own geometry, pressure times volume gives the same work."""
    work = indicated_work(5e-6, 1.3e5, 10e5, 0.05, 1.13)
    total, before = 0.0, None
    steps = 20000
    for k in range(steps + 1):
        x = 2 * math.pi * k / steps
        volume = 0.05 * 5e-6 + 2.5e-6 * (1 - math.cos(x))
        if x < math.pi:
            pressure = max(1.3e5, 10e5 * (0.05 * 5e-6 / volume) ** 1.13)
        else:
            pressure = min(10e5, 1.3e5 * (1.05 * 5e-6 / volume) ** 1.13)
        if before is not None:
            total -= 0.5 * (pressure + before[1]) * (volume - before[0])
        before = (volume, pressure)
    assert total == pytest.approx(work, rel=1e-3)


def test_equal_pressures_need_no_torque() -> None:
    """Equalised, the gas asks for nothing."""
    assert reciprocating(5e-6, 4e5, 4e5) == (0.0, (0.0,) * 4, (0.0,) * 4)


def test_impossible_pressures_are_refused() -> None:
    """Discharge below suction, or a ratio at which re-expansion fills the cylinder."""
    with pytest.raises(OutOfRange, match="must not lie below suction"):
        reciprocating(5e-6, 4e5, 1e5)
    with pytest.raises(OutOfRange, match="nothing is drawn in"):
        reciprocating(5e-6, 1e4, 1e7, clearance=0.1)
