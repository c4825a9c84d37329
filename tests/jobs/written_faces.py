"""
What the faces say of several dozen calls, written down event by event, to be held against later code.

``python -m tests.jobs.written_faces --calls`` draws the calls anew, without it only the answers are written
again. A change of these files says in its commit why the new answers are better.
"""

from __future__ import annotations

import json
import random
import sys
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from functools import cache
from pathlib import Path
from typing import Any

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import advise
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.reasons import explain, leader_of
from humclick.diagnosis.shop import default_shop
from humclick.jobs.call import Call
from humclick.jobs.call_file import read_call
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.events import HEARD, Event
from humclick.jobs.flow import Flow, step
from humclick.jobs.fold import fold
from humclick.jobs.history import turns
from humclick.jobs.sheet.render import sheet_of
from humclick.jobs.standing import onward
from humclick.replacement.demand import PartDemand
from humclick.safety import PLACES, gates, stops
from tests.visit import MACHINES, SOUND, USUAL

__all__ = ["along", "at_the_end", "calls", "written"]

_HERE = Path(__file__).parent
CALLS, FACES = _HERE / "written_calls.json", _HERE / "written_faces.json"
_EXAMPLES = Path(__file__).parents[2] / "examples"
_NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
_ODD = {
    "resistance": ("0.0", "0.4", "3.2", "8", "14.2", "120", "1.2k", "2.2M", "OL", "4.7 or 5.1"),
    "voltage": ("0.0 V", "12 V", "95 V", "104 V", "121 V", "228 V"),
    "current": ("0.0 A", "0.8 A", "4.1 A", "16.2 A", "31 A"),
    "capacitance": ("0.0 uF", "4.1 uF", "12 uF", "88 uF", "OL"),
}

#: Probes that are asked for instead of the one advised.
_CHOSEN = ("attempt.as_found", "attempt.known_good", "shell.insulation")
#: How often each kind of event is drawn, as shares. [-]
_SHARES = {
    "reading": 60,
    "wait": 6,
    "stamp": 4,
    "fitted": 5,
    "decision": 5,
    "note": 2,
    "photo": 2,
    "skip": 4,
    "hazard": 2,
    "undo": 4,
    "odd": 3,
}

Plain = dict[str, Any]


@cache
def calls() -> dict[str, list[Plain]]:
    """Every call written down, by name, as tables of events."""
    rows: dict[str, list[Plain]] = json.loads(CALLS.read_text("utf-8"))
    return rows


@cache
def written() -> dict[str, Plain]:
    """What was said of each, by name."""
    rows: dict[str, Plain] = json.loads(FACES.read_text("utf-8"))
    return rows


# -- what the faces say -------------------------------------------------------------------------------------


def _plain(thing: Any) -> Any:
    """A value as data: what nobody reads, or is drawn, is left out."""
    if isinstance(thing, Machine):
        return thing.arrangement.id
    if isinstance(thing, PartDemand):
        return thing.part
    if isinstance(thing, Enum):
        return str(thing.value)
    if is_dataclass(thing) and not isinstance(thing, type):
        rows = {f.name: _plain(getattr(thing, f.name)) for f in fields(thing) if f.name != "turn"}
        return {
            n: value for n, value in rows.items() if value is not False and value not in ("", None, [], {})
        }
    if isinstance(thing, Mapping):
        return {str(name): _plain(value) for name, value in thing.items()}
    if isinstance(thing, (set, frozenset)):
        return sorted(str(each) for each in thing)
    if isinstance(thing, Iterable) and not isinstance(thing, str):
        return [_plain(each) for each in thing]
    return str(thing) if isinstance(thing, str) else thing


def along(tables: list[Plain]) -> list[Plain]:
    """What comes next after each event, and what stands before it; only what is not as it was before."""
    events = tuple(map(event_from, tables))
    rows: list[Plain] = []
    last: Plain = {}
    for count in range(len(events) + 1):
        now = _said(Flow(fold(events[:count], device="phone"), default_shop()))
        rows.append({name: value for name, value in now.items() if value != last.get(name)})
        last = now
    return rows


