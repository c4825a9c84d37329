"""A reading written down wrong is corrected: the right one counts, and the old one stays on the call."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.diagnosis.shop import default_shop
from humclick.errors import Refused, Unknown
from humclick.jobs.corrections import corrected
from humclick.jobs.doubt import Doubt
from humclick.jobs.event_tables import new_event
from humclick.jobs.events import Event, ReadingCorrected
from humclick.jobs.flow import Flow
from humclick.jobs.fold import fold
from humclick.jobs.taking import corrected as put_right
from humclick.jobs.taking import redone, undone

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def flow_of(*readings: tuple[str, str, str], arrangement: str = "rsir-ptc") -> Flow:
    flow = Flow(fold((), device="a"), default_shop())
    flow = flow.keep("machine", NOW, arrangement=arrangement, volts=115.0)
    flow = flow.keep("meter", NOW, leads_nulled=True)
    for k, (probe, value, warmth) in enumerate(readings):
        flow = flow.keep("reading", NOW + timedelta(minutes=k), probe=probe, value=value, temperature=warmth)
    return flow


def test_a_unit_typed_wrong_is_put_right_with_one_answer() -> None:
    """The corrected value counts once, in the place of the first, and what was typed is still there."""
    flow = flow_of(("pins.C-R", "4.2k", "cold"))
    assert isinstance(flow.doubt, Doubt)
    assert flow.doubt.fixes[0].question == "Did you mean 4.2 Ω?"
    after = put_right(flow, NOW)
    assert [(r.probe, r.reading.value) for r in after.call.readings if r.reading] == [("pins.C-R", 4.2)]
    assert after.doubt is None
    assert [e.kind for e in after.events[-2:]] == ["reading", "correction"]
    assert after.events[-2].value == "4.2k"  # type: ignore[attr-defined]
    assert after.call.readings[0].temperature.kind == "cold"


def test_a_correction_is_no_repeat() -> None:
    """The call after a correction is judged like one in which the right value was typed at once."""
    wrong = put_right(flow_of(("pins.C-R", "4.2k", "cold")), NOW)
    right = flow_of(("pins.C-R", "4.2", "cold"))
    assert wrong.advice is not None
    assert right.advice is not None
    assert wrong.advice.suspects == right.advice.suspects


def test_undo_brings_the_first_value_back_and_redo_the_right_one() -> None:
    """Nothing entered is lost."""
    corrected_ = put_right(flow_of(("pins.C-R", "4.2k", "cold")), NOW)
    back = undone(corrected_, NOW)
    assert back.call.readings[0].text == "4.2k"
    assert redone(back, NOW).call.readings[0].text == "4.2 Ω"


def test_a_reading_struck_out_counts_no_longer_and_is_asked_for_again() -> None:
    """The last way offered is always to strike it out."""
    flow = flow_of(("overload_protector.ohms", "600k", "cold"))
    assert flow.doubt is not None
    assert flow.doubt.fixes[-1].name == "strike"
    after = put_right(flow, NOW, "strike")
    assert after.call.readings == ()
    assert len(after.events) == len(flow.events) + 1


def test_pins_taken_for_one_another_are_named_anew() -> None:
    """Each reading goes to the pair it was really read at, all with one answer."""
    flow = flow_of(("pins.C-R", "15", "cold"), ("pins.C-S", "11", "cold"), ("pins.S-R", "4", "cold"))
    after = put_right(flow, NOW, "pins")
    read = {r.probe: r.reading.value for r in after.call.readings if r.reading}
    assert read == {"pins.C-R": 4.0, "pins.C-S": 11.0, "pins.S-R": 15.0}
    assert after.doubt is None


def test_a_part_still_warm_is_recorded_so() -> None:
    """A pill of kilohms that was called cold."""
    flow = flow_of(("ptc.ohms", "3.3k", "cold"))
    after = put_right(flow, NOW, "warm")
    assert after.call.readings[0].temperature.kind == "hot"


def test_where_nothing_is_in_doubt_nothing_is_corrected() -> None:
    """And a way that is not offered is refused."""
    with pytest.raises(Refused, match="no reading is in doubt"):
        put_right(flow_of(("pins.C-R", "4.2", "cold")), NOW)
    with pytest.raises(Unknown, match="strike"):
        put_right(flow_of(("pins.C-R", "4.2k", "cold")), NOW, "wam")


def test_read_again_it_is_asked_no_more() -> None:
    """A second reading like the first stands; the model has room for what is not on its list."""
    flow = flow_of(("pins.C-R", "4.2k", "cold"), ("pins.C-R", "4.2k", "cold"))
    assert flow.doubt is None


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ({"of": "nothing", "value": "4"}, "no reading 'nothing' to correct"),
        ({"of": "look", "value": "rattles"}, "only what a meter showed"),
        ({"of": "ohms", "value": "4 V"}, "resistance"),
        ({"of": "ohms", "probe": "supply.volts"}, "something else"),
        ({"of": "ohms", "probe": "ptc.omhs"}, "ptc.ohms"),
        ({"of": "shell", "value": "30M"}, "power rests on pins.shell"),
        ({"of": "ohms", "probe": "pins.shell"}, "power rests on"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused_and_changes_nothing(
    content: dict[str, str], message: str
) -> None:
    """What power rests on is never corrected on paper, nor is a look."""
    flow = flow_of()
    for name, probe, value in (
        ("ohms", "ptc.ohms", "4.7"),
        ("look", "ptc.shake", "quiet"),
        ("shell", "pins.shell", "30k"),
    ):
        event = new_event(
            "reading", id=name, at=NOW, device="a", turn=flow.call.turn + 1, probe=probe, value=value
        )
        flow = Flow(flow.call.then(event), flow.shop)
    with pytest.raises(Refused, match=message):
        flow.keep("correction", NOW, reading=None, **content)
    late = new_event("correction", at=NOW, device="b", turn=flow.call.turn + 1, **content)
    call = fold((*flow.events, late), device="a")
    assert [r.text for r in call.readings] == ["4.7", "quiet", "30k"]
    assert call.problems


def test_what_power_rests_on_can_be_struck_out_only() -> None:
    """A reading to the shell is read again, with no other value proposed."""
    flow = flow_of(("earth.continuity", "5M", "cold"))
    assert flow.doubt is not None
    assert [fix.name for fix in flow.doubt.fixes] == ["strike"]


_EVENTS = st.lists(
    st.one_of(
        st.tuples(st.just("reading"), st.sampled_from(("4.2", "4.2k", "0.3", "OL"))),
        st.tuples(st.just("correction"), st.integers(0, 6), st.sampled_from(("", "4.7", "bad"))),
        st.tuples(st.just("undo"), st.integers(0, 8)),
    ),
    max_size=9,
)


@settings(max_examples=60, deadline=None)
@given(_EVENTS)
def test_in_whatever_order_they_arrive_they_come_to_the_same(steps: list[tuple[object, ...]]) -> None:
    """Two devices merge corrections like any other events, and one event at a time says the same as all."""
    events: list[Event] = [new_event("machine", id="m", at=NOW, device="a", turn=1, arrangement="rsir-ptc")]
    for k, step in enumerate(steps):
        content: dict[str, object] = {"probe": "pins.C-R", "value": step[1]}
        if step[0] == "correction":
            content = {"of": f"e{step[1]}", "value": step[2]}
        elif step[0] == "undo":
            content = {"of": f"e{step[1]}"}
        made = new_event(str(step[0]), id=f"e{k}", at=NOW, device="ab"[k % 2], turn=k + 2, **content)
        events.append(made)
    whole = fold(events, device="a")
    assert fold(reversed(events), device="a").readings == whole.readings
    call = fold((), device="a")
    for event in events:
        call = call.then(event)
    assert call.readings == whole.readings
    assert call.corrected == whole.corrected


def test_the_last_correction_of_a_reading_counts() -> None:
    """Each is of the reading as corrected before."""
    flow = flow_of(("pins.C-R", "4.2k", "cold"))
    of = flow.events[-1].id
    flow = flow.keep("correction", NOW, of=of, value="4.2").keep("correction", NOW, of=of, temperature="hot")
    kept = flow.call.readings[0]
    assert (kept.text, kept.temperature.kind) == ("4.2", "hot")
    last = flow.events[-1]
    assert isinstance(last, ReadingCorrected)
    lone = replace(last, of="x")
    said: list[str] = []
    assert corrected([lone], lambda _: flow.probe("pins.C-R"), lambda *row: said.append(row[0])) == {}
    assert said == [lone.id]
