"""
What one who measures everything without error learns in the second world, and machines that might look
alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from benchmarks.worlds.face import Truth
from benchmarks.worlds.second.ageing import GEAR, LAWS, State
from benchmarks.worlds.second.answers import SEEN
from benchmarks.worlds.second.calls import fails, passing_of, possible, put_right, truth
from benchmarks.worlds.second.case import PARTS, SecondCase
from benchmarks.worlds.second.starts import try_it

LUCK = (0.2, 0.5, 0.8)
PAIRS = (
    "pins.C-R",
    "pins.C-S",
    "pins.S-R",
    "pins.shell",
    "between.c-C",
    "between.s-S",
    "between.r-R",
    "between.l-k",
    "between.n-c",
    "between.N-n",
)
OFF = (
    "ptc.ohms",
    "current_relay.coil",
    "current_relay.at_rest",
    "current_relay.turned_over",
    "potential_relay.coil",
    "potential_relay.at_rest",
    "start_capacitor.ohms",
    "run_capacitor.ohms",
)


def rested(case: SecondCase) -> SecondCase:
    """The case after a long rest."""
    return _case_of(case, replace(case.state, hot=0.0, pill=0.0, uneven=0.0, warmth=0.0))


def _case_of(case: SecondCase, state: State) -> SecondCase:
    other = object.__new__(SecondCase)
    other.__dict__.update(case.__dict__)
    other.state = replace(state, damage=dict(state.damage), passing=dict(state.passing))
    other.rng = np.random.default_rng(11)
    return other


def measures(case: SecondCase, parts_at_hand: bool) -> Iterator[float | str]:
    """Everything there is to measure, the quick things first."""
    state = case.state
    gear = GEAR[state.built.arrangement]
    for probe in (*PAIRS, *(each for each in OFF if PARTS[each.split(".")[0]] in gear)):
        yield min(case.true_ohms(probe), 2e7)
    for name in ("start cap", "run cap"):
        if name in gear:
            yield min(case._microfarads(name), 1e6) + 0.1
    for luck in LUCK:
        tried = try_it(state, luck)
        yield tried.heard
        yield round(tried.volts)
        yield tried.amps
    for probe, table in SEEN.items():
        part = PARTS.get(probe.split(".")[0])
        if part is None or part in state.damage:
            kept = dict(state.passing)
            answers = table(state)
            state.passing.update(kept)
            yield max(answers, key=lambda answer: answers[answer])
    if parts_at_hand:
        outer = () if state.built.protector == "internal" else ("protector",)
        lent = (*gear, *outer, "plug", "thermostat", "connector", "long cord", "low volts", "leads swapped")
        for things in (
            lent,
            ("condenser",),
            ("connector", "leads swapped"),
            *((each,) for each in (*gear, *outer)),
        ):
            yield try_it(put_right(state, things), 0.5).heard


def twins(case: SecondCase, rng: np.random.Generator, degrees: int) -> Iterator[tuple[SecondCase, Truth]]:
    """The same machine, new but for one other part in each of its ways to end, in some degrees."""
    new = put_right(case.state, (*case.state.damage, *case.state.passing))
    for part in case.state.parts:
        for mode in LAWS[part].modes:
            for _ in range(degrees):
                hurt = {**new.damage, part: float(rng.uniform(0.8, 2.0))}
                other = replace(new, damage=hurt, mode={**new.mode, part: mode})
                if fails(other):
                    yield _case_of(case, other), truth(other)
    for name in (
        "set warm",
        "long cord",
        "low volts",
        "leads swapped",
        "relay upside down",
        "wrong relay",
        "liquid",
    ):
        for _ in range(degrees if possible(name, new.built) else 0):
            other = replace(new, passing={}, damage=dict(new.damage))
            passing_of(name, other, rng)
            if fails(other):
                yield _case_of(case, other), truth(other)
