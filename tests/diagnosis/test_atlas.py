"""
The whole axis of every reading: what is said of it never calls healthy what no healthy part reads.

Every kind of part test, the pins and the volts are swept from a milliohm to a gigaohm, over 500 V and from a
nanofarad to a millifarad, in a machine of which nothing else is known.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.observations.model import Probe, Says
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.readings import PartTemperature, parse_reading
from humclick.sourced import Spread

COLD = PartTemperature("cold")
#: Values as they are typed, rising. [Ω], [V], [µF]
AXIS = {
    "resistance": tuple(
        f"{digits}{unit}"
        for unit in ("", "k", "M")
        for digits in ("0.1", "0.2", "0.5", "1.0", "2.0", "5.0", "10.0", "20.0", "50.0", "100", "200", "500")
        if not (unit and digits.startswith("0"))
    ),
    "voltage": tuple(
        f"{v}.0 V" for v in (2, 5, 12, 30, 60, 80, 90, 100, 110, 116, 122, 130, 150, 200, 240, 400)
    ),
    "capacitance": tuple(
        f"{v} uF" for v in ("0.001", "0.01", "0.1", "0.5", "1.0", "3.0", "6.0", "10.0", "15.0")
    )
    + tuple(f"{v}.0 uF" for v in (20, 30, 50, 70, 90, 110, 130, 150, 200, 300, 500, 1000)),
}


def machine(name: str) -> Machine:
    """A small machine whose plate and stamps are read."""
    kind = arrangement(name)
    plain = Machine.of(name, kind.protectors[0], Nameplate(115.0, 60.0, 8.4), {})
    usual = {p.id: plain.size(p.id, "capacitance") for p in plain.parts if "capacitance" in p.family.sizes}
    stamps = {f"{part}.capacitance": Spread(size.median, 1.1) for part, size in usual.items()}
    return Machine.of(name, plain.protector, plain.nameplate, stamps)


def swept(name: str) -> Iterator[Probe]:
    """Measurements of single parts, of the pins and of volts at rest, that no other machine before had."""
    for probe in probes_of(machine(name)).values():
        if probe.quantity in AXIS and not probe.id.startswith("supply.volts_start"):
            yield probe


JUDGED = [name for name in arrangements() if arrangement(name).started]
CASES = {
    (probe.id, probe.title): (name, probe.id)
    for name in reversed(JUDGED)
    for probe in swept(name)
    if probe.part
}


@cache
def said(name: str, probe: str, text: str) -> Finding:
    quantity = Quantity(probes_of(machine(name))[probe].quantity)
    seen = Observation(probe, parse_reading(text, quantity), temperature=COLD)
    return findings(Situation(machine(name), Heard.HUM_CLICK, (seen,)))[0]


@pytest.mark.parametrize(("name", "probe"), sorted(CASES.values()))
def test_what_reads_healthy_is_one_stretch_of_the_axis(name: str, probe: str) -> None:
    """Away from the healthy range on either side it is never said to read healthy again."""
    quantity = probes_of(machine(name))[probe].quantity
    good = [k for k, text in enumerate(AXIS[quantity]) if said(name, probe, text).says is Says.GOOD]
    assert good == list(range(good[0], good[-1] + 1)) if good else True
    assert len(good) < len(AXIS[quantity]) / 2


@pytest.mark.parametrize(("name", "probe"), sorted(CASES.values()))
def test_every_value_has_a_finding_that_says_one_of_four(name: str, probe: str) -> None:
    """A sentence stands for each, and it warns where it is not good."""
    for text in AXIS[probes_of(machine(name))[probe].quantity]:
        finding = said(name, probe, text)
        assert finding.text
        assert finding.warns == (finding.says is not Says.GOOD)


@pytest.mark.parametrize(
    ("probe", "texts"),
    [
        ("overload_protector.ohms", ("600k", "5M", "5.0M")),
        ("earth.continuity", ("5M", "5.0M")),
        ("supply.cord", ("600", "60k", "60.0k")),
        ("pins.C-S", ("0.0", "0.4", "6.8k")),
        ("supply.volts", ("60 V", "240 V")),
    ],
)
def test_what_no_condition_reads_is_said_so(probe: str, texts: tuple[str, ...]) -> None:
    """Between two modes and beyond them the reading is doubted, never called healthy or a fault."""
    for text in texts:
        finding = said("rsir-ptc", probe, text)
        assert finding.says is Says.UNKNOWN, (text, finding.text)
        assert "Read it again" in finding.text


@pytest.mark.parametrize(("short", "long"), [("5", "5.0"), ("5", "5.00"), ("12", "12.0"), ("2k", "2.000k")])
@pytest.mark.parametrize("probe", ["ptc.ohms", "overload_protector.ohms", "pins.C-S", "pins.C-R"])
def test_trailing_zeros_turn_nothing(probe: str, short: str, long: str) -> None:
    """A value written with more zeros says the same."""
    assert said("rsir-ptc", probe, short).says is said("rsir-ptc", probe, long).says


def test_a_pill_that_reads_as_a_warm_one_is_to_cool() -> None:
    """Said to be cold and reading kilohms: neither healthy nor broken before it has cooled."""
    finding = said("rsir-ptc", "ptc.ohms", "5k")
    assert finding.says is Says.UNCLEAR
    assert "cool" in finding.text or "still warm" in finding.text


@pytest.mark.parametrize(("volts", "sound"), [(115.0, "100"), (230.0, "100")])
def test_a_capacitor_at_any_share_of_its_stamp_is_told_from_a_slip(volts: float, sound: str) -> None:
    """From a hundredth of its stamp to two thirds it is bad, whatever is left of it."""
    kind = arrangement("csir-current-relay")
    stamp = {"start_capacitor.capacitance": Spread(97.5e-6, 1.108, "F")}
    built = Machine.of(kind.id, kind.protectors[0], Nameplate(volts, 60.0), stamp)
    for text in ("0.3 uF", "1.0 uF", "3.1 uF", "9.0 uF", "15.0 uF", "30.0 uF", "60.0 uF"):
        seen = Observation("start_capacitor.farads", parse_reading(text, Quantity.CAPACITANCE))
        finding = findings(Situation(built, Heard.HUM, (seen,)))[0]
        assert finding.says is Says.BAD, (text, finding.text)
    seen = Observation("start_capacitor.farads", parse_reading(f"{sound} uF", Quantity.CAPACITANCE))
    assert findings(Situation(built, Heard.HUM, (seen,)))[0].says is Says.GOOD
