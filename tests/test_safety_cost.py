"""What safety costs a call is measured, told as measured, and at most a third of what it was."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from benchmarks.safety_cost import replayed_on_pages, replayed_on_terminal

ROOT = Path(__file__).parents[1]
FOUND = json.loads((ROOT / "benchmarks" / "results" / "safety_cost.json").read_text("utf-8"))
COSTS = [("terminal", "lines"), ("terminal", "confirmations"), ("pages", "lines"), ("pages", "taps")]


@pytest.mark.parametrize(("face", "cost"), COSTS)
def test_safety_costs_a_third_at_most(face: str, cost: str) -> None:
    """Lines and confirmations are at most a third of those before, with more steps held and more readings."""
    before, now = FOUND["before"][face], FOUND["now"][face]
    assert 3 * now[cost] <= before[cost]
    assert now["gates held"] >= before["gates held"]
    assert now["readings"] >= before["readings"]
    assert 3 * now[cost] * before["gates held"] <= before[cost] * now["gates held"]  # for each step held
    page = (ROOT / "docs" / "explanation" / "what-safety-costs.md").read_text("utf-8")
    assert f"| {before[cost]} | {now[cost]} | {now[cost] / before[cost]:.0%}".replace("%", " %") in page


@pytest.mark.parametrize("name", ["blocked-condenser", "open-control"])
def test_a_replay_confirms_in_blocks_and_leaves_nothing_unmarked(name: str, tmp_path: Path) -> None:
    """Both faces hold the same steps with the same confirmations, and no reading is without its steps."""
    terminal, pages = replayed_on_terminal(tmp_path, name), replayed_on_pages(name)
    assert terminal["marked"] == 0
    assert terminal["gates held"] == pages["gates held"]
    assert terminal["confirmations"] == pages["taps"]
    assert 0 < 3 * pages["taps"] <= pages["gates held"]
