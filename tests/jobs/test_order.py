"""The order of a call's events: by turns, never by others' clocks; and gates that hold on one device."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import Refused
from humclick.jobs.call_file import MOST_EVENTS, append_event, append_events, read_call
from humclick.jobs.event_tables import event_from, new_event
from humclick.jobs.events import LAST_TURN, LATEST, UNTIMED, Event, ReadingTaken
from humclick.jobs.fold import fold, merge
from humclick.jobs.order import MOST_AHEAD, in_order, last_turn, next_turn
from humclick.jobs.standing import decision_in_force, given_last, live, moment, to_undo
from tests import strategies
from tests.visit import accepted
from tests.web.bench import EXAMPLES

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
DEAD, SAFE, COVER = "power-off-proved-dead", "capacitors-discharged", "cover-on"
MACHINE: dict[str, Any] = {
    "arrangement": "csir-current-relay",
    "protector": "external",
    "refrigerant": "R134a",
}
CALLS = sorted(EXAMPLES.glob("*/call.toml"))


class Device:
    """A phone: what it knows of a call, and what it writes."""

    def __init__(self, name: str, events: tuple[Event, ...] = (), now: datetime = NOW) -> None:
        self.name, self.events, self.now = name, events, now

    def keeps(self, kind: str, **given: Any) -> Event:
        """Write an event as every face does."""
        event, _ = accepted(self.events, kind, self.now, given, self.name)
        self.events = (*self.events, event)
        return event

    def hears(self, *others: Device) -> None:
        """Take in what others know."""
        self.events = merge(self.events, *(other.events for other in others))

    def before(self, probe: str) -> list[str]:
        """Gates this device is asked for before a probe."""
        from humclick.diagnosis.probes import probe_of

        call = fold(self.events, device=self.name)
        assert call.machine is not None
        return [each.name for each in call.gates_before(probe_of(call.machine, probe).gates)]


def begun() -> tuple[Device, Device]:
    """Two phones on one call."""
    one = Device("phone-a")
    one.keeps("machine", **MACHINE)
    return one, Device("phone-b", one.events)


def shuffled(events: tuple[Event, ...], seed: int) -> list[Event]:
    """The same events in another order, some twice."""
    mixed = [*events, *events[::3]]
    Random(seed).shuffle(mixed)
    return mixed


@given(strategies.calls(), st.integers(0, 2**32))
def test_whatever_walks_the_events_sees_one_order(events: tuple[Event, ...], seed: int) -> None:
    """What is in force, the undo target, the last of a kind and the decision hang on the events alone."""
    first, second = merge(events), merge(shuffled(events, seed))
    assert first == second
    call = fold(shuffled(events, seed))
    assert call == fold(first)
    assert live(first, call) == live(second, call)
    assert decision_in_force(first, call) == decision_in_force(second, call)
    assert given_last(first, call, ReadingTaken) == given_last(second, call, ReadingTaken)
    assert [*call.order] == [event.id for event in first]


@pytest.mark.parametrize("path", CALLS, ids=[path.parent.name for path in CALLS])
def test_an_example_call_with_turns_is_the_call_without(path: Path) -> None:
    """Counted as it goes, and handed out in any order, an invented call is what its file says."""
    written = read_call(path)
    counted = tuple(replace(event, turn=turn) for turn, event in enumerate(written, 1))
    call = fold(written)
    for seed in range(3):
        again = fold(shuffled(counted, seed))
        assert [reading.event for reading in again.readings] == [reading.event for reading in call.readings]
        assert [r.unproved for r in again.readings] == [r.unproved for r in call.readings]
        assert again.situation() == call.situation()
        assert to_undo(merge(shuffled(counted, seed)), again).id == to_undo(written, call).id


@given(strategies.calls(), st.sampled_from([UNTIMED, NOW, datetime(2200, 12, 31, 23, 59, 59, 999_999, UTC)]))
def test_a_new_event_is_always_taken_and_is_the_last(events: tuple[Event, ...], now: datetime) -> None:
    """
    Whatever turns and times are on record, a call takes a note, which comes last, and its undo.

    One with a damaged turn just out of reach may come within reach by it, and stands last that once.
    """
    after = merge(events)
    beyond = sum(event.turn > last_turn(after) for event in after)
    for _ in range(beyond + 1):
        note, _call = accepted(after, "note", now, {"text": "here"}, "phone-a")
        after = in_order((*after, note))
        assert note.at == now
        if after[-1] == note:
            break
    assert after[-1] == note
    undo, call = accepted(after, "undo", now, {"of": note.id}, "phone-b")
    assert note.id in call.undone
    assert undo.turn == note.turn + 1


@given(st.lists(st.integers(0, LAST_TURN), max_size=40))
def test_a_turn_far_beyond_the_others_is_not_believed(turns: list[int]) -> None:
    """The largest turn believed is reached in steps no device that makes no mistake could exceed."""
    events = [
        event_from({"kind": "wait", "minutes": 1, "id": f"w{n}", "at": NOW, "turn": turn})
        for n, turn in enumerate(turns)
    ]
    last = last_turn(events)
    assert last <= MOST_AHEAD * len(turns)
    assert last in {0, *turns}
    assert not any(last < turn <= last + MOST_AHEAD for turn in turns)
    assert next_turn(events) <= LAST_TURN


def test_no_call_can_run_out_of_turns() -> None:
    """A call has fewer events than one turn may be ahead, and all of them together stay below the largest."""
    assert MOST_EVENTS <= MOST_AHEAD
    assert MOST_AHEAD * (MOST_EVENTS + 1) < LAST_TURN
    for turn in (-1, LAST_TURN + 1, 2**62, 1.5, "3"):
        with pytest.raises(Refused, match="turn"):
            event_from({"kind": "wait", "minutes": 1, "id": "w", "at": NOW, "turn": turn})


def test_an_absurd_turn_is_not_last_for_ever() -> None:
    """An event with an invented turn stands among those without one, and what is written next stands last."""
    one, _ = begun()
    odd = new_event("note", text="odd", at=NOW, device="phone-x", turn=LAST_TURN)
    one.events = merge(one.events, [odd])
    machine, note = one.events[-1], one.keeps("note", text="mine")
    assert [event.id for event in one.events] == [odd.id, machine.id, note.id]
    assert to_undo(one.events, fold(one.events)).id == note.id


@pytest.mark.parametrize("year", [1970, 1999, 2199, 2200])
def test_a_clock_that_is_wrong_moves_nothing(year: int) -> None:
    """Another phone's clock, years off, neither reorders the call nor sets the time of the next event."""
    one, two = begun()
    two.now = datetime(year, 12, 31, 23, 59, 59, 999_999, UTC)
    two.keeps("note", text="from the wrong clock")
    one.hears(two)
    last = one.keeps("note", text="from the right clock")
    two.hears(one)
    assert two.events == one.events
    assert [event.at.year for event in one.events[-2:]] == [year, 2026]
    assert to_undo(two.events, fold(two.events)).id == last.id


