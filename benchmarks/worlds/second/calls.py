"""A life of a machine up to the call, and what puts it right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from benchmarks.worlds.face import Truth
from benchmarks.worlds.second.ageing import EVENTS, PASSING, State, lives, newborn
from benchmarks.worlds.second.starts import try_it
from benchmarks.worlds.second.survey import Built, build

STEP = 0.25
"""Of a life. [a]"""

COMPRESSOR = frozenset({"replace compressor"})

REMEDY = {
    "pill": frozenset({"replace starter"}),
    "board": frozenset({"replace starter"}),
    "current relay": frozenset({"replace relay"}),
    "voltage relay": frozenset({"replace relay"}),
    "start cap": frozenset({"replace start capacitor"}),
    "run cap": frozenset({"replace run capacitor"}),
    "protector": frozenset({"replace overload protector"}),
    "connector": frozenset({"repair terminals", "correct wiring"}),
    "windings": COMPRESSOR,
    "pump": COMPRESSOR,
    "plug": frozenset({"restore supply"}),
    "thermostat": frozenset({"replace control"}),
    "condenser": frozenset({"clear condenser"}),
    "ground wire": frozenset({"restore ground"}),
    "pressures": frozenset({"wait"}),
    "tripped": frozenset({"wait"}),
    "set warm": frozenset({"set control"}),
    "long cord": frozenset({"restore supply"}),
    "low volts": frozenset({"restore supply"}),
    "leads swapped": frozenset({"correct wiring"}),
    "relay upside down": frozenset({"correct wiring"}),
    "wrong relay": frozenset({"replace relay"}),
    "liquid": frozenset({"warm compressor"}),
}
FAMILY = {
    "pill": "starter",
    "board": "starter",
    "current relay": "relay",
    "voltage relay": "relay",
    "wrong relay": "relay",
    "start cap": "capacitor",
    "run cap": "capacitor",
    "windings": "winding",
    "pump": "mechanism",
    "liquid": "mechanism",
    "plug": "supply",
    "long cord": "supply",
    "low volts": "supply",
    "pressures": "passing",
    "tripped": "passing",
    "set warm": "setting",
    "leads swapped": "installer",
    "relay upside down": "installer",
}


def remedy_of(state: State, thing: str) -> frozenset[str]:
    """What puts it right on this machine."""
    if thing == "protector" and state.built.protector == "internal":
        return COMPRESSOR
    if thing == "protector" and state.built.protector == "integrated":
        gear = "replace relay" if "current-relay" in state.built.arrangement else "replace starter"
        return frozenset({"replace overload protector", gear})
    return REMEDY[thing]


def fails(state: State) -> bool:
    """Whether two tries of three go wrong."""
    return sum(try_it(state, luck).heard != "runs" for luck in (0.2, 0.5, 0.8)) >= 2


def put_right(state: State, things: tuple[str, ...]) -> State:
    """The machine with these put right."""
    better = replace(
        state,
        damage={part: 0.0 if part in things else hurt for part, hurt in state.damage.items()},
        passing={name: value for name, value in state.passing.items() if name not in things},
    )
    if "pressures" in things:
        better.uneven = 0.0
    if "tripped" in things:
        better.hot = 0.0
    return better


def truth(state: State) -> Truth:
    """
    The fewest repairs after which it runs; of several as few, the one of the most damage.

    What is worn beyond nine tenths of its life may be replaced too.
    """
    suspects = [part for part, hurt in state.damage.items() if hurt > 0.25 and part != "ground wire"]
    suspects += list(state.passing)
    for size in (1, 2, 3, 4):
        found = [pick for pick in combinations(suspects, size) if not fails(put_right(state, pick))]
        if found:
            pick = max(
                found, key=lambda names: sum(state.passing.get(n, state.damage.get(n, 0.0)) for n in names)
            )
            break
    else:
        pick = tuple(suspects) or (max(state.damage, key=lambda part: state.damage[part]),)
    worn = [part for part, hurt in state.damage.items() if hurt >= 0.9]
    allowed = frozenset().union({"wait"}, *(remedy_of(state, part) for part in (*worn, *state.passing)))
    cause = " + ".join(f"{name} {state.mode[name]}" if name in state.mode else name for name in pick)
    family = "two" if len(pick) > 1 else FAMILY.get(pick[0], pick[0])
    return Truth(tuple(remedy_of(state, name) for name in pick), allowed, f"{cause} ({state.cause})", family)


def passing_of(name: str, state: State, rng: np.random.Generator) -> None:
    """Strike with what wears nothing."""
    strength = {
        "long cord": lambda: float(rng.lognormal(0.0, 0.5)) * state.built.volts / state.built.lra * 0.35,
        "low volts": lambda: float(rng.uniform(0.12, 0.35)),
        "liquid": lambda: float(rng.uniform(0.5, 3.0)),
    }.get(name, lambda: 1.0)()
    state.passing[name] = strength
    state.cause = name
    if name == "pressures":
        state.uneven = float(rng.uniform(0.6, 1.0))
        state.warmth = 25.0
    elif name == "tripped":
        long = state.built.protector == "internal"
        state.hot = float(rng.lognormal(np.log(55 if long else 6), 0.5))
        state.warmth = 45.0


def possible(name: str, built: Built) -> bool:
    """Whether that can befall this machine."""
    if name == "relay upside down":
        return "current-relay" in built.arrangement
    if name == "wrong relay":
        return built.arrangement in ("csr-potential-relay", "psc-assist-relay", "rsir-assist-relay")
    return True


def history(rng: np.random.Generator) -> Iterator[State]:
    """Failures in the life of one machine, each put right after it was given."""
    built = build(rng)
    state, life = newborn(built, rng), lives(built, rng)
    born = dict.fromkeys(life, 0.0)
    extra = dict.fromkeys(life, 0.0)
    for step in range(1, int(24 / STEP)):
        now = step * STEP
        cause = "wear"
        for event, (chance, reach) in EVENTS.items():
            if rng.random() < chance * STEP:
                cause = event
                for part, most in reach.items():
                    if part in life:
                        extra[part] += float(rng.uniform(0, most))
        state.age, state.cause = now, cause
        state.damage = {part: ((now - born[part]) / life[part]) ** 2 + extra[part] for part in life}
        struck = [n for n, chance in PASSING.items() if possible(n, built) and rng.random() < chance * STEP]
        if struck:
            passing_of(str(rng.choice(struck)), state, rng)
        if not fails(state):
            state.passing, state.uneven, state.hot, state.warmth = {}, 0.0, 0.0, 0.0
            continue
        yield replace(state, damage=dict(state.damage), passing=dict(state.passing), mode=dict(state.mode))
        if state.broken("windings") or state.broken("pump"):
            return
        fresh = newborn(built, rng)
        for part, hurt in state.damage.items():
            if hurt >= 0.8:
                born[part], extra[part], state.mode[part] = now, 0.0, fresh.mode[part]
        state.passing, state.uneven, state.hot, state.warmth = {}, 0.0, 0.0, 0.0


def failed(rng: np.random.Generator) -> State:
    """One failure of one machine, the calls of all lives being as likely."""
    while True:
        failures = list(history(rng))
        if failures and rng.random() < len(failures) / 6:
            return failures[int(rng.integers(len(failures)))]
