"""Where no start attempts were simulated, those of the nearest arrangement stand in: how far off they are."""

from __future__ import annotations

from dataclasses import replace
from statistics import mean, median

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.stand_in import stand_in
from humclick.errors import DataError
from humclick.parts.family import HEALTHY, Role
from humclick.start.power_up import Starts

JUDGED = [name for name in arrangements() if arrangement(name).started]


def hidden(name: str, starts_as: str = "") -> Machine:
    """A machine whose own table is not to be seen."""
    machine = Machine.of(name)
    return replace(machine, arrangement=replace(machine.arrangement, simulated=False, starts_as=starts_as))


def apart(name: str) -> list[float]:
    """Total variation of what a start try comes to, own table against stand-in, for each single mode, hot."""
    machine = hidden(name)
    own, other = Starts(Machine.of(name)), Starts(machine, stand_in(machine))
    found = []
    for part in machine.parts:
        for mode in part.family.modes:
            if mode != HEALTHY and not (part.family.apart or part.family.mode(mode).starts_as):
                a, b = (starts.outcomes({part.id: mode}, hot=True) for starts in (own, other))
                assert sum(b) == pytest.approx(1.0)
                found.append(sum(abs(x - y) for x, y in zip(a, b, strict=True)) / 2)
    return found


def test_a_machine_with_a_table_needs_none() -> None:
    """Every arrangement of the program whose starts are simulated has its own."""
    assert [name for name in JUDGED if stand_in(Machine.of(name)) is not None] == []


@pytest.mark.parametrize("name", [name for name in JUDGED if arrangement(name).simulated])
def test_how_far_a_stand_in_is_off_is_as_the_page_says(name: str) -> None:
    """On average 0.04 to 0.22 in total variation, for half of the modes less than 0.12."""
    off = apart(name)
    assert 0.03 < mean(off) < 0.22
    assert median(off) < 0.12


def test_the_nearest_has_the_same_gear() -> None:
    """Of two arrangements with the same roles the one with the same law in time stands in."""
    found = stand_in(hidden("timed-starter"))
    assert found is not None
    assert found.machine.arrangement.id == "rsir-assist-switch"
    assert all(here == there for here, there in found.modes.items())


def test_modes_are_matched_by_what_they_do() -> None:
    """A relay stuck open is stood for by a starter that never connects, a welded one by one that stays."""
    found = stand_in(hidden("rsir-current-relay"))
    assert found is not None
    starter = found.machine.having(Role.STARTER)
    open_, welded = (found.modes["current_relay", mode] for mode in ("stuck_open", "welded"))
    assert open_ is not None
    assert welded is not None
    assert {open_[0], welded[0]} == {starter.id}
    assert starter.family.mode(open_[1]).recorded == "no_start_current"
    assert starter.family.mode(welded[1]).recorded == "start_device_bridged"


def test_the_file_may_name_another() -> None:
    """`starts_as` chooses the stand-in; one that is not simulated itself is refused."""
    found = stand_in(hidden("rsir-ptc", starts_as="rscr-ptc"))
    assert found is not None
    assert found.machine.arrangement.id == "rscr-ptc"
    with pytest.raises(DataError, match="no table"):
        stand_in(hidden("rsir-ptc", starts_as="three-phase"))
