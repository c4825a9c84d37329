"""The curves and the events of a start in another language."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from humclick.messages import translator
from humclick.start.curves import panels_of, panels_to_compare
from humclick.start.run import Switched
from humclick.start.said import said_events, said_panels
from tests.start.test_curves import a_run

#: Written the same in both languages.
_SAME = {"motor", "protector", "rotor", "rev/min", "A", "N m", "°C"}


def spanish(text: str) -> str:
    """The Spanish of a message, which must have one."""
    translated = translator("es").text(text)
    assert translated != text or text in _SAME, text
    return translated


def test_every_name_beside_a_curve_is_translated_and_no_number_changes() -> None:
    """Titles, names and units go through the catalogue; times and values stay."""
    panels = panels_of(a_run())
    said = said_panels(panels, spanish)

    assert said[0].title == "corriente"
    for old, new in zip(panels, said, strict=True):
        for before, after in zip(old.curves, new.curves, strict=True):
            assert np.array_equal(before.values, after.values)
            assert np.array_equal(before.time, after.time)


def test_two_starts_compared_are_named_in_the_language() -> None:
    """The old and the new part's curves carry translated names."""
    run = a_run()
    said = said_panels(panels_to_compare([("old part", run), ("new part", replace(run))]), spanish)

    assert {curve.name for panel in said for curve in panel.curves} == {"pieza vieja", "pieza nueva"}


@pytest.mark.parametrize(
    "what", ["start contact opens", "start current has halved", "protector opens", "breaker opens"]
)
def test_an_event_keeps_its_time(what: str) -> None:
    """What happened is said in the language, when it happened stays."""
    (said,) = said_events([Switched(0.6, what, 130.0)], spanish)

    assert (said.time, said.what != what) == (0.6, True)
