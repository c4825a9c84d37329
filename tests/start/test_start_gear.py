"""Relays, starters, pills and protectors do in time what they are made for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from humclick.errors import OutOfRange, Refused
from humclick.start.case import (
    Capacitor,
    ClosedCircuit,
    CurrentRelay,
    Faults,
    Load,
    PotentialRelay,
    Protector,
    Ptc,
    SpeedSwitch,
    StartCase,
    Supply,
    Temperatures,
    TimedStarter,
)
from humclick.start.run import Run, simulate
from tests.start.machines import KRAUSE

MOTOR = replace(KRAUSE, inertia=0.003)
SUPPLY = Supply(110.0, 60.0, 0.3, 3e-4)
CAPACITOR = Capacitor(183e-6, 2.5, 15e3)
LOAD = Load(gas_torque=0.5, friction=0.1, breakaway=0.3)
SWITCHED = {
    "current relay": StartCase(MOTOR, SUPPLY, CurrentRelay(10.5, 9.0), CAPACITOR, load=LOAD),
    "potential relay": StartCase(
        MOTOR, SUPPLY, PotentialRelay(140.0, 60.0), CAPACITOR, Capacitor(15e-6), load=LOAD
    ),
    "timed starter": StartCase(MOTOR, SUPPLY, TimedStarter(0.4), CAPACITOR, load=LOAD),
    "speed switch": StartCase(MOTOR, SUPPLY, SpeedSwitch(), CAPACITOR, load=LOAD),
}
PILL = StartCase(MOTOR, SUPPLY, Ptc(5.0), load=LOAD, protector=Protector(0.022))


def times(run: Run, what: str) -> list[float]:
    """When a kind of event happened."""
    return [e.time for e in run.events if e.what == what]


@pytest.mark.parametrize("name", SWITCHED)
def test_switched_gear_lets_the_start_winding_go(name: str) -> None:
    """A healthy start reaches speed, opens the start contact at its current's zero, and runs."""
    case = SWITCHED[name]
    run = simulate(case, 1.5, record="wave")
    opened = run.when("start contact opens")
    assert run.when("three quarters of synchronous speed") < 0.6
    assert opened < 0.7
    after = run.time > opened + 0.03
    assert np.abs(run.gear[after]).max() < 1e-9
    before = run.gear[np.searchsorted(run.time, opened - 2e-9) - 1]
    assert abs(before) < 0.05 * np.abs(run.gear).max()
    assert run.speed[-1] > 0.9 * MOTOR.synchronous
    assert run.outcome == "runs"


@pytest.mark.parametrize("name", SWITCHED)
def test_a_welded_contact_never_lets_go(name: str) -> None:
    """Stuck closed, the start winding stays in and the attempt is marked so."""
    case = SWITCHED[name].with_(gear__stuck="closed")
    run = simulate(case, 1.0)
    assert math.isnan(run.when("start contact opens"))
    assert run.features["unreleased"] == 1.0
    assert run.gear[-1] > 1.0


@pytest.mark.parametrize("name", SWITCHED)
def test_a_contact_stuck_open_gives_no_start(name: str) -> None:
    """Stuck open, the machine hums: no torque from the run winding alone."""
    case = SWITCHED[name].with_(gear__stuck="open", run_capacitor=None)
    run = simulate(case, 1.0)
    assert run.features["outcome"] == 1.0
    assert run.features["top_speed"] == 0.0
    assert run.gear.max() == 0.0


def test_a_relay_on_its_head_is_always_closed() -> None:
    """Upside down the plunger lies on its contact and no current lifts it off."""
    run = simulate(SWITCHED["current relay"].with_(gear__tilt=math.pi), 1.0)
    assert math.isnan(run.when("start contact opens"))
    assert run.features["unreleased"] == 1.0


def test_a_tilted_relay_picks_up_at_less_and_lets_go_later() -> None:
    """Leaning by 30°, less weight is lifted by 0.93 of the current: it lets go later than upright."""
    upright, tilted = (
        simulate(SWITCHED["current relay"].with_(gear__tilt=x), 1.0) for x in (0.0, math.pi / 6)
    )
    assert tilted.when("start contact opens") > upright.when("start contact opens")


