"""
A recording in a call: read from a file, kept as an event, weighed with the rest.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import advise
from humclick.diagnosis.judged import judge
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Refused
from humclick.jobs.event_tables import event_from, new_event, table_of
from humclick.jobs.events import RecordingTaken
from humclick.jobs.fold import fold
from humclick.jobs.recorded import plate_of, recording_event
from humclick.recordings.evidence import evidence_of
from humclick.recordings.logs import read_recording

MACHINE = Machine.of("rsir-ptc", "external", Nameplate(115.0, 60.0, locked_rotor_amps=18.7))


def log_of(tmp_path: Path, amps: float, seconds: float, then: float) -> Path:
    """A clamp's log: a second of nothing, a level for some seconds, another level."""
    noise = random.Random(4)
    rows = ["time s,current A"]
    for k in range(20 * 25):
        t = k / 20
        level = 0.0 if t < 1.0 else amps if t < 1.0 + seconds else then
        rows.append(f"{t:.2f},{level * noise.gauss(1.0, 0.01):.2f}")
    path = tmp_path / "clamp.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def seen(event: RecordingTaken) -> Situation:
    """The machine, humming and clicking, with a recording of it."""
    causes = tuple(sorted(event.causes.items()))
    return Situation(
        MACHINE, Heard.HUM_CLICK, (Observation("attempt.recorded", answer=event.heard[0], causes=causes),)
    )


def test_a_flat_level_speaks_against_a_sound_start_winding_circuit(tmp_path: Path) -> None:
    """
    The run winding's level until the protector opens raises what leaves the start winding without current.
    """
    read = read_recording(log_of(tmp_path, 13.6, 9.3, 0.0))
    event = recording_event(evidence_of(read, plate_of(MACHINE)))
    before = judge(Situation(MACHINE, Heard.HUM_CLICK)).post
    after = judge(seen(event)).post
    without = [("ptc", "open"), ("start_winding", "open"), ("wiring", "wrong_pin")]
    held = [("mechanism", "seized"), ("supply", "low")]
    assert event.of == "current"
    assert event.heard == ("hum_click",)
    assert sum(after.of_mode(*m) for m in without) > 1.5 * sum(before.of_mode(*m) for m in without)
    assert sum(after.of_mode(*m) for m in held) < 0.5 * sum(before.of_mode(*m) for m in held)
    assert advise(seen(event)).next is not None


def test_a_recording_goes_through_the_call_without_loss(tmp_path: Path) -> None:
    """
    As an event it is written and read back alike, folds to an attempt, and leaves the machine hot.
    """
    read = read_recording(log_of(tmp_path, 13.6, 9.3, 0.0))
    event = recording_event(evidence_of(read, plate_of(MACHINE)), device="bench")
    opened = new_event("machine", arrangement="rsir-ptc", protector="external", volts=115.0, hertz=60.0)
    again = event_from(table_of(event))
    call = fold([opened, again])
    situation = call.situation()
    assert again == event
    assert call.recordings == (event,)
    assert situation is not None
    assert situation.observations[0].probe == "attempt.recorded"
    assert math.isclose(max(x for _, x in situation.observations[0].causes), 0.0, abs_tol=1e-9)
    assert situation.hot is True


@pytest.mark.parametrize(
    ("field", "value", "told"),
    [
        ("of", "video", "of must be"),
        ("heard", ["a bang"], "heard must be"),
        ("causes", {"healthy": 3.0}, "causes must be"),
        ("sha256", "beef", "sha256 must be"),
    ],
)
def test_a_recording_that_cannot_be_is_refused(field: str, value: object, told: str) -> None:
    """
    Each field that is not usable is named, with what would be right.
    """
    given = {"kind": "recording", "id": "r1", "at": "2026-03-02T09:30:00+01:00", "of": "sound"}
    with pytest.raises(Refused, match=told):
        event_from({**given, "heard": ["hum"], field: value})
