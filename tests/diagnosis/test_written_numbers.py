"""Figures deep inside judgement do not change unawares."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.diagnosis.written_numbers import FIGURES, figures, written
from tests.sample import sampled

#: Figures in closed form agree to this share of themselves, those of sets that may be left out to that. [-]
_CLOSED, _WEIGHED = 1e-6, 1e-4


def _same(now: Any, before: Any, where: str, share: float) -> None:
    if isinstance(before, dict):
        assert now.keys() == before.keys(), where
        for name, row in before.items():
            _same(now[name], row, f"{where}/{name}", share)
    elif isinstance(before, list):
        assert len(now) == len(before), where
        for number, row in enumerate(before):
            _same(now[number], row, f"{where}/{number}", share)
    elif isinstance(before, float) and isinstance(now, (int, float)):
        assert now == before or math.isclose(now, before, rel_tol=share, abs_tol=1e-3 * share), where
    else:
        assert now == before, where


@pytest.mark.parametrize("group", sampled(FIGURES, list(FIGURES)[::4]))
def test_figures_are_those_written_down(group: str) -> None:
    """Displays and bins, unnamed pins, forecasts, losses and plans."""
    share = _CLOSED if group in ("displays", "bins") else _WEIGHED
    _same(figures(group), written()[group], group, share)


def test_what_unnamed_pins_may_come_to_is_among_them() -> None:
    """Sound and not, to be named and not, of this kind of machine and not."""
    said = {row[0] for group, rows in written().items() for row in rows.values() if "pins" in group}
    assert said >= {"grounded", "inverter", "open", "remeasure", "sound"}
