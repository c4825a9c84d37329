"""
What judgement says beside its figures, written down: findings, guards, bars, what stands before a probe.

``python -m tests.diagnosis.written_sayings --calls`` draws the calls anew, without it only the answers are
written again. A change of these files says in its commit why the new answers are better.
"""

from __future__ import annotations

import json
import random
import sys
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.damage import damage, remedies_done, remedies_due
from humclick.diagnosis.findings import findings
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.guards import (
    forbidden,
    guards_for,
    guards_for_no_repair,
    leakage,
    met_next,
    needs_before,
    open_before,
)
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import bars, bars_on, earth, insulation, owed, owed_for, three_equal
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.reasons import what_if
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.fold import fold
from humclick.safety import PLACES
from tests.visit import MACHINES, SOUND, USUAL

__all__ = ["calls", "sayings", "situations", "written"]

_HERE = Path(__file__).parent
CALLS, SAYINGS = _HERE / "written_power.json", _HERE / "written_sayings.json"
_NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
#: What is asked about safety is drawn from these as often as from all probes.
_SAFETY = ("shell.", "pins.shell", "proof.", "earth.", "supply.", "attempt.", "fit.", "mechanism.")
_ODD = {
    "resistance": ("0.0", "0.12", "0.4", "3.2", "8", "14.2", "120", "1.2k", "0.9M", "2.2M", "8 M", "OL"),
    "voltage": ("0.0 V", "12 V", "95 V", "103.5 V", "104 V", "121 V", "228 V"),
    "current": ("0.0 A", "0.3 mA", "0.6 mA", "0.8 A", "4.1 A", "16.2 A"),
    "capacitance": ("0.0 uF", "4.1 uF", "12 uF", "88 uF", "OL"),
}

Plain = dict[str, Any]


@cache
def calls() -> dict[str, list[Plain]]:
    """Every call written down, by name, as tables of events."""
    rows: dict[str, list[Plain]] = json.loads(CALLS.read_text("utf-8"))
    return rows


@cache
def written() -> dict[str, list[Plain]]:
    """What was said of each, by name."""
    rows: dict[str, list[Plain]] = json.loads(SAYINGS.read_text("utf-8"))
    return rows


def situations(tables: list[Plain]) -> list[Situation]:
    """A call at every third of its events, and at its end."""
    events = [event_from(table) for table in tables]
    counts = sorted({*range(6, len(events), 3), len(events)})
    found = (fold(events[:count], device="phone").situation() for count in counts)
    return [situation for situation in found if situation is not None]


# -- what is said -------------------------------------------------------------------------------------------


def _guards(states: tuple[GuardState, ...]) -> list[Any]:
    return [[g.name, g.done, str(g.waived), list(g.probes), g.waits, str(g.reason)] for g in states]


def sayings(situation: Situation) -> Plain:
    """What is said of a situation, as plain data."""
    shop, judged = default_shop(), judge(situation)
    every = bars(situation, shop)
    before: dict[str, list[str]] = {}
    for probe in probes_of(situation.machine, shop).values():
        first = met_next(situation, probe, shop)
        said = [
            ",".join(need.name for need in needs_before(situation, probe, shop)),
            first.id if first is not None and first.id != probe.id else "itself" if first is not None else "",
            f"{forbidden(situation, probe, shop)}",
            ",".join(bar.name for bar in bars_on(probe, every, situation)),
            "; ".join(open_before(situation, probe, shop)),
        ]
        before.setdefault(" | ".join(said), []).append(probe.id)
    allows = insulation(situation, shop)
    row: Plain = {
        "findings": [[f.probe, str(f.text), f.warns] for f in findings(situation, shop)[-3:]],
        "contradictions": list(map(str, contradictions(situation, shop))),
        "guards": _guards(guards_for(judged.bench, situation, judged.post)),
        "left": _guards(guards_for_no_repair(judged.bench, situation, unexplained=True)),
        "leakage": _guards((leakage(situation),)),
        "verdict": _guards(needs_before(situation, None, shop)),
        "before": before,
        "bars": [
            [b.name, str(b.title), str(b.reason), list(b.remedies), list(b.probes), b.whole] for b in every
        ],
        "insulation": [allows.standing and allows.standing.value, allows.weak, allows.tripped, allows.read],
        "earth": earth(situation).value,
        "equal": three_equal(situation),
        "owed": [sorted(owed(situation, shop)), owed_for(situation, shop)],
        "damage": [[d.probe.id, d.remedy, d.bars] for d in damage(situation, shop)],
        "done": [sorted(remedies_done(situation)), sorted(remedies_due(situation, shop))],
    }
    made: Plain = json.loads(json.dumps(row))
    return made


