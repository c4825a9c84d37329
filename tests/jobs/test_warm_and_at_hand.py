"""How warm and how long, and what is at hand for the start, as far as a call tells."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from humclick.diagnosis.probes import probe_of
from humclick.jobs.at_hand import fitted_farads, winding_ohms
from humclick.jobs.warmth import felt, since, stood
from tests.jobs.test_call_at_its_edges import CSIR, HUMS, SHOP, START, call, flow, reading


def test_it_has_stood_since_it_was_last_under_power() -> None:
    """From a complaint, a wait, or an attempt; two days at most; not where a clock ran backwards."""
    at = START + timedelta(minutes=60)
    assert since(flow(CSIR), at) is None
    assert stood(flow(CSIR), at) is None
    assert since(flow(CSIR, HUMS), at) == START + timedelta(minutes=1)
    assert stood(flow(CSIR, HUMS), at) == 59.0
    assert stood(flow(HUMS, CSIR, {"kind": "wait", "minutes": 5.0}), at) == 58.0
    assert stood(flow(HUMS, CSIR, reading("attempt.as_found", "hum")), at) == 58.0
    assert stood(flow(HUMS, CSIR, reading("current_relay.ohms", "0.2")), at) == 60.0  # dead: it stands on
    assert stood(flow(HUMS, CSIR, reading("pins.C-R", "4.7")), at) == 60.0
    assert stood(flow(HUMS), START + timedelta(hours=48)) == 48 * 60
    assert stood(flow(HUMS), START + timedelta(hours=48, minutes=1)) is None
    assert stood(flow(HUMS), START) == 0.0
    assert stood(flow(HUMS), START - timedelta(minutes=5)) == 0.0  # no clock adds to a wait
    untimed = {**HUMS, "at": datetime(1970, 1, 1, tzinfo=UTC)}
    assert stood(flow(untimed), at) is None


def test_what_was_felt_counts_until_something_happens() -> None:
    """The last winding read in ohms; not after a wait, a part or power, and hot only until it cooled."""
    pins = probe_of(flow(CSIR).situation.machine, "pins.C-S", SHOP)
    cold, hot = (reading("pins.C-R", "4.7", temperature=felt_so) for felt_so in ("cold", "hot"))
    soon = START + timedelta(minutes=4)
    assert felt(flow(CSIR, HUMS, cold), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, hot), soon, pins) == "hot"
    assert felt(flow(CSIR, HUMS, hot), START + timedelta(hours=5), pins) == ""
    assert felt(flow(CSIR, HUMS, cold), START + timedelta(hours=5), pins) == "cold"
    assert felt(flow(CSIR, HUMS, cold, {"kind": "wait", "minutes": 1.0}), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, {"kind": "fitted", "part": "current_relay"}), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, reading("attempt.as_found", "hum")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, cold, reading("supply.volts", "116 V")), soon, pins) in ("", "cold")
    assert felt(flow(CSIR, HUMS, cold, reading("start_capacitor.farads", "98 uF")), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, cold, {"kind": "note", "text": "x"}), soon, pins) == "cold"
    assert felt(flow(CSIR, HUMS, reading("pins.C-R", "4.7")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS, reading("pins.C-R", "4.7", temperature="31 C")), soon, pins) == ""
    assert felt(flow(CSIR, HUMS), soon, pins) == ""
    untimed = {**hot, "at": datetime(1970, 1, 1, tzinfo=UTC)}
    assert felt(flow(untimed, CSIR, HUMS), soon, pins) == ""


# -- at hand ------------------------------------------------------------------------------------------------


def test_leads_are_taken_off_what_the_pins_read() -> None:
    """What the technician measured, nothing where they were nulled, and the usual where nobody said."""
    rows = [
        CSIR,
        reading("pins.C-R", "4.7", temperature="25 C"),
        reading("pins.C-S", "11.2", temperature="25 C"),
    ]
    for meter, off in (({"leads_nulled": True}, 0.0), ({"lead_ohms": 0.4}, 0.4)):
        run, start = winding_ohms(call({"kind": "meter", **meter}, *rows))
        assert run == pytest.approx(4.7 - off)
        assert start == pytest.approx(11.2 - off)
    run, start = winding_ohms(call(*rows))
    usual = call(*rows).leads.spread
    assert usual is not None
    assert run == pytest.approx(4.7 - usual.median)
    assert start == pytest.approx(11.2 - usual.median)
    assert winding_ohms(call({"kind": "meter", "lead_ohms": 4.7}, *rows))[0] is None  # nothing is left


def test_a_pair_that_is_the_smaller_gives_no_other_winding() -> None:
    """The sum of both windings is larger than either; where it reads no larger nothing is made of it."""
    nulled: dict[str, Any] = {"kind": "meter", "leads_nulled": True}

    def ohms(**pins: str) -> tuple[object, object]:
        rows = [reading(f"pins.{name.replace('_', '-')}", x, temperature="25 C") for name, x in pins.items()]
        return winding_ohms(call(nulled, CSIR, *rows))

    assert ohms(C_R="4.0", S_R="4.0") == (pytest.approx(4.0), None)
    assert ohms(C_R="4.0", S_R="3.0") == (pytest.approx(4.0), None)
    assert ohms(C_S="9.0", S_R="9.0") == (None, pytest.approx(9.0))
    assert ohms(C_R="4.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(9.0))
    assert ohms(C_S="9.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(9.0))
    assert ohms(C_R="4.0", C_S="8.0", S_R="13.0") == (pytest.approx(4.0), pytest.approx(8.0))
    assert ohms(S_R="13.0") == (None, None)
    assert ohms(C_R="4.0", C_S="OL") == (pytest.approx(4.0), None)


def test_a_capacitor_counts_by_its_last_figure() -> None:
    """OL is no figure and changes nothing; a reading below the display's last digit says there is none."""
    first = reading("start_capacitor.farads", "98 uF")
    ol, none = (reading("start_capacitor.farads", text) for text in ("OL", "0.0 uF"))
    fitted: dict[str, Any] = {"kind": "fitted", "part": "start_capacitor"}
    other: dict[str, Any] = {"kind": "fitted", "part": "current_relay"}
    assert fitted_farads(call(CSIR), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, first), "run_capacitor") is None
    assert fitted_farads(call(CSIR, first, ol), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, first, none), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first, fitted), "start_capacitor") is None
    assert fitted_farads(call(CSIR, first, other), "start_capacitor") == pytest.approx(98e-6)
    assert fitted_farads(call(CSIR, fitted, first), "start_capacitor") == pytest.approx(98e-6)
