"""
How far the two-step rule is from the optimum, on problems cut from the real model.

A problem of six or seven probes and up to fourteen cases is solved exactly, by dynamic programming over the
outcomes seen so far; a second, separate recursion checks it. The program's rule, planned anew after every
outcome, is then valued exactly on the same problem. Run ``python -m benchmarks.optimum``. Money throughout.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import random
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.choices import choices
from humclick.diagnosis.judged import judge
from humclick.diagnosis.planner import Choice, plan
from humclick.diagnosis.situation import Heard, Situation

__all__ = ["by_trees", "cut", "left_after", "one_step_rule", "optimum", "two_step_rule", "value_of"]

_RESULTS = Path(__file__).parent / "results"
_COMPLAINTS = (Heard.SILENT, Heard.HUM, Heard.HUM_CLICK, Heard.TRIPS)

#: A rule: the next probe of a problem, or None to act.
Rule = Callable[[Choice], int | None]


def cut(problem: Choice, probes: Sequence[int], cases: int) -> Choice:
    """
    Keep some probes and the most probable cases of a problem.

    The unknown cause (the last case) is always kept; weights are made to sum to 1 again.
    """
    order = sorted(range(len(problem.weights) - 1), key=lambda i: -problem.weights[i])[: cases - 1]
    kept = [*sorted(order), len(problem.weights) - 1]
    scale = math.fsum(problem.weights[i] for i in kept)
    return Choice(
        [problem.weights[i] / scale for i in kept],
        [problem.classes[i] for i in kept],
        problem.loss,
        [problem.forecasts[t] for t in probes],
        [[problem.rows_of[t][i] for i in kept] for t in probes],
        [problem.tables[t] for t in probes],
        [problem.first[t] for t in probes],
        [[problem.second[t][u] for u in probes] for t in probes],
        [None for _ in probes],
    )


def real_problem(machine: Machine, complaint: Heard) -> Choice:
    """The planning problem of a cooled machine about which only the complaint is known."""
    return choices(judge(Situation(machine, complaint, hot=False)))[0]


# -- the optimum ------------------------------------------------------------------------------------------


def optimum(problem: Choice) -> float:
    """
    Least expected total of any way of testing and acting.

    Notes
    -----
    Dynamic programming (Bellman, Dynamic Programming, 1957): what is seen so far is an outcome for each probe
    taken; the cost of the next probe depends on the one before it.
    """
    count = len(problem.tables)
    chance = [
        np.asarray(problem.tables[t])[np.asarray(problem.rows_of[t])].T for t in range(count)
    ]  # outcome × case
    classes = np.zeros((len(problem.weights), len(problem.loss[0])))
    classes[np.arange(len(problem.weights)), problem.classes] = 1.0
    losses = classes @ np.asarray(problem.loss).T  # case × action
    second = np.asarray(problem.second)
    values: dict[tuple[int, int], Any] = {}  # (probes taken as bits, last) → array over their outcomes
    for mask in range(2**count - 1, -1, -1):
        taken = [t for t in range(count) if mask >> t & 1]
        seen = np.asarray(problem.weights)
        for t in taken:
            seen = seen[..., None, :] * chance[t]
        act = (seen @ losses).min(axis=-1)
        mass = seen.sum(axis=-1)
        for last in taken or [-1]:
            best = act
            for u in range(count):
                if mask >> u & 1:
                    continue
                price = problem.first[u] if last < 0 else second[last, u]
                at = sum(1 for t in taken if t < u)
                best = np.minimum(best, price * mass + values[(mask | 1 << u, u)].sum(axis=at))
            values[(mask, last)] = best
    return float(values[(0, -1)])


def by_trees(problem: Choice) -> float:
    """
    The same by plain recursion over every order of probes and outcomes, with normalised beliefs.

    Written without arrays or remembered values, as a check on `optimum`.
    """

    def worth(belief: list[float], left: tuple[int, ...], last: int | None) -> float:
        best = min(
            sum(b * row[c] for b, c in zip(belief, problem.classes, strict=True)) for row in problem.loss
        )
        for t in left:
            total = problem.first[t] if last is None else problem.second[last][t]
            rest = tuple(u for u in left if u != t)
            for o in range(len(problem.tables[t][0])):
                joint = [b * problem.tables[t][r][o] for b, r in zip(belief, problem.rows_of[t], strict=True)]
                p = sum(joint)
                if p > 0.0:
                    total += p * worth([j / p for j in joint], rest, t)
                if total >= best:
                    break
            best = min(best, total)
        return best

    return worth(problem.weights, tuple(range(len(problem.tables))), None)


# -- rules ------------------------------------------------------------------------------------------------


def two_step_rule(problem: Choice) -> int | None:
    """The program's rule."""
    best = plan(problem).best
    return None if best is None else best.probe


