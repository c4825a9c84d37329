"""The call at the edges of what it takes: bounds, times, and the first or last of things."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import default_shop
from humclick.errors import HumclickError, Refused
from humclick.jobs.briefing import briefed
from humclick.jobs.call import Call
from humclick.jobs.call_file import (
    parse_call,
)
from humclick.jobs.call_text import block_of
from humclick.jobs.event_media import PhotoMarked
from humclick.jobs.event_tables import event_from, table_of
from humclick.jobs.events import HEARD, Event
from humclick.jobs.flow import Flow
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of, turns
from humclick.jobs.order import MOST_AHEAD, last_turn
from humclick.jobs.standing import (
    PIN_PAIRS,
    given_last,
    moment,
    pins_found,
    provisional,
    to_redo,
    to_undo,
)

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SHOP = default_shop()
CSIR: dict[str, Any] = {"kind": "machine", "arrangement": "csir-current-relay", "protector": "external"}
HUMS: dict[str, Any] = {"kind": "complaint", "heard": "hum_click"}


def events_of(*tables: dict[str, Any]) -> tuple[Event, ...]:
    """Events a minute apart."""
    return tuple(
        event_from({"id": f"e{n:02d}", "at": START + timedelta(minutes=n), **table})
        for n, table in enumerate(tables)
    )


def call(*tables: dict[str, Any]) -> Call:
    return fold(events_of(*tables))


def reading(probe: str, value: str, **more: Any) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, **more}


def flow(*tables: dict[str, Any]) -> Flow:
    return Flow(call(*tables), SHOP)


# -- what an event may hold ---------------------------------------------------------------------------------

RECORDING: dict[str, Any] = {
    "kind": "recording",
    "of": "current",
    "heard": ["hum"],
    "seconds": 10.0,
    "unit": "A",
}


@pytest.mark.parametrize(
    ("given", "taken"),
    [
        ({"of": "sound"}, True),
        ({"of": "light"}, False),
        ({"heard": []}, False),
        ({"heard": ["hum"] * 500}, True),
        ({"heard": ["hum"] * 501}, False),
        ({"heard": list(HEARD[:-1])}, True),
        ({"heard": ["unknown"]}, False),
        ({"causes": {"a": 0.0, "b": -1e4}}, True),
        ({"causes": {"a": -10001.0}}, False),
        ({"causes": {"a": 1e-5}}, False),
        ({"causes": {f"c{n}": 0.0 for n in range(50)}}, True),
        ({"causes": {f"c{n}": 0.0 for n in range(51)}}, False),
        ({"causes": {"": 0.0}}, False),
        ({"seconds": 0.0}, True),
        ({"seconds": 2_678_400.0}, True),
        ({"seconds": 2_678_401.0}, False),
        ({"seconds": -0.1}, False),
        ({"unit": "dB"}, True),
        ({"unit": ""}, True),
        ({"unit": "V"}, False),
        ({"course": [1.0] * 1000}, True),
        ({"course": [1.0] * 1001}, False),
        ({"course": [1e9, -1e9]}, True),
        ({"course": [1.001e9]}, False),
        ({"course": [-1.001e9]}, False),
        ({"spans": [[0.0, 0.0, "locked"], [0.0, 11.0, "running"], [2.0, 2.0, "click"]]}, True),
        ({"spans": [[0.0, 11.1, "locked"]]}, False),
        ({"spans": [[3.0, 2.0, "locked"]]}, False),
        ({"spans": [[-0.1, 2.0, "locked"]]}, False),
        ({"spans": [[0.0, 2.0, "unknown"]]}, False),
        ({"spans": [[0.0, 1.0, "hum"]] * 500}, True),
        ({"spans": [[0.0, 1.0, "hum"]] * 501}, False),
        ({"said": [{"id": "x"}] * 50}, True),
        ({"said": [{"id": "x"}] * 51}, False),
    ],
)
def test_a_recording_is_taken_up_to_its_bounds_and_not_beyond(given: dict[str, Any], taken: bool) -> None:
    """Each bound from both sides; what stands on it is taken."""
    table = {**RECORDING, **given, "id": "r", "at": START}
    if taken:
        made = table_of(event_from(table))
        for name, value in given.items():
            assert made.get(name, "" if name == "unit" else 0.0) == value
    else:
        with pytest.raises(Refused, match=next(iter(given))):
            event_from(table)


@pytest.mark.parametrize(("x", "y", "taken"), [(0.0, 100.0, True), (100.0, 0.0, True), (100.5, 1.0, False)])
def test_a_mark_lies_on_its_photo(x: float, y: float, taken: bool) -> None:
    """From 0 to 100 per cent both ways, both ends included."""
    table = {"kind": "mark", "id": "m", "at": START, "sha256": "ab" * 32, "x": x, "y": y, "label": "C"}
    if taken:
        mark = event_from(table)
        assert isinstance(mark, PhotoMarked)
        assert (mark.x, mark.y) == (x, y)
    else:
        with pytest.raises(Refused, match=r"x must be"):
            event_from(table)


# -- turns --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("ahead", "believed"), [(MOST_AHEAD, True), (MOST_AHEAD + 1, False)])
def test_a_turn_is_believed_up_to_the_bound(ahead: int, believed: bool) -> None:
    """In a whole fold, by one event more, and in a file."""
    first, second = events_of({**HUMS, "turn": 3}, {"kind": "note", "text": "later", "turn": 3 + ahead})
    last = 3 + ahead if believed else 3
    assert last_turn((first, second)) == last
    assert fold((first, second)).turn == last
    after = fold((first,)).then(second)
    assert after == fold((first, second))
    assert after.turn == last
    text = "humclick_call = 1\n" + "".join(
        f"[[event]]\n{block_of(event, True).partition(chr(10))[2]}" for event in (first, second)
    )
    text += '[[event]]\nkind = "note"\ntext = "by hand"\n'
    assert parse_call(text.encode()).events[-1].turn == last + 1


# -- unnamed pins -------------------------------------------------------------------------------------------


def test_pins_are_found_once_all_three_pairs_are_measured() -> None:
    """Not before, and not without a machine."""
    rows = [
        reading(f"pins.{a}-{b}", ohms)
        for (a, b), ohms in zip(PIN_PAIRS, ("4.7", "11.2", "15.8"), strict=True)
    ]
    assert pins_found(call(*rows)) is None
    for count in range(3):
        job = call(CSIR, HUMS, *rows[:count])
        assert pins_found(job) is None
        assert Flow(job, SHOP).pins is None
    found = pins_found(call(CSIR, HUMS, *rows))
    assert found is not None
    assert found.conclusion == "sound"
    # more is measured: it stays found
    more = pins_found(call(CSIR, HUMS, *rows, reading("pins.shell", "OL"), reading("pins.C-R", "4.7")))
    assert more is not None
    assert set(more.names) == {"C", "R", "S"}


# -- undo and redo ------------------------------------------------------------------------------------------


def test_what_is_taken_back_last_is_brought_back_first() -> None:
    """An undo of the last thing; a redo only right after; the head of a call and a hazard stay."""
    head: dict[str, Any] = {"kind": "opened", "shop": "N"}
    job = call(head)
    with pytest.raises(Refused, match="nothing to take back"):
        to_undo(job.events, job)
    job = call(head, HUMS, {"kind": "note", "text": "a"})
    assert to_undo(job.events, job).id == "e02"
    with pytest.raises(Refused, match="no undo"):
        to_redo(job.events, job)
    job = call(head, HUMS, {"kind": "note", "text": "a"}, {"kind": "undo", "of": "e02"})
    assert to_undo(job.events, job).id == "e01"
    assert to_redo(job.events, job).id == "e03"
    job = call(head, HUMS, {"kind": "undo", "of": "e01"}, {"kind": "note", "text": "b"})
    with pytest.raises(Refused, match="no undo"):
        to_redo(job.events, job)
    job = call(HUMS, {"kind": "undo", "of": "e00"}, head)
    assert to_redo(job.events, job).id == "e01"
    job = call(HUMS, {"kind": "hazard", "gate": "power-off-proved-dead"})
    with pytest.raises(Refused, match="hazard is not undone"):
        to_undo(job.events, job)


def test_an_arrangement_taken_for_now_is_said_until_it_is_settled() -> None:
    """By the machine's own field, or by the notes of older files."""
    now = {**CSIR, "provisional": True}
    for tables, said in (
        ((CSIR,), False),
        ((now,), True),
        ((now, CSIR), False),
        ((CSIR, {"kind": "note", "text": "Arrangement taken for now: two fit"}), True),
        ((CSIR, {"kind": "note", "text": "Arrangement taken for now: two fit"}, CSIR), True),
        (
            (CSIR, {"kind": "note", "text": "Arrangement taken for now: x"}, {**CSIR, "arrangement": "psc"}),
            False,
        ),
        (
            (
                CSIR,
                {"kind": "note", "text": "Arrangement taken for now: two fit"},
                {"kind": "note", "text": "Arrangement confirmed: seen"},
            ),
            False,
        ),
        ((CSIR, {"kind": "note", "text": "asked the owner"}), False),
    ):
        job = call(*tables)
        assert provisional(job.events, job) is said, tables


