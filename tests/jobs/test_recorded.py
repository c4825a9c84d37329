"""
A recording in a call: read from a file, kept as an event, weighed with the rest.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.advice import advise
from humclick.diagnosis.judged import judge
from humclick.diagnosis.shop import shop_from_table
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Refused
from humclick.jobs.event_tables import event_from, new_event, table_of
from humclick.jobs.events import RecordingTaken
from humclick.jobs.fold import fold
from humclick.jobs.recorded import plate_of, recording_event
from humclick.recordings.evidence import current_evidence, evidence_of
from humclick.recordings.logs import recording_from_file
from humclick.recordings.recognise import Plate, Recognition
from humclick.recordings.recording import Recording
from humclick.sourced import read_data

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
    read = recording_from_file(log_of(tmp_path, 13.6, 9.3, 0.0))
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
    read = recording_from_file(log_of(tmp_path, 13.6, 9.3, 0.0))
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


def weighed(plate: Plate, level: float, seconds: float, then: float) -> Recognition:
    """A second of nothing, a level for some seconds, another level, weighed."""
    amps = [0.0] * 20 + [level] * round(20 * seconds) + [then] * 200
    return current_evidence(Recording(name="made", values=amps, step=0.05, unit="A"), plate)[1]


COURSES = ((13.6, 9.3, 0.0), (18.7, 8.0, 0.0), (18.7, 0.4, 3.1), (0.0, 5.0, 0.0), (6.0, 1.0, 0.2))


@pytest.mark.parametrize(
    "name", ["rsir-ptc", "csir-current-relay", "csr-potential-relay", "psc", "timed-starter"]
)
@pytest.mark.parametrize("course", COURSES)
def test_a_recording_by_itself_says_what_a_call_would_say(
    name: str, course: tuple[float, float, float]
) -> None:
    """Each cause has the probability of its modes in a call that saw nothing else, within its own bound."""
    machine = Machine.of(name, nameplate=Nameplate(115.0, 60.0, locked_rotor_amps=18.7))
    shown = weighed(plate_of(machine), *course)
    causes = tuple(shown.log_likelihood.items())
    post = judge(
        Situation(machine, None, (Observation("attempt.recorded", answer=shown.heard[0], causes=causes),))
    ).post
    order = read_data("humclick.diagnosis", "recorded.toml")["order"]
    expected = dict.fromkeys(order, 0.0)
    for modes, p in post.shares():
        named = {machine.part(part).family.mode(mode).recorded for part, mode in modes.items()}
        looks = [cause for cause in order if cause in named]
        expected[looks[0] if looks else "healthy"] += p
    bound = post.left_out + judge(Situation(machine)).post.left_out
    for cause, p in expected.items():
        assert shown.probabilities[cause] == pytest.approx(p, abs=2.0 * bound)
    assert shown.none == pytest.approx(post.none, abs=2.0 * bound)


@pytest.mark.parametrize(
    ("mode", "cause"),
    [
        ("run_winding.open", "run_winding_open"),
        ("ptc.still_hot", "ptc_hot"),
        ("ptc.bridged", "start_device_bridged"),
        ("overload_protector.trips_early", "protector_early"),
    ],
)
def test_a_shop_that_doubles_the_odds_of_all_modes_of_a_cause_doubles_those_of_the_cause(
    mode: str, cause: str
) -> None:
    """The one list of odds is that of the parts, and a shop's own figure takes its place here, too."""
    same = {
        f"{part.id}.{name}": 2.0 * one.odds
        for part in MACHINE.parts
        for name, one in part.family.modes.items()
        if one.recorded == cause
    }
    assert mode in same
    doubled = shop_from_table({"odds": same})
    before, after = (weighed(plate_of(MACHINE, shop), *COURSES[0]).probabilities for shop in (None, doubled))
    odds = [row[cause] / row["no_start_current"] for row in (before, after)]
    assert odds[1] == pytest.approx(2.0 * odds[0], rel=0.02)


def test_where_no_machine_is_known_the_odds_are_the_mean_of_those_with_its_gear() -> None:
    """A PTC alone: the mean over all arrangements that have one; no gear at all: each kind a third."""
    machines = [Machine.of(name) for name in arrangements() if arrangement(name).started]
    own = [plate_of(one) for one in machines if any(part.id == "ptc" for part in one.parts)]
    mean = plate_of(None, gear="ptc").odds
    assert mean is not None
    assert len(own) > 3
    for cause, share in mean.shares["ptc"].items():
        rows = [plate.odds.shares["ptc"][cause] for plate in own if plate.odds is not None]
        assert share == pytest.approx(sum(rows) / len(rows))
    unknown, never_started = plate_of(None), plate_of(Machine.of("inverter-driven"))
    assert unknown.odds == never_started.odds
    assert unknown.odds is not None
    assert set(unknown.odds.shares) == {"ptc", "current_relay", "potential_relay"}
    assert unknown.odds.shares["ptc"] == mean.shares["ptc"]


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
