"""How long a machine has stood: what was written down as a wait, and what the clock of one device says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from humclick.arrangements.machine import Machine
from humclick.jobs.events import GatePassed, ReadingTaken
from humclick.jobs.stand import Stand

NINE = datetime(2026, 3, 14, 9, 0, tzinfo=UTC)
MACHINE = Machine.of("rsir-ptc", "internal")


def reading(minutes: float, device: str = "phone") -> ReadingTaken:
    at = NINE + timedelta(minutes=minutes)
    return ReadingTaken(id=f"e{minutes:g}", at=at, device=device, probe="ptc.ohms", value="4.7")


def test_two_hours_later_it_has_cooled_whether_or_not_a_wait_was_written_down() -> None:
    """The clock counts from the last try; what was hot is not any more."""
    stand = Stand().tried(reading(0)).at(reading(20), MACHINE)
    assert (stand.hot, stand.minutes) == (True, 20.0)
    later = stand.at(reading(60 * 10), MACHINE)
    assert (later.hot, later.minutes) == (False, 600.0)


def test_a_wait_written_down_is_not_counted_twice() -> None:
    """Forty minutes by the clock and forty written down are forty."""
    stand = Stand().tried(reading(0)).at(reading(40), MACHINE).waited(40.0, MACHINE)
    assert stand.minutes == 40.0
    assert stand.waited(30.0, MACHINE).minutes == 70.0


@pytest.mark.parametrize("minutes", [-5.0, 60.0 * 24 * 3])
def test_a_clock_that_was_set_adds_nothing(minutes: float) -> None:
    """Neither one that goes backwards nor one that jumps by days."""
    assert Stand().tried(reading(0)).at(reading(minutes), MACHINE).minutes == 0.0


def test_only_one_devices_clock_counts() -> None:
    """Two phones need not agree on the time."""
    assert Stand().tried(reading(0)).at(reading(90, "tablet"), MACHINE).minutes == 0.0


def test_before_any_try_it_stands_since_its_power_was_proved_off() -> None:
    """Whether it was hot is not known then, and it has cooled all the same."""
    off = GatePassed(id="g", at=NINE, device="phone", gate="power-off-proved-dead")
    stand = Stand().at(reading(-30), MACHINE).at(off, MACHINE).at(reading(600), MACHINE)
    assert (stand.hot, stand.minutes) == (False, 600.0)
