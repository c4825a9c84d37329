"""
Evaluation: every policy on the same simulated calls, in the world as modelled and in others.

Run ``python -m benchmarks.evaluation``; it writes ``evaluation.json`` and ``evaluation.md`` in
``benchmarks/results``.
Seeds 1 to 9 are for development; the seed kept for the final report is `HELD_OUT`.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.policies import POLICIES, TITLES, Outcome
from benchmarks.world import WORLDS, case, machines, standstill
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.shop import default_shop

__all__ = ["HELD_OUT", "evaluate", "main", "summary"]

#: Seed of the calls that no development looked at.
HELD_OUT = 101
#: Policies run in the worlds that differ from the model.
_ELSEWHERE = ("program", "checklist", "careful checklist", "static order")
_RESULTS = Path(__file__).parent / "results"
_BOOTSTRAPS = 2000


@dataclass(frozen=True, slots=True)
class Run:
    """
    Some policies on some calls.

    Attributes
    ----------
    label, world : str
        Heading in the report, and name of the world.
    calls : int
        Number of calls, spread evenly over all machines.
    policies : tuple of str
        Names of policies; all get the same calls.
    faults : int or None
        Only calls with this many parts not healthy.
    """

    label: str
    world: str
    calls: int
    policies: tuple[str, ...]
    faults: int | None = None


def _calls(task: tuple[int, int, int, tuple[Run, ...]]) -> list[tuple[str, Outcome]]:
    """All calls of one machine, in all worlds: what is worked out once for a machine is kept."""
    seed, index, place, runs = task
    machine = machines()[index]
    bench = bench_for(machine, default_shop())
    bench.standstill = standstill(machine)  # the same physics, worked out once
    found: list[tuple[str, Outcome]] = []
    for run in runs:
        for k in range(run.calls // len(machines()) + (place < run.calls % len(machines()))):
            hidden = case(f"{seed}|{index}|{k}|{run.faults}", machine, WORLDS[run.world], faults=run.faults)
            found.extend((run.label, POLICIES[name](hidden)) for name in run.policies)
    return found


def evaluate(runs: Sequence[Run], seed: int, *, jobs: int = 1) -> dict[str, list[Outcome]]:
    """
    Carry out runs.

    Parameters
    ----------
    runs : sequence of Run
        What to run; runs with the same label are put together.
    seed : int
        Seed set.
    jobs : int
        Processes.

    Returns
    -------
    dict of label to outcomes
    """
    count = len(machines())
    tasks = [(seed, (7 * i) % count, i, tuple(runs)) for i in range(count)]  # small runs see all arrangements
    found: dict[str, list[Outcome]] = {run.label: [] for run in runs}
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        for done, rows in enumerate(pool.imap(_calls, tasks), start=1):
            for label, outcome in rows:
                found[label].append(outcome)
            sys.stderr.write(f"\r{done} of {count} machines")
            sys.stderr.flush()
    sys.stderr.write("\n")
    return found


# -- figures ----------------------------------------------------------------------------------------------


def _interval(values: np.ndarray[Any, Any], seed: int = 0) -> tuple[float, float]:
    """95 % percentile bootstrap interval of a mean."""
    rng = np.random.default_rng(seed)
    picks = rng.integers(0, len(values), (_BOOTSTRAPS, len(values)))
    low, high = np.percentile(values[picks].mean(axis=1), [2.5, 97.5])
    return float(low), float(high)


def _bins(p: np.ndarray[Any, Any], hit: np.ndarray[Any, Any], count: int) -> list[tuple[int, float, float]]:
    order = np.argsort(p, kind="stable")
    parts = np.array_split(order, count)
    return [(len(part), float(p[part].mean()), float(hit[part].mean())) for part in parts if len(part)]


def _ece(p: np.ndarray[Any, Any], hit: np.ndarray[Any, Any], count: int = 10) -> float:
    return sum(n * abs(a - b) for n, a, b in _bins(p, hit, count)) / len(p)


def _calibration(outcomes: Sequence[Outcome]) -> dict[str, Any] | None:
    rows = [(o.probability, o.exact) for o in outcomes if not math.isnan(o.probability)]
    if not rows:
        return None
    p, hit = np.array([r[0] for r in rows]), np.array([float(r[1]) for r in rows])
    rng = np.random.default_rng(1)
    draws = rng.integers(0, len(p), (400, len(p)))
    low, high = np.percentile([_ece(p[d], hit[d]) for d in draws], [2.5, 97.5])
    # what a perfectly calibrated rule would show with as many calls
    level = np.mean([_ece(p, (rng.random(len(p)) < p).astype(float)) for _ in range(200)])
    return {
        "mean probability": float(p.mean()),
        "share right": float(hit.mean()),
        "brier": float(((p - hit) ** 2).mean()),
        "ece": _ece(p, hit),
        "ece interval": [float(low), float(high)],
        "ece of a perfect rule": float(level),
        "reliability": [{"calls": n, "said": a, "was": b} for n, a, b in _bins(p, hit, 8)],
    }


def summary(outcomes: Sequence[Outcome], reference: Sequence[Outcome] | None = None) -> dict[str, Any]:
    """
    Figures of one policy, with the paired difference of its cost to a reference policy. [money], [min], [-]
    """

    def share(of: Callable[[Outcome], bool]) -> float:
        return sum(map(of, outcomes)) / len(outcomes)

    def mean(of: Callable[[Outcome], float]) -> float:
        return math.fsum(map(of, outcomes)) / len(outcomes)

    total = np.array([o.total for o in outcomes])
    condemned = sum(o.condemned for o in outcomes)
    doubles = [o for o in outcomes if len(o.needed) > 1]
    found: dict[str, Any] = {
        "calls": len(outcomes),
        "right first time": share(lambda o: o.right),
        "right interval": _interval(np.array([float(o.right) for o in outcomes])),
        "no part in vain": share(lambda o: o.no_part_in_vain),
        "runs afterwards": share(lambda o: o.cured),
        "good compressors condemned": share(lambda o: o.condemned_good),
        "of condemnations": sum(o.condemned_good for o in outcomes) / condemned if condemned else None,
        "condemned": share(lambda o: o.condemned),
        "bad compressors missed": share(
            lambda o: "replace compressor" in o.needed and not o.condemned and not o.handed_over
        ),
        "second fault missed": sum(o.missed for o in doubles) / len(doubles) if doubles else None,
        "calls with two remedies": len(doubles),
        "handed over": share(lambda o: o.handed_over),
        "cost": mean(lambda o: o.total),
        "cost interval": _interval(total),
        "probing": mean(lambda o: o.probing),
        "loss": mean(lambda o: o.loss),
        "minutes": mean(lambda o: o.minutes),
        "probes": mean(lambda o: o.probes),
        "stopped by the cap": share(lambda o: o.capped),
        "calibration": _calibration(outcomes),
    }
    if reference is not None and reference is not outcomes:
        by_seed = {o.seed: o.total for o in reference}
        difference = np.array([o.total - by_seed[o.seed] for o in outcomes])
        found["cost above the program"] = float(difference.mean())
        found["difference interval"] = _interval(difference)
    return found


def _by_policy(outcomes: Sequence[Outcome]) -> dict[str, dict[str, Any]]:
    sorted_: dict[str, list[Outcome]] = {}
    for o in outcomes:
        sorted_.setdefault(o.policy, []).append(o)
    return {name: summary(rows, sorted_.get("program")) for name, rows in sorted_.items()}


# -- words ------------------------------------------------------------------------------------------------


def _percent(x: float | None) -> str:
    return "–" if x is None else f"{100 * x:.1f}"


def _table(rows: dict[str, dict[str, Any]]) -> list[str]:
    lines = [
        "| policy | right first time % | runs, no part in vain % | runs % | "
        "good compressors condemned %, of all calls (of condemnations) | "
        "second fault missed % | handed over % | probes | minutes | probing | loss | cost | "
        "cost above the program (95 %) |",
        "|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    for name, r in rows.items():
        low, high = r["right interval"]
        above = "–"
        if "difference interval" in r:
            a, b = r["difference interval"]
            above = f"{r['cost above the program']:+.1f} ({a:+.1f} … {b:+.1f})"
        lines.append(
            f"| {name} | {_percent(r['right first time'])} ({_percent(low)} … {_percent(high)}) | "
            f"{_percent(r['no part in vain'])} | {_percent(r['runs afterwards'])} | "
            f"{_percent(r['good compressors condemned'])} ({_percent(r['of condemnations'])}) | "
            f"{_percent(r['second fault missed'])} | {_percent(r['handed over'])} | {r['probes']:.1f} | "
            f"{r['minutes']:.1f} | {r['probing']:.1f} | {r['loss']:.1f} | {r['cost']:.1f} | {above} |"
        )
    return lines


def _reliability(c: dict[str, Any]) -> list[str]:
    low, high = c["ece interval"]
    lines = [
        f"Brier {c['brier']:.4f}; expected calibration error {c['ece']:.4f} ({low:.4f} … {high:.4f}) "
        f"in ten bins of equal count, against {c['ece of a perfect rule']:.4f} for a perfect rule "
        "on as many calls.",
        "",
        "| calls | said % | was % |",
        "|---:|---:|---:|",
    ]
    lines += [f"| {b['calls']} | {100 * b['said']:.1f} | {100 * b['was']:.1f} |" for b in c["reliability"]]
    return lines


def written(report: dict[str, Any]) -> str:
    """The report in Markdown."""
    lines = [
        "# Evaluation",
        "",
        f"`python -m benchmarks.evaluation {report['arguments']}`: {report['calls']} simulated calls, spread "
        f"evenly over {report['machines']} machines (all arrangements and protectors, 115 and 230 V, 50 and "
        "60 Hz, every second one with plate and stamps read). All policies see the same calls and the same "
        "answers. Money is in the unit of `shop.toml`. Intervals are 95 % bootstrap intervals over calls; "
        "differences are paired.",
        "",
    ]
    for name, rows in report["worlds"].items():
        title = WORLDS[name].title if name in WORLDS else "calls with exactly two parts not healthy"
        lines += [f"## World: {name}", "", f"{title[0].upper()}{title[1:]}.", "", *_table(rows), ""]
        calibration = rows["program"]["calibration"]
        if calibration:
            lines += ["What the program's verdicts said, and how often it was so:", ""]
            lines += [*_reliability(calibration), ""]
    lines += ["## Policies", ""]
    lines += [f"- {name}: {TITLES[name]}" for name in POLICIES]
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the evaluation from the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.evaluation", description=__doc__)
    parser.add_argument("--calls", type=int, default=1000, help="calls in the world as modelled")
    parser.add_argument("--ablations", type=int, default=250, help="calls for the program's variations")
    parser.add_argument("--elsewhere", type=int, default=250, help="calls in each other world")
    parser.add_argument("--seed", type=int, default=1, help=f"seed set; {HELD_OUT} is kept for the report")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--policies",
        nargs="+",
        choices=list(POLICIES),
        help="only these; the program is always among them",
    )
    parser.add_argument(
        "--quick", action="store_true", help="62 calls, three policies, no other worlds, printed only"
    )
    parser.add_argument("--wrong", type=Path, help="write every wrong verdict of the program here")
    parser.add_argument("--out", type=Path, help=f"folder for the results, by default {_RESULTS.name} here")
    chosen = parser.parse_args(arguments)
    variations = tuple(p for p in POLICIES if p not in (*_ELSEWHERE, "oracle"))
    base = "as-modelled"
    runs = [Run(base, base, chosen.calls, (*_ELSEWHERE, "oracle"))]
    if chosen.quick:
        runs = [Run(base, base, 62, ("program", "checklist", "oracle"))]
    else:
        if chosen.ablations:
            runs.append(Run(base, base, chosen.ablations, variations))
        two = (*_ELSEWHERE, "one fault", "two faults")
        runs.append(Run("two faults at once", base, chosen.elsewhere, two, faults=2))
        runs += [Run(name, name, chosen.elsewhere, _ELSEWHERE) for name in WORLDS if name != base]
    if chosen.policies:
        wanted = {"program", *chosen.policies}
        runs = [replace(run, policies=tuple(p for p in run.policies if p in wanted)) for run in runs]
    runs = [run for run in runs if run.calls and run.policies]
    outcomes = evaluate(runs, chosen.seed, jobs=chosen.jobs)
    report: dict[str, Any] = {
        "arguments": " ".join(sys.argv[1:] if arguments is None else arguments),
        "seed": chosen.seed,
        "calls": runs[0].calls,
        "machines": len(machines()),
        "worlds": {label: _by_policy(rows) for label, rows in outcomes.items()},
    }
    wrong = [o for rows in outcomes.values() for o in rows if o.policy == "program" and not o.right]
    text = written(report)
    if chosen.quick and chosen.out is None:
        sys.stdout.write(text)
    else:
        out = chosen.out or _RESULTS
        out.mkdir(parents=True, exist_ok=True)
        (out / "evaluation.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
        (out / "evaluation.md").write_text(text, encoding="utf-8")
    if chosen.wrong:
        rows = [
            {k: sorted(v) if isinstance(v, frozenset) else v for k, v in asdict(o).items()} for o in wrong
        ]
        chosen.wrong.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
