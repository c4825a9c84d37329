"""Figures deep inside judgement do not change unawares."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.diagnosis.written_numbers import FIGURES, figures, written

#: Figures agree to this share of themselves, and to this. [-]
_SHARE, _CLOSE = 1e-6, 1e-12


def _same(now: Any, before: Any, where: str) -> None:
    if isinstance(before, dict):
        assert now.keys() == before.keys(), where
        for name, row in before.items():
            _same(now[name], row, f"{where}/{name}")
    elif isinstance(before, list):
        assert len(now) == len(before), where
        for number, row in enumerate(before):
            _same(now[number], row, f"{where}/{number}")
    elif isinstance(before, float) and isinstance(now, (int, float)):
        assert now == before or math.isclose(now, before, rel_tol=_SHARE, abs_tol=_CLOSE), where
    else:
        assert now == before, where


@pytest.mark.parametrize("group", FIGURES)
def test_figures_are_those_written_down(group: str) -> None:
    """Displays and bins, unnamed pins, forecasts, losses and plans."""
    _same(figures(group), written()[group], group)


def test_what_unnamed_pins_may_come_to_is_among_them() -> None:
    """Every conclusion there is."""
    said = {row[0] for group, rows in written().items() for row in rows.values() if "pins" in group}
    assert said >= {"sound", "open", "shorted", "grounded", "inverter"}