def test_the_last_of_a_kind_is_given_without_what_all_events_have() -> None:
    """And nothing where there is none, or it was taken back."""
    from humclick.jobs.events import MachineRead

    job = call(CSIR, {**CSIR, "arrangement": "psc"}, {"kind": "undo", "of": "e01"})
    given = given_last(job.events, job, MachineRead)
    assert given["arrangement"] == "csir-current-relay"
    assert not given.keys() & {"id", "at", "device", "turn"}
    empty = call(HUMS)
    assert given_last(empty.events, empty, MachineRead) == {}


@pytest.mark.parametrize(
    ("year", "offset", "same"),
    [
        (1970, 0, True),
        (2200, 0, True),
        (2026, 60, True),
        (2026, 90, True),
        (1969, 0, False),
        (2201, 0, False),
    ],
)
def test_a_clock_in_range_is_believed(year: int, offset: int, same: bool) -> None:
    """Years 1970 to 2200, with any zone of whole minutes; beyond, no time is written."""
    from datetime import timezone

    from humclick.jobs.events import UNTIMED

    now = datetime(year, 6, 1, 12, tzinfo=timezone(timedelta(minutes=offset)))
    assert moment(now) == (now if same else UNTIMED)
    if same:
        assert moment(now).utcoffset() == timedelta(minutes=offset)
    odd = datetime(2026, 6, 1, 12, tzinfo=timezone(timedelta(seconds=90)))
    assert moment(odd) == odd
    assert moment(odd).utcoffset() == timedelta(0)