def supposed(situation: Situation) -> Plain:
    """What each outcome of two probes would change."""
    names = list(probes_of(situation.machine))
    return {
        name: [
            [
                str(w.outcome),
                round(w.probability, 5),
                [[r, round(p, 5)] for r, p in w.remedies],
                list(w.decision),
            ]
            for w in what_if(situation, name)
        ]
        for name in (names[len(situation.observations) % len(names)], "attempt.as_found")
    }


# -- drawing the calls --------------------------------------------------------------------------------------


def _drawn(number: int, name: str, guard: str) -> list[Plain]:
    rng = random.Random(f"power {number}")
    tables: list[Plain] = []

    def add(kind: str, **given: Any) -> None:
        at = _NOW + timedelta(minutes=len(tables))
        given = {"kind": kind, "id": f"n{len(tables):03d}", "at": at, "device": "phone", **given}
        event = event_from(given)
        tables.append(json.loads(json.dumps(table_of(event) | {"id": event.id}, default=str)))

    heard = rng.choice(("silent", "hum", "hum_click", "breaker", "starts_then_trips"))
    add("opened", place=rng.choice(sorted(PLACES)))
    add("complaint", heard=heard)
    volts, gas = rng.choice((115.0, 230.0)), rng.choice(("R134a", "R290"))
    add("machine", arrangement=name, protector=guard, volts=volts, refrigerant=gas)
    add("meter", leads_nulled=rng.random() < 0.5)
    machine = fold(map(event_from, tables)).machine
    assert machine is not None
    probes = [p for p in probes_of(machine).values() if p.outcomes or p.quantity]
    safety = [p for p in probes if p.id.startswith(_SAFETY)]
    for _ in range(14):
        kind = rng.choices(("reading", "wait", "fitted", "skip", "hazard"), (70, 5, 6, 5, 2))[0]
        probe = rng.choice(safety if rng.random() < 0.6 else probes)
        if kind == "reading":
            well = rng.random() < 0.5
            if probe.outcomes:
                value = probe.outcomes[0] if well else rng.choice(probe.outcomes)
            elif well:
                value = SOUND.get(probe.id, USUAL[str(probe.quantity)])
            else:
                value = rng.choice(_ODD[str(probe.quantity)])
            warm = rng.choice(("", "cold", "hot", "31 C")) if probe.heat else ""
            for _ in range(rng.choice((1, 1, 2))):
                add("reading", probe=probe.id, value=str(value), temperature=warm)
        elif kind == "wait":
            add("wait", minutes=rng.choice((4.0, 30.0, 90.0)))
        elif kind == "fitted":
            add("fitted", part=rng.choice([*(part.id for part in machine.parts), "compressor"]))
        elif kind == "skip":
            add("skip", probe=probe.id, reason="no meter for it")
        else:
            add("hazard", gate="power-off-proved-dead", words="cannot be proved")
    return tables


def main() -> None:
    """Write the answers, and the calls if asked to."""
    if "--calls" in sys.argv:
        made = {f"power {n}": _drawn(n, name, guard) for n, (name, guard) in enumerate(MACHINES)}
        rows = [f"{json.dumps(name)}: {json.dumps(tables)}" for name, tables in made.items()]
        CALLS.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")
        calls.cache_clear()
    rows = []
    for name, tables in calls().items():
        every = situations(tables)
        said = [*map(sayings, every), supposed(every[0])]
        rows.append(f"{json.dumps(name)}: {json.dumps(said, ensure_ascii=False)}")
    SAYINGS.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")


if __name__ == "__main__":
    main()
