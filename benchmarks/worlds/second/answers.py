"""What people see, as shares of answers by damage: a table for each look."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchmarks.worlds.second.ageing import State

Answers = Mapping[str, float]


def _two(yes: str, no: str, chance: float) -> Answers:
    chance = min(0.97, max(0.01, chance))
    return {yes: chance, no: 1 - chance}


def _signs(state: State) -> Answers:
    dead = state.broken("plug", "dead outlet") or state.broken("plug", "one wire off")
    on, off = (0.02, 0.58) if dead else (0.56, 0.04)
    return {"something is on": on, "nothing is on": off, "it has none": 0.4}


def _neighbor(state: State) -> Answers:
    if state.broken("plug", "dead outlet"):
        return {"works": 0.03, "weak or dim": 0.01, "dead": 0.96}
    dim = min(0.7, 0.01 + 2.2 * state.passing.get("low volts", 0.0))
    return {"works": 0.98 - dim, "weak or dim": dim, "dead": 0.01}


def _supply(state: State) -> Answers:
    long = 0.85 if "long cord" in state.passing else 0.04
    burnt = (
        0.75 if state.hurt("plug", "burnt") > 0.7 else 0.3 if state.broken("plug", "one wire off") else 0.02
    )
    burnt = min(burnt, 0.98 - long)
    return {"clean": 1 - long - burnt, "burnt or damaged": burnt, "extension cord": long}


def _ground(state: State) -> Answers:
    cut = 0.5 if state.broken("ground wire") else 0.01
    return {
        "ground pin in place": 0.94 - cut,
        "no ground pin, marked double-insulated": 0.01,
        "ground pin missing or cut off": cut,
        "the outlet has no ground": 0.05,
    }


def _setting(state: State) -> Answers:
    calling, off = "was calling all along", "was off, set warm or in defrost; calls now"
    warm, never = "was set right and warm inside; calls only when turned colder", "never calls"
    if "set warm" in state.passing:
        state.passing.pop("set warm")
        return {calling: 0.04, off: 0.9, warm: 0.04, never: 0.02}
    if state.broken("thermostat", "open"):
        return {calling: 0.06, off: 0.02, warm: 0.02, never: 0.9}
    if state.broken("thermostat", "wanders"):
        return {calling: 0.05, off: 0.1, warm: 0.8, never: 0.05}
    return {calling: 0.93, off: 0.03, warm: 0.02, never: 0.02}


def _range(state: State) -> Answers:
    if state.broken("thermostat", "open"):
        return {"near its setting": 0.03, "far from its setting": 0.03, "never closes": 0.94}
    far = 0.9 if state.broken("thermostat", "wanders") else 0.07
    return {"near its setting": 0.98 - far, "far from its setting": far, "never closes": 0.02}


def _pins(state: State) -> Answers:
    hurt = state.hurt("connector")
    loose = min(0.9, max(0.02, 1.1 * hurt - 0.4))
    wet = 0.12 if state.cause == "water" else 0.01
    return {
        "clean and dry": max(0.01, 1 - loose - wet),
        "connector burnt or loose": loose,
        "pin burnt, oily, wet or cracked": wet,
    }


def _wiring(state: State) -> Answers:
    odd = bool({"leads swapped", "relay upside down"} & set(state.passing))
    return _two("not as drawn", "as drawn", 0.82 if odd else 0.03)


def _bulged(part: str) -> Callable[[State], Answers]:
    def seen(state: State) -> Answers:
        hurt = state.hurt(part)
        return _two("bulged or wet", "dry and straight", 0.6 * (hurt - 0.5))

    return seen


SEEN: Mapping[str, Callable[[State], Answers]] = {
    "supply.signs": _signs,
    "supply.neighbor": _neighbor,
    "supply.look": _supply,
    "earth.look": _ground,
    "control.setting": _setting,
    "control.range": _range,
    "wiring.pins": _pins,
    "wiring.look": _wiring,
    "start_capacitor.look": _bulged("start cap"),
    "run_capacitor.look": _bulged("run cap"),
    "mechanism.condenser": lambda state: _two(
        "blocked or fan stopped", "clean", 1.1 * (state.hurt("condenser") - 0.35)
    ),
    "mechanism.shell": lambda state: _two(
        "cold or sweating", "warm or at room temperature", 0.85 if "liquid" in state.passing else 0.04
    ),
    "ptc.shake": lambda state: _two("rattles", "quiet", 0.9 * (state.hurt("pill", "breaks") - 0.2)),
    "overload_protector.look": lambda state: _two("burnt", "clean", 0.5 * (state.hurt("protector") - 0.6)),
    "timed_starter.look": lambda state: _two("burnt or cracked", "clean", 0.5 * (state.hurt("board") - 0.5)),
    "potential_relay.number": lambda state: _two(
        "does not match", "matches", 0.85 if "wrong relay" in state.passing else 0.04
    ),
    "current_relay.position": lambda state: _two(
        "upside down", "right way up", 0.95 if "relay upside down" in state.passing else 0.01
    ),
    "current_relay.shake": lambda state: _two(
        "does not move",
        "moves",
        0.9
        if state.broken("current relay", "jammed")
        else 0.5
        if state.broken("current relay", "sticks shut")
        else 0.03,
    ),
}
"""Answers and their shares; a control that was only set warm calls once it has been turned."""
