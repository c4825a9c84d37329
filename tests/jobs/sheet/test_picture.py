"""The start on the sheet: only where it is wanted, the recording laid over it, and never in the way."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from humclick.errors import Refused
from humclick.jobs.call import Call
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold
from humclick.jobs.sheet.picture import start_picture
from humclick.jobs.sheet.render import sheet_html
from humclick.recordings.recording import Recording

MACHINE: dict[str, Any] = {
    "kind": "machine",
    "arrangement": "rsir-ptc",
    "locked_rotor_amps": 12.0,
    "rated_load_amps": 1.8,
}
RECORDED: dict[str, Any] = {"kind": "recording", "of": "current", "heard": ["runs"], "name": "clamp.csv"}


def call(*tables: dict[str, Any]) -> Call:
    at = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
    return fold(event_from({"id": f"e{n:02d}", "at": at, **table}) for n, table in enumerate(tables))


def clamp() -> Recording:
    """A log of 20 values a second: nothing for a second, a start, then running."""
    t = np.arange(0, 4, 0.05)
    amps = np.where(t < 1.0, 0.0, np.where(t < 1.9, 12.0 - 4.0 * np.clip((t - 1.0) / 0.4, 0, 1), 1.4))
    return Recording(name="clamp.csv", values=amps.tolist(), step=0.05, unit="A")


def test_a_plain_call_has_no_start() -> None:
    """Without a recording, and unasked, nothing is simulated and the sheet stays as it was."""
    assert start_picture(call(MACHINE)) is None
    assert 'class="start"' not in sheet_html(call(MACHINE))


def test_a_call_with_a_recording_shows_the_start() -> None:
    """A clamp's recording in the call brings the simulated curve onto the technician's page."""
    found = start_picture(call(MACHINE, RECORDED))
    assert found is not None
    page = sheet_html(call(MACHINE, RECORDED), picture=found)
    assert 'class="start"' in page
    assert "sheet-start-t" in page
    assert "simulated, the most probable motor" in page


def test_a_recording_lies_over_the_curve() -> None:
    """The recording at hand is drawn in rings and told in the caption."""
    found = start_picture(call(MACHINE), clamp())
    assert found is not None
    assert "measured" in found.svg
    assert "times the simulated current" in found.caption
    assert found.svg in sheet_html(call(MACHINE), picture=found)


def test_a_silent_recording_is_refused() -> None:
    """A recording without an attempt is told, not drawn."""
    silent = Recording(name="clamp.csv", values=[0.0] * 100, step=0.05, unit="A")
    with pytest.raises(Refused, match=r"clamp\.csv"):
        start_picture(call(MACHINE), silent)


def test_without_the_extra_the_sheet_comes_without_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the simulation is not installed there is no picture, and nothing fails."""
    monkeypatch.setitem(sys.modules, "humclick.start.run", None)
    assert start_picture(call(MACHINE, RECORDED), asked=True) is None


def test_a_machine_that_is_not_simulated_has_none() -> None:
    """A three-phase machine, or none at all, is left undrawn though it was asked for."""
    assert start_picture(call({"kind": "machine", "arrangement": "three-phase"}), asked=True) is None
    assert start_picture(call(), asked=True) is None
