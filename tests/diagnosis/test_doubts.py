"""A last reading that nothing known gives is doubted until it is read twice; all else stands."""

from __future__ import annotations

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.doubts import doubted
from humclick.diagnosis.judged import judge
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.readings import parse_reading

STARTED = [name for name in arrangements() if arrangement(name).started]
NEVER = Observation("pins.C-S", parse_reading("2.0M", Quantity.RESISTANCE))
LOOKED = Observation("wiring.look", None, "as drawn")


def doubt_of(name: str, *seen: Observation) -> tuple[str, ...]:
    """Probes that are to be read again in a call that hums and clicks."""
    state = doubted(judge(Situation(Machine.of(name), Heard.HUM_CLICK, seen)))
    return () if state is None else state.probes


@pytest.mark.parametrize("name", STARTED)
def test_megohms_of_a_winding_are_read_again_and_then_stand(name: str) -> None:
    """No winding, whole or open, has megohms: they are asked for again while they are the last, and once."""
    assert doubt_of(name, NEVER) == ("pins.C-S",)
    assert doubt_of(name, NEVER, NEVER) == ()
    assert doubt_of(name, NEVER, LOOKED) == ()


def test_nothing_seen_a_look_and_a_known_reading_are_not_doubted() -> None:
    """What was not measured cannot be misread, and what the model knows stands."""
    good = Observation("pins.S-R", parse_reading("14.6", Quantity.RESISTANCE))
    assert doubt_of("rsir-ptc") == doubt_of("rsir-ptc", LOOKED) == doubt_of("rsir-ptc", good) == ()


def test_a_doubt_says_what_was_doubted_and_is_open() -> None:
    """It is a guard that is not done, with the sentence of the reading as its reason."""
    state = doubted(judge(Situation(Machine.of("rsir-ptc"), Heard.HUM_CLICK, (NEVER,))))
    assert state is not None
    assert not state.done
    assert "Read it again" in str(state.reason)
