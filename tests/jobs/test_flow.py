"""The flow of a call: what to do next, and what an answer does to it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.diagnosis.shop import default_shop
from humclick.errors import HumclickError, Refused
from humclick.jobs import taking
from humclick.jobs.entry import answer_to
from humclick.jobs.events import Event
from humclick.jobs.flow import Flow, Next, step
from humclick.jobs.fold import fold
from humclick.web.desk import Desk
from humclick.web.exchange import CallGiven, Request, plain_table
from humclick.web.pages.call import step_of
from tests import strategies

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SHOP = default_shop()


def flow(**machine: Any) -> Flow:
    """A call on one phone, with the machine described and the complaint heard."""
    begun = Flow(fold((), device="phone-a"), SHOP).keep("opened", NOW, invented=True)
    given = {"arrangement": "rsir-ptc", "refrigerant": "R134a", **machine}
    return begun.keep("machine", NOW, **given).keep("complaint", NOW, heard="hum_click")


def test_the_machine_comes_first(recognised: str) -> None:
    """Until it is described there is nothing to probe."""
    assert step(Flow(fold(()), SHOP)).kind is Next.IDENTIFY
    assert step(flow(arrangement=recognised)).kind is Next.RECOGNISED


def test_a_reading_waits_for_what_stands_before_it() -> None:
    """Gates before the probe, all confirmed together where nothing is live; by itself no reading is taken."""
    on = flow()
    assert step(on, "ptc.ohms").kind is Next.WAIT
    now = step(on, "ptc.ohms", at_once=True)
    assert now.kind is Next.ASK
    assert now.probe is not None
    assert now.briefing.dead
    with pytest.raises(taking.GatesFirst):
        taking.take(on, NOW, now.probe, "OL cold")
    with pytest.raises(taking.GatesFirst):
        taking.take(on, NOW, now.probe, "OL cold", confirmed=now.briefing.names[:-1] or ("cover-on",))
    after = taking.take(on, NOW, now.probe, "OL cold", confirmed=now.briefing.names)
    kinds = [event.kind for event in after.fresh[len(on.fresh) :]]
    assert kinds == ["gate"] * len(now.briefing.names) + ["reading"]
    assert after.call.readings[-1].unproved == ()
    assert not step(after, "ptc.ohms", at_once=True).briefing.gates


def test_what_is_live_is_confirmed_by_itself() -> None:
    """A reading under power never confirms its own gates; one taken already is kept and marked."""
    on = flow()
    probe = on.probe("supply.volts")
    briefing = on.briefing(probe)
    assert briefing.gates
    assert not briefing.dead
    assert step(on, probe.id).kind is Next.GATE
    with pytest.raises(taking.GatesFirst):
        taking.take(on, NOW, probe, "118 V", confirmed=briefing.names)
    marked = taking.take(on, NOW, probe, "118 V", already=True)
    assert marked.call.readings[-1].unproved
    passed = taking.passed(on, NOW, briefing.names)
    assert taking.take(passed, NOW, probe, "118 V").call.readings[-1].unproved == ()


def test_what_is_barred_is_not_taken() -> None:
    """A start is refused while something comes before it, and while a hazard stops the call."""
    on = flow()
    probe = on.probe("attempt.as_found")
    assert step(on, probe.id).kind is Next.BARRED
    with pytest.raises(taking.BarredNow, match="not now"):
        taking.take(on, NOW, probe, "runs")
    stopped = on.keep("hazard", NOW, hazard="leak", words="hissing")
    if not stopped.call.stopped:
        pytest.fail("this hazard stops a call")
    assert step(stopped).kind is Next.STOP
    assert step(stopped, "ptc.ohms", already=True).probe is not None
    with pytest.raises(taking.BarredNow):
        taking.take(stopped, NOW, on.probe("ptc.ohms"), "OL")
    with pytest.raises(Refused):
        taking.cleared(stopped, NOW, stopped.call.stoppages[0].event, "")
    again = taking.cleared(stopped, NOW, stopped.call.stoppages[0].event, "aired, 0 % on the detector")
    assert not again.call.stopped


def test_what_is_refused_leaves_nothing_behind() -> None:
    """Gates confirmed with a reading that cannot be understood are not kept either, and no flow changes."""
    on = flow()
    probe, names = on.probe("ptc.ohms"), on.briefing(on.probe("ptc.ohms")).names
    before = on.call, on.fresh
    for text in ("", "short", "118 V", "4,700"):
        with pytest.raises(HumclickError):
            taking.take(on, NOW, probe, text, confirmed=names)
    assert (on.call, on.fresh) == before


def test_an_event_is_taken_back_and_brought_back() -> None:
    """By its id or the last one; a hazard never."""
    on = taking.take(flow(), NOW, flow().probe("ptc.shake"), "rattles", already=True)
    reading = on.fresh[-1]
    gone = taking.undone(on, NOW)
    assert reading.id in gone.call.undone
    for back in (taking.redone(gone, NOW), taking.undone(gone, NOW, reading.id)):
        assert [each.event for each in back.call.readings] == [reading.id]
    with pytest.raises(Refused, match="no undo"):
        taking.redone(on, NOW)
    with pytest.raises(Refused, match="no event 'x' to take back"):
        taking.undone(on, NOW, "x")
    hazard = on.keep("hazard", NOW, hazard="leak")
    for of in ("", hazard.fresh[-1].id):
        with pytest.raises(Refused, match="not undone"):
            taking.undone(hazard, NOW, of)


def test_a_reading_keeps_what_was_understood_at_the_door() -> None:
    """The reading in the call is the very value that was parsed where it was typed."""
    on = flow()
    answer = answer_to(on.probe("pins.C-R"), "4.7 ohm warm")
    after = taking.take(on, NOW, on.probe("pins.C-R"), "4.7 ohm warm", answer=answer, already=True)
    kept = after.call.readings[-1]
    assert kept.reading is answer.reading
    assert (kept.text, kept.temperature.kind) == ("4.7 ohm", "hot")


@settings(max_examples=25)
@given(strategies.calls(), st.sampled_from(["", "pins.C-R", "attempt.as_found"]))
def test_every_face_asks_for_the_same(events: tuple[Event, ...], chosen: str) -> None:
    """The page of a call of any kind asks for what the flow says."""
    own = Flow(fold(events, device="phone-a"), SHOP)
    tables = [plain_table(event) for event in events]
    desk = Desk(
        Request(f"/call/c?{chosen}", query={"probe": chosen}, call=CallGiven("c", tables), device="phone-a")
    )
    try:
        wanted = step(own, chosen)
    except HumclickError as error:
        with pytest.raises(type(error)):
            step_of(desk)
    else:
        assert step_of(desk) == wanted
