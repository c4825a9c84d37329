"""
What one who measures everything without error learns in the first world, and machines that might look
alike.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from benchmarks.worlds.face import Truth
from benchmarks.worlds.first.attempts import attempt, outlet_volts
from benchmarks.worlds.first.case import FITS, FirstCase
from benchmarks.worlds.first.looks import LOOKS
from benchmarks.worlds.first.make import Scene
from benchmarks.worlds.first.things import Unit
from benchmarks.worlds.first.wear import FAULTS, fails, fits, hit, truth

JOLTS = (0.15, 0.4, 0.65, 0.9)
OHMS = (
    "ptc.ohms",
    "current_relay.coil",
    "current_relay.at_rest",
    "current_relay.turned_over",
    "potential_relay.coil",
    "potential_relay.at_rest",
    "start_capacitor.ohms",
    "run_capacitor.ohms",
)
ALWAYS = (
    "pins.C-R",
    "pins.C-S",
    "pins.S-R",
    "pins.shell",
    "control.ohms",
    "between.c-C",
    "between.s-S",
    "between.r-R",
    "between.l-k",
    "between.L-l",
    "between.N-n",
    "overload_protector.ohms",
)


def rested(case: FirstCase) -> FirstCase:
    """The case after a long rest, in hands that never slip."""
    hands = replace(case.hands, care=0.0)
    scene = Scene(case.unit.rested(), case.opening, case.truth, hands, case.pins)
    return FirstCase(scene, np.random.default_rng(11))


def measures(case: FirstCase, parts_at_hand: bool) -> Iterator[float | str]:
    """
    Everything there is to measure, the quick things first.

    Parameters
    ----------
    parts_at_hand : bool
        Whether known-good gear and spare parts of every kind are there to try.
    """
    unit = case.unit
    yield outlet_volts(unit)
    for probe in (*ALWAYS, *(each for each in OHMS if each.split(".")[0] in unit.parts)):
        if probe == "overload_protector.ohms" and unit.protector == "internal":
            continue
        yield min(case.clean_ohms(probe), 2e7)
    for name in unit.parts:
        if name.endswith("capacitor"):
            case.rng = np.random.default_rng(5)
            shown = case.shows(f"{name}.farads")
            yield (
                "none"
                if shown is None
                else 1.0
                if shown.value == "OL"
                else float(shown.value.split()[0]) * 1e6
            )
    for jolt in JOLTS:
        tried = attempt(unit, jolt)
        yield tried.heard
        yield round(tried.volts)
        yield tried.amps
    yield from _looks(case, unit)
    if parts_at_hand:
        yield from _with_parts(unit)


def _looks(case: FirstCase, unit: Unit) -> Iterator[str]:
    rng = np.random.default_rng(7)
    for probe, look in LOOKS.items():
        part = probe.split(".")[0]
        if part in unit.parts or part in ("supply", "control", "mechanism", "wiring", "overload_protector"):
            yield Counter(look(unit, case.hands, rng) for _ in range(9)).most_common(1)[0][0]


def _with_parts(unit: Unit) -> Iterator[str]:
    outer = () if unit.protector == "internal" else ("protector",)
    lent = ("supply", "control", "wiring", "terminals", *outer, *unit.parts)
    fitted = [lent, ("control",), ("wiring", "terminals"), *((name,) for name in (*outer, *unit.parts))]
    for parts in fitted:
        names = tuple(FITS.get(each, each) for each in parts)
        for jolt in JOLTS[1:3]:
            yield attempt(unit.repaired(*names), jolt).heard
    clean = {key: value for key, value in unit.condition.items() if key != "mechanism.blocked"}
    yield attempt(replace(unit, condition=clean), 0.5).heard


def twins(case: FirstCase, rng: np.random.Generator, degrees: int) -> Iterator[tuple[FirstCase, Truth]]:
    """The same machine with each other fault, in those degrees that stop it."""
    sound = replace(case.unit, condition={})
    for fault in FAULTS:
        if fault.part == "passing" or not fits(fault, sound):
            continue
        for _ in range(degrees):
            other = hit(sound, fault, rng)
            if not fails(other):
                continue
            scene = Scene(other, case.opening, case.truth, case.hands, case.pins)
            yield FirstCase(scene, np.random.default_rng(11)), truth(other, [fault])
