"""
Play calls of a foreign world: ``python -m benchmarks.worlds.play --world first --calls 320 --seed 7 --out
F``.

The program sees what a technician would type and nothing else; the world answers each probe it asks for.
The first verdict ends the call. A seed that was looked at is spent: write it into ``seeds.toml``.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import humclick as hc
from benchmarks.worlds.face import Case
from benchmarks.worlds.score import Outcome, summary

WORLDS = ("first", "second")
SINCE = frozenset(
    {
        "condenser_fan.ohms", "condenser_fan.blade", "other_loads.ohms", "supply.cord", "supply.reset",
        "control.timer", "wiring.tug", "wiring.to_common", "wiring.to_run", "wiring.to_start", "fit.supply",
        "current_relay.number", "start_capacitor.number", "run_capacitor.number",
    }
)  # fmt: skip
"""Probes that came after the worlds were frozen: neither knows what they show, so nobody there takes them."""

STEPS = 45
"""Probes and waits after which a call counts as stuck."""

NO_PART = ("attempt.", "fit.", "feed.", "proof.", "supply.", "control.", "leads.")
"""Probes that try the machine, or look at what is only set or fed: no verdict on a part."""

AGAIN = 4
"""Times one probe may be refused or asked for in a row before the call counts as stuck."""


def case_of(world: str, seed: int, number: int) -> Case:
    """The case of that number; the same for the same seed."""
    make: Callable[[int, int], Case] = import_module(f"benchmarks.worlds.{world}.case").case
    return make(seed, number)


def opened(case: Case) -> Any:
    """The call as a technician would open it."""
    opening = case.opening
    plate = opening.plate
    machine = hc.machine(
        plate.arrangement,
        protector=plate.protector,
        volts=plate.volts,
        hertz=plate.hertz,
        lra=plate.lra,
        rla=plate.rla,
        refrigerant=plate.refrigerant,
    )
    call = hc.Call(
        machine, heard=opening.heard, words=opening.words, meter=opening.meter, leads=opening.leads
    )
    for part, text in opening.stamps.items():
        call = call.stamped(part, text)
    return call


class Visit:
    """One call on its way: the program asks, the world answers."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.call = opened(case)
        self.ended = "stuck"
        self.ordered: tuple[str, ...] = ()
        self.claimed: float | None = None
        self.probes = self.refused = self.impossible = 0
        self.minutes = 0.0
        self.log: list[str] = []

    def play(self) -> None:
        """Go on until the program decides, hands over, stops, or turns in circles."""
        asked: dict[str, int] = {}
        for _ in range(STEPS):
            advice = self.call.advice
            if advice.verdict is not None:
                return self._decide(advice.verdict)
            if advice.kind == "stop" or advice.next is None:
                self.ended = "stopped"
                return None
            step = advice.next
            if advice.kind == "wait" and step.waits > 0:
                self._wait(step.waits)
            asked[step.probe] = asked.get(step.probe, 0) + 1
            if asked[step.probe] > AGAIN:
                return None
            self._take(step)
        return None

    def _decide(self, verdict: Any) -> None:
        self.ordered = tuple(verdict.remedies)
        self.claimed = float(verdict.probability)
        self.ended = "handed over" if "hand over" in self.ordered else "verdict"
        self.log.append(f"verdict {self.ordered} {self.claimed:.3f}")

    def _wait(self, minutes: float) -> None:
        self.case.wait(minutes)
        self.minutes += minutes
        self.call = self.call.waited(minutes)
        self.log.append(f"wait {minutes}")

    def _take(self, step: Any) -> None:
        for gate in step.gates:
            self.call = self.call.passed(gate)
        if step.probe == "plate.lra" or step.probe.endswith(".stamp"):  # what could be read was read before
            self.call = self.call.skipped(step.probe, "cannot be read")
            return
        shown = None if step.probe in SINCE else self.case.shows(step.probe)
        self.minutes += step.minutes
        self.case.wait(step.minutes)
        if shown is None:
            self.impossible += 1
            self.call = self.call.skipped(step.probe, "not at hand")
            self.log.append(f"{step.probe}: cannot")
            return
        self.log.append(f"{step.probe}: {shown.value} {shown.temperature}")
        try:
            self.call = self.call.seen(step.probe, shown.value, temperature=shown.temperature)
            self.probes += 1
        except hc.HumclickError as error:
            self.refused += 1
            self.call = self.call.skipped(step.probe, "refused")
            self.log.append(f"  refused: {error}")


