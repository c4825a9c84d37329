"""
Answers of judgement, written down: what it said of several hundred situations, to be held against later code.

``python -m tests.diagnosis.written_answers --calls`` draws the calls anew, without it only the answers are
written again. A change of these files says in its commit why the new answers are better.
"""

from __future__ import annotations

import json
import random
import sys
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.jobs.call_file import read_call
from humclick.jobs.fold import fold
from humclick.meters import Quantity
from humclick.readings import Leads, PartTemperature, Reading, parse_reading
from humclick.sourced import Spread

__all__ = ["answer", "calls", "prefixes", "written"]

_HERE = Path(__file__).parent
CALLS, ANSWERS = _HERE / "written_calls.json", _HERE / "written_answers.json"
_ROOT = Path(__file__).parents[2]
_READINGS = {
    "resistance": ("0.0", "0.1", "0.4", "3.2", "5.1", "8", "14", "25", "120", "1.2k", "15k", "2.2M", "OL"),
    "voltage": ("0.0 V", "12 V", "95 V", "104 V", "116 V", "121 V", "228 V"),
    "current": ("0.0 A", "0.8 A", "4.1 A", "9.5 A", "16.2 A", "31 A"),
    "capacitance": ("0.0 uF", "4.1 uF", "12 uF", "15 uF", "88 uF", "105 uF"),
}

Plain = dict[str, Any]


@cache
def calls() -> tuple[Plain, ...]:
    """Every call written down, as plain data."""
    return tuple(json.loads(CALLS.read_text("utf-8")))


@cache
def written() -> dict[str, Plain]:
    """Every answer written down, by ``<call>/<number of observations>``."""
    rows: dict[str, Plain] = json.loads(ANSWERS.read_text("utf-8"))
    return rows


# -- situations as plain data -------------------------------------------------------------------------------


def _seen_as_plain(o: Observation) -> Plain:
    row: Plain = {"probe": o.probe}
    if o.reading is not None:
        row["reading"] = [o.reading.quantity.value, *list(asdict(o.reading).values())[1:]]
    if o.answer:
        row["answer"] = o.answer
    if o.temperature != PartTemperature():
        row["temperature"] = [o.temperature.kind, o.temperature.celsius]
    if o.causes:
        row["causes"] = o.causes
    plain = {"renewed": sorted(o.renewed), "repairs": o.repairs, "tester": o.tester, "top": o.top}
    return row | {name: value for name, value in plain.items() if value}


def _seen(row: Plain) -> Observation:
    kind, celsius = row.get("temperature", ("unknown", None))
    return Observation(
        row["probe"],
        Reading(Quantity(row["reading"][0]), *row["reading"][1:]) if "reading" in row else None,
        row.get("answer", ""),
        PartTemperature(kind, celsius),
        frozenset(row.get("renewed", ())),
        causes=tuple((cause, x) for cause, x in row.get("causes", ())),
        repairs=row.get("repairs", 0),
        tester=row.get("tester", False),
        top=row.get("top"),
    )


def _as_plain(name: str, s: Situation) -> Plain:
    return {
        "name": name,
        "arrangement": s.machine.arrangement.id,
        "protector": s.machine.protector,
        "nameplate": asdict(s.machine.nameplate),
        "known": {size: [x.median, x.factor, x.unit] for size, x in s.machine.known.items()},
        "complaint": s.complaint.value if s.complaint else None,
        "leads": [s.leads.nulled, s.leads.resistance],
        "hot": s.hot,
        "waited": s.waited,
        "seen": [_seen_as_plain(o) for o in s.observations],
    }


def situation_of(call: Plain, count: int) -> Situation:
    """A call with so many of its observations."""
    machine = Machine.of(
        call["arrangement"],
        call["protector"],
        Nameplate(**call["nameplate"]),
        {size: Spread(*row) for size, row in call["known"].items()},
    )
    seen = tuple(_seen(row) for row in call["seen"][:count])
    last = seen[-1] if seen else None
    return Situation(
        machine,
        Heard(call["complaint"]) if call["complaint"] else None,
        seen,
        leads=Leads(call["leads"][0], call["leads"][1]),
        hot=call["hot"],
        waited=call["waited"],
        renewed=last.renewed if last else frozenset(),
        repairs=last.repairs if last else 0,
        fitted=dict.fromkeys(last.renewed, last.repairs) if last else {},
    )


