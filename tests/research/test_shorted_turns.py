"""Shorted turns are found more surely the more of them there are and the more of the plate is known."""

from __future__ import annotations

import pytest
from research.shorted_turns import KNOWN, Drawn, drawn, main, suspected

from humclick.arrangements.arrangement import arrangement


def test_half_the_turns_lost_are_suspected_more_than_a_few() -> None:
    """Over some machines; and a sound one is hardly suspected."""
    machines = list(drawn(6))
    known = KNOWN["LRA and RLA"]
    none, few, half = (sum(suspected(m, lost, known) for m in machines) for lost in (0.0, 0.1, 0.5))
    assert none / len(machines) < 0.1
    assert none < half
    assert few < half


def test_only_machines_of_two_windings_are_drawn() -> None:
    """However many: three alike windings have no start winding to compare with."""
    assert all(arrangement(machine.kind).started for machine in drawn(150))


def test_a_known_plate_finds_what_an_unknown_one_hides() -> None:
    """A winding at half of what its plate lets expect."""
    sizes = {"locked_rotor_amps": 12.0, "rated_load_amps": 2.0, "run_ohms": 3.1, "start_ohms": 9.5}
    machine = Drawn("rsir-ptc", 115.0, 60.0, {**sizes, "horsepower": 0.125})
    told = suspected(machine, 0.6, KNOWN["LRA and RLA"])
    assert told > 0.5
    assert told > suspected(machine, 0.6, KNOWN["nothing"])


def test_the_table_has_a_row_for_each_state_of_the_plate(capsys: pytest.CaptureFixture[str]) -> None:
    """As it stands on the page."""
    main(1)
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(" | ")[0].strip("| ") for line in lines[2:]] == list(KNOWN)
