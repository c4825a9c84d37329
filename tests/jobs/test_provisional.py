"""Whether a machine is taken for now only, and times and turns that cannot be believed."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from humclick.diagnosis.advice import advise
from humclick.jobs.call_file import load_call, write_call
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import UNTIMED, MachineRead
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of
from humclick.jobs.order import MOST_AHEAD
from humclick.jobs.standing import given_last, moment, provisional

#: How notes of older versions begin.
FOR_NOW, CONFIRMED = "Arrangement taken for now:", "Arrangement confirmed:"
NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def machine(name: str, **more: Any) -> dict[str, Any]:
    return {"kind": "machine", "arrangement": name, **more}


def note(text: str) -> dict[str, Any]:
    return {"kind": "note", "text": text}


A, B, A_FOR_NOW = machine("rsir-ptc"), machine("csir-ptc"), machine("rsir-ptc", provisional=True)
SAID, SURE, OTHER = note(f"{FOR_NOW} it fits"), note(f"{CONFIRMED} by the plate"), note("a note")


def for_now(*tables: dict[str, Any]) -> bool:
    events = [event_from({"id": f"e{k:02d}", "at": NOW, **t}) for k, t in enumerate(tables)]
    return provisional(events, fold(events))


@pytest.mark.parametrize(
    ("tables", "wanted"),
    [
        ((), False),
        ((A,), False),
        ((A_FOR_NOW,), True),
        ((A_FOR_NOW, A), False),
        ((A_FOR_NOW, B), False),
        ((A, A_FOR_NOW), True),
        ((A, SAID), True),
        ((A, OTHER), False),
        ((A, SAID, OTHER), True),
        ((A, SAID, A), True),  # the same arrangement with more of its plate
        ((A, SAID, B), False),
        ((A, SAID, SURE), False),
        ((A, SAID, SURE, A), False),
        ((A, SURE, SAID), True),
        ((A_FOR_NOW, SAID, A), False),  # confirmed by describing it without the field
        ((SAID, A), False),
    ],
    ids=lambda x: None,
)
def test_an_arrangement_is_taken_for_now_until_it_is_confirmed(
    tables: tuple[dict[str, Any], ...], wanted: bool
) -> None:
    """By its own field, or by a note of an older version; another arrangement or a confirmation ends it."""
    assert for_now(*tables) == wanted


def test_what_is_undone_does_not_count() -> None:
    """Neither the note nor what confirmed it."""
    undo = {"kind": "undo", "of": "e01"}
    assert not for_now(A, SAID, undo)
    assert for_now(A, SAID, SURE, {"kind": "undo", "of": "e02"})


def test_the_last_of_a_kind_gives_its_fields() -> None:
    """Without those that every event has; nothing where there is none or it is undone."""
    events = [event_from({"id": f"e{k}", "at": NOW, **t}) for k, t in enumerate((A, B))]
    given = given_last(events, fold(events), MachineRead)
    assert given["arrangement"] == "csir-ptc"
    assert not {"id", "at", "device", "turn"} & set(given)
    back = [*events, event_from({"id": "u", "at": NOW, "kind": "undo", "of": "e1"})]
    assert given_last(back, fold(back), MachineRead)["arrangement"] == "rsir-ptc"
    assert given_last([], fold([]), MachineRead) == {}


def test_a_clock_that_cannot_be_right_gives_no_time() -> None:
    """Before the first year an event can have, or after the last."""
    assert moment(NOW) == NOW
    assert moment(NOW.replace(year=1969)) == UNTIMED
    assert moment(NOW.replace(year=2300)) == UNTIMED


HEAD = "humclick_call = 1\n"


def turns_of(tmp_path: Path, *turns: int | None) -> list[int]:
    rows = [
        f'\n[[event]]\nkind = "note"\ntext = "n"\n{f"turn = {t}" if t is not None else ""}\n' for t in turns
    ]
    file = tmp_path / "call.toml"
    file.write_text(HEAD + "".join(rows), "utf-8")
    return [event.turn for event in load_call(file).events]


def test_events_without_a_turn_come_after_those_that_are_believed(tmp_path: Path) -> None:
    """One far ahead of all before it moves no other; the furthest that is believed does."""
    assert turns_of(tmp_path, None, None) == [0, 0]
    assert turns_of(tmp_path, 3, None) == [3, 4]
    assert turns_of(tmp_path, MOST_AHEAD, None) == [MOST_AHEAD, MOST_AHEAD + 1]
    assert turns_of(tmp_path, 2, MOST_AHEAD + 3, None) == [2, MOST_AHEAD + 3, 3]
    for order in itertools.permutations((1, 5)):
        assert turns_of(tmp_path, *order, None) == [*order, 6]


@pytest.mark.parametrize("turns", [(1, 0), (0, 1, 0), (0, 0), (1, 2, 0, 3), (2, 0, 0)])
def test_turns_come_back_as_they_were_written(turns: tuple[int, ...], tmp_path: Path) -> None:
    """Nobody's turn behind a counted one is not counted on."""
    events = [event_from({"id": f"e{k}", "at": NOW, "turn": t, **note("n")}) for k, t in enumerate(turns)]
    file = tmp_path / "call.toml"
    write_call(file, events)
    assert load_call(file).events == tuple(events)


def test_a_start_that_cannot_be_understood_was_a_start_all_the_same() -> None:
    """The machine is hot from then on, and nothing of the wait before it counts."""
    wait = {"kind": "wait", "minutes": 90}
    tried = {"kind": "reading", "probe": "attempt.as_found", "value": "sang a song"}
    looked = {"kind": "reading", "probe": "ptc.shake", "value": "sang a song"}

    def after(*tables: dict[str, Any]) -> tuple[bool | None, float]:
        job = fold([event_from({"id": f"e{k}", "at": NOW, **t}) for k, t in enumerate((A, *tables))])
        situation = job.situation()
        assert situation is not None
        return situation.hot, situation.waited

    assert after(wait, tried) == (True, 0.0)
    assert after(wait, looked) == after(wait)
    assert after(wait, tried, wait)[1] == pytest.approx(90.0)


def test_what_needs_no_part_is_repaired_once_it_runs_and_what_needs_one_is_not() -> None:
    """A start that ran before the part was fitted proves nothing of it."""
    runs = {"kind": "reading", "probe": "attempt.as_found", "value": "runs"}

    def state(*remedies: str) -> tuple[str, tuple[str, ...]]:
        tables = (A, {"kind": "decision", "remedies": list(remedies)}, runs)
        job = fold([event_from({"id": f"e{k}", "at": NOW, **t}) for k, t in enumerate(tables)])
        situation = job.situation()
        assert situation is not None
        made = state_of(job, advise(situation))
        return made.name, made.due

    assert state("set control")[0] in ("repaired", "passing")
    assert state("correct wiring") == ("repaired", ())
    assert state("replace starter") == ("needed", ("replace starter",))
    assert state("correct wiring", "replace starter")[0] == "needed"
    assert state("hand over")[0] == "handed"
