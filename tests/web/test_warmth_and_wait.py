"""A wait is recorded as long as it was, warmth is offered again, and what is taken for now stays so."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest

from humclick.diagnosis.contradictions import contradictions
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold
from humclick.jobs.standing import provisional
from tests.web.pages_asked import NOW, Bench

START = datetime.fromisoformat(NOW)
MACHINE: dict[str, Any] = {"kind": "machine", "arrangement": "rsir-ptc", "protector": "external"}


def bench(*tables: dict[str, Any]) -> Bench:
    """A desk with one call, its events a minute apart up to now."""
    made = Bench()
    first = START - timedelta(minutes=len(tables))
    made.calls["c"] = [
        {"id": f"e{n:02d}", "at": (first + timedelta(minutes=n)).isoformat(), **table}
        for n, table in enumerate(tables)
    ]
    return made


def kinds(made: Bench, kind: str) -> list[dict[str, Any]]:
    return [table for table in made.calls["c"] if table["kind"] == kind]


def reading(probe: str, value: str, warmth: str = "") -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, "temperature": warmth}


@pytest.mark.parametrize("minutes", [0.5, 3.0, 41.0])
def test_a_wait_is_recorded_as_long_as_it_was(minutes: float) -> None:
    """The main button records the time since the wait began; minutes typed count before it."""
    made = bench(MACHINE, {"kind": "complaint", "heard": "hum_click"})
    made.calls["c"][-1]["at"] = (START - timedelta(minutes=minutes)).isoformat()
    made.ask("/call/c/wait", "POST", {"elapsed": "1", "minutes": ""})
    assert kinds(made, "wait")[-1]["minutes"] == pytest.approx(minutes, abs=0.06)
    made.ask("/call/c/wait", "POST", {"elapsed": "1", "minutes": "12"})
    assert kinds(made, "wait")[-1]["minutes"] == 12.0


def test_advised_minutes_are_not_filled_in() -> None:
    """The field for minutes is empty, and an empty field is not taken for the minutes advised."""
    made = bench(MACHINE, {"kind": "complaint", "heard": "hum_click"})
    page = made.ask("/call/c?probe=ptc.ohms")["html"]
    assert re.search(r'id="minutes"[^>]*value=""', page)
    assert made.ask("/call/c/wait", "POST", {"minutes": ""})["status"] == 422
    assert kinds(made, "wait") == []


def chosen(made: Bench, probe: str) -> str:
    page = made.ask(f"/call/c?probe={probe}&taken=1&now=1")["html"]
    found = re.search(r'name="warmth" value="(\w*)" checked', page)
    assert found is not None
    return found[1]


def test_warmth_is_offered_again_until_something_happens() -> None:
    """What was felt at the last reading is chosen for the next one, not after a try, a wait or a new part."""
    made = bench(MACHINE, reading("pins.C-R", "2.4", "cold"))
    assert chosen(made, "pins.C-S") == "cold"
    for then in (
        {"kind": "wait", "minutes": 5},
        {"kind": "fitted", "part": "ptc"},
        reading("attempt.as_found", "hum_click"),
    ):
        assert chosen(bench(MACHINE, reading("pins.C-R", "2.4", "cold"), then), "pins.C-S") == ""
    assert chosen(bench(MACHINE, reading("pins.C-R", "2.4")), "pins.C-S") == ""


def test_what_was_hot_is_not_hot_for_ever() -> None:
    """Hot is offered again a moment later, and no longer once it must have cooled."""
    made = bench(MACHINE, reading("ptc.ohms", "60", "hot"))
    assert chosen(made, "ptc.ohms") == "hot"
    made.calls["c"][-1]["at"] = (START - timedelta(hours=9)).isoformat()
    assert chosen(made, "ptc.ohms") == ""


@pytest.mark.parametrize("felt", ["cold", "hot", "25 C"])
@pytest.mark.parametrize("where", range(1, 7))
def test_a_winding_nobody_felt_contradicts_nothing(felt: str, where: int) -> None:
    """Readings that add up fit, whichever of them were felt: all windings sit in one shell."""
    ohms = {"S-R": "9.1", "C-R": "2.4", "C-S": "6.8"}
    tables = [
        reading(f"pins.{pins}", value, felt if where >> n & 1 else "")
        for n, (pins, value) in enumerate(ohms.items())
    ]
    events = [
        event_from({"id": f"e{n}", "at": START + timedelta(minutes=n), **table})
        for n, table in enumerate((MACHINE, {"kind": "complaint", "heard": "hum_click"}, *tables))
    ]
    situation = fold(events).situation()
    assert situation is not None
    assert contradictions(situation) == ()


def test_an_arrangement_taken_for_now_stays_so_until_it_is_confirmed() -> None:
    """Whatever is written on the plate, it is taken for now; confirmed or chosen anew, it is settled."""
    made = bench({"kind": "complaint", "heard": "hum_click"})
    fits = ["rsir-ptc", "rsir-current-relay"]
    made.ask("/call/c/identify", "POST", {"arrangement": "rsir-ptc", "fits": fits})
    for form in ({"volts": "230"}, {"refrigerant": "R290"}, {"stamp": "7-041", "part": "ptc"}):
        made.ask("/call/c/plate", "POST", form)
        assert kinds(made, "machine")[-1]["provisional"] is True
        assert "taken for now only" in made.ask("/call/c")["html"]
    assert "taken for now only" in made.ask("/call/c/sheet")["html"]
    made.ask("/call/c/identify", "POST", {"arrangement": "rsir-ptc"})
    assert "taken for now only" not in made.ask("/call/c")["html"]


def test_a_note_of_an_older_call_still_says_it() -> None:
    """A note said so before the machine's field did; it outlives the plate, and not another arrangement."""
    note = {"kind": "note", "text": "Arrangement taken for now: rsir-ptc. What was seen also fits: rscr."}

    def said(*tables: dict[str, Any]) -> bool:
        events = [event_from(table) for table in bench(*tables).calls["c"]]
        return provisional(events, fold(events))

    assert said(MACHINE, note)
    assert said(MACHINE, note, {**MACHINE, "volts": 230.0})
    assert not said(MACHINE, note, {**MACHINE, "arrangement": "psc", "protector": ""})
    assert not said(MACHINE, note, {"kind": "note", "text": "Arrangement confirmed: rsir-ptc."})
