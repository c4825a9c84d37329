"""Every arrangement with every mode of every part can be played, several modes at once."""

from __future__ import annotations

import itertools
import math
import random
from functools import cache

import numpy as np
import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.errors import Refused, Unknown
from humclick.sourced import Spread
from humclick.start.batch import Features, simulate_many
from humclick.start.case import StartCase
from humclick.start.fit import start_case
from tests.start.test_start_gear import MOTOR

STARTED = [
    (name, guard)
    for name in arrangements()
    if arrangement(name).started
    for guard in arrangement(name).protectors
]
Key = tuple[str, str, str, str, bool]


@cache
def walked() -> tuple[list[Key], Features]:
    """Every single mode of every arrangement, hot and cold, played for ten seconds."""
    keys: list[Key] = []
    cases: list[StartCase] = []
    for name, guard in STARTED:
        machine = Machine.of(name, guard)
        for part in machine.parts:
            for mode, hot in itertools.product(part.family.modes, (False, True)):
                keys.append((name, guard, part.id, mode, hot))
                cases.append(start_case(machine, MOTOR, {part.id: mode}, hot=hot))
    return keys, simulate_many(cases, 10.0)


def outcomes(part: str, mode: str, hot: bool = False) -> set[str]:
    """What a mode comes to over all arrangements that have the part."""
    keys, found = walked()
    return {w for k, w in zip(keys, found.words(), strict=True) if k[2:] == (part, mode, hot)}


def test_every_mode_of_every_arrangement_can_be_played() -> None:
    """Each gives a finite result and an outcome; all six parts of the table are reached but the breaker."""
    keys, found = walked()
    assert len(keys) > 1500
    assert np.isfinite(found.peak).all()
    assert (found.run_winding_max < 2000.0).all()
    assert {"silent", "hum", "hum_click", "starts_then_trips", "runs"} <= set(found.words())


def test_healthy_machines_start_and_run() -> None:
    """With nothing wrong every arrangement starts, lets the start winding go and runs (not a bare PSC)."""
    keys, found = walked()
    for key, word, left in zip(keys, found.words(), found.unreleased, strict=True):
        if key[2:] == ("supply", "healthy", False) and key[0] != "psc":
            assert word == "runs", key
            assert not left, key


@pytest.mark.parametrize(
    ("part", "mode"),
    [
        ("supply", "dead"), ("supply", "open_neutral"), ("control", "open"), ("control", "not_calling"),
        ("overload_protector", "open"), ("internal_protector", "open"), ("current_relay", "coil_open"),
    ],
)  # fmt: skip
def test_what_cuts_the_line_is_silent(part: str, mode: str) -> None:
    """No line current, no hum."""
    assert outcomes(part, mode) == {"silent"}


@pytest.mark.parametrize(
    ("part", "mode"),
    [
        ("ptc", "open"), ("current_relay", "stuck_open"), ("start_winding", "open"), ("mechanism", "seized"),
        ("wiring", "wrong_pin"),
    ],
)  # fmt: skip
def test_what_takes_the_start_torque_hums(part: str, mode: str) -> None:
    """Without a start winding, or seized, it hums and most protectors click within ten seconds."""
    found = outcomes(part, mode)
    if (part, mode) in (
        ("ptc", "open"),
        ("current_relay", "stuck_open"),
    ):  # a run capacitor may still start it
        found -= {"runs", "starts_then_trips"}
    assert found <= {"hum", "hum_click"}
    assert found


@pytest.mark.parametrize(
    ("part", "mode"),
    [("ptc", "bridged"), ("current_relay", "welded"), ("current_relay", "upside_down")],
)
def test_what_stays_in_is_marked_as_not_released(part: str, mode: str) -> None:
    """The start winding stays in: flagged, where the machine started."""
    keys, found = walked()
    marked = [
        bool(u)
        for k, u, t in zip(keys, found.unreleased, found.speed_time, strict=True)
        if k[2:] == (part, mode, False) and not math.isnan(t)
    ]
    assert marked
    assert all(marked)


def test_passing_conditions_pass_with_time() -> None:
    """What only had to wait is healthy when cold, and is there when hot."""
    assert outcomes("ptc", "still_hot") <= {"runs"}
    assert outcomes("overload_protector", "tripped", True) == {"silent"}


def test_several_modes_at_once_can_be_played() -> None:
    """Two and three faults in one machine, drawn over all arrangements, each give a result."""
    rng = random.Random(11)
    cases = []
    for name, guard in STARTED * 4:
        machine = Machine.of(name, guard)
        parts = rng.sample(list(machine.parts), rng.choice((2, 3)))
        modes = {p.id: rng.choice(list(p.family.modes)) for p in parts}
        cases.append(start_case(machine, MOTOR, modes, hot=rng.random() < 0.5))
    found = simulate_many(cases, 3.0)
    assert np.isfinite(found.peak).all()
    assert len(set(found.words())) >= 4


def test_values_can_be_drawn_from_their_spreads() -> None:
    """A draw of one's own replaces every median; names tell part and quantity."""
    seen: list[str] = []

    def draw(name: str, of: Spread) -> float:
        seen.append(name)
        return float(of.median * of.factor**0.5)

    machine = Machine.of("csr-potential-relay", "external")
    middle, drawn = start_case(machine, MOTOR), start_case(machine, MOTOR, draw=draw)
    assert {"run_capacitor.capacitance", "supply.line", "potential_relay.slip"} <= set(seen)
    assert middle.run_capacitor is not None
    assert drawn.run_capacitor is not None
    assert drawn.run_capacitor.farads > middle.run_capacitor.farads
    assert drawn.load.breakaway > middle.load.breakaway


@pytest.mark.parametrize(("name", "guard"), STARTED)
def test_a_quantity_is_drawn_once_whatever_is_wrong(name: str, guard: str) -> None:
    """Every mode of every part asks for each value one time: a draw without a memory is of one machine."""
    machine = Machine.of(name, guard)
    for part in machine.parts:
        for mode in part.family.modes:
            seen: list[str] = []

            def draw(quantity: str, of: Spread, seen: list[str] = seen) -> float:
                seen.append(quantity)
                return of.median

            start_case(machine, MOTOR, {part.id: mode}, draw=draw)
            assert len(seen) == len(set(seen)), (part.id, mode)


def test_machines_without_a_start_winding_are_never_started() -> None:
    """Inverter-driven and three-phase machines are refused with their caution; unknown modes by name."""
    for name in arrangements():
        if not arrangement(name).started:
            with pytest.raises(Refused, match=arrangement(name).title):
                start_case(Machine.of(name), MOTOR)
    with pytest.raises(Unknown):
        start_case(Machine.of("rsir-ptc"), MOTOR, {"ptc": "melted"})
    with pytest.raises(Unknown):
        start_case(Machine.of("rsir-ptc"), MOTOR, {"run_capacitor": "open"})
