"""What a call has at hand about its motor."""

from __future__ import annotations

import pytest

from humclick.errors import Refused
from humclick.jobs.at_hand import fitted_farads, of_call, winding_ohms
from humclick.jobs.call import Call
from humclick.jobs.fold import fold
from humclick.physics.copper import resistance_at
from tests.jobs.test_fold import call, events, reading

NULLED = {"kind": "meter", "name": "good", "leads_nulled": True}


def test_windings_come_from_the_pins() -> None:
    """Readings between the pins become windings at 25 °C; the last good one of each counts."""
    found = call(
        NULLED,
        reading("pins.C-R", "3.9", temperature="25 C"),
        reading("pins.C-R", "3.4", temperature="25 C"),
        reading("pins.C-S", "11.2", temperature="25 C"),
    )
    run, start = winding_ohms(found)
    assert run == pytest.approx(3.4)
    assert start == pytest.approx(11.2)


def test_a_hot_winding_is_brought_to_its_reference() -> None:
    """A winding measured at 80 °C has fewer ohms at 25 °C, by the copper law."""
    found = call(NULLED, reading("pins.C-R", "4.0", temperature="80 C"))
    assert winding_ohms(found)[0] == pytest.approx(resistance_at(25.0, 4.0, 80.0))


@pytest.mark.parametrize(
    ("other", "ohms"), [("pins.C-R", ("3.4", (3.4, 11.0))), ("pins.C-S", ("11.0", (3.4, 11.0)))]
)
def test_the_third_reading_stands_in(other: str, ohms: tuple[str, tuple[float, float]]) -> None:
    """From S–R and one winding the other follows."""
    found = call(
        NULLED, reading(other, ohms[0], temperature="25 C"), reading("pins.S-R", "14.4", temperature="25 C")
    )
    assert winding_ohms(found) == pytest.approx(ohms[1])


def test_an_open_winding_has_no_ohms() -> None:
    """Over limit is no resistance to estimate from, and leads take off what they add."""
    found = call(
        {"kind": "meter", "name": "good", "lead_ohms": 0.4},
        reading("pins.C-R", "3.8", temperature="25 C"),
        reading("pins.C-S", "OL"),
    )
    run, start = winding_ohms(found)
    assert run == pytest.approx(3.4)
    assert start is None


def test_plate_and_stamps_are_taken_over() -> None:
    """Amps of the plate, the stamp of the capacitor and what is typed beside them reach the estimate."""
    found = fold(
        events(
            {
                "kind": "machine",
                "arrangement": "csir-current-relay",
                "volts": 115.0,
                "hertz": 60.0,
                "locked_rotor_amps": 12.0,
            },
            {"kind": "stamp", "part": "start_capacitor", "text": "88-106 uF 165 V"},
        )
    )
    given = of_call(found, horsepower=0.25)
    assert (given.volts, given.locked_rotor_amps, given.horsepower) == (115.0, 12.0, 0.25)
    assert given.start_capacitor is not None
    assert 88e-6 <= given.start_capacitor.median <= 106e-6
    assert given.run_capacitor is None


def test_a_capacitor_counts_while_it_is_fitted() -> None:
    """A measured capacitance holds until the capacitor is replaced; over limit is none."""
    weak = reading("start_capacitor.farads", "31 uF")
    assert fitted_farads(call(NULLED, weak), "start_capacitor") == pytest.approx(31e-6)
    assert fitted_farads(call(NULLED), "start_capacitor") is None
    renewed = {"kind": "fitted", "part": "start_capacitor"}
    assert fitted_farads(call(NULLED, weak, renewed), "start_capacitor") is None
    again = reading("start_capacitor.farads", "92 uF")
    assert fitted_farads(call(NULLED, weak, renewed, again), "start_capacitor") == pytest.approx(92e-6)


def test_a_call_without_a_machine_is_refused() -> None:
    """Nothing can be worked out before the machine is described."""
    with pytest.raises(Refused, match="no machine"):
        of_call(Call())