def one_step_rule(problem: Choice) -> int | None:
    """Act unless some probe pays by itself."""
    made = plan(problem)
    if not made.worths:
        return None
    best = min(made.worths, key=lambda w: w.one_step)
    return best.probe if best.one_step < made.act_now - 1e-7 else None


def left_after(problem: Choice, probe: int, outcome: int) -> tuple[float, Choice]:
    """Probability of an outcome, and the problem that remains after it without the probe."""
    table, rows = problem.tables[probe], problem.rows_of[probe]
    joint = [w * table[r][outcome] for w, r in zip(problem.weights, rows, strict=True)]
    p = math.fsum(joint)
    rest = [u for u in range(len(problem.tables)) if u != probe]
    return p, Choice(
        [j / p for j in joint] if p else joint,
        problem.classes,
        problem.loss,
        [problem.forecasts[u] for u in rest],
        [problem.rows_of[u] for u in rest],
        [problem.tables[u] for u in rest],
        [problem.second[probe][u] for u in rest],
        [[problem.second[t][u] for u in rest] for t in rest],
        [None for _ in rest],
    )


def value_of(rule: Rule, problem: Choice) -> float:
    """Exact expected total of a rule that decides anew after every outcome."""
    t = rule(problem) if problem.tables else None
    if t is None:
        return min(
            math.fsum(w * row[c] for w, c in zip(problem.weights, problem.classes, strict=True))
            for row in problem.loss
        )
    total = problem.first[t]
    for outcome in range(len(problem.tables[t][0])):
        p, rest = left_after(problem, t, outcome)
        if p > 1e-12:
            total += p * value_of(rule, rest)
    return total


# -- the study --------------------------------------------------------------------------------------------


def instances(probes: int, cases: int, seed: int) -> list[tuple[str, Choice]]:
    """
    Problems cut from every arrangement and complaint.

    Half of the probes are the best by the program's own reckoning, the rest are drawn from the others.
    """
    rng = random.Random(seed)
    found = []
    for name, complaint in itertools.product(arrangements(), _COMPLAINTS):
        if not arrangement(name).started:
            continue
        whole = real_problem(Machine.of(name, nameplate=Nameplate(115.0, 60.0)), complaint)
        ranked = [w.probe for w in plan(whole).worths]
        ranked = [t for t in ranked if not whole.forecasts[t].probe.repairs]
        chosen = ranked[: probes // 2]
        chosen += rng.sample(ranked[probes // 2 :], min(probes - len(chosen), len(ranked) - len(chosen)))
        found.append((f"{name}, {complaint.value}", cut(whole, chosen, cases)))
    return found


def study(probes: int, cases: int, seed: int) -> dict[str, Any]:
    """Ratio of each rule's expected total to the optimum over all instances. [-]"""
    rows: list[dict[str, Any]] = []
    for name, problem in instances(probes, cases, seed):
        least = optimum(problem)
        two, one = value_of(two_step_rule, problem), value_of(one_step_rule, problem)
        rows.append({"instance": name, "optimum": least, "two-step": two, "one-step": one})
    report: dict[str, Any] = {"probes": probes, "cases": cases, "instances": len(rows), "rows": rows}
    for rule in ("two-step", "one-step"):
        ratios = np.array([row[rule] / row["optimum"] for row in rows])
        report[rule] = {
            "ratio of means": float(sum(row[rule] for row in rows) / sum(row["optimum"] for row in rows)),
            "mean": float(ratios.mean()),
            "95th percentile": float(np.percentile(ratios, 95)),
            "worst": float(ratios.max()),
        }
    return report


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the study from the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.optimum", description=__doc__)
    parser.add_argument("--probes", type=int, default=6)
    parser.add_argument("--cases", type=int, default=14)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    report = study(chosen.probes, chosen.cases, chosen.seed)
    _RESULTS.mkdir(exist_ok=True)
    (_RESULTS / "optimum.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    for rule in ("two-step", "one-step"):
        figures = ", ".join(f"{k} {v:.4f}" for k, v in report[rule].items())
        sys.stdout.write(f"{rule} over the optimum: {figures}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
