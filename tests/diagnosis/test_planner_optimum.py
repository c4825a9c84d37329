"""The planner against the exact optimum of problems cut from the real model."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from benchmarks.optimum import (
    by_trees,
    cut,
    one_step_rule,
    optimum,
    real_problem,
    two_step_rule,
    value_of,
)
from scipy.optimize import linprog

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.planner import Choice, plan, worth_of_each
from humclick.diagnosis.situation import Heard
from tests.published import published

_CALLS = (
    ("rsir-ptc", "external", Heard.HUM_CLICK),
    ("csr-potential-relay", "internal", Heard.HUM),
    ("rsir-current-relay", "integrated", Heard.SILENT),
)


@pytest.fixture(scope="module", params=_CALLS, ids=lambda row: f"{row[0]}-{row[2].value}")
def whole(request: pytest.FixtureRequest) -> Choice:
    """A planning problem of the real model, after the complaint only."""
    name, protector, complaint = request.param
    return real_problem(Machine.of(name, protector, Nameplate(230.0, 50.0)), complaint)


def _small(whole: Choice, probes: int, cases: int) -> Choice:
    """The probes that are worth most, without trial fittings."""
    best = [w.probe for w in plan(whole).worths if whole.after[w.probe] is None]
    return cut(whole, best[:probes], cases)


def _lookahead(problem: Choice) -> tuple[float, list[float]]:
    """Value of acting now, and of each first probe with at most one more, nothing skipped."""

    def acting(weights: list[float], loss: list[list[float]]) -> float:
        return min(
            math.fsum(w * row[c] for w, c in zip(weights, problem.classes, strict=True)) for row in loss
        )

    def after(weights: list[float], t: int) -> list[list[float]]:
        table, rows = problem.tables[t], problem.rows_of[t]
        return [[w * table[r][o] for w, r in zip(weights, rows, strict=True)] for o in range(len(table[0]))]

    totals = []
    for t, first in enumerate(problem.first):
        loss = problem.after[t] or problem.loss
        total = first
        for joint in after(problem.weights, t):
            best = acting(joint, loss)
            for u in range(len(problem.first)):
                if u != t:
                    own = problem.after[u] or loss
                    then = math.fsum(acting(more, own) for more in after(joint, u))
                    best = min(best, problem.second[t][u] * math.fsum(joint) + then)
            total += best
        totals.append(total)
    return acting(problem.weights, problem.loss), totals


def test_optimum_agrees_with_a_recursion_over_every_order(whole: Choice) -> None:
    """Dynamic programming and plain recursion over all policy trees give the same least cost."""
    small = _small(whole, 4, 9)
    assert optimum(small) == pytest.approx(by_trees(small), rel=1e-9)


@published(
    source="Koller, Megiddo and von Stengel, Fast algorithms for finding randomized strategies in game trees",
    where="sequence form, one player (from memory)",
    printed_to="1e-7",
)
def test_optimum_agrees_with_a_linear_programme(whole: Choice) -> None:
    """The sequence form of the decision tree, solved as a linear programme, gives the same least cost."""
    small = _small(whole, 3, 8)
    cost: list[float] = []
    rows: list[dict[int, float]] = []
    right: list[float] = []

    def grow(weights: list[float], taken: tuple[int, ...], parent: int | None) -> None:
        row: dict[int, float] = {}
        if parent is not None:
            row[parent] = -1.0
        rows.append(row)
        right.append(1.0 if parent is None else 0.0)
        act = min(
            math.fsum(w * loss[c] for w, c in zip(weights, small.classes, strict=True)) for loss in small.loss
        )
        row[len(cost)] = 1.0
        cost.append(act)
        for t in range(len(small.tables)):
            if t in taken:
                continue
            price = small.second[taken[-1]][t] if taken else small.first[t]
            own = len(cost)
            row[own] = 1.0
            cost.append(price * math.fsum(weights))
            for o in range(len(small.tables[t][0])):
                chance = [small.tables[t][r][o] for r in small.rows_of[t]]
                grow([w * p for w, p in zip(weights, chance, strict=True)], (*taken, t), own)

    grow(small.weights, (), None)
    matrix = np.zeros((len(rows), len(cost)))
    for i, row in enumerate(rows):
        for k, x in row.items():
            matrix[i, k] = x
    solved = linprog(cost, A_eq=matrix, b_eq=right, bounds=(0, None), method="highs")
    assert solved.success
    assert optimum(small) == pytest.approx(solved.fun, rel=1e-7)


def test_two_step_rule_lies_between_the_optimum_and_acting_now(whole: Choice) -> None:
    """The repeated two-step rule never beats the optimum and never costs more than acting at once."""
    small = _small(whole, 5, 14)
    least, two = optimum(small), value_of(two_step_rule, small)
    assert least <= two * (1 + 1e-12)
    assert two <= plan(small).act_now * (1 + 1e-12)


def test_one_step_rule_is_no_better_than_the_optimum(whole: Choice) -> None:
    """The one-step rule never beats the optimum."""
    small = _small(whole, 5, 14)
    assert optimum(small) <= value_of(one_step_rule, small) * (1 + 1e-12)


def test_two_steps_are_exact_where_only_two_probes_exist(whole: Choice) -> None:
    """With two probes the two-step rule is the optimum, and its plan says what it costs."""
    small = _small(whole, 2, 14)
    made = plan(small)
    says = made.act_now if made.best is None else made.best.two_step
    assert says == pytest.approx(optimum(small), rel=1e-9)
    assert value_of(two_step_rule, small) == pytest.approx(optimum(small), rel=1e-9)


def test_pure_python_and_arrays_choose_the_same(whole: Choice) -> None:
    """Planning in pure Python and with arrays gives the same probe at the same worth."""
    plain, arrays = plan(whole, arrays=False), plan(whole, arrays=True)
    assert plain.action == arrays.action
    assert plain.act_now == pytest.approx(arrays.act_now, rel=1e-12)
    assert plain.best is not None
    assert arrays.best is not None
    assert plain.best.probe == arrays.best.probe
    assert plain.best.two_step == pytest.approx(arrays.best.two_step, rel=1e-9)
    assert [w.probe for w in plain.worths] == [w.probe for w in arrays.worths]


def test_what_is_skipped_does_not_change_the_choice(whole: Choice) -> None:
    """The pruned plan has the least total of a lookahead that skips nothing."""
    act_now, totals = _lookahead(whole)
    for arrays in (False, True):
        made = plan(whole, arrays=arrays)
        assert made.act_now == pytest.approx(act_now, rel=1e-12)
        assert made.best is not None
        assert made.best.two_step == pytest.approx(min(totals), rel=1e-6)
        assert totals[made.best.probe] == pytest.approx(min(totals), abs=2e-5)


def test_one_round_over_all_probes_agrees_with_the_plan(whole: Choice) -> None:
    """The one-step worth of every probe is what one round over all probes finds."""
    by_probe = {w.probe: w.one_step for w in plan(whole).worths}
    for t, worth in enumerate(worth_of_each(whole)):
        assert by_probe[t] == pytest.approx(whole.first[t] + worth, rel=1e-9)


def test_useless_probe_changes_nothing(whole: Choice) -> None:
    """A probe that tells nothing and makes nothing cheaper leaves the optimum as it is."""
    small = _small(whole, 3, 9)
    dearest = [max(column) for column in zip(small.first, *small.second, strict=True)]
    dull = replace(
        small,
        forecasts=[*small.forecasts, small.forecasts[0]],
        rows_of=[*small.rows_of, [0] * len(small.weights)],
        tables=[*small.tables, [(0.3, 0.7)]],
        first=[*small.first, 1.0],
        second=[*([*row, 1.0] for row in small.second), [*dearest, 1.0]],
        after=[*small.after, None],
    )
    assert optimum(dull) == pytest.approx(optimum(small), rel=1e-9)


@pytest.mark.parametrize("arrays", [True, False])
def test_a_part_that_only_a_trial_fitting_makes_right_is_still_planned_second(arrays: bool) -> None:
    """Losses that fall once a part is fitted count in what a second probe may save; no branch is lost."""
    problem = Choice(
        weights=[0.5, 0.5],
        classes=[0, 1],
        loss=[[10.0, 0.0]],
        forecasts=[],
        rows_of=[[0, 1], [0, 0]],
        tables=[[(1.0, 0.0), (0.0, 1.0)], [(1.0,)]],
        first=[0.2, 1.0],
        second=[[0.2, 1.0], [0.2, 1.0]],
        after=[None, [[0.0, 20.0]]],
    )
    act_now, totals = _lookahead(problem)
    made = plan(problem, arrays=arrays)
    assert act_now == 5.0
    assert made.best is not None
    assert made.best.probe == 0
    assert made.best.two_step == pytest.approx(min(totals)) == pytest.approx(0.7)