def called_bad(call: Any) -> tuple[str, ...]:
    """Tests and looks at parts whose last finding speaks against the part."""
    last = {each.probe: str(each.says) for each in call.findings}
    return tuple(probe for probe, says in last.items() if says == "bad" and not probe.startswith(NO_PART))


def play_one(number: int, *, world: str, seed: int, shown: bool = False) -> Outcome:
    """
    One call to its end; an error of the program is an outcome, not a crash.

    Parameters
    ----------
    number : int
        Of the call.
    shown : bool
        Whether each step is printed.
    """
    began = time.perf_counter()
    case = case_of(world, seed, number)
    truth, plate = case.truth, case.opening.plate
    error = ""
    visit = None
    try:
        visit = Visit(case)
        visit.play()
    except hc.HumclickError as problem:
        error = f"{type(problem).__name__}: {problem}"
    if shown and visit is not None:
        print(
            f"#{number} {plate}\n  {case.opening.heard}; truth {truth.cause}: {list(map(set, truth.needs))}"
        )
        print("\n".join(f"    {line}" for line in visit.log))
    return Outcome(
        number=number,
        arrangement=plate.arrangement,
        horsepower=plate.horsepower,
        cause=truth.cause,
        family=truth.family,
        needs=tuple(tuple(sorted(need)) for need in truth.needs),
        allowed=tuple(sorted(truth.allowed)),
        ended="error" if error or visit is None else visit.ended,
        ordered=() if visit is None else visit.ordered,
        claimed=None if visit is None else visit.claimed,
        probes=0 if visit is None else visit.probes,
        refused=0 if visit is None else visit.refused,
        impossible=0 if visit is None else visit.impossible,
        minutes=0.0 if visit is None else round(visit.minutes, 2),
        seconds=round(time.perf_counter() - began, 3),
        error=error,
        bad=() if visit is None else called_bad(visit.call),
    )


def play(world: str, calls: int, seed: int, jobs: int = 1, *, shown: bool = False) -> list[Outcome]:
    """Play that many calls; the same for the same seed, whatever the number of jobs."""
    one = partial(play_one, world=world, seed=seed, shown=shown)
    if jobs == 1:
        return [one(number) for number in range(calls)]
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(one, range(calls), chunksize=8))


def told(figures: dict[str, Any]) -> str:
    """The figures as lines."""
    lines = []
    for name, value in figures.items():
        if name.startswith("by "):
            lines.append(f"{name}:")
            lines += [
                f"    {group:24} {_line(row)}, condemned {row['condemned']}" for group, row in value.items()
            ]
        elif name == "calibration":
            lines.append("calibration:")
            lines += [f"    claimed {row['claimed']:.3f}: {_line(row)}" for row in value]
        else:
            lines.append(f"{name}: {_line(value) if isinstance(value, dict) else value}")
    return "\n".join(lines)


def _line(row: dict[str, Any]) -> str:
    if row["share"] is None:
        return "none"
    return f"{row['hits']} of {row['of']}, {row['share']:.1%} ({row['low']:.1%} to {row['high']:.1%})"


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line, play, print, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--world", choices=WORLDS, required=True)
    parser.add_argument("--calls", type=int, default=320)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--shown", action="store_true", help="print each step")
    given = parser.parse_args(arguments)
    outcomes = play(given.world, given.calls, given.seed, given.jobs, shown=given.shown)
    figures = summary(outcomes)
    print(told(figures))
    if given.out:
        whole = {
            "world": given.world,
            "seed": given.seed,
            "figures": figures,
            "outcomes": [asdict(o) for o in outcomes],
        }
        given.out.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
