"""
What an eye, an ear or a nose says in the first world: it follows the condition, and misses at its own
rates.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from benchmarks.worlds.first.hands import Hands
from benchmarks.worlds.first.things import Unit

Look = Callable[[Unit, Hands, np.random.Generator], str]


def _sign(chance: float, yes: str, no: str, hands: Hands, rng: np.random.Generator) -> str:
    """An answer of two, by the chance that it shows, with a misjudgement now and then."""
    shows = rng.random() < chance
    if hands.slips(rng, 0.02):
        shows = not shows
    return yes if shows else no


def signs(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """A light, a display or a fan."""
    if unit.cold["light"] < 0.35:
        return "it has none"
    gone = unit.of("supply.dead") or unit.of("supply.open") or unit.of("supply.burnt") > 5e3
    return _sign(0.01 if gone else 0.93, "something is on", "nothing is on", hands, rng)


def neighbor(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """Another appliance at the same outlet."""
    if unit.of("supply.dead"):
        return "dead"
    if unit.of("supply.low") > 0.15 and rng.random() < 0.5:
        return "weak or dim"
    return _sign(0.98, "works", "weak or dim", hands, rng)


def supply(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """Plug, cord and terminals."""
    if unit.of("supply.cord") > 0.25:
        return _sign(0.8, "extension cord", "clean", hands, rng)
    hurt = 0.75 if unit.of("supply.burnt") > 1 else 0.4 if unit.of("supply.open") else 0.01
    if hurt < 0.1 and rng.random() < 0.04:
        return "extension cord"
    return _sign(hurt, "burnt or damaged", "clean", hands, rng)


def ground(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """The plug's ground pin."""
    if unit.of("earth.open") and rng.random() < 0.4:
        return "ground pin missing or cut off"
    return "ground pin in place" if rng.random() < 0.94 else "the outlet has no ground"


def setting(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """The control as it stands, turned to coldest after."""
    dead = unit.of("control.open") or unit.of("control.film") > 300
    if unit.of("control.off"):
        return _sign(0.95, "was off, set warm or in defrost; calls now", "was calling all along", hands, rng)
    if unit.of("control.drift"):
        return _sign(
            0.85,
            "was set right and warm inside; calls only when turned colder",
            "was calling all along",
            hands,
            rng,
        )
    return _sign(0.88 if dead else 0.02, "never calls", "was calling all along", hands, rng)


def range_of(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    """Where the control clicks."""
    if unit.of("control.open"):
        return _sign(0.9, "never closes", "near its setting", hands, rng)
    return _sign(
        0.92 if unit.of("control.drift") else 0.05, "far from its setting", "near its setting", hands, rng
    )


def _condenser(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    worse = unit.of("mechanism.blocked")
    return _sign(min(0.97, 0.07 + worse), "blocked or fan stopped", "clean", hands, rng)


def _shell(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    return _sign(
        0.8 if unit.of("mechanism.liquid") else 0.03,
        "cold or sweating",
        "warm or at room temperature",
        hands,
        rng,
    )


def _shake(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    return _sign(min(0.95, max(0.02, 1.3 * unit.of("ptc.crack") - 0.2)), "rattles", "quiet", hands, rng)


def _wiring(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    wrong = bool(unit.of("wiring.swapped")) or any(k.startswith("wiring.broken") for k in unit.condition)
    seen = 0.85 if unit.of("wiring.swapped") else 0.35 if wrong else 0.02
    return _sign(seen, "not as drawn", "as drawn", hands, rng)


def _pins(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    bad = max((v for k, v in unit.condition.items() if k.startswith("terminals.")), default=0.0)
    if bad and rng.random() < 0.12:
        return "pin burnt, oily, wet or cracked"
    seen = 0.9 if bad > 3 else 0.6 if bad else 0.02
    return _sign(seen, "connector burnt or loose", "clean and dry", hands, rng)


def _protector(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    hurt = unit.of("protector.open") or unit.of("protector.film") > 2
    return _sign(
        0.5 if hurt else 0.2 if unit.of("protector.tired") > 0.5 else 0.03, "burnt", "clean", hands, rng
    )


def _bulged(name: str) -> Look:
    def look(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
        hurt = (
            unit.of(name + ".loss")
            + unit.of(name + ".open") * 0.5
            + 0.8 * float(name + ".short" in unit.condition)
        )
        return _sign(min(0.85, 0.02 + 0.6 * hurt), "bulged or wet", "dry and straight", hands, rng)

    return look


def _board(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    hurt = unit.of("timed_starter.dead") + unit.of("timed_starter.stays")
    return _sign(0.03 + 0.4 * min(1.0, hurt), "burnt or cracked", "clean", hands, rng)


def _number(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    return _sign(0.9 if unit.of("potential_relay.high") else 0.03, "does not match", "matches", hands, rng)


def _position(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    return _sign(
        0.93 if unit.of("current_relay.upside_down") else 0.01, "upside down", "right way up", hands, rng
    )


def _plunger(unit: Unit, hands: Hands, rng: np.random.Generator) -> str:
    stuck = 0.9 if unit.of("current_relay.plunger") else 0.5 if unit.of("current_relay.weld") else 0.03
    return _sign(stuck, "does not move", "moves", hands, rng)


LOOKS: Mapping[str, Look] = {
    "supply.signs": signs,
    "supply.neighbor": neighbor,
    "supply.look": supply,
    "earth.look": ground,
    "control.setting": setting,
    "control.range": range_of,
    "mechanism.condenser": _condenser,
    "mechanism.shell": _shell,
    "ptc.shake": _shake,
    "wiring.look": _wiring,
    "wiring.pins": _pins,
    "overload_protector.look": _protector,
    "start_capacitor.look": _bulged("start_capacitor"),
    "run_capacitor.look": _bulged("run_capacitor"),
    "timed_starter.look": _board,
    "potential_relay.number": _number,
    "current_relay.position": _position,
    "current_relay.shake": _plunger,
}
