"""The fold of a call's events: order, undo, machine, readings, gates, heat."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.diagnosis.situation import Heard, Situation
from humclick.jobs import probe_facts
from humclick.jobs.call import Call
from humclick.jobs.event_tables import event_from
from humclick.jobs.events import UNTIMED, Event
from humclick.jobs.fold import conflicts, fold, merge
from humclick.jobs.folding import Folding
from humclick.meters import Quantity
from humclick.readings import Reading, parse_reading
from tests import strategies

MACHINE = {
    "kind": "machine",
    "arrangement": "csir-current-relay",
    "protector": "external",
    "refrigerant": "R134a",
}
DEAD, SAFE, COVER, CLEAR = "power-off-proved-dead", "capacitors-discharged", "cover-on", "stand-clear"


def events(*tables: dict[str, Any]) -> tuple[Event, ...]:
    """Events named e0, e1, … in this order."""
    return tuple(
        event_from({"id": f"e{n}", "at": UNTIMED + timedelta(seconds=n), **table})
        for n, table in enumerate(tables)
    )


def call(*tables: dict[str, Any]) -> Call:
    return fold(events(MACHINE, *tables))


def reading(probe: str, value: str, **more: str) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, **more}


def gate(name: str) -> dict[str, Any]:
    return {"kind": "gate", "gate": name}


def undo(of: str) -> dict[str, Any]:
    return {"kind": "undo", "of": of}


def situation(of: Call) -> Situation:
    found = of.situation()
    assert found is not None
    return found


@given(strategies.calls(), st.integers(0, 2**32))
def test_the_order_of_arrival_does_not_matter(given_events: tuple[Event, ...], seed: int) -> None:
    """The same events fold to the same call in any order and with any repeats, and never raise."""
    shuffled = [*given_events, *given_events[::2]]
    Random(seed).shuffle(shuffled)
    first = fold(given_events)
    assert fold(shuffled) == first
    assert first.situation() is None or first.machine is not None


@given(strategies.calls(), strategies.calls(), strategies.calls())
def test_merging_is_a_union(one: tuple[Event, ...], two: tuple[Event, ...], three: tuple[Event, ...]) -> None:
    """Merging copies is commutative, associative and idempotent, and keeps every id."""
    assert merge(one, two) == merge(two, one)
    assert merge(merge(one, two), three) == merge(one, merge(two, three))
    assert merge(one, one) == merge(one)
    assert {e.id for e in merge(one, two)} == {e.id for e in (*one, *two)}
    assert fold(merge(one, two)) == fold(merge(two, one))


def test_a_changed_event_is_reported() -> None:
    """Two different events under one id are named; the earlier one counts."""
    one = events(MACHINE, {"kind": "note", "text": "first"})
    two = events(MACHINE, {"kind": "note", "text": "second"})
    assert conflicts(one, two) == ("e1",)
    assert conflicts(one, one) == ()
    folded = fold((*one, *two))
    assert [n.text for n in folded.notes] == ["first"]
    assert "different events" in folded.problems[0].text


def test_undo_takes_back_and_undo_of_undo_brings_back() -> None:
    """An undo takes an event back, undoing the undo brings it back, and so on."""
    measured = reading("pins.C-R", "4.7")
    assert len(call(measured).readings) == 1
    assert len(call(measured, undo("e1")).readings) == 0
    assert len(call(measured, undo("e1"), undo("e2")).readings) == 1
    assert len(call(measured, undo("e1"), undo("e2"), undo("e3")).readings) == 0
    assert call(measured, undo("e1"), undo("e2")).undone == {"e2"}


@given(st.integers(0, 300))
def test_a_chain_of_undos_counts_its_length(length: int) -> None:
    """A chain of undos leaves the first event in force when its length is even."""
    chain = call({"kind": "note", "text": "x"}, *(undo(f"e{n + 1}") for n in range(length)))
    assert (len(chain.notes) == 1) == (length % 2 == 0)


def test_an_undo_works_across_clocks() -> None:
    """An undo written by a device whose clock is behind still takes effect."""
    note = events({"kind": "note", "text": "x"})
    early = event_from({"kind": "undo", "of": "e0", "id": "u", "at": UNTIMED - timedelta(seconds=0)})
    assert fold((*note, early)).notes == ()


def test_useless_undos_are_problems() -> None:
    """Undoing nothing, or undoing in a circle, is named and does nothing."""
    folded = call(undo("e7"), undo("e3"), undo("e2"), undo("e4"), {"kind": "note", "text": "kept"})
    assert [p.event for p in folded.problems] == ["e1", "e2", "e3", "e4"]
    assert "no event 'e7' to undo" in folded.problems[0].text
    assert len(folded.notes) == 1


def test_without_a_machine_there_is_no_situation() -> None:
    """Readings before any machine is described are kept as problems, and there is nothing to judge."""
    folded = fold(events(reading("pins.C-R", "4.7")))
    assert folded.situation() is None
    assert folded.problems[0].kept == "4.7"
    assert "arrangement" in folded.problems[0].text


def test_the_machine_is_the_last_one_that_can_be() -> None:
    """A corrected machine replaces the earlier one; one that cannot be is a problem and changes nothing."""
    folded = call(
        {"kind": "machine", "arrangement": "rsir-ptc", "volts": 230.0, "hertz": 50.0, "refrigerant": "R600a"},
        {"kind": "machine", "arrangement": "rsir-pct"},
        {"kind": "machine", "arrangement": "rsir-ptc", "protector": "none"},
        {"kind": "machine", "arrangement": "rsir-ptc", "volts": 400.0},
    )
    assert folded.machine is not None
    assert folded.machine.arrangement.id == "rsir-ptc"
    assert folded.machine.nameplate.volts == 230.0
    assert [p.event for p in folded.problems] == ["e2", "e3", "e4"]
    assert "did you mean rsir-ptc" in folded.problems[0].text


def test_a_stamp_narrows_the_part() -> None:
    """A stamped range becomes what the capacitor should measure, and its voltage is kept."""
    folded = call({"kind": "stamp", "part": "start_capacitor", "text": "88-108 MFD 110/125 VAC"})
    assert folded.machine is not None
    size = folded.machine.size("start_capacitor", "capacitance")
    assert size.median / size.factor == pytest.approx(88e-6)
    assert size.median * size.factor == pytest.approx(108e-6)
    assert folded.marked_volts == {"start_capacitor": 125.0}
    assert not folded.problems


def test_what_the_machine_does_not_have_is_a_problem() -> None:
    """What the machine does not have is named with the nearest right name."""
    folded = call(
        {"kind": "stamp", "part": "start_capaciter", "text": "88-108 MFD"},
        reading("pins.C-RR", "4.7"),
        {"kind": "skip", "probe": "curent_relay.coil"},
        {"kind": "fitted", "part": "ptc"},
        gate("cover-of"),
        {"kind": "meter", "name": "god"},
    )
    assert [p.event for p in folded.problems] == [f"e{n}" for n in range(1, 7)]
    for problem, right in zip(
        folded.problems, ["start_capacitor", "pins.C-R", "current_relay.coil"], strict=False
    ):
        assert right in problem.text
    assert "cover-on" in folded.problems[4].text
    assert "good" in folded.problems[5].text


def test_a_reading_that_cannot_be_read_is_kept_word_for_word() -> None:
    """A value that is no reading becomes a problem with the text as written and the right form."""
    folded = call(reading("pins.C-R", "four point seven"), reading("attempt.as_found", "hum_clack"))
    assert folded.readings == ()
    assert [p.kept for p in folded.problems] == ["four point seven", "hum_clack"]
    assert "4.7 ohm" in folded.problems[0].text
    assert "hum_click" in folded.problems[1].text


def test_readings_looks_and_attempts_become_observations() -> None:
    """Measurements carry a reading, looks and attempts an answer; "not sure" is kept and says nothing."""
    folded = call(
        {"kind": "complaint", "heard": "hum_click", "words": "it hums, then clicks"},
        {"kind": "meter", "name": "good", "leads_nulled": True},
        reading("pins.C-R", "4,7 ohm", temperature="23 C", note="second try"),
        reading("attempt.as_found", "Hum Click"),
        reading("start_capacitor.look", "not sure"),
        {"kind": "skip", "probe": "supply.volts_start", "reason": "no meter there"},
        {"kind": "fitted", "part": "current_relay"},
        reading("between.l-n", "OL"),
    )
    seen = situation(folded)
    assert folded.problems == ()
    assert [o.id for o in seen.observations] == ["e3", "e4", "e8"]
    first, second, third = seen.observations
    assert first.reading is not None
    assert first.reading.value == pytest.approx(4.7)
    assert first.temperature.celsius == 23.0
    assert second.answer == Heard.HUM_CLICK
    assert third.reading is not None
    assert third.reading.over_limit
    assert third.renewed == {"current_relay"}
    assert first.renewed == frozenset()
    assert seen.complaint is Heard.HUM_CLICK
    assert seen.meter.name == "good"
    assert seen.leads.nulled
    assert seen.skipped == {"supply.volts_start"}
    assert len(folded.readings) == 4


def test_a_new_compressor_renews_all_that_is_sealed() -> None:
    """Fitting a compressor renews windings and mechanism, and the part of a trial is new in that trial."""
    assert call({"kind": "fitted", "part": "compressor"}).renewed >= {
        "run_winding",
        "start_winding",
        "mechanism",
    }
    tried = situation(call(reading("fit.current_relay", "runs")))
    assert tried.observations[0].renewed == {"current_relay"}


def unproved(of: Call) -> list[tuple[str, ...]]:
    return [r.unproved for r in of.readings]


def test_a_reading_without_its_gates_is_marked() -> None:
    """Gates a reading needs and that were not passed are named on that reading, and it is still kept."""
    measured = reading("pins.C-R", "4.7")
    assert unproved(call(measured)) == [(DEAD, SAFE)]
    assert unproved(call(gate(DEAD), measured)) == [(SAFE,)]
    assert unproved(call(gate(DEAD), gate(SAFE), measured, measured)) == [(), ()]


def test_power_ends_what_was_proved_dead() -> None:
    """After an attempt, or once the cover is on for one, the machine must be proved dead again."""
    measured, attempt = reading("pins.C-R", "4.7"), reading("attempt.as_found", "hum")
    safe, live = (gate(DEAD), gate(SAFE)), (gate(COVER), gate(CLEAR))
    assert unproved(call(*safe, attempt, measured)) == [(COVER, CLEAR), (DEAD, SAFE)]
    assert unproved(call(*safe, *live, measured)) == [(DEAD, SAFE)]
    assert unproved(call(*safe, *live, attempt, *safe, measured)) == [(), ()]
    assert unproved(call(*live, attempt, attempt)) == [(), (CLEAR,)]
    assert unproved(call(*live, *safe, attempt)) == [(COVER, CLEAR)]


def test_a_trial_needs_both_sorts_of_gates_in_turn() -> None:
    """Fitting and trying a part counts gates passed since the last power, dead first and then the cover."""
    trial = reading("fit.current_relay", "hum")
    safe, live = (gate(DEAD), gate(SAFE)), (gate(COVER), gate(CLEAR))
    assert unproved(call(*safe, *live, trial)) == [()]
    assert unproved(call(*safe, *live, trial, trial)) == [(), (DEAD, SAFE, COVER, CLEAR)]
    assert unproved(call(*live, *safe, trial)) == [(COVER, CLEAR)]
    assert unproved(call(*live, trial)) == [(DEAD, SAFE)]


def test_an_undone_attempt_still_ends_proved_dead() -> None:
    """Taking an attempt back does not make the machine proved dead again, nor does an undone gate count."""
    measured, attempt = reading("pins.C-R", "4.7"), reading("attempt.as_found", "hum")
    assert unproved(call(gate(DEAD), gate(SAFE), attempt, undo("e3"), measured)) == [(DEAD, SAFE)]
    assert unproved(call(gate(DEAD), gate(SAFE), undo("e2"), measured)) == [(SAFE,)]
    assert unproved(call(gate(DEAD), gate(SAFE), reading("attemptt.as_found", "hum"), measured)) == [
        (DEAD, SAFE)
    ]
    assert unproved(call(gate(DEAD), gate(SAFE), reading("pins.C-RR", "4"), measured)) == [()]


def test_a_flammable_refrigerant_is_a_gate_of_every_reading() -> None:
    """With a flammable refrigerant its caution is needed once, before the first reading of any kind."""
    flammable = {**MACHINE, "refrigerant": "R600a"}
    look = reading("mechanism.condenser", "clean")
    assert unproved(fold(events(flammable, look))) == [("flammable-caution",)]
    assert unproved(fold(events(flammable, gate("flammable-caution"), look, look))) == [(), ()]


def test_gates_before_a_probe_are_those_that_do_not_hold() -> None:
    """The gates still to pass come in order, with the discharge worked out from the stamp."""
    folded = call(
        {"kind": "stamp", "part": "start_capacitor", "text": "88-108 MFD 110/125 VAC"},
        gate(DEAD),
    )
    (only,) = folded.gates_before((SAFE, DEAD))
    assert only.name == SAFE
    assert only.discharges[0].marked
    assert only.discharges[0].discharge.farads == pytest.approx(108e-6)
    assert [each.name for each in fold(()).gates_before((SAFE, DEAD))] == [DEAD, SAFE]


def test_an_attempt_heats_and_waiting_cools() -> None:
    """A humming attempt leaves the machine hot; waits add up until all of it has cooled."""
    attempt, measured = reading("attempt.as_found", "hum_click"), reading("overload_protector.ohms", "OL")
    assert call().hot is None
    assert call(attempt).hot is True
    assert call(attempt, measured).readings[1].temperature.kind == "hot"
    soon = {"kind": "wait", "minutes": 12.0}  # enough for a protector outside, not for the windings
    assert call(attempt, soon, measured).readings[1].temperature.kind == "cold"
    assert call(attempt, soon, reading("pins.C-R", "3.1")).readings[1].temperature.kind == "hot"
    assert call(attempt, {**measured, "temperature": "cold"}).readings[1].temperature.kind == "cold"
    little, long = {"kind": "wait", "minutes": 3.0}, {"kind": "wait", "minutes": 60.0}
    assert call(attempt, little).hot is True
    assert call(attempt, little, little).waited == 6.0
    cooled = call(attempt, little, long)
    assert cooled.hot is False
    assert cooled.waited == 63.0
    assert situation(cooled).hot is False
    assert call(attempt, long, attempt).hot is True
    assert call(attempt, long, attempt).waited == 0.0
    assert call(long).hot is False
    assert call(attempt, undo("e1")).hot is None


def test_an_internal_protector_cools_for_longer() -> None:
    """An hour cools a machine with an external protector and not one with a protector in the shell."""
    inside = {**MACHINE, "protector": "internal"}
    attempt, wait = reading("attempt.as_found", "hum_click"), {"kind": "wait", "minutes": 60.0}
    assert fold(events(inside, attempt, wait)).hot is True
    assert fold(events(MACHINE, attempt, wait)).hot is False
    assert fold(events(inside, attempt, {"kind": "wait", "minutes": 300.0})).hot is False


def test_a_silent_attempt_heats_nothing() -> None:
    """An attempt in which nothing is heard, and volts at the outlet, leave the heat as it was."""
    assert call(reading("attempt.as_found", "silent")).hot is None
    assert call(reading("supply.volts", "118 V")).hot is None
    assert call(reading("feed.volts", "118 V")).hot is True
    assert call(reading("feed.volts", "0.0 V")).hot is None


def test_a_repeat_replaces_a_skip() -> None:
    """A probe that was skipped and then done is not skipped."""
    skip = {"kind": "skip", "probe": "pins.C-R", "reason": "in a hurry"}
    assert situation(call(skip)).skipped == {"pins.C-R"}
    assert situation(call(skip, reading("pins.C-R", "4.7"))).skipped == frozenset()


def test_the_rest_is_kept_in_order() -> None:
    """Header, fitted parts, photos, notes and decisions are kept, without what was undone."""
    folded = call(
        {"kind": "opened", "shop": "Invented Cold Shop", "invented": True},
        {"kind": "note", "text": "one"},
        {"kind": "note", "text": "two"},
        {"kind": "photo", "sha256": "0" * 64},
        {"kind": "decision", "remedies": ["replace relay"]},
        undo("e2"),
    )
    assert folded.header is not None
    assert folded.header.invented
    assert [n.text for n in folded.notes] == ["two"]
    assert len(folded.photos) == 1
    assert folded.decisions[0].remedies == ("replace relay",)


def test_a_probe_that_is_not_for_this_arrangement_is_refused() -> None:
    """On a machine without such pins the test does not apply, and the reading says so."""
    folded = fold(events({"kind": "machine", "arrangement": "inverter-driven"}, reading("pins.C-R", "4.7")))
    assert folded.readings == ()
    assert "inverter-driven" in folded.problems[0].text


def _told(call: Call) -> dict[str, object]:
    """All that a call says, its events too."""
    return {field.name: getattr(call, field.name) for field in fields(Call)}


@given(strategies.calls(), st.randoms(use_true_random=False), st.sampled_from([None, "", "phone-a"]))
def test_one_event_more_is_the_fold_of_all(
    events: tuple[Event, ...], random: Random, device: str | None
) -> None:
    """In whatever order they come, `then` says what the full fold says, and leaves the call as it was."""
    mixed = list(events)
    random.shuffle(mixed)
    mixed += [replace(event, turn=event.turn // 2) for event in mixed[::4]]  # other events under old ids
    call, taken = fold((), device=device), list[Event]()
    for event in mixed:
        before = _told(call)
        after = call.then(event)
        taken.append(event)
        assert _told(after) == _told(fold(taken, device=device))
        assert _told(call) == before
        call = after


@given(strategies.calls(most=8), st.lists(strategies.events(), max_size=4))
def test_one_event_more_in_order_is_the_fold_of_all(events: tuple[Event, ...], more: list[Event]) -> None:
    """A device that counts adds its events at the end, one by one, to a call of any kind."""
    call = fold(events, device="phone-a")
    for number, event in enumerate(more):
        event = replace(event, id=f"own-{number}", device="phone-a", turn=call.turn + 1)
        call = call.then(event)
        assert _told(call) == _told(fold((*events, *call.events), device="phone-a"))


def test_one_event_more_is_read_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """What only adds to a call folds nothing of it again; what was understood at the door stays."""
    before = call(reading("pins.C-R", "4.7"), gate(DEAD))
    understood = parse_reading("15.8", Quantity.RESISTANCE)
    more = events(reading("pins.S-R", "15.8"), gate(SAFE), reading("attempt.as_found", "hum_click"))
    more = tuple(replace(event, id=f"more-{k}", turn=1 + k) for k, event in enumerate(more))
    whole = fold((*before.events, *more))

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("read again")

    monkeypatch.setattr(Folding, "__init__", refuse)
    monkeypatch.setattr(probe_facts, "parse_reading", refuse)
    after = before.then(more[0], understood).then(more[1]).then(more[2])
    assert _told(after) == _told(whole)
    assert after.readings[-2].reading is understood


def test_a_reading_is_parsed_once_for_every_fold_of_a_session(monkeypatch: pytest.MonkeyPatch) -> None:
    """An undo and another arrangement read every event again, and parse no text again."""
    parsed: list[str] = []

    def counting(text: str, expected: Quantity | None = None) -> Reading:
        parsed.append(text)
        return parse_reading(text, expected)

    monkeypatch.setattr(probe_facts, "parse_reading", counting)
    on = call(reading("pins.C-R", "4.7"), reading("pins.S-R", "15.8"))
    more = events({"kind": "undo", "of": "e2"}, {**MACHINE, "arrangement": "rsir-ptc"})
    for number, event in enumerate(more):
        on = on.then(replace(event, id=f"more-{number}", turn=1 + number))
    assert on.machine is not None
    assert on.machine.arrangement.id == "rsir-ptc"
    assert [each.text for each in on.readings] == ["4.7"]
    assert parsed == ["4.7", "15.8"]
