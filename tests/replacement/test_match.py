"""Match: the same, acceptable with differences, no, or not to be said yet, line by line."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import Refused, Unknown
from humclick.replacement.demand import COMPRESSOR, PartDemand, demand
from humclick.replacement.match import MatchGrade, match
from tests.published import published

PLATE = Nameplate(115.0, 60.0, 12.0, 1.6, "R134a")
CSIR = Machine.of("csir-current-relay", "external", PLATE)
CSR = Machine.of("csr-potential-relay", "external", Nameplate(230.0, 50.0))
OLD = {"start_capacitor": ["88-108 MFD 110/125 VAC", "bleed resistor: yes"]}
START = demand(CSIR, "replace start capacitor", OLD)
GOOD = {"stamp": "88-108 MFD 125 VAC", "kind": "start", "bleed_resistor": "yes"}


def fits(of: PartDemand, candidate: dict[str, object]) -> dict[str, MatchGrade]:
    return {line.name: line.fit for line in match(of, candidate).lines}


def test_the_same_marks_are_the_same_part() -> None:
    """A part with every mark of the old one is the same, and each line says so."""
    result = match(START, GOOD)
    assert result.fit is MatchGrade.SAME
    assert all(line.fit is MatchGrade.SAME and line.reason for line in result.lines)


@published(source="common practice", where="replacing motor capacitors")
def test_a_capacitor_never_gets_a_lower_voltage() -> None:
    """A lower voltage is no, a higher one is acceptable."""
    assert match(START, {**GOOD, "stamp": "88-108 MFD 110 VAC"}).fit is MatchGrade.NO
    assert fits(START, {**GOOD, "stamp": "88-108 MFD 250 VAC"})["voltage"] is MatchGrade.ACCEPTABLE


@given(st.floats(10, 5000), st.floats(10, 5000))
def test_of_two_voltages_exactly_the_lower_is_refused(old: float, new: float) -> None:
    """Whatever the figures, a voltage clearly below the old one never passes, and one above always does."""
    asked = demand(CSIR, "replace start capacitor", {"start_capacitor": [f"voltage: {old:.1f} V"]})
    fit = fits(asked, {**GOOD, "stamp": "88-108 MFD", "voltage": round(new, 1)})["voltage"]
    if new < 0.99 * old:
        assert fit is MatchGrade.NO
    if new > old + 0.1:
        assert fit in (MatchGrade.SAME, MatchGrade.ACCEPTABLE)


@published(source="common practice", where="a start capacitor slightly high is harmless; run sizes are not")
def test_microfarads_are_held_against_the_old_range() -> None:
    """Inside the range is the same, slightly high acceptable, a run size or far too high is no."""
    assert fits(START, {**GOOD, "stamp": "100 MFD 125 V"})["capacitance"] is MatchGrade.SAME
    assert fits(START, {**GOOD, "stamp": "108-130 MFD 125 V"})["capacitance"] is MatchGrade.ACCEPTABLE
    assert fits(START, {**GOOD, "stamp": "15 MFD 370 V"})["capacitance"] is MatchGrade.NO
    assert fits(START, {**GOOD, "stamp": "161-193 MFD 125 V"})["capacitance"] is MatchGrade.NO


def test_a_run_capacitor_never_stands_for_a_start_capacitor() -> None:
    """The wrong kind is no in both directions, whatever the figures."""
    assert match(START, {**GOOD, "kind": "run capacitor"}).fit is MatchGrade.NO
    run = demand(CSR, "replace run capacitor", {"run_capacitor": ["10 µF ±5 % 450 V"]})
    assert match(run, {"kind": "start", "stamp": "10 µF ±5 % 450 V"}).fit is MatchGrade.NO
    assert match(run, {"kind": "run", "stamp": "10 µF ±5 % 450 V"}).fit is MatchGrade.SAME


def test_a_missing_bleed_resistor_has_to_be_fitted() -> None:
    """A capacitor without the bleed resistor is acceptable only with one fixed across it."""
    line = next(
        each for each in match(START, {**GOOD, "bleed_resistor": False}).lines if "bleed" in each.name
    )
    assert line.fit is MatchGrade.ACCEPTABLE
    assert "same ohms and watts" in line.reason


@published(source="IEC 60252-1, from memory", where="classes of operation A to D; P0, P1, P2")
def test_classes_rank_and_scales_are_not_mixed() -> None:
    """A longer-lived class passes, a shorter-lived one does not, and marks of two scales are not compared."""
    old = "10 µF ±5 % 450 V P2; class of operation: B"
    run = demand(CSR, "replace run capacitor", {"run_capacitor": [old]})
    new = {"kind": "run", "stamp": "10 µF ±5 % 450 V"}
    assert fits(run, {**new, "class": "A", "protection": "P2"})["class"] is MatchGrade.ACCEPTABLE
    assert fits(run, {**new, "class": "C", "protection": "P2"})["class"] is MatchGrade.NO
    assert fits(run, {**new, "class": "B", "protection": "P1"})["protection"] is MatchGrade.NO
    assert fits(run, {**new, "class": "B", "protection": "S3"})["protection"] is MatchGrade.UNKNOWN


@published(source="IEC 60730-2-4", where="scope: tested together with its motor", printed_to="in words")
def test_another_protector_needs_the_makers_list() -> None:
    """A protector with another number is no, unless the compressor's maker lists it; a higher trip never."""
    old = {"overload_protector": ["OP-7; where it sits: common pin; trip current: 8 A"]}
    asked = demand(CSIR, "replace overload protector", old)
    new: dict[str, object] = {"number": "OP-8", "position": "common pin", "trip_amps": "8 A"}
    assert match(asked, new).fit is MatchGrade.NO
    assert match(asked, {**new, "listed": "yes"}).fit is MatchGrade.ACCEPTABLE
    assert match(asked, {**new, "listed": "yes", "trip_amps": 9}).fit is MatchGrade.NO
    assert match(asked, {**new, "number": "op-7"}).fit is MatchGrade.SAME