# -- history ------------------------------------------------------------------------------------------------


def outcome(*tables: dict[str, Any]) -> list[tuple[tuple[str, ...], tuple[str, ...], str]]:
    return [(t.decided, t.done, t.outcome) for t in turns(call(CSIR, HUMS, *tables))]


def test_goes_at_fixing_it_begin_and_end_where_people_say() -> None:
    """A decision begins one; changed before anything is done it counts from the change; a try ends it."""
    relay, capacitor = ({"kind": "fitted", "part": name} for name in ("current_relay", "start_capacitor"))
    decide = {"kind": "decision", "remedies": ["replace relay", "replace relay"]}
    also = {"kind": "decision", "remedies": ["replace start capacitor"]}
    hums, runs = (reading("attempt.as_found", answer) for answer in ("hum_click", "runs"))
    assert outcome() == []
    assert outcome(hums) == []
    assert outcome(decide) == [(("replace relay",), (), "")]
    assert outcome(decide, also) == [(("replace start capacitor",), (), "")]
    assert outcome(decide, relay) == [(("replace relay",), ("replace relay",), "")]
    assert outcome(decide, relay, runs) == [(("replace relay",), ("replace relay",), "runs")]
    assert outcome(decide, hums, also)[0] == (("replace relay",), (), "hum_click")
    assert outcome(decide, relay, also) == [
        (("replace relay",), ("replace relay",), ""),
        (("replace start capacitor",), (), ""),
    ]
    assert outcome(decide, capacitor) == [
        (("replace relay",), (), ""),
        ((), ("replace start capacitor",), ""),
    ]
    assert outcome(relay, capacitor) == [((), ("replace relay", "replace start capacitor"), "")]
    assert outcome(relay, hums, capacitor) == [
        ((), ("replace relay",), "hum_click"),
        ((), ("replace start capacitor",), ""),
    ]
    assert outcome(relay, reading("attempt.known_good", "runs")) == [((), ("replace relay",), "")]
    assert outcome(relay, {"kind": "undo", "of": "e02"}) == []