def _said(flow: Flow) -> Plain:
    call, state = flow.call, flow.state
    now = step(flow)
    row: Plain = {
        "heading": str(flow.heading),
        "state": [state.name, *state.remedies, "/", *state.done, "/", *state.due],
        "step": [now.kind.value, now.probe.id if now.probe else "", now.value.waits if now.value else 0.0],
        "warmth": [call.hot, round(call.waited, 6), call.repairs, *sorted(call.renewed)],
        "worth": [probe.id for probe in flow.still_worth()],
        "problems": [[problem.event, str(problem.text), problem.kept] for problem in call.problems],
        "stoppages": [[each.name, each.event] for each in call.stoppages],
    }
    for asked in (now.probe.id if now.probe is not None else "", *_CHOSEN):
        if flow.has(asked):
            chosen = step(flow, asked, at_once=True)
            said = flow.briefing(flow.probe(asked))
            row[f"before {asked}" if asked in _CHOSEN else "before it"] = [
                chosen.kind.value,
                [[g.gate.name, g.gate.matter, g.full, g.new] for g in said.gates],
                [[h.hazard.name, h.full] for h in said.hazards],
                [fact.name for fact in said.cautions],
                said.live_work is not None,
                [*map(str, said.held_back), said.first],
            ]
    return row


def at_the_end(tables: list[Plain]) -> Plain:
    """The sheet, every go at fixing it, and every reason."""
    call = fold(map(event_from, tables), device="phone")
    row: Plain = {"sheet": _plain(sheet_of(call)), "held": _plain(call.held), "ended": _plain(call.ended)}
    row["turns"] = [
        [t.event, len(t.before.events), list(t.decided), list(t.done), t.outcome] for t in turns(call)
    ]
    row["readings"] = [
        [
            *(r.event, r.text, r.answer, r.temperature.kind, r.temperature.celsius),
            *(list(r.unproved), sorted(r.renewed), r.repairs, list(map(str, r.against))),
        ]
        for r in call.readings
    ]
    situation = call.situation()
    if situation is not None and not situation.machine.arrangement.recognised_only:
        advice = advise(situation)
        row["why"] = _plain(explain(situation, leader=leader_of(advice)))
        row["flow"] = _plain(onward(call, advice, Flow(call, default_shop()).state, default_shop()))
    made: Plain = json.loads(json.dumps(row), parse_float=lambda text: float(f"{float(text):.9g}"))
    return made


# -- drawing the calls --------------------------------------------------------------------------------------


class _Drawn:
    """A call that is drawn, an event a minute."""

    def __init__(self, seed: str, tables: Iterable[Plain] = ()) -> None:
        self.rng = random.Random(seed)
        self.tables = list(tables)
        self.at = _NOW if not self.tables else event_from(self.tables[-1]).at

    def add(self, kind: str, **given: Any) -> None:
        """One more event."""
        self.at += timedelta(minutes=1)
        name = f"n{len(self.tables):03d}"
        event = event_from({"kind": kind, "id": name, "at": self.at, "device": "phone", **given})
        self.tables.append(json.loads(json.dumps(table_of(event) | {"id": name}, default=str)))

    @property
    def call(self) -> Call:
        """As it stands."""
        return fold(map(event_from, self.tables), device="phone")

    def read(self, probe: Probe, *, sound: float = 0.5) -> None:
        """A probe with what stands before it, most often; what it shows is sound, or drawn."""
        rng, call = self.rng, self.call
        if rng.random() < 0.85:
            for gate in call.gates_before(probe.gates):
                ended = call.ended.get(gate.name, 0)
                self.add("gate", gate=gate.name, matter=gate.matter, ended=ended)
                call = self.call
        well = rng.random() < sound
        if probe.outcomes:
            value = probe.outcomes[0] if well else rng.choice(probe.outcomes)
        elif well:
            value = SOUND.get(probe.id, USUAL[str(probe.quantity)])
        else:
            value = rng.choice(_ODD[str(probe.quantity)])
        warm = rng.choice(("", "", "cold", "hot", "31 C")) if probe.heat else ""
        self.add(
            "reading", probe=probe.id, value=str(value), temperature=warm, note=rng.choice(("", "", "twice"))
        )

    def anything(self) -> None:
        """Whatever may happen on a call."""
        rng, call = self.rng, self.call
        assert call.machine is not None
        probes = [p for p in probes_of(call.machine).values() if p.outcomes or p.quantity]
        parts = [part.id for part in call.machine.parts]
        kind = rng.choices(
            (
                "reading",
                "wait",
                "stamp",
                "fitted",
                "decision",
                "note",
                "photo",
                "skip",
                "hazard",
                "undo",
                "odd",
            ),
            (60, 6, 4, 5, 5, 2, 2, 4, 2, 4, 3),
        )[0]
        match kind:
            case "reading":
                self.read(rng.choice(probes))
            case "wait":
                self.add("wait", minutes=rng.choice((3.0, 12.0, 45.0)))
            case "stamp":
                self.add(
                    "stamp", part=rng.choice(parts), text=rng.choice(("88-108 MFD 125 VAC", "4.7 ohm", "?"))
                )
            case "fitted":
                self.add(
                    "fitted", part=rng.choice([*parts, "compressor"]), note=rng.choice(("", "88-108 MFD"))
                )
            case "decision":
                remedies = rng.sample(sorted(default_shop().remedies), rng.choice((1, 1, 2)))
                self.add("decision", remedies=remedies, words=rng.choice(("", "no parts in the van")))
            case "note":
                self.add("note", text="asked the owner")
            case "photo":
                self.add(
                    "photo", sha256=f"{rng.getrandbits(256):064x}", caption=rng.choice(("", "the plate"))
                )
            case "skip":
                self.add("skip", probe=rng.choice(probes).id, reason=rng.choice(("", "no meter for it")))
            case "hazard":
                found = rng.choice(sorted(stops()))
                self.add("hazard", hazard=found, words="seen")
                if rng.random() < 0.7:
                    for gate in gates():
                        self.add("gate", gate=gate)
                    self.add("cleared", of=self.tables[-len(gates()) - 1]["id"], words="put right")
            case "undo":
                self.add("undo", of=rng.choice(self.tables)["id"])
            case "odd":
                self.add("reading", probe=rng.choice(("no.such", probes[0].id)), value="about seven")