def test_a_relay_that_cannot_pick_up_hums() -> None:
    """At 60 % voltage the locked-rotor current does not lift the plunger."""
    run = simulate(SWITCHED["current relay"].with_(supply__volts=66.0), 0.5)
    assert not times(run, "start contact closes")
    assert run.features["outcome"] == 1.0


def test_a_bouncing_contact_opens_only_at_a_current_zero() -> None:
    """In a bounce longer than a half cycle the contact opens once more and closes again."""
    long, none = (
        simulate(SWITCHED["current relay"].with_(gear__bounce=b), 0.06, record="wave") for b in (0.03, 0.0)
    )
    assert len(times(long, "start contact closes")) == 2
    assert len(times(none, "start contact closes")) == 1


def test_a_dirty_contact_weakens_the_start() -> None:
    """Twenty ohms in the contact make the run-up slower."""
    clean = SWITCHED["current relay"]
    slow = simulate(clean.with_(gear__contact_ohms=20.0), 1.0).features["speed_time"]
    assert slow > simulate(clean, 1.0).features["speed_time"]


def test_the_pill_switches_stays_hot_and_blocks_a_second_start() -> None:
    """A pill switches within a second, keeps some tens of milliamps, and while hot gives no start."""
    run = simulate(PILL, 20.0)
    assert 0.2 < run.when("start current has halved") < 1.0
    assert run.ptc[-1] == pytest.approx(run.ptc[len(run.ptc) // 2], abs=3.0)
    assert 0.005 < run.gear[-1] < 0.1
    hot = PILL.with_(temperatures__ptc=160.0, load__difference=0.9, load__breakaway=0.8)
    assert simulate(hot, 1.0).features["top_speed"] == 0.0


def test_the_protector_trips_on_a_seized_rotor_and_closes_again() -> None:
    """Seized, it opens in 5–15 s, closes some tens of seconds later, and trips faster the second time."""
    run = simulate(PILL.with_(load=Load(seized=True)), 90.0)
    off, on = times(run, "protector opens"), times(run, "protector closes")
    assert 4.0 < off[0] < 15.0
    assert 10.0 < on[0] - off[0] < 60.0
    assert off[1] - on[0] < off[0]
    assert run.features["outcome"] == 2.0
    values = [e.value for e in run.events if e.what.startswith("protector")]
    assert values[0] == pytest.approx(130.0, abs=0.2)
    assert values[1] == pytest.approx(65.0, abs=0.2)


def test_a_protector_inside_waits_long_where_the_windings_are_hot() -> None:
    """On hot windings the same disc stays open far longer than on the shell."""
    hot = PILL.with_(
        load=Load(seized=True),
        temperatures=Temperatures(run=140.0, start=140.0, shell=70.0, protector=128.0, ptc=100.0, open=True),
    )
    outside = simulate(hot.with_(protector__inside=False, protector__to_shell=0.2), 900.0)
    inside = simulate(hot.with_(protector__inside=True, protector__to_winding=0.9), 900.0)
    first = outside.when("protector closes")
    assert first < 120.0
    later = inside.when("protector closes")
    assert math.isnan(later) or later > 4 * first


def test_a_welded_protector_never_opens_and_an_open_one_never_closes() -> None:
    """Stuck closed it lets the windings burn; stuck open the machine is silent."""
    seized = PILL.with_(load=Load(seized=True))
    welded = simulate(seized.with_(protector__stuck="closed"), 30.0)
    assert not times(welded, "protector opens")
    assert welded.features["run_winding_max"] > 100.0
    assert simulate(seized.with_(protector__stuck="open"), 30.0).features["outcome"] == 0.0


def test_a_minutes_long_cycle_is_quick_where_nothing_moves() -> None:
    """While the line is open and the rotor rests, the record goes on in steps of 50 ms."""
    run = simulate(PILL.with_(load=Load(seized=True)), 120.0)
    off, on = times(run, "protector opens")[0], times(run, "protector closes")[0]
    resting = run.time[(run.time > off + 1.0) & (run.time < on)]
    assert np.diff(resting) == pytest.approx(0.05, abs=1e-6)


def test_the_timed_starter_is_ready_again_after_a_pause() -> None:
    """After the protector's pause the starter joins the start winding once more."""
    case = SWITCHED["timed starter"].with_(load=Load(seized=True), protector=Protector(0.05, reset=100.0))
    run = simulate(case, 60.0)
    again = times(run, "protector closes")[0]
    assert any(again < t < again + 1.0 for t in times(run, "start contact opens"))


def test_open_windings_carry_nothing() -> None:
    """An open run winding leaves only the start winding's current, and the other way round."""
    no_run = simulate(PILL.with_(faults=Faults(run_open=True)), 0.3)
    assert no_run.run.max() == 0.0
    assert no_run.start.max() > 1.0
    no_start = simulate(PILL.with_(faults=Faults(start_open=True)), 0.3)
    assert no_start.start.max() == 0.0
    assert no_start.features["top_speed"] == 0.0


def test_shorted_turns_raise_the_locked_current() -> None:
    """A tenth of the run winding's turns on themselves draw more at standstill, and the more the more."""
    locked = [
        simulate(PILL.with_(faults=Faults(run_shorted=share)), 0.5).features["locked"]
        for share in (0.0, 0.1, 0.3)
    ]
    assert locked[0] < locked[1] < locked[2]


def test_swapped_leads_turn_the_machine_backwards() -> None:
    """Gear on the wrong winding drives the field the other way."""
    run = simulate(StartCase(MOTOR, SUPPLY, ClosedCircuit(5.0), faults=Faults(swapped=True)), 0.5)
    assert run.speed[-1] < 0.0


def test_an_earth_fault_and_a_short_open_the_breaker() -> None:
    """Current through the shell, or far above the locked rotor's, opens the breaker and not the protector."""
    earth = PILL.with_(faults=Faults(run_earth_ohms=5.0), supply__earth_amps=8.0)
    assert simulate(earth, 0.5).features["outcome"] == 4.0
    short = PILL.with_(faults=Faults(run_shorted=0.8), supply__breaker_amps=60.0)
    assert simulate(short, 0.5).features["outcome"] == 4.0


def test_no_line_is_silent() -> None:
    """Dead outlet, control open: nothing flows, nothing turns."""
    for case in (PILL.with_(supply__volts=0.0), PILL.with_(faults=Faults(line_open=True))):
        run = simulate(case, 1.0)
        assert run.features["outcome"] == 0.0
        assert run.features["peak"] == 0.0


def test_pressure_difference_is_built_by_running_and_lost_at_rest() -> None:
    """Equalised at the start, the difference grows while it runs; a stalled rotor lets it go."""
    runs = simulate(PILL, 10.0)
    assert 0.2 < runs.difference[-1] < 0.8
    stays = simulate(PILL.with_(load=Load(seized=True, difference=1.0, equalise=10.0)), 5.0)
    assert stays.difference[-1] == pytest.approx(math.exp(-0.5), abs=0.01)


def test_bad_values_are_refused_with_a_message() -> None:
    """Out of range, unknown word, absent part: each says what would be right."""
    with pytest.raises(OutOfRange, match="supply voltage must be from"):
        Supply(volts=-1.0)
    with pytest.raises(OutOfRange, match="capacitance"):
        Capacitor(farads=math.nan)
    with pytest.raises(Refused, match="stuck 'open' or 'closed'"):
        SpeedSwitch(stuck="jammed")
    with pytest.raises(OutOfRange, match="below the pick-up"):
        CurrentRelay(pick_up=5.0, drop_out=6.0)
    with pytest.raises(Refused, match="no run capacitor"):
        PILL.with_(run_capacitor__farads=1e-6)
    with pytest.raises(Refused, match="has no ohm"):
        PILL.with_(supply__ohm=1.0)
    with pytest.raises(OutOfRange, match="must last"):
        simulate(PILL, 0.0)
    with pytest.raises(OutOfRange, match="step must be"):
        simulate(PILL, 1.0, step=0.01)
    with pytest.raises(Refused, match="both windings"):
        Faults(run_shorted=0.1, start_shorted=0.1)
