"""The kind of appliance is said on every face, kept, read back, and narrows what a machine should measure."""

from __future__ import annotations

import pytest

import humclick as hc
from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import Unknown
from humclick.jobs.sheet.render import sheet_of
from humclick.sizes.sound import appliances


def test_it_goes_through_a_call_and_onto_the_sheet() -> None:
    """From the library into the event, the machine and the sheet's rows."""
    call = hc.Call(hc.machine("psc", volts=230, appliance="outdoor-unit"), heard="hum")
    machine = call.folded.machine
    assert machine is not None
    assert machine.nameplate.appliance == "outdoor-unit"
    rows = {str(row.name): str(row.value) for row in sheet_of(call.folded).technician_page.machine}
    assert rows["Kind of appliance"] == str(appliances()["outdoor-unit"])


def test_it_narrows_what_windings_should_read() -> None:
    """The windings of an outdoor unit are those of a larger machine, and within less."""
    bare, told = (
        Machine.of("psc", None, Nameplate(230.0, 60.0, appliance=name)).size("run_winding", "winding")
        for name in ("", "outdoor-unit")
    )
    assert told.median < bare.median
    assert told.factor < bare.factor


def test_one_that_is_none_is_refused_with_those_there_are() -> None:
    """Nothing is guessed."""
    with pytest.raises(Unknown, match=r"kind of appliance.*room-unit"):
        hc.machine("psc", appliance="tumble dryer")