def test_a_relay_must_fit_the_compressors_current() -> None:
    """A relay that would not pick up below the locked current, or hold on at the running current, is no."""
    asked = demand(CSIR, "replace relay", {})
    assert fits(asked, {"pick_up": "8-9 A"})["pick_up"] is MatchGrade.ACCEPTABLE
    assert fits(asked, {"pick_up": "13-15 A"})["pick_up"] is MatchGrade.NO
    assert fits(asked, {"drop_out": "1.2 A"})["drop_out"] is MatchGrade.NO


def test_a_potential_relay_keeps_its_pick_up() -> None:
    """A pick-up outside the old range is no, in it the same; a coil for less voltage is no."""
    old = {"potential_relay": ["PR-1; pick-up voltage, hot: 180-195 V; coil volts: 332 V"]}
    asked = demand(CSR, "replace relay", old)
    assert fits(asked, {"pick_up": "182-190 V"})["pick_up"] is MatchGrade.SAME
    assert fits(asked, {"pick_up": "260-280 V"})["pick_up"] is MatchGrade.NO
    assert fits(asked, {"coil_volts": 256})["coil_volts"] is MatchGrade.NO


def test_a_starter_keeps_ohms_and_volts() -> None:
    """A PTC starter within the tolerance of the old ohms passes; far off, or for fewer volts, is no."""
    machine = Machine.of("rsir-ptc", "external", Nameplate(230.0, 50.0))
    asked = demand(machine, "replace starter", {"ptc": ["ohms: 22 Ω; voltage: 265 V"]})
    assert fits(asked, {"ohms": "20 Ω", "voltage": 300})["ohms"] is MatchGrade.SAME
    assert fits(asked, {"ohms": "4R7"})["ohms"] is MatchGrade.NO
    assert fits(asked, {"voltage": 180})["voltage"] is MatchGrade.NO


def test_a_compressor_keeps_refrigerant_range_and_supply() -> None:
    """Another refrigerant, range, supply or phase is no; its own start gear may come with it."""
    asked = demand(CSIR, "replace compressor", {COMPRESSOR: ["evaporating range: LBP; starting torque: LST"]})
    new: dict[str, object] = {
        "refrigerant": "R134a",
        "pressure_range": "low back pressure",
        "voltage": "110-120 V",
    }
    good = fits(asked, {**new, "start_torque": "HST", "start_arrangement": "RSIR", "hertz": "50/60 Hz"})
    assert [good[n] for n in ("refrigerant", "pressure_range", "voltage", "hertz")] == [MatchGrade.SAME] * 4
    assert good["start_torque"] is MatchGrade.ACCEPTABLE
    assert good["start_arrangement"] is MatchGrade.ACCEPTABLE
    bad = fits(asked, {"refrigerant": "R600a", "pressure_range": "HBP", "voltage": "220-240 V", "phase": 3})
    assert [bad[n] for n in ("refrigerant", "pressure_range", "voltage", "phase")] == [MatchGrade.NO] * 4


def test_what_nobody_read_proves_nothing() -> None:
    """A mark missing on either side leaves the answer open, with what to read, and never passes the part."""
    result = match(START, {"stamp": "88-108 MFD 125 VAC", "kind": "start"})
    assert result.fit is MatchGrade.UNKNOWN
    unread = match(demand(CSIR, "replace start capacitor", {}), GOOD)
    assert unread.fit is MatchGrade.UNKNOWN
    assert any("not read on the old part" in line.reason for line in unread.lines)


def test_an_unknown_mark_is_named() -> None:
    """A mark this kind of part does not have is refused with the nearest ones; nonsense is refused too."""
    with pytest.raises(Unknown, match="voltage"):
        match(START, {"voltag": "125 V"})
    with pytest.raises(Refused):
        match(START, {**GOOD, "voltage": "plenty"})
