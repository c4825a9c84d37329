"""What a machine draws with its rotor locked, against textbook phasors, and what a long cord leaves of it."""

from __future__ import annotations

import cmath
import math

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.standstill import Standstill
from humclick.parts.family import Condition, Regime
from humclick.sourced import Spread
from tests.published import published

KRAUSE = "Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery, single-phase induction machine chapter"


def _krause(capacitor: float) -> Standstill:
    known = {
        "run_winding.winding": Spread(2.02, 1.0),
        "start_winding.winding": Spread(7.14, 1.0),
        "start_capacitor.capacitance": Spread(capacitor, 1.0),
        "current_relay.coil": Spread(1e-6, 1.0),
        "current_relay.contact": Spread(1e-6, 1.0),
        "wiring.joint": Spread(1e-9, 1.0),
        "start_capacitor.bleed": Spread(1e12, 1.0),
    }
    return Standstill(Machine.of("csir-current-relay", "external", Nameplate(110.0, 60.0), known))


@published(
    source=KRAUSE,
    where="1/4 hp, 110 V, 60 Hz motor; parameters from memory, currents recomputed",
    printed_to="0.5 %",
)
def test_locked_currents_follow_the_textbook_motor() -> None:
    """The main winding draws 14.17 A and the auxiliary 7.25 A at 34.5° with 177 µF, rotor locked."""
    start = _krause(177e-6).core({}, Condition(Regime.START))[0][1]

    assert abs(start.run) * 110.0 == pytest.approx(14.17, rel=0.005)
    assert abs(start.start) * 110.0 == pytest.approx(7.25, rel=0.005)
    assert math.degrees(cmath.phase(start.start / start.run)) == pytest.approx(34.5 + 40.8, abs=0.6)
    assert abs(start.admittance) * 110.0 == pytest.approx(17.48, rel=0.005)


@published(
    source="common practice", where="a long thin cord starts a machine at a voltage that no longer turns it"
)
def test_a_long_cord_pulls_the_terminals_down_while_it_starts() -> None:
    """Terminal volts at the start are far lower on a long cord, and nil when one wire is cut."""
    power = Standstill(Machine.of("rsir-ptc"))

    sound, sagging = (sum(w * f for w, f in power.terminal_volts(m)) for m in ({}, {"supply": "sags"}))

    assert sound > 0.93
    assert sagging < 0.8
    assert power.terminal_volts({"supply": "open_neutral"}) == ((1.0, 0.0),)


@pytest.mark.parametrize("name", ["csr-potential-relay", "psc", "csir-current-relay", "rsir-ptc"])
def test_what_is_drawn_is_the_same_by_parts_as_by_the_whole_network(name: str) -> None:
    """One or two faulty parts beside what the sound rest is to them draw what the whole network draws."""
    power = Standstill(Machine.of(name))
    faults = [
        {part.id: mode}
        for part in power.machine.parts
        for mode in part.family.modes
        if part.id not in power._still and part.id not in power._feeding
    ]
    cold = Condition(Regime.START)
    for modes in [first | second for first in faults[::2] for second in faults[1::3]]:
        whole = [(weight, start.admittance) for weight, start in power.core(modes, cold)]
        by_parts = power._drawn(modes, cold)
        assert [w for w, _ in by_parts] == [w for w, _ in whole]
        for (_, drawn), (_, admittance) in zip(by_parts, whole, strict=True):
            assert drawn == pytest.approx(admittance, rel=1e-9, abs=1e-12)


def test_modes_that_draw_the_same_show_the_same() -> None:
    """A relay that lets go early starts as a sound one; one with open contacts does not."""
    power = Standstill(Machine.of("csr-potential-relay"))

    assert power.shows("potential_relay", "lets_go_early") is None
    assert power.shows("potential_relay", "contacts_open") is not None
