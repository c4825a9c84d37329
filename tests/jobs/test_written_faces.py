"""What faces say along some dozens of calls, and on the sheet at their end, does not change unawares."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from humclick.arrangements.arrangement import arrangements
from humclick.jobs.flow import Next
from tests.jobs.written_faces import along, at_the_end, calls, written
from tests.sample import sampled

#: Numbers agree to this share of themselves, and to this. [-]
_SHARE, _CLOSE = 1e-6, 1e-7
everywhere = pytest.mark.parametrize("name", sampled(calls(), list(calls())[::4]))


def _same(now: Any, before: Any, where: str) -> None:
    if isinstance(before, dict):
        assert isinstance(now, dict), where
        assert now.keys() == before.keys(), where
        for name, row in before.items():
            _same(now[name], row, f"{where}/{name}")
    elif isinstance(before, list):
        assert isinstance(now, list), where
        assert len(now) == len(before), where
        for number, row in enumerate(before):
            _same(now[number], row, f"{where}/{number}")
    elif isinstance(before, float) and isinstance(now, float):
        assert math.isclose(now, before, rel_tol=_SHARE, abs_tol=_CLOSE), where
    else:
        assert now == before, where


@everywhere
def test_what_comes_next_after_every_event_is_what_was_written_down(name: str) -> None:
    """State, step, safety before it, warmth and problems, at the point of each event."""
    _same(json.loads(json.dumps(along(calls()[name]))), written()[name]["along"], name)


@everywhere
def test_the_sheet_at_the_end_is_what_was_written_down(name: str) -> None:
    """All three pages, the record with its findings and weights, the goes at fixing it, the reasons."""
    _same(at_the_end(calls()[name]), written()[name]["end"], name)


def test_every_machine_and_every_state_is_written_down() -> None:
    """Each arrangement, each state a call can be in, and each kind of step but being refused."""
    machines = {table["arrangement"] for call in calls().values() for table in call if "arrangement" in table}
    assert machines == set(arrangements())
    rows = [said for row in written().values() for said in row["along"]]
    states = {said["state"][0] for said in rows if "state" in said}
    assert states == {
        *("stopped", "bare", "open", "handed", "passing", "needed", "fitted", "repaired"),
    }
    kinds = {said[name][0] for said in rows for name in said if name == "step" or name.startswith("before")}
    assert kinds == {kind.value for kind in Next} - {"refused", "recognised"}  # what only a shelf may bring