@pytest.mark.parametrize(
    "now",
    [
        datetime(2201, 1, 1, tzinfo=UTC),
        datetime(1, 1, 1, tzinfo=UTC),
        datetime(9999, 12, 31, 23, 59, 59, 999_999, UTC),
        datetime.fromisoformat("2026-03-02T09:30:00+01:00:30"),
        datetime.fromisoformat("0001-01-01T00:00:00+05:00:01"),
    ],
)
def test_a_clock_beyond_all_years_still_writes(now: datetime) -> None:
    """Where this device's own clock cannot be right, the entry is kept without its time."""
    one, _ = begun()
    one.now = now
    assert one.keeps("note", text="kept").at == moment(now)
    assert moment(now).year in (1970, 2026)


def test_what_is_written_by_hand_keeps_the_order_of_its_file(tmp_path: Path) -> None:
    """Below events with turns, a block without one comes after all above it; above them, before."""
    path = tmp_path / "call.toml"
    path.write_text('humclick_call = 1\n[[event]]\nkind = "note"\ntext = "top"\n', "utf-8")
    first = new_event("note", text="counted", device="phone-z", turn=7)
    append_event(path, first)
    hand = '\n[[event]]\nkind = "note"\ntext = "hand {}"\n'
    path.write_text(path.read_text("utf-8") + hand.format(1) + hand.format(2), "utf-8")
    append_event(path, new_event("note", text="later", device="phone-a", turn=8))
    append_events(path, [event_from({"kind": "note", "text": "uncounted", "id": "u", "at": NOW})])
    append_event(path, new_event("note", text="last"))
    said = [getattr(event, "text", "") for event in in_order(read_call(path))]
    assert said == ["top", "uncounted", "counted", "hand 1", "hand 2", "later", "last"]
    assert merge(read_call(path)) == in_order(read_call(path))


def test_an_event_at_the_end_of_time_damages_no_file(tmp_path: Path) -> None:
    """Below an event of the last moment there is, a block without a time still reads."""
    path = tmp_path / "call.toml"
    append_event(path, new_event("note", text="far", at=datetime(LATEST, 12, 31, 23, 59, 59, 999_999, UTC)))
    path.write_text(path.read_text("utf-8") + '\n[[event]]\nkind = "note"\ntext = "by hand"\n', "utf-8")
    assert len(read_call(path)) == 2


# -- gates -----------------------------------------------------------------------------------------------


def test_a_gate_holds_on_the_device_that_passed_it() -> None:
    """One phone proves dead; the other is asked for it too, and each reading is judged by its own device."""
    one, two = begun()
    for name in (DEAD, SAFE):
        one.keeps("gate", gate=name)
    two.hears(one)
    assert one.before("pins.C-R") == []
    assert two.before("pins.C-R") == [DEAD, SAFE]
    one.keeps("reading", probe="pins.C-R", value="4.7")
    two.keeps("reading", probe="pins.C-S", value="11.2")
    one.hears(two)
    assert {r.probe: r.unproved for r in fold(one.events).readings} == {
        "pins.C-R": (),
        "pins.C-S": (DEAD, SAFE),
    }


