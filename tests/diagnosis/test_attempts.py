"""What a start attempt does on a call, and what is said of it, as the trade knows it."""

from __future__ import annotations

import math

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.attempts import attempts_of
from humclick.diagnosis.hearing import reported
from humclick.start.rows import OUTCOMES
from tests.published import published


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
    shares = attempts_of(Machine.of(name)).of(fault, hot=hot).outcomes
    assert OUTCOMES[shares.index(max(shares))] == expected


@pytest.mark.parametrize("name", [a for a in arrangements() if arrangement(a).started])
def test_outcomes_are_probabilities_for_every_mode_of_every_arrangement(name: str) -> None:
    """For every protector, voltage class and frequency, every single mode's outcomes sum to one."""
    for protector in arrangement(name).protectors:
        for volts, hertz in ((115.0, 60.0), (230.0, 50.0)):
            machine = Machine.of(name, protector, Nameplate(volts, hertz))
            attempts = attempts_of(machine)
            assert attempts.of({}).outcomes[OUTCOMES.index("runs")] > 0.9
            for part in machine.parts:
                for mode in part.family.modes:
                    for hot in (False, True):
                        shares = attempts.of({part.id: mode}, hot=hot).outcomes
                        assert math.isclose(sum(shares), 1.0, abs_tol=1e-9)
                        assert min(shares) >= -1e-12


def test_a_fault_that_comes_in_degrees_is_bad_enough_to_be_called_for() -> None:
    """A sagging supply fails most attempts while it sags, and none once the part is another."""
    attempts = attempts_of(Machine.of("psc"))
    runs = OUTCOMES.index("runs")
    assert attempts.of({"supply": "sags"}).outcomes[runs] <= 0.15 + 1e-9
    assert attempts.of({}).outcomes[runs] > 0.97
    assert attempts.of({"mechanism": "unequal"}).outcomes[runs] > 0.97  # cold: the pressures are equal by now


@pytest.mark.parametrize("by", ["reported", "listened"])
def test_what_is_heard_sums_to_one(by: str) -> None:
    """Every row of the hearing tables is a probability distribution."""
    for k in range(len(OUTCOMES)):
        certain = tuple(float(i == k) for i in range(len(OUTCOMES)))
        assert sum(reported(certain, by=by)) == pytest.approx(1.0, abs=1e-9)
