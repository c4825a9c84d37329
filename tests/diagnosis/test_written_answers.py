"""What judgement says of several hundred situations does not change unawares."""

from __future__ import annotations

from typing import Any

import pytest

from tests.diagnosis.written_answers import answer, calls, prefixes, written
from tests.sample import sampled

#: Probabilities agree to this. [-]
_CLOSE = 1e-7
#: Sums of money agree to this share of themselves. [-]
_MONEY = 1e-6


def _close(now: Any, before: Any) -> bool:
    if isinstance(before, dict):
        return now.keys() == before.keys() and all(_close(now[name], row) for name, row in before.items())
    if isinstance(before, list):
        return len(now) == len(before) and all(map(_close, now, before))
    if isinstance(before, (int, float)) and not isinstance(before, bool) and isinstance(now, (int, float)):
        return abs(now - before) <= max(_MONEY * abs(before), _CLOSE)
    return bool(now == before)


def _same(call: dict[str, Any], count: int) -> None:
    now, before = answer(call, count), written()[f"{call['name']}/{count}"]
    for name in before.keys() | now.keys():
        assert _close(now.get(name), before.get(name)), (call["name"], count, name)


_CALLS = prefixes(every=16)


@pytest.mark.parametrize(("call", "count"), sampled(_CALLS, _CALLS[::3]), ids=str)
def test_the_answer_is_the_one_written_down(call: dict[str, Any], count: int) -> None:
    """One in sixteen of all situations."""
    _same(call, count)


@pytest.mark.long
@pytest.mark.parametrize("call", calls(), ids=lambda call: call["name"])
def test_all_answers_are_those_written_down(call: dict[str, Any]) -> None:
    """Every situation of every call."""
    for count in range(len(call["seen"]) + 1):
        _same(call, count)


def test_every_machine_is_written_down() -> None:
    """Each arrangement with each of its protectors is among the calls."""
    from tests.visit import MACHINES

    assert {(call["arrangement"], call["protector"]) for call in calls()} >= set(MACHINES)