@pytest.mark.parametrize("clock", [datetime(2025, 1, 1, tzinfo=UTC), NOW, datetime(2199, 1, 1, tzinfo=UTC)])
@pytest.mark.parametrize("notes", [0, 1, 5])
@pytest.mark.parametrize("names", [("phone-a", "phone-b"), ("phone-b", "phone-a")])
def test_power_put_on_by_another_ends_a_gate_however_late_it_is_heard(
    clock: datetime, notes: int, names: tuple[str, str]
) -> None:
    """An attempt on one phone ends "proved dead" on the other, wherever it comes to stand in the order."""
    one, two = begun()
    one.name, two.name = names
    for number in range(notes):  # so that what the first writes comes after what the other writes
        one.keeps("note", text=f"{number}")
    for name in (DEAD, SAFE):
        one.keeps("gate", gate=name)
    two.now = clock
    attempt = two.keeps("reading", probe="attempt.as_found", value="hum_click")
    assert one.before("pins.C-R") == []
    one.hears(two)
    assert one.before("pins.C-R") == [DEAD, SAFE]
    one.keeps("reading", probe="pins.C-R", value="4.7")
    assert {r.event: r for r in fold(one.events).readings if r.event != attempt.id}.popitem()[1].unproved == (
        DEAD,
        SAFE,
    )
    for name in (DEAD, SAFE):
        one.keeps("gate", gate=name)
    assert one.before("pins.C-R") == []
    two.hears(one)
    assert fold(two.events).on(one.name).proved >= {DEAD, SAFE}


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("reading", {"probe": "attempt.as_found", "value": "silent"}),
        ("reading", {"probe": "supply.volts_start", "value": "118 V"}),
        ("gate", {"gate": COVER}),
        ("recording", {"of": "current", "heard": ["hum_click"]}),
    ],
)
@pytest.mark.parametrize("undone", [False, True])
def test_everything_that_powers_ends_it_undone_or_not(kind: str, given: dict[str, Any], undone: bool) -> None:
    """A reading under power, the gate before one, or a recording of a start: taken back or not."""
    one, two = begun()
    for name in (DEAD, SAFE):
        one.keeps("gate", gate=name)
    powered = two.keeps(kind, **given)
    if undone:
        two.keeps("undo", of=powered.id)
    one.hears(two)
    assert one.before("pins.C-R") == [DEAD, SAFE]


def test_hands_inside_end_the_cover_of_another() -> None:
    """A part fitted on one phone, or dead proved there, ends "cover on" on the other."""
    for kind, fields in (("fitted", {"part": "current_relay"}), ("gate", {"gate": DEAD})):
        one, two = begun()
        one.keeps("note", text="so that the cover comes later in order")
        one.keeps("gate", gate=COVER)
        two.keeps(kind, **fields)
        assert COVER not in one.before("attempt.as_found")
        one.hears(two)
        assert COVER in one.before("attempt.as_found")


@given(st.data())
def test_what_one_phone_does_not_know_never_leaves_its_gate_standing(data: st.DataObject) -> None:
    """After any work by two phones that hear of each other now and then, power ends what was proved."""
    one, two = begun()
    ids: list[str] = []
    for _ in range(data.draw(st.integers(1, 12))):
        who, other = data.draw(st.permutations([one, two]))
        match data.draw(st.sampled_from(["note", "gate", "attempt", "hears"])):
            case "note":
                who.keeps("note", text="x")
            case "gate":
                who.keeps("gate", gate=DEAD)
            case "attempt":
                ids.append(who.keeps("reading", probe="attempt.as_found", value="hum").id)
            case _:
                who.hears(other)
    known = {who.name: {event.id for event in who.events} for who in (one, two)}
    union = merge(one.events, two.events)
    for who in (one, two):
        held = DEAD in fold(union).on(who.name).proved
        alone = DEAD in fold(who.events).on(who.name).proved
        assert held == (alone and set(ids) <= known[who.name])


@pytest.mark.parametrize("device", ["phone-a", "phone-b"])
def test_a_gate_of_the_year_2199_holds_nothing(device: str) -> None:
    """An event without a turn, dated far ahead, is before everything that is counted; it opens no probe."""
    one, _ = begun()
    far = datetime(2199, 12, 31, tzinfo=UTC)
    for name in (DEAD, SAFE):
        gate = new_event("gate", gate=name, at=far, device=device)
        one.events = merge(one.events, [gate])
    assert one.before("pins.C-R") == [DEAD, SAFE]
    bare = (
        new_event("machine", at=NOW, **MACHINE),
        new_event("gate", gate=DEAD, at=far + timedelta(days=1), device=device),
    )
    assert DEAD in Device(device, merge(bare)).before("pins.C-R")
