"""A recording of a start, read and put into a call: by clamp or microphone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from humclick.jobs.event_tables import new_event
from humclick.jobs.events import RecordingTaken
from humclick.messages import as_data

if TYPE_CHECKING:
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.shop import Shop
    from humclick.recordings.evidence import Evidence
    from humclick.recordings.recognise import Odds, Plate

__all__ = ["plate_of", "recording_event"]


def plate_of(machine: Machine | None, shop: Shop | None = None, gear: str | None = None) -> Plate:
    """
    What a machine's plate, start gear and odds tell the reading of a recording.

    Where the machine is not known, or only recognised, the odds are the mean over all arrangements with the
    same kind of start gear: a current does not tell them apart. `gear` names that kind, where known better.
    """
    from humclick.parts.family import Role
    from humclick.recordings import GEARS
    from humclick.recordings.recognise import Plate

    parts = None if machine is None else frozenset(part.id for part in machine.parts)
    starter = machine.has(Role.STARTER) if machine else None
    law = (starter.family.in_time or starter.family.name) if starter else ""
    gear = gear or (law if law in GEARS else None)
    odds = _odds(machine, shop, (gear,) if gear else GEARS)
    if machine is None:
        return Plate(gear=gear, odds=odds)
    plate = machine.nameplate
    without = replace(plate, locked_rotor_amps=None, rated_load_amps=None)
    sound = replace(machine, nameplate=without).sound
    return Plate(plate.locked_rotor_amps, plate.rated_load_amps, gear, parts, odds, sound)


def _odds(machine: Machine | None, shop: Shop | None, gears: Sequence[str]) -> Odds:
    from humclick.arrangements.arrangement import arrangement, arrangements
    from humclick.arrangements.machine import Machine
    from humclick.diagnosis.recorded import misread
    from humclick.recordings.recognise import Odds

    if machine is not None and machine.started:
        shares = _shares(machine, shop)
        return Odds(dict.fromkeys(gears, shares), misread())
    known = [Machine.of(name) for name in arrangements() if arrangement(name).started]
    by_gear = {}
    for gear in gears:
        rows = [
            _shares(candidate, shop)
            for candidate in known
            if any(part.id == gear for part in candidate.parts)
        ]
        by_gear[gear] = {cause: sum(row[cause] for row in rows) / len(rows) for cause in rows[0]}
    return Odds(by_gear, misread())


def _shares(machine: Machine, shop: Shop | None) -> dict[str, float]:
    """Probability of each cause on a machine that does not start, nothing else seen. [-]"""
    from humclick.diagnosis.judged import judge
    from humclick.diagnosis.recorded import cause_of, causes
    from humclick.diagnosis.situation import Situation

    post = judge(Situation(machine), shop).post
    shares = dict.fromkeys(causes(), 0.0)
    for modes, p in post.shares():
        shares[cause_of(machine, modes)] += p
    return shares


def recording_event(
    evidence: Evidence, *, sha256: str = "", device: str = "", at: datetime | None = None, turn: int = 0
) -> RecordingTaken:
    """
    The event that puts a recording into a call: what it shows, the hash of its file, who writes it and when.
    """
    from humclick.recordings.recognise import Recognition

    recognition, course = evidence.recognition, evidence.course
    content: dict[str, Any] = {"of": "sound"}
    if isinstance(recognition, Recognition):
        content = {
            "of": "current",
            "causes": {c: max(x, -1e4) for c, x in recognition.log_likelihood.items()},
        }
    event = new_event(
        "recording",
        device=device,
        at=at,
        turn=turn,
        name=evidence.recording.name[:300],
        sha256=sha256,
        heard=list(recognition.heard[:500]),
        words=" ".join(recognition.sentences),
        said=tuple(as_data(sentence) for sentence in recognition.sentences),
        seconds=course.seconds,
        unit=course.unit,
        course=list(course.values),
        spans=[list(span) for span in course.spans],
        **content,
    )
    assert isinstance(event, RecordingTaken)
    return event
