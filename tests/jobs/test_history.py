"""The goes at putting a machine right, from any order of decisions, new parts, tries and undos."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from humclick.jobs.event_tables import event_from
from humclick.jobs.events import PartFitted
from humclick.jobs.fold import fold
from humclick.jobs.history import turns

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DOES = {
    "ptc": "replace starter",
    "overload_protector": "replace overload protector",
    "compressor": "replace compressor",
}
TABLES = st.one_of(
    st.lists(st.sampled_from(sorted(DOES.values())), min_size=1, max_size=2).map(
        lambda remedies: {"kind": "decision", "remedies": remedies}
    ),
    st.sampled_from(sorted(DOES)).map(lambda part: {"kind": "fitted", "part": part}),
    st.sampled_from(["runs", "hum_click", "silent"]).map(
        lambda heard: {"kind": "reading", "probe": "attempt.as_found", "value": heard}
    ),
    st.just({"kind": "reading", "probe": "pins.C-R", "value": "2.4"}),
    st.integers(1, 12).map(lambda n: {"kind": "undo", "of": f"e{n:02d}"}),
)


@given(st.lists(TABLES, max_size=12))
def test_every_go_knows_what_stood_before_it(tables: list[dict[str, Any]]) -> None:
    """Each begins after what it was judged by; what was put right belongs to one; the last try ends it."""
    events = [
        event_from({"id": f"e{n:02d}", "at": START + timedelta(minutes=n), **table})
        for n, table in enumerate([{"kind": "machine", "arrangement": "rsir-ptc"}, *tables])
    ]
    call = fold(events)
    found = turns(call)
    ids = [event.id for event in call.events]
    assert [turn.event for turn in found] == sorted((turn.event for turn in found), key=ids.index)
    for turn in found:
        assert turn.before == fold(call.events[: ids.index(turn.event)])
        assert turn.event not in call.undone
        assert turn.about
        assert len(set(turn.done)) == len(turn.done)
    fitted = [event for event in call.events if isinstance(event, PartFitted) and event.id not in call.undone]
    assert {remedy for turn in found for remedy in turn.done} == {DOES[event.part] for event in fitted}
    tries = [r for r in call.readings if r.probe == "attempt.as_found"]
    if found and found[-1].outcome:
        assert tries[-1].answer == found[-1].outcome
    assert turns(fold(reversed(events))) == found
