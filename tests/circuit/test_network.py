"""Predicted readings of the network, set against bench facts of the trade and the guide to uncertainty."""

from __future__ import annotations

import math

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.network import Setup, branches_of, predict
from humclick.errors import Unknown
from humclick.parts.family import Condition, Regime, family
from humclick.sourced import Spread
from tests.published import published

TURNED = Setup(condition=Condition(turned=True), alone="current_relay")
AT_REST = Setup(alone="current_relay")
PINS = Setup(plugged=False)


def _known(**sizes: float) -> Machine:
    known = {key.replace("__", "."): Spread(value, 1.0) for key, value in sizes.items()}
    return Machine.of("csir-current-relay", "external", known=known)


@published(
    source="common practice",
    where="overload protector 0.1–0.3 Ω cool; PTC 3–15 Ω cold; relay coil and contacts near 0 Ω",
)
def test_healthy_parts_read_as_the_trade_knows_them() -> None:
    """Medians of healthy parts on 115 V lie where a practitioner calls them good."""
    ptc, relay = Machine.of("rsir-ptc"), Machine.of("csir-current-relay")

    assert 0.1 <= predict(ptc, {}, Setup(alone="overload_protector"), ("n", "c")).ohms <= 0.3
    assert 3.0 <= predict(ptc, {}, Setup(alone="ptc"), ("r", "s")).ohms <= 15.0
    assert predict(relay, {}, AT_REST, ("k", "r")).ohms <= 0.2
    assert predict(relay, {}, AT_REST, ("k", "q")).ohms == math.inf
    assert predict(relay, {}, TURNED, ("k", "q")).ohms <= 0.2


@published(
    source="Heating & Cooling Essentials", where="p. 531: S–R is the sum of C–S and C–R", printed_to="exact"
)
def test_the_windings_add_up_between_the_pins() -> None:
    """Run to start reads the sum of the two windings: 4 Ω and 11 Ω give 15 Ω."""
    machine = _known(run_winding__winding=4.0, start_winding__winding=11.0)

    readings = [predict(machine, {}, PINS, pair).ohms for pair in (("C", "R"), ("C", "S"), ("S", "R"))]

    assert readings == pytest.approx([4.0, 11.0, 15.0])


@published(
    source="IEC 60034-1", where="copper: (235 + t₂)/(235 + t₁), from 25 °C to 95 °C", printed_to="0.0001"
)
def test_hot_windings_read_higher() -> None:
    """At 95 °C the windings read 1.2692 times their resistance at 25 °C, the protector unchanged."""
    machine = _known(run_winding__winding=4.0, start_winding__winding=11.0)

    hot = predict(machine, {}, PINS, ("S", "R"), copper=(235 + 95) / (235 + 25)).ohms

    assert hot / 15.0 == pytest.approx(1.2692, abs=1e-4)


@published(source="JCGM 100:2008", where="5.1.2, uncorrelated inputs in series", printed_to="1e-6")
def test_tolerances_add_as_squares_of_their_shares() -> None:
    """Two resistors in series: the log spread is the root of the squared shares times spreads."""
    known = {"run_winding.winding": Spread(4.0, 1.2), "start_winding.winding": Spread(12.0, 1.3)}
    machine = Machine.of("csir-current-relay", "external", known=known)

    got = predict(machine, {}, PINS, ("S", "R"))

    expected = math.hypot(
        0.25 * known["run_winding.winding"].sigma, 0.75 * known["start_winding.winding"].sigma
    )
    assert got.sigma == pytest.approx(expected, rel=1e-6)  # insulation lies in parallel
    assert [row[:2] for row in got.shares[:2]] == [("start_winding", "winding"), ("run_winding", "winding")]


def test_an_open_external_protector_leaves_the_pins_readable() -> None:
    """With the gear off, the pins read as if the protector outside were not there."""
    machine = Machine.of("csir-current-relay", "external")

    assert math.isfinite(predict(machine, {"overload_protector": "open"}, PINS, ("C", "R")).ohms)


@published(source="common practice", where="an open internal protector: C–S and C–R open, S–R normal")
def test_an_open_internal_protector_opens_common_only() -> None:
    """Behind an open internal protector C reads open to both, while S–R still reads the sum."""
    machine = Machine.of("csir-current-relay", "internal")
    modes = {"internal_protector": "open"}

    assert predict(machine, modes, PINS, ("C", "R")).ohms == math.inf
    assert predict(machine, modes, PINS, ("C", "S")).ohms == math.inf
    assert math.isfinite(predict(machine, modes, PINS, ("S", "R")).ohms)


def test_a_part_can_be_taken_away() -> None:
    """Without the relay nothing joins the line to the run socket."""
    machine = Machine.of("csir-current-relay")

    assert math.isfinite(predict(machine, {}, Setup(), ("k", "r")).ohms)
    assert (
        predict(machine, {}, Setup(plugged=False, absent=frozenset({"current_relay"})), ("k", "r")).ohms > 1e6
    )


def test_plugged_on_the_plug_sees_the_windings() -> None:
    """At the plug blades a healthy machine that calls reads about its run winding."""
    machine = _known(run_winding__winding=4.0, start_winding__winding=11.0)

    assert 4.0 < predict(machine, {}, Setup(), ("l", "n")).ohms < 5.5
    assert predict(machine, {"control": "open"}, Setup(), ("l", "n")).ohms > 1e6


def test_locked_rotor_amps_narrow_the_run_winding() -> None:
    """A nameplate with locked-rotor amps moves and narrows what the run winding should read."""
    plate = Nameplate(110.0, 60.0, locked_rotor_amps=14.17)
    machine = Machine.of("csir-current-relay", "external", plate)

    size = machine.size("run_winding", "winding")

    assert size.median / size.factor < 2.02 < size.median * size.factor  # the textbook motor
    assert size.factor < Machine.of("csir-current-relay").size("run_winding", "winding").factor


@published(
    source="Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery",
    where="1/4-hp motor, 110 V: run winding 2.02 Ω, 14.17 A locked; from memory, the current recomputed",
    printed_to="0.01 Ω",
)
def test_the_locked_impedance_of_the_run_winding_is_the_textbook_motors() -> None:
    """Volts over its locked-rotor amps and over the ratio in the part's file are the ohms of the winding."""
    times_ohms = family("run_winding").impedance["winding"][Regime.START]

    assert 110.0 / 14.17 / abs(times_ohms) == pytest.approx(2.02, abs=0.01)
    assert times_ohms * 2.02 == pytest.approx(5.877 + 5.075j, abs=0.005)


def test_unknown_parts_and_modes_are_refused() -> None:
    """A part or mode that is not there is named in the refusal, with the nearest right one."""
    machine = Machine.of("rsir-ptc")

    with pytest.raises(Unknown, match="current_relay"):
        branches_of(machine, {"current_relay": "welded"}, Setup())
    with pytest.raises(Unknown, match="bridged"):
        branches_of(machine, {"ptc": "bridge"}, Setup())