def prefixes(*, every: int = 1) -> list[tuple[Plain, int]]:
    """Every call with every number of its observations, or every so many of them."""
    return [(call, n) for call in calls() for n in range(len(call["seen"]) + 1)][::every]


def _key(call: Plain, count: int) -> str:
    return f"{call['name']}/{count}"


# -- what judgement says ------------------------------------------------------------------------------------


def _shown(advice: Advice) -> Plain:
    row: Plain = {
        "kind": advice.kind,
        "suspects": [["+".join(f"{p}.{m}" for p, m in s.parts), s.probability] for s in advice.suspects[:6]],
        "remedies": [[name, p] for name, p in advice.remedies[:6]],
        "none": advice.none_of_these,
        "left_out": advice.left_out,
        "bars": [bar.name for bar in advice.bars],
        "guards": [guard.name for guard in advice.guards],
    }
    if advice.next is not None:
        row["next"] = [advice.next.probe, advice.next.worth, advice.next.cost, advice.next.waits]
        row["others"] = [[v.probe, v.worth, v.waits] for v in advice.alternatives[:4]]
    if advice.verdict is not None:
        v = advice.verdict
        row["verdict"] = [list(v.remedies), list(v.due), v.probability, v.expected_loss, list(v.rival)]
    return row


def answer(call: Plain, count: int) -> Plain:
    """What judgement says of a call after so many observations, as plain data."""
    shown: Plain = json.loads(json.dumps(_shown(advise(situation_of(call, count)))), parse_float=_rounded)
    return shown


def _rounded(text: str) -> float:
    return float(f"{float(text):.10g}")


# -- drawing the calls --------------------------------------------------------------------------------------


def _of_examples() -> list[Plain]:
    rows = []
    for file in sorted(_ROOT.glob("examples/*/call.toml")):
        call = fold(read_call(file))
        situation = call.situation()
        if situation is not None and not situation.machine.arrangement.recognised_only:
            rows.append(_as_plain(f"example {file.parent.name}", situation))
    return rows


def _of_world(seed: int) -> list[Plain]:
    from benchmarks.policies import MOST_PROBES
    from benchmarks.visit import Visit
    from benchmarks.world import WORLDS, case, machines

    rows = []
    for index, machine in enumerate(machines()):
        if index % 2:
            continue
        visit = Visit(case(f"{seed}|{index}", machine, WORLDS["as-modelled"]))
        first = visit.situation()
        while len(visit.observations) < MOST_PROBES:
            advice = advise(visit.situation())
            if advice.next is None:
                break
            if advice.next.waits > 0:
                visit.wait(advice.next.waits)
            visit.follow(advice.next.probe)
        row = _as_plain(f"world {index}", visit.situation())
        rows.append(row | {"hot": first.hot, "waited": 0.0})
    return rows


def _at_random(seed: int) -> list[Plain]:
    from benchmarks.world import machines

    rows = []
    for index, machine in enumerate(machines()):
        if index % 3:
            continue
        rng = random.Random(f"{seed}|{index}")
        probes = list(probes_of(machine).values())
        seen = []
        for probe in rng.sample(probes, 6):
            warm = (
                PartTemperature(rng.choice(("cold", "hot", "unknown"))) if probe.heat else PartTemperature()
            )
            if probe.outcomes:
                seen.append(Observation(probe.id, answer=rng.choice(probe.outcomes), temperature=warm))
            else:
                text = rng.choice(_READINGS[probe.quantity])
                reading = parse_reading(text, Quantity(probe.quantity))
                seen.append(Observation(probe.id, reading, temperature=warm))
        heard = rng.choice((None, *Heard))
        leads = rng.choice((Leads(), Leads(True), Leads(resistance=0.3)))
        rows.append(_as_plain(f"random {index}", Situation(machine, heard, tuple(seen), leads=leads)))
    return rows


def _lines(rows: list[str]) -> str:
    return ",\n".join(rows)


def main() -> None:
    """Write the answers, and the calls if asked to."""
    if "--calls" in sys.argv:
        drawn = [*_of_examples(), *_of_world(271), *_at_random(828)]
        text = _lines([json.dumps(row, ensure_ascii=False) for row in drawn])
        CALLS.write_text(f"[\n{text}\n]\n", "utf-8")
    rows = [f"{json.dumps(_key(c, n))}: {json.dumps(answer(c, n))}" for c, n in prefixes()]
    ANSWERS.write_text(f"{{\n{_lines(rows)}\n}}\n", "utf-8")


if __name__ == "__main__":
    main()
