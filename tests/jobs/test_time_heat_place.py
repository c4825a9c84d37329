"""How warm it was, how long it stood, which meter read it, what the outlet gave: each reading by its own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick import library as hc
from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.advice import Advice
from humclick.diagnosis.choices import choices
from humclick.diagnosis.guards import needs_before
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import bars
from humclick.diagnosis.probes import probe_of
from humclick.jobs.event_tables import event_from
from humclick.jobs.fold import fold
from humclick.meters import meters
from humclick.readings import PartTemperature

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
INTERNAL = [
    name
    for name in arrangements()
    if arrangement(name).started and "internal" in arrangement(name).protectors
]


def situation(*tables: dict[str, Any], machine: dict[str, Any] | None = None) -> Any:
    """A call, its events a minute apart unless they say when."""
    first = {"kind": "machine", "arrangement": "rsir-ptc", "protector": "external", **(machine or {})}
    rows = (first, {"kind": "complaint", "heard": "hum_click"}, *tables)
    events = []
    for k, table in enumerate(rows):
        minutes = table.get("minute", k)
        at = (START + timedelta(minutes=minutes)).isoformat()
        events.append(
            event_from({"id": f"e{k:02d}", "at": at, **{k: v for k, v in table.items() if k != "minute"}})
        )
    call = fold(events)
    assert call.problems == ()
    return call.situation()


def read(probe: str, value: str, warmth: str = "", **more: Any) -> dict[str, Any]:
    return {"kind": "reading", "probe": probe, "value": value, "temperature": warmth, **more}


# -- temperature --------------------------------------------------------------------------------------------


@given(st.floats(-30.0, 150.0), st.booleans())
def test_a_measured_temperature_counts_by_its_value(celsius: float, rested: bool) -> None:
    """Cool below what a cold part may have, or once it has stood as long as it takes in whatever place."""
    felt = PartTemperature("measured", celsius, rested)
    assert felt.cool == (rested or celsius < 40.0)
    assert felt.warm != felt.cool
    assert PartTemperature("cold").cool
    assert PartTemperature("hot").warm
    unknown = PartTemperature("unknown")
    assert not unknown.cool
    assert not unknown.warm


@pytest.mark.parametrize(
    ("warmth", "again"), [("85 C", True), ("45 C", True), ("25 C", False), ("cold", False), ("hot", True)]
)
def test_what_was_read_open_at_85_degrees_is_read_once_more_when_cool(warmth: str, again: bool) -> None:
    """A figure is no promise that it had cooled."""
    felt = situation(read("overload_protector.ohms", "OL", warmth))
    needs = needs_before(felt, None)
    assert ["overload_protector.ohms" in need.probes for need in needs] == [True] * again
    offered = {(f.probe.id, f.waits > 0) for f in choices(judge(felt), bars(felt))[0].forecasts}
    assert ("overload_protector.ohms", True) in offered or not again


def test_a_kitchen_of_45_degrees_is_as_cool_as_it_gets() -> None:
    """After the usual rest a figure at room temperature is cold, and the same pair is not asked for again."""
    tried = read("attempt.as_found", "hum_click")
    early = situation(tried, read("pins.C-R", "3.5", "45 C", minute=6))
    assert early.observations[-1].temperature.warm
    late = situation(tried, read("pins.C-R", "3.5", "45 C", minute=200))
    assert late.observations[-1].temperature == PartTemperature("measured", 45.0, rested=True)
    assert late.observations[-1].temperature.cool


def test_warmth_is_remembered_from_reading_to_reading() -> None:
    """What was said of one pair holds for the next, until it is tried again; of other parts nothing."""
    cold = situation(read("pins.C-R", "3.5", "cold"), read("pins.C-S", "10.5"), read("ptc.ohms", "5"))
    kinds = [o.temperature.kind for o in cold.observations]
    assert kinds == ["cold", "cold", "unknown"]
    tried = situation(
        read("pins.C-R", "3.5", "cold"), read("attempt.as_found", "hum_click"), read("pins.C-S", "10")
    )
    assert tried.observations[-1].temperature.kind == "hot"
    hot = situation(read("pins.C-R", "3.5", "85 C"), read("pins.C-S", "10.5"))
    assert hot.observations[-1].temperature.kind == "hot"


# -- time ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("heard", ["silent", "hum_click"])
def test_an_open_circuit_powered_up_heats_nothing(heard: str) -> None:
    """Nothing flowed, so nothing has to cool."""
    after = situation(read("attempt.as_found", heard))
    assert (after.hot is True) == (heard != "silent")
    assert situation(read("attempt.amps", "0.0 A")).hot is None
    assert situation(read("attempt.amps", "12 A")).hot is True


@pytest.mark.parametrize("name", INTERNAL)
def test_between_s_and_r_comes_before_the_long_wait(name: str) -> None:
    """No protector lies between them: what can be known now is read before an hour and a half of cooling."""
    call = hc.Call(hc.machine(name, protector="internal", lra=14.0), heard="hum_click")
    for probe, value, warmth in (
        ("attempt.as_found", "hum_click", ""),
        ("earth.continuity", "0.1", ""),
        ("pins.shell", "OL", ""),
        ("pins.C-R", "OL", "hot"),
        ("pins.C-S", "OL", "hot"),
    ):
        call = call.seen(probe, value, temperature=warmth)

    def waits_long(advice: Advice) -> bool:
        return advice.next is not None and advice.next.waits > 60

    seen: set[str] = set()
    while not waits_long(call.advice) and call.advice.next is not None and len(seen) < 25:
        advised = call.advice.next.probe
        seen.add(advised)
        if advised == "pins.S-R":
            break
        call = call.skipped(advised)
    assert "pins.S-R" in seen
    asked = call.advice.next
    assert asked is not None
    assert asked.waits == 0


@pytest.mark.parametrize("name", INTERNAL)
def test_while_it_cools_what_needs_no_power_comes_first(name: str) -> None:
    """Whatever is waited for, and whether a guard or the plan asks for it."""
    call = hc.Call(hc.machine(name, protector="internal", lra=14.0), heard="hum_click")
    call = call.seen("attempt.as_found", "hum_click").seen("pins.shell", "OL")
    for probe in ("pins.C-R", "pins.C-S"):
        call = call.seen(probe, "OL", temperature="hot")
    call = call.seen("pins.S-R", "14", temperature="hot")
    advice = call.advice
    if advice.kind != "wait":
        return
    later = [v.waits > 0 or probe_of(call.machine, v.probe).energises for v in advice.alternatives]
    assert later == sorted(later)


# -- meter and supply ---------------------------------------------------------------------------------------


def test_a_reading_belongs_to_the_meter_it_was_taken_with() -> None:
    """Naming another meter afterwards moves nothing that was read before."""
    names = sorted(meters(), key=lambda n: meters()[n].name)
    fine, pocket = names[0], names[-1]
    readings = [read("pins.C-R", "3.5", "cold"), read("overload_protector.ohms", "0.9", "cold")]
    with_fine = situation({"kind": "meter", "name": fine}, *readings)
    then = situation({"kind": "meter", "name": fine}, *readings, {"kind": "meter", "name": pocket})
    assert [o.meter and o.meter.name for o in then.observations] == [with_fine.meter.name] * 2
    assert [o.meter for o in with_fine.observations] == [None] * 2

    def shares(of: Any) -> dict[tuple[str, str], float]:
        return judge(of).post.by_mode

    before, after = shares(with_fine), shares(then)
    assert set(before) == set(after)
    for mode, p in before.items():
        assert after[mode] == pytest.approx(p, rel=1e-6, abs=1e-9)


def _sags(*reads: tuple[str, str]) -> float:
    call = hc.Call(hc.machine("rsir-ptc", lra=14.0), heard="hum_click")
    for probe, value in reads:
        call = call.seen(probe, value)
    return judge(call._flow.situation).post.of_mode("supply", "sags")


@pytest.mark.parametrize("rest", [104.0, 110.0, 115.0, 120.0, 125.0])
def test_volts_under_load_are_judged_against_those_at_rest(rest: float) -> None:
    """A stiff supply speaks against sagging whatever it gives at rest; a great drop speaks for it."""
    still = ("supply.volts", f"{rest:g} V")
    before = _sags(still)
    drops = [_sags(still, ("supply.volts_start", f"{rest * share:.1f} V")) for share in (0.97, 0.9, 0.8)]
    assert drops[0] < 0.2 * before
    assert drops == sorted(drops)
    assert drops[-1] > 0.6


def test_what_a_drop_means_goes_by_the_locked_rotor_amps() -> None:
    """Four times the amps on the same wire drop four times the volts on a sound supply."""

    def sags(lra: float) -> float:
        call = hc.Call(hc.machine("rsir-ptc", lra=lra), heard="hum_click")
        call = call.seen("supply.volts", "118 V").seen("supply.volts_start", "109 V")
        return judge(call._flow.situation).post.of_mode("supply", "sags")

    assert sags(6.0) > sags(14.0) > 2 * sags(40.0)
