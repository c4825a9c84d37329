"""The worlds' physics against printed examples and against itself."""

from cmath import phase
from dataclasses import replace
from math import cos, isnan, nan

import numpy as np
import pytest
from benchmarks.worlds.first import motors
from benchmarks.worlds.first.attempts import attempt, cooled
from benchmarks.worlds.first.make import machine
from benchmarks.worlds.first.nodal import Branch, currents, ohms_between
from benchmarks.worlds.second.starts import farads_left, film_ohms
from benchmarks.worlds.second.survey import _NEC_115, from_chart
from benchmarks.worlds.starts import revolving, two_axis
from benchmarks.worlds.starts.motor import Windings, drawn, locked_torque
from hypothesis import given
from hypothesis import strategies as st

FITZGERALD = Windings("psc", 110, 60, 4, 2.02, 2.79, 4.12, 2.12, 66.8, 1, 1, 1, 0, 0, 1e-3, 0, 0)
"""Fitzgerald, Kingsley and Umans, Electric Machinery, example 9.2, from memory: 3.59 A, pf 0.62, 147 W."""


def test_wheatstone_in_balance_ignores_its_bridge() -> None:
    # R = (10+20) || (20+40) = 20 ohms whatever the bridge (Nilsson and Riedel, chapter 3)
    arms = [("a", "l", 10.0), ("l", "b", 20.0), ("a", "r", 20.0), ("r", "b", 40.0)]
    for bridge in (1.0, 1e6):
        net = [Branch("", *ends) for ends in arms] + [Branch("", "l", "r", bridge)]
        assert ohms_between(net, "a", "b") == pytest.approx(20.0, rel=1e-6)


def test_open_is_open() -> None:
    assert ohms_between([Branch("", "a", "b", 5.0)], "a", "c") > 1e9


def test_line_current_of_a_coil() -> None:
    flows, _ = currents([Branch("", "a", "b", 3.0, 3 + 4j)], "a", "b", 100.0)
    assert abs(flows[0]) == pytest.approx(20.0)


@given(st.lists(st.floats(0.1, 1e4), min_size=3, max_size=3))
def test_three_pairs_of_a_star_add_up(arms: list[float]) -> None:
    net = [Branch("", "m", pin, ohms) for pin, ohms in zip("CRS", arms, strict=True)]
    pair = {ends: ohms_between(net, *ends) for ends in ("CR", "CS", "SR")}
    assert sum(pair.values()) == pytest.approx(2 * sum(arms), rel=1e-6)


@pytest.mark.parametrize(
    ("horsepower", "amps"), [(1 / 6, 2.2), (0.5, 4.9), (1.0, 8.0), (3.0, 17.0), (5.0, 28.0)]
)
def test_running_amps_are_of_the_order_of_the_code(horsepower: float, amps: float) -> None:
    # NEC table 430.248, 230 V (from memory); suction gas cools a hermetic motor, so it draws less
    assert 0.6 < motors.running_amps(horsepower, 230.0) / amps < 1.05


def test_start_capacitor_gives_the_greatest_torque() -> None:
    run, start = 3.0 + 4.0j, 9.0 + 5.0j
    best = motors.start_farads(run, start, 60.0)

    def torque(farads: float) -> float:
        way = start + 1 / (2j * np.pi * 60 * farads)
        return motors.locked_torque(100 / run, 100 / way, 1.0)

    assert torque(best) > max(torque(best * 0.8), torque(best * 1.25))


def test_sound_machines_start_and_those_without_volts_do_not() -> None:
    rng = np.random.default_rng(5)
    for _ in range(40):
        unit = replace(machine(rng), condition={})
        assert attempt(unit, 0.5).heard == "runs"
        dead = replace(unit, condition={"supply.dead": 1.0})
        assert attempt(dead, 0.5).heard == "silent"


@given(st.floats(1.0, 300.0))
def test_it_cools_towards_the_room(minutes: float) -> None:
    unit = replace(machine(np.random.default_rng(6)), winding=90.0, pill=120.0, bimetal=100.0)
    cool = cooled(unit, minutes)
    assert unit.room <= cool.winding < 90.0
    assert cool.bimetal < 100.0
    assert cooled(cooled(unit, minutes), minutes).winding == pytest.approx(cooled(unit, 2 * minutes).winding)


def test_chart_holds_its_rows() -> None:
    assert all(from_chart(_NEC_115, row[0]) == pytest.approx(row[1]) for row in _NEC_115)


@given(st.floats(0.0, 5.0), st.floats(0.01, 1.0))
def test_wear_only_grows(damage: float, more: float) -> None:
    assert film_ohms(damage + more) >= film_ohms(damage)
    assert farads_left(damage + more) < farads_left(damage) or farads_left(damage) < 1e-6


def test_running_amps_and_power_of_the_printed_example() -> None:
    main, *_ = revolving.currents(FITZGERALD, 110.0, 0.05, None)
    assert abs(main) == pytest.approx(3.59, rel=0.01)
    assert cos(phase(main)) == pytest.approx(0.62, abs=0.005)
    torque = revolving.torque_at(FITZGERALD, 110.0, 0.05, None)
    # less 24 W of the iron and 13 W of friction and windage
    assert torque * FITZGERALD.synchronous * 0.95 - 37 == pytest.approx(147, abs=2)


def test_one_winding_alone_gives_no_torque_at_standstill() -> None:
    assert revolving.torque_at(FITZGERALD, 110.0, 1.0, None) == pytest.approx(0.0, abs=1e-12)


def test_locked_torque_by_two_ways() -> None:
    for gear in ("rsir-ptc", "csir-ptc", "psc"):
        motor = drawn(np.random.default_rng(8), gear)
        series = (motor.pill if "ptc" in gear else 0.0) + motor.in_series
        assert revolving.torque_at(motor, motor.volts, 1.0, series) == pytest.approx(locked_torque(motor))


@pytest.mark.parametrize("gear", ["rsir-ptc", "psc"])
def test_the_two_simulators_agree_on_locked_amps(gear: str) -> None:
    motor = drawn(np.random.default_rng(9), gear)
    phasors = revolving.play(motor, motor.volts)
    instants = two_axis.play(motor, motor.volts, seconds=0.3)
    assert instants.locked == pytest.approx(phasors.locked, rel=0.03)


def test_a_hot_pill_starts_nothing() -> None:
    motor = drawn(np.random.default_rng(9), "rsir-ptc")
    assert revolving.play(motor, motor.volts).starts
    assert not revolving.play(motor, motor.volts, celsius=180.0).starts
    assert not two_axis.play(motor, motor.volts, seconds=0.5, celsius=180.0).starts


def test_too_few_volts_start_nothing() -> None:
    motor = drawn(np.random.default_rng(9), "csir-current-relay")
    low = revolving.play(motor, 0.4 * motor.volts)
    assert not low.starts
    assert isnan(low.running)


def test_a_relay_is_refused_where_there_is_none() -> None:
    motor = drawn(np.random.default_rng(9), "csir-current-relay")
    with pytest.raises(ValueError, match="rsir-ptc, csir-ptc, psc"):
        two_axis.play(motor, motor.volts)


def test_protector_opens_sooner_on_more_amps() -> None:
    motor = drawn(np.random.default_rng(9), "rsir-ptc")
    plate = abs(revolving.currents(motor, motor.volts, 1.0, None)[0])
    assert revolving.trips(motor, 1.2 * plate) < revolving.trips(motor, plate)
    assert isnan(revolving.trips(motor, 0.1 * plate)) is isnan(nan)
