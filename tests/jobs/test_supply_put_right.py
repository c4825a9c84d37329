"""Outlet, cord, plug and breaker put right: it closes the call, or uncovers what hid behind it."""

from __future__ import annotations

import pytest

from humclick import library as hc
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import breaker_tripped
from humclick.diagnosis.remaining import left_of_part
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold

SINGLE = [name for name in arrangements() if arrangement(name).started]
DEAD = {
    "outlet": ("silent", [("supply.volts", "0.0 V")]),
    "cord": ("silent", [("supply.volts", "118 V"), ("feed.volts", "0.0 V")]),
    "breaker": ("breaker", []),
    "plug": ("hum_click", [("supply.volts", "118 V"), ("supply.volts_start", "70 V")]),
}


def called(name: str, what: str) -> hc.Call:
    heard, reads = DEAD[what]
    call = hc.Call(hc.machine(name, volts=115), heard=heard)
    for probe, value in reads:
        call = call.seen(probe, value)
    return call.decided("restore supply")


@pytest.mark.parametrize("what", DEAD)
@pytest.mark.parametrize("name", SINGLE[::4])
def test_it_runs_once_the_supply_is_put_right(name: str, what: str) -> None:
    """The work is recorded with what the try came to, and the call is repaired."""
    call = called(name, what).seen("fit.supply", "runs")
    assert call.folded.renewed == {"supply"}
    assert call._flow.state.name == "repaired"
    assert call._flow.state.done == ("restore supply",)
    assert call._flow.state.due == ()
    assert call.advice.suspects[0].parts == ()


@pytest.mark.parametrize("what", DEAD)
@pytest.mark.parametrize("name", SINGLE[::4])
def test_what_hid_behind_it_is_looked_for(name: str, what: str) -> None:
    """It still hums, rested: the supply is no suspect any more, the start gear and what is sealed are."""
    call = called(name, what).seen("fit.supply", "hum_click", temperature="cold")
    assert left_of_part(judge(call._flow.situation), "supply") < 0.02
    assert _sound(call) < 0.55  # a second fault is rare, and so is a sound machine that stands
    assert _sound(call.seen("attempt.as_found", "hum_click", temperature="cold")) < 0.25
    assert call.advice.verdict is None or call.advice.verdict.due != ("restore supply",)
    assert call._flow.state.name not in ("repaired", "fitted")


def _sound(call: hc.Call) -> float:
    return sum(suspect.probability for suspect in call.advice.suspects if not suspect.parts)


@pytest.mark.parametrize("name", SINGLE[::5])
def test_volts_at_the_outlet_can_be_read_again(name: str) -> None:
    """Before and after it was put right, each reading by itself; the one after it says that it is alive."""
    call = called(name, "outlet")
    again = call.seen("supply.volts", "0.0 V")
    assert len(again.findings) == 2
    mended = again.seen("fit.supply", "hum_click").seen("supply.volts", "117 V").seen("supply.volts", "118 V")
    assert len(mended.folded.readings) == 5
    assert mended.folded.problems == ()
    assert left_of_part(judge(mended._flow.situation), "supply") < 0.02


def test_a_breaker_trip_outlives_another_complaint_and_not_its_undo() -> None:
    """What was heard since does not untell it; taken back, it was never told."""
    told = [
        {"kind": "machine", "arrangement": "rsir-ptc"},
        {"kind": "complaint", "heard": "breaker"},
        {"kind": "complaint", "heard": "hum_click"},
    ]

    def tripped(*tables: dict[str, str]) -> bool:
        events = [
            event_from({"id": f"e{k}", "at": "2026-03-02T09:00:00+01:00", **table})
            for k, table in enumerate((*told, *tables))
        ]
        situation = fold(events).situation()
        assert situation is not None
        assert situation.complaint == "hum_click"
        return breaker_tripped(situation)

    assert tripped()
    assert not tripped({"kind": "undo", "of": "e1"})
