"""Findings, contradictions, guards and bars of some dozens of hard calls do not change unawares."""

from __future__ import annotations

import pytest

from tests.diagnosis.written_sayings import calls, sayings, situations, supposed, written
from tests.sample import sampled


@pytest.mark.parametrize("name", sampled(calls(), list(calls())[::3]))
def test_what_is_said_of_a_call_is_what_was_written_down(name: str) -> None:
    """Every sentence, and for every probe what stands before it, at points all along the call."""
    every, before = situations(calls()[name]), written()[name]
    assert len(every) == len(before) - 1
    for situation, row in zip(every, before, strict=False):
        now = sayings(situation)
        for part in row:
            assert now[part] == row[part], (len(situation.observations), part)
        assert now.keys() == row.keys()


@pytest.mark.parametrize("name", list(calls())[::4])
def test_what_outcomes_would_change_is_what_was_written_down(name: str) -> None:
    """Outcomes, how probable they are, and the decision after each."""
    now, before = supposed(situations(calls()[name])[0]), written()[name][-1]
    assert now.keys() == before.keys()
    for probe, rows in before.items():
        assert [[r[0], r[3]] for r in now[probe]] == [[r[0], r[3]] for r in rows]
        for new, old in zip(now[probe], rows, strict=True):
            assert new[1] == pytest.approx(old[1], abs=2e-5)
            assert [r for r, _ in new[2]] == [r for r, _ in old[2]]
            assert [p for _, p in new[2]] == pytest.approx([p for _, p in old[2]], abs=2e-5)
