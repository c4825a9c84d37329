"""
How fast judgement is, and how it compares with a general-purpose network engine on the same tables.

Run ``python -m benchmarks.speed``; every process is held to one thread. Times depend on the machine they were
taken on; the ratios come from one run and depend on it much less. Times in milliseconds, memory in MB.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from benchmarks.visit import Visit
from benchmarks.world import WORLDS, case
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import advise
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Cases
from humclick.diagnosis.decisions import actions_for, losses
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.forecast import Forecast, forecast
from humclick.diagnosis.observations.look import PartLook
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.planner import Choice, worth_of_each
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.scales import Chosen
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.suspects import NONE, Posterior, posterior

__all__ = ["main"]

_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_LARGEST = ("csr-potential-relay", "psc-assist-relay")


def _milliseconds(work: Callable[[], object], repeats: int) -> list[float]:
    found = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        found.append(1e3 * (time.perf_counter() - start))
    return found


def _figures(times: Sequence[float]) -> dict[str, float]:
    ordered = sorted(times)
    return {
        "median": statistics.median(ordered),
        "95th percentile": ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))],
        "longest": ordered[-1],
        "count": len(ordered),
    }


# -- advice -----------------------------------------------------------------------------------------------


#: Blocks numpy in a process of its own, as on a phone.
_WITHOUT = "import sys; sys.modules['numpy'] = None; "
_ENGINES = (("pure Python", _WITHOUT), ("numpy", ""))


def advice_times(name: str, calls: int) -> dict[str, Any]:
    """Time of the first advice on a machine, and of each advice after a reading, on simulated calls."""
    machine = Machine.of(name, None, Nameplate(115.0, 60.0))
    report: dict[str, Any] = {"hypotheses": len(Bench(machine, default_shop()).space.sets)}
    for label, block in _ENGINES:
        code = f"{block}from benchmarks.speed import advised; advised({name!r}, {calls})"
        done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
        report[label] = json.loads(done.stdout)
    return report


def advised(name: str, calls: int) -> None:
    """Print the processor time of every advice on simulated calls, in this process. [ms]"""
    first: list[float] = []
    later: list[float] = []
    for k in range(calls):
        # a nameplate of its own for each call, so that nothing is remembered from another
        own = Machine.of(name, None, Nameplate(115.0, 60.0, locked_rotor_amps=15.0 + 0.01 * k))
        visit = Visit(case(f"speed|{k}", own, WORLDS["as-modelled"]))
        while len(visit.observations) < 12:
            situation = visit.situation()
            start = time.process_time()
            advice = advise(situation)
            spent = 1e3 * (time.process_time() - start)
            (later if visit.observations else first).append(spent)
            if advice.next is None:
                break
            if advice.next.waits > 0:
                visit.wait(advice.next.waits)
            visit.follow(advice.next.probe)
    report = {"first advice on a machine": _figures(first)}
    if later:
        report["advice after a reading"] = _figures(later)
    print(json.dumps(report))


# -- whole processes ----------------------------------------------------------------------------------------

_ADVISE = """
import re
from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import advise
from humclick.diagnosis.situation import Heard, Situation
advise(Situation(Machine.of({name!r}), Heard.HUM_CLICK, hot=False))
print(int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]) / 1024)
"""


def _run(arguments: Sequence[str], repeats: int) -> tuple[dict[str, float], str]:
    output = ""

    def work() -> None:
        nonlocal output
        output = subprocess.run(arguments, check=True, capture_output=True, text=True).stdout

    return _figures(_milliseconds(work, repeats)), output


def processes(name: str, repeats: int) -> dict[str, Any]:
    """Time and memory of whole processes."""
    report: dict[str, Any] = {}
    python = sys.executable
    report["python, nothing else"], _ = _run([python, "-c", "pass"], repeats)
    for label, block in _ENGINES:
        code = block + _ADVISE.format(name=name)
        figures, output = _run([python, "-c", code], repeats)
        report[f"one advice, {label}"] = {**figures, "memory": float(output)}
    try:
        report["humclick --help"], _ = _run([python, "-m", "humclick.cli.main", "--help"], repeats)
    except subprocess.CalledProcessError:
        report["humclick --help"] = None
    return report


# -- beside another engine ----------------------------------------------------------------------------------


def _simple_forecasts(
    bench: Bench, situation: Situation, post: Posterior, sets: Sequence[Chosen]
) -> dict[str, Forecast]:
    """Looks and measurements not yet taken, under some sets of modes, by name."""
    done = {o.probe for o in situation.observations}
    wanted = [
        (p, 0.0)
        for p in probes_of(bench.machine, bench.shop).values()
        if isinstance(p.model, PartLook | Measured) and p.id not in done
    ]
    return {f.probe.id: f for f in forecast(bench, situation, post, sets, wanted)}


def beside(name: str, repeats: int, *, complaint: bool) -> dict[str, Any]:
    """
    The same evidence, the same tables of probes: a posterior, and one round of the value of every probe.

    The complaint depends on every part at once, so the network engine must carry one table over the whole
    machine, which the program does not. Left out on both sides, the comparison is fairer to the engine.
    For the network engine a round is a posterior of every part after every outcome of every probe; ours
    gives the expected loss after every probe, from the sets that matter.
    """
    from benchmarks.bayes_net import Net  # needs numpy

    machine = Machine.of(name, "external", Nameplate(115.0, 60.0))
    bench = Bench(machine, default_shop())
    visit = Visit(case("beside|1", machine, WORLDS["as-modelled"]))
    for probe in ("supply.volts", "control.setting", "wiring.look"):
        visit.take(probe)
    situation = visit.situation()
    evidence = compile_evidence(bench, situation)
    if not complaint:
        evidence = replace(evidence, factors=tuple(f for f in evidence.factors if f.per_set is None))
    post = posterior(bench, evidence)
    every = _simple_forecasts(bench, situation, post, bench.space.sets)
    made = _simple_forecasts(bench, situation, post, [chosen for chosen, _ in post.cases])
    forecasts = [f for name, f in made.items() if name in every]
    columns: dict[frozenset[str], int] = {}
    classes = [columns.setdefault(bench.space.remedies(chosen), len(columns)) for chosen, _ in post.cases]
    classes.append(columns.setdefault(NONE, len(columns)))
    loss = losses(actions_for(post.by_class), list(columns), bench.shop, frozenset())
    problem = Choice(
        [*(p for _, p in post.cases), post.none],
        classes,
        loss,
        forecasts,
        [[*f.which, len(f.rows)] for f in forecasts],
        [[*f.rows, f.none] for f in forecasts],
        [1.0] * len(forecasts),
        [[1.0] * len(forecasts) for _ in forecasts],
        [None] * len(forecasts),
    )
    net = Net(bench, evidence)
    cases = Cases(bench.space.sets, len(bench.parts))
    for f in (every[f.probe.id] for f in forecasts):
        kind, own = f.probe.kind, bench.place.get(f.probe.part, 0)
        scope = kind.scope(bench, f.probe) if isinstance(kind, Measured) else (own,)
        configs, config_of = cases.index(scope)
        rows = {configs[config_of[h]]: f.rows[f.which[h]] for h in range(len(bench.space.sets))}
        net.add_probe(f.probe.id, scope, rows)

    def their_posterior() -> None:
        net.fresh().makeInference()

    def their_round() -> None:
        engine = net.fresh()
        for f in forecasts:
            for o in range(len(f.rows[0])):
                engine.setEvidence({**net.observed, f.probe.id: o})
                engine.makeInference()
                for part in bench.parts:
                    engine.posterior(part)

    def our_posterior() -> None:
        posterior(bench, evidence)

    def our_round() -> None:
        worth_of_each(problem)

    def our_plain_round() -> None:
        worth_of_each(problem, arrays=False)

    ours, theirs = _milliseconds(our_posterior, 5 * repeats), _milliseconds(their_posterior, repeats)
    round_ours, round_theirs = _milliseconds(our_round, 5 * repeats), _milliseconds(their_round, 2)
    round_plain = _milliseconds(our_plain_round, 5 * repeats)
    return {
        "hypotheses": len(bench.space.sets),
        "sets that matter": len(post.cases),
        "probes": len(forecasts),
        "outcomes": sum(len(f.rows[0]) for f in forecasts),
        "posterior": _figures(ours),
        "posterior, network engine": _figures(theirs),
        "posterior, times faster": statistics.median(theirs) / statistics.median(ours),
        "round of values": _figures(round_ours),
        "round of values, pure Python": _figures(round_plain),
        "round of values, network engine": _figures(round_theirs),
        "round of values, times faster": statistics.median(round_theirs) / statistics.median(round_ours),
        "the same, pure Python": statistics.median(round_theirs) / statistics.median(round_plain),
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.speed", description=__doc__)
    parser.add_argument("--calls", type=int, default=12, help="simulated calls a machine")
    parser.add_argument("--repeats", type=int, default=7)
    parser.add_argument("--out", type=Path, help="folder to write speed.json to; printed in any case")
    chosen = parser.parse_args(arguments)
    if any(os.environ.get(name) != "1" for name in _THREADS):  # the libraries read it when they are loaded
        once = {**os.environ, **dict.fromkeys(_THREADS, "1")}
        given = sys.argv[1:] if arguments is None else arguments
        return subprocess.run([sys.executable, "-m", "benchmarks.speed", *given], env=once).returncode
    report: dict[str, Any] = {
        "advice": {name: advice_times(name, chosen.calls) for name in _LARGEST},
        "processes": processes(_LARGEST[0], chosen.repeats),
        "beside pyAgrum": beside("rsir-ptc", chosen.repeats, complaint=True),
        "beside pyAgrum, without the complaint": beside("rsir-ptc", chosen.repeats, complaint=False),
    }
    text = json.dumps(report, indent=1) + "\n"
    if chosen.out:
        chosen.out.mkdir(parents=True, exist_ok=True)
        (chosen.out / "speed.json").write_text(text, encoding="utf-8")
    sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