def _at_random(number: int, name: str, guard: str) -> list[Plain]:
    drawn = _Drawn(f"faces {number}")
    rng = drawn.rng
    drawn.add("opened", shop="Northgate Cold Works", customer="M. Example", place=rng.choice(sorted(PLACES)))
    drawn.add("complaint", heard=rng.choice(HEARD), words=rng.choice(("", "It hums, then clicks.")))
    volts = rng.choice((115.0, 230.0))
    drawn.add(
        *("machine",),
        arrangement=name,
        protector=guard,
        volts=volts,
        hertz=60.0 if volts < 200 else 50.0,
        locked_rotor_amps=rng.choice((None, 15.0)),
        refrigerant=rng.choice(("R134a", "R290", "R600a", "", "R717")),
        provisional=rng.random() < 0.2,
    )
    if rng.random() < 0.5:
        drawn.add("meter", leads_nulled=rng.random() < 0.5)
    for _ in range(12):
        drawn.anything()
    return drawn.tables


def _tail(drawn: _Drawn, number: int) -> None:
    """What is done after a call was judged: parts fitted, tried or not, or another thing decided."""
    call = drawn.call
    situation = call.situation()
    if situation is None or call.machine is None or situation.machine.arrangement.recognised_only:
        return
    advice = advise(situation)
    judged = advice.verdict.due if advice.verdict is not None else ()
    due = list(judged) or [advice.remedies[0][0]]
    probes = probes_of(call.machine)
    if number % 6 == 0:
        drawn.add("decision", remedies=["hand over"], words="no parts in the van")
        return
    if number % 6 == 1:
        drawn.add("decision", remedies=["wait"])
        drawn.add("wait", minutes=60.0)
        drawn.read(probes["attempt.as_found"], sound=0.0)
        return
    if number % 2 == 0:
        drawn.add("decision", remedies=due)
    for part in call.machine.parts:
        if any(part.remedy(mode) in due for mode in part.family.modes):
            drawn.add("fitted", part=part.id, note="88-108 MFD 110 VAC")
    if number % 6 == 2:
        return
    drawn.read(probes["attempt.as_found"], sound=0.0)
    outcome = {3: "runs", 4: "hum_click", 5: "runs"}[number % 6]
    drawn.tables[-1]["value"] = outcome
    if number % 6 == 5:
        drawn.read(probes.get("supply.volts_start", probes["attempt.as_found"]), sound=1.0)
        drawn.add("undo", of=drawn.tables[-1]["id"])


def _drawn_calls() -> dict[str, list[Plain]]:
    made: dict[str, list[Plain]] = {}
    for number, file in enumerate(sorted(_EXAMPLES.glob("*/call.toml"))):
        events: tuple[Event, ...] = read_call(file)
        tables = [json.loads(json.dumps(table_of(e), default=str)) | {"device": "phone"} for e in events]
        drawn = _Drawn(file.parent.name, tables)
        _tail(drawn, number)
        made[f"example {file.parent.name}"] = drawn.tables
    for number, (name, guard) in list(enumerate(MACHINES))[::2]:
        made[f"random {number}"] = _at_random(number, name, guard)
    return made


def main() -> None:
    """Write the answers, and the calls if asked to."""
    if "--calls" in sys.argv:
        rows = [f"{json.dumps(name)}: {json.dumps(tables)}" for name, tables in _drawn_calls().items()]
        CALLS.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")
        calls.cache_clear()
    rows = []
    for name, tables in calls().items():
        answer = {"along": along(tables), "end": at_the_end(tables)}
        rows.append(f"{json.dumps(name)}: {json.dumps(answer, ensure_ascii=False)}")
    FACES.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")


if __name__ == "__main__":
    main()
