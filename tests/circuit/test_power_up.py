"""What a start attempt does, set against textbook phasors and the trade's complaints."""

from __future__ import annotations

import cmath
import math

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.power_up import OUTCOMES, PowerUp, Start, _torque, reported
from humclick.parts.family import Condition, Regime
from humclick.sourced import Spread
from tests.published import published

KRAUSE = "Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery, single-phase induction machine chapter"


def _krause(capacitor: float) -> PowerUp:
    known = {
        "run_winding.winding": Spread(2.02, 1.0),
        "start_winding.winding": Spread(7.14, 1.0),
        "start_capacitor.capacitance": Spread(capacitor, 1.0),
        "current_relay.coil": Spread(1e-6, 1.0),
        "current_relay.contact": Spread(1e-6, 1.0),
        "wiring.joint": Spread(1e-9, 1.0),
        "start_capacitor.bleed": Spread(1e12, 1.0),
    }
    return PowerUp(Machine.of("csir-current-relay", "external", Nameplate(110.0, 60.0), known))


def _likeliest(arrangement_id: str, fault: dict[str, str], *, hot: bool = False) -> str:
    shares = PowerUp(Machine.of(arrangement_id)).outcomes(fault, hot=hot)
    return OUTCOMES[shares.index(max(shares))]


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
    source="Kosow, Electric Machinery and Transformers", where="Examples 10-1 and 10-3", printed_to="0.001"
)
def test_starting_torque_goes_with_the_sine_between_the_currents() -> None:
    """A capacitor that turns 25° into 82° between the same currents gives 2.343 times the torque."""
    run = cmath.rect(6.0, math.radians(-40))
    split = Start(0j, run, cmath.rect(4.0, math.radians(-15)), 0.0)
    capacitor = Start(0j, run, cmath.rect(4.0, math.radians(42)), 0.0)

    assert _torque(capacitor) / _torque(split) == pytest.approx(2.343, abs=0.001)


@published(
    source="Chapman, Electric Machinery Fundamentals",
    where="Problem 9-3: the auxiliary winding opens at 400 r/min",
)
def test_a_motor_on_its_main_winding_alone_does_not_start() -> None:
    """With the start circuit open the torque is zero and the machine hums until the protector lets go."""
    power = PowerUp(Machine.of("csir-current-relay"))

    start = power.core({"start_capacitor": "open"}, Condition(Regime.START))[0][1]
    assert power.torque(start) < 0.01  # what is left flows through the bleed resistor
    assert _likeliest("csir-current-relay", {"start_capacitor": "open"}) == "hum_click"


@pytest.mark.parametrize(
    ("name", "fault", "hot", "expected"),
    [
        ("rsir-ptc", {}, False, "runs"),
        ("rsir-ptc", {"ptc": "open"}, False, "hum_click"),
        ("rsir-ptc", {"ptc": "still_hot"}, True, "hum_click"),
        ("rsir-ptc", {"ptc": "still_hot"}, False, "runs"),
        ("rsir-ptc", {"ptc": "bridged"}, False, "starts_then_trips"),
        ("rsir-current-relay", {"current_relay": "welded"}, False, "starts_then_trips"),
        ("rsir-current-relay", {"current_relay": "coil_open"}, False, "silent"),
        ("csir-current-relay", {"run_winding": "open"}, False, "silent"),
        ("csir-current-relay", {"current_relay": "stuck_open"}, False, "hum_click"),
        ("csr-potential-relay", {"potential_relay": "contacts_open"}, False, "hum_click"),
        ("psc", {"run_capacitor": "open"}, False, "hum_click"),
        ("timed-starter", {"timed_starter": "never_connects"}, False, "hum_click"),
        ("timed-starter", {"timed_starter": "stays_connected"}, False, "starts_then_trips"),
        ("rsir-ptc", {"overload_protector": "tripped"}, True, "silent"),
        ("rsir-ptc", {"overload_protector": "open"}, False, "silent"),
        ("rsir-ptc", {"overload_protector": "welded", "ptc": "open"}, False, "hum"),
        ("rsir-ptc", {"control": "not_calling"}, False, "silent"),
        ("rsir-ptc", {"supply": "dead"}, False, "silent"),
        ("rsir-ptc", {"supply": "open_neutral"}, False, "silent"),
        ("rsir-ptc", {"mechanism": "seized"}, False, "hum_click"),
        ("rsir-ptc", {"mechanism": "unequal"}, True, "hum_click"),
        ("rsir-ptc", {"wiring": "wrong_pin"}, False, "hum_click"),
    ],
)
@published(source="common practice", where="what each fault sounds like at power-up")
def test_each_fault_sounds_as_the_trade_knows_it(
    name: str, fault: dict[str, str], hot: bool, expected: str
) -> None:
    """Each fault's likeliest outcome is the one a technician expects."""
    assert _likeliest(name, fault, hot=hot) == expected


@pytest.mark.parametrize("name", [a for a in arrangements() if not arrangement(a).recognised_only])
def test_outcomes_are_probabilities_for_every_mode_of_every_arrangement(name: str) -> None:
    """For every protector, voltage class and frequency, every single mode's outcomes sum to one."""
    for protector in arrangement(name).protectors:
        for volts, hertz in ((115.0, 60.0), (230.0, 50.0)):
            machine = Machine.of(name, protector, Nameplate(volts, hertz))
            power = PowerUp(machine)
            assert power.outcomes({})[OUTCOMES.index("runs")] > 0.9
            for part in machine.parts:
                for mode in part.family.modes:
                    for hot in (False, True):
                        shares = power.outcomes({part.id: mode}, hot=hot)
                        assert math.isclose(sum(shares), 1.0, abs_tol=1e-9)
                        assert min(shares) >= -1e-12


@published(
    source="common practice", where="a long thin cord starts a machine at a voltage that no longer turns it"
)
def test_a_long_cord_pulls_the_terminals_down_while_it_starts() -> None:
    """Terminal volts at the start are far lower on a long cord, and nil when one wire is cut."""
    power = PowerUp(Machine.of("rsir-ptc"))

    sound, sagging = (sum(w * f for w, f in power.terminal_volts(m)) for m in ({}, {"supply": "sags"}))

    assert sound > 0.93
    assert sagging < 0.8
    assert power.terminal_volts({"supply": "open_neutral"}) == ((1.0, 0.0),)


@pytest.mark.parametrize("by", ["reported", "listened"])
def test_what_is_heard_sums_to_one(by: str) -> None:
    """Every row of the hearing tables is a probability distribution."""
    for k in range(len(OUTCOMES)):
        certain = tuple(float(i == k) for i in range(len(OUTCOMES)))
        assert sum(reported(certain, by=by)) == pytest.approx(1.0, abs=1e-9)