@pytest.mark.parametrize(
    ("remedies", "tail", "name", "due"),
    [
        (["hand over"], [], "handed", ("hand over",)),
        (["wait"], [], "passing", ("wait",)),
        (["set control", "wait"], [], "passing", ("set control", "wait")),
        (["set control", "replace relay"], [], "needed", ("set control", "replace relay")),
        (["clear condenser"], ["runs"], "repaired", ()),
        (["correct wiring"], ["hum"], "needed", ("correct wiring",)),
        (["replace relay"], ["runs"], "needed", ("replace relay",)),
        (["replace relay"], ["current_relay"], "fitted", ()),
        (
            ["replace relay", "replace start capacitor"],
            ["current_relay"],
            "needed",
            ("replace start capacitor",),
        ),
        (["replace relay"], ["current_relay", "runs"], "repaired", ()),
        (["replace compressor"], ["compressor"], "fitted", ()),
    ],
)
def test_how_far_a_call_has_come(
    remedies: list[str], tail: list[str], name: str, due: tuple[str, ...]
) -> None:
    """By what was decided, what was fitted, and what came of the try."""
    from humclick.diagnosis.advice import advise

    rows = [
        reading("attempt.as_found", each) if each in HEARD else {"kind": "fitted", "part": each}
        for each in tail
    ]
    job = call(CSIR, HUMS, {"kind": "decision", "remedies": remedies}, *rows)
    situation = job.situation()
    assert situation is not None
    state = state_of(job, advise(situation))
    assert (state.name, state.due) == (name, due)
    assert state.decided
    assert not state.failed


# -- briefings ----------------------------------------------------------------------------------------------


def test_local_codes_and_who_may_work_live_are_said_once() -> None:
    """With the first gate of a device, and never without a gate."""
    rows: list[dict[str, Any]] = [CSIR, HUMS]
    job = call(*rows)
    assert job.machine is not None
    probe = probe_of(job.machine, "current_relay.coil", SHOP)
    first = briefed(job.events, job, probe, SHOP)
    assert first.gates
    assert all(each.full and each.new for each in first.gates)
    assert first.defer
    assert first.live_work is not None
    assert first.cautions
    rows += [{"kind": "gate", "gate": first.gates[0].gate.name, "matter": first.gates[0].gate.matter}]
    job = call(*rows)
    second = briefed(job.events, job, probe, SHOP)
    assert second.names == first.names[1:]
    assert not second.defer
    assert second.live_work is None
    assert [fact.name for fact in second.cautions] == ["photograph-first"]  # until a hand was inside
    shown = briefed(job.events, job, probe, SHOP, on_screen=second.texts)
    assert all(each.new and not each.full for each in shown.gates)
    rows += [{"kind": "gate", "gate": g.gate.name, "matter": g.gate.matter} for g in second.gates]
    job = call(*rows)
    third = briefed(job.events, job, probe, SHOP)
    assert not third.gates
    assert not third.cautions
    assert not third.hazards or all(each.full for each in third.hazards)


def test_a_flow_without_a_machine_refuses_in_words() -> None:
    """No probe, no situation, no judgement, no pins."""
    bare = flow(HUMS)
    assert (bare.weighed, bare.advice, bare.onward, bare.before, bare.pins) == (None,) * 5
    assert bare.probes == {}
    assert not bare.has("pins.C-R")
    assert bare.still_worth() == ()
    with pytest.raises(HumclickError, match="no machine is described"):
        bare.probe("pins.C-R")
    assert flow(CSIR).has("pins.C-R")
    assert not flow(CSIR).has("ptc.ohms")
