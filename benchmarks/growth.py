"""
How the cost of advice grows with the number of modes.

Every mode of the largest arrangement is cut into ×1, ×2, ×4, ×8 that share its odds; each copy shows
something a little different to every look, and does the same in the circuit and at a start. The same calls
are then weighed on each of these machines: time, memory, the sets that were weighed, the bound on what was
left out. Run ``python -m benchmarks.growth``; every size has a process of its own, held to one thread.
Processor time in milliseconds, memory in MB.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import statistics
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from msgspec import structs

from benchmarks.visit import Visit
from benchmarks.world import WORLDS, case
from humclick.arrangements.arrangement import PlacedPart
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import advise
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.choices import choices
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.planner import plan
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.suspects import posterior
from humclick.parts.family import HEALTHY, Family, Look

__all__ = ["Grown", "grown", "main"]

_RESULTS = Path(__file__).parent / "results"
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_LARGEST = "csr-potential-relay"
_SIZES = (1, 2, 4, 8)
#: Calls whose readings are weighed again on every size.
_CALLS = ("speed|0", "speed|3")
#: Standard deviation of ln of what a copy's looks show over what its mode's do. [-]
_APART = 0.1
#: A process with less time than this is told that it did not end. [s]
_PATIENCE = 300


@dataclass(frozen=True)
class Grown(Machine):
    """A machine with so many times as many modes."""

    times: int = 1

    @cached_property
    def parts(self) -> tuple[PlacedPart, ...]:
        """All parts, each mode cut into as many as were asked for."""
        return grown_parts(self.arrangement.parts(self.protector), self.times)


def grown_parts(parts: Sequence[PlacedPart], times: int) -> tuple[PlacedPart, ...]:
    """Parts with every mode cut into several, the same for the same number."""
    rng = random.Random(7)
    return tuple(replace(part, family=_family(part.family, times, rng)) for part in parts)


def grown(times: int) -> Machine:
    """The largest arrangement with so many times as many modes."""
    machine = Machine.of(_LARGEST, None, Nameplate(115.0, 60.0))
    return Grown(machine.arrangement, machine.protector, machine.nameplate, times=times)


def _copies(name: str, times: int) -> list[str]:
    return [name, *(f"{name}~{k}" for k in range(1, times))]


def _family(family: Family, times: int, rng: random.Random) -> Family:
    modes = {HEALTHY: family.modes[HEALTHY]}
    for name, mode in family.modes.items():
        if name != HEALTHY:
            modes |= {
                copy: structs.replace(mode, name=copy, odds=mode.odds / times)
                for copy in _copies(name, times)
            }
    looks = tuple(_look(look, list(family.modes), times, rng) for look in family.looks)
    return structs.replace(family, listed=tuple(modes.values()), looks=looks)


def _look(look: Look, modes: Sequence[str], times: int, rng: random.Random) -> Look:
    table = dict(look.table)
    for name in modes:
        for copy in _copies(name, times)[1:] if name != HEALTHY else ():
            row = [p * rng.lognormvariate(0.0, _APART) for p in look.table.get(name, look.table["otherwise"])]
            table[copy] = tuple(p / sum(row) for p in row)
    return structs.replace(look, table=table)


class _Starts:
    """Start attempts in which a copy does what its mode does."""

    def __init__(self, bench: Bench) -> None:
        self._starts = bench.starts

    def key(self, modes: Mapping[str, str], *, hot: bool) -> tuple[int, ...]:
        """As of `Attempts`."""
        return self._starts.key(_first(modes), hot=hot)

    def mark(self, modes: Mapping[str, str], *, hot: bool) -> int:
        """As of `Attempts`."""
        return self._starts.mark(_first(modes), hot=hot)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._starts, name)


def _first(modes: Mapping[str, str]) -> dict[str, str]:
    """Modes that were cut up, for their copies."""
    return {part: mode.partition("~")[0] for part, mode in modes.items()}


def _bench(times: int) -> Bench:
    bench = Bench(grown(times), default_shop())
    bench.starts = _Starts(bench)  # type: ignore[assignment]
    return bench


def _readings() -> list[list[Situation]]:
    """Every situation of some calls, as advice led them on the machine as it is."""
    found = []
    for seed in _CALLS:
        machine = Machine.of(_LARGEST, None, Nameplate(115.0, 60.0))
        visit, situations = Visit(case(seed, machine, WORLDS["as-modelled"])), []
        while len(visit.observations) < 12:
            situations.append(visit.situation())
            advice = advise(situations[-1])
            if advice.next is None:
                break
            if advice.next.waits > 0:
                visit.wait(advice.next.waits)
            visit.follow(advice.next.probe)
        found.append(situations)
    return found


def measured(times: int) -> dict[str, Any]:
    """Weigh and plan every situation of the calls on one size of machine."""
    first: list[float] = []
    later: list[float] = []
    bounds: list[float] = []
    sets: list[int] = []
    for situations in _readings():
        bench = _bench(times)
        for situation in situations:
            start = time.process_time()
            own = replace(situation, machine=bench.machine)
            evidence = compile_evidence(bench, own)
            judged = Judged(bench, own, evidence, posterior(bench, evidence))
            problem, _, _ = choices(judged)
            plan(problem)
            (later if situation.observations else first).append(1e3 * (time.process_time() - start))
            bounds.append(judged.post.left_out)
            sets.append(len(judged.post.cases))
    peak = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text(encoding="utf-8"))
    return {
        "modes": sum(len(part.family.modes) - 1 for part in bench.machine.parts),
        "first advice": statistics.median(first),
        "after a reading": statistics.median(later),
        "after a reading, longest": max(later),
        "sets weighed": statistics.median(sets),
        "left out": max(bounds),
        "memory": int(peak[1]) / 1024 if peak else 0.0,
    }


def _process(times: int) -> dict[str, Any] | None:
    """The same in a process of its own; None if it did not end."""
    once = {**os.environ, **dict.fromkeys(_THREADS, "1")}
    try:
        done = subprocess.run(
            [sys.executable, "-m", "benchmarks.growth", "--one", str(times)],
            check=True,
            capture_output=True,
            text=True,
            env=once,
            timeout=_PATIENCE,
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError):
        return None
    report: dict[str, Any] = json.loads(done.stdout)
    return report


def table(report: Mapping[str, Mapping[str, Any]]) -> str:
    """The figures as a table for the page of results."""
    head = ("version", "modes", "first advice", "after a reading", "longest", "sets", "left out", "memory")
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for label, sizes in report.items():
        for times, row in sizes.items():
            if row is None:
                lines.append(f"| {label} | ×{times} |" + " did not end |" + " |" * (len(head) - 3))
                continue
            figures = [
                f"{row['modes']} (×{times})",
                *(f"{row[name]:.0f} ms" for name in ("first advice", "after a reading")),
                f"{row['after a reading, longest']:.0f} ms",
                f"{row['sets weighed']:.0f}",
                f"{row['left out']:.1e}",
                f"{row['memory']:.0f} MB",
            ]
            lines.append(f"| {label} | " + " | ".join(figures) + " |")
    return "\n".join(lines) + "\n"


def draw(report: Mapping[str, Mapping[str, Any]], path: Path) -> None:
    """Time, memory and bound over the number of modes, both scales logarithmic."""
    from matplotlib.figure import Figure

    shown = (
        ("after a reading", "time after a reading [ms]"),
        ("memory", "memory [MB]"),
        ("left out", "bound [-]"),
    )
    figure = Figure(figsize=(10.0, 3.2), layout="constrained")
    for axes, (name, title) in zip(figure.subplots(1, len(shown)), shown, strict=True):
        for label, sizes in report.items():
            rows = [row for row in sizes.values() if row is not None]
            axes.loglog([row["modes"] for row in rows], [row[name] for row in rows], "o-", label=label)
        if name == "after a reading":
            now = [row for row in list(report.values())[-1].values() if row is not None]
            line = [now[0][name] * row["modes"] / now[0]["modes"] for row in now]
            axes.loglog([row["modes"] for row in now], line, ":", color="gray", label="in proportion")
        if name == "left out":
            axes.axhline(1e-3, color="gray", linestyle=":")
        axes.set_xlabel("modes")
        axes.set_title(title, fontsize=9)
        axes.legend(fontsize=8)
    figure.savefig(path)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.growth", description=__doc__)
    parser.add_argument("--one", type=int, help="measure one size in this process and print it")
    parser.add_argument("--sizes", type=int, nargs="+", default=_SIZES)
    parser.add_argument("--label", default="now", help="name of this version beside those already written")
    parser.add_argument("--out", type=Path, help="folder to write growth.json, .md and .svg to")
    chosen = parser.parse_args(arguments)
    if chosen.one:
        sys.stdout.write(json.dumps(measured(chosen.one)) + "\n")
        return 0
    report: dict[str, dict[str, Any]] = {}
    if chosen.out and (chosen.out / "growth.json").exists():
        report = json.loads((chosen.out / "growth.json").read_text(encoding="utf-8"))
    report[chosen.label] = {str(times): _process(times) for times in chosen.sizes}
    if chosen.out:
        chosen.out.mkdir(parents=True, exist_ok=True)
        text = json.dumps(report, indent=1) + "\n"
        (chosen.out / "growth.json").write_text(text, encoding="utf-8")
        (chosen.out / "growth.md").write_text(table(report), encoding="utf-8")
        draw(report, chosen.out / "growth.svg")
    sys.stdout.write(table(report))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
