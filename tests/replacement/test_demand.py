"""Demand: what a new part must match, from marks and nameplate, and what is still to be read."""

from __future__ import annotations

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import Refused
from humclick.messages import Message
from humclick.replacement.demand import COMPRESSOR, PartDemand, demand, demands, replaced_parts
from humclick.replacement.marks import MarkRule, read_marks, value_of
from tests.published import published

PLATE = Nameplate(115.0, 60.0, 12.0, 1.6, "R134a")
CSIR = Machine.of("csir-current-relay", "external", PLATE)
EVERY = [(name, protector) for name in arrangements() for protector in arrangement(name).protectors]


def texts(of: PartDemand) -> dict[str, str]:
    return {asked.rule.name: asked.text for asked in of.marks}


def rule(name: str, title: str, unit: str) -> MarkRule:
    return MarkRule(name, Message(title), Message("here"), Message("{value}"), "test", unit=unit)


@pytest.mark.parametrize(("name", "protector"), EVERY)
def test_every_part_that_is_replaced_has_a_demand(name: str, protector: str) -> None:
    """Every remedy of every arrangement that replaces something has marks, rules and sources for its part."""
    machine = Machine.of(name, protector)
    remedies = {p.remedy(mode) for p in machine.parts for mode in p.family.modes} - {""}
    wanted = {r for r in remedies if r.startswith("replace ")}
    found = demands(machine, sorted(remedies), {})
    assert wanted <= {each.remedy for each in found}
    for each in found:
        assert each.marks
        assert each.never
        assert all(rule.source and rule.text for rule in (*each.never, *each.may))
        assert all(asked.rule.source and asked.rule.where for asked in each.marks)
        assert all("{value}" not in asked.text for asked in each.marks)


def test_a_remedy_that_buys_nothing_is_refused() -> None:
    """Waiting or setting a control asks for no part, and the message says so."""
    assert replaced_parts(CSIR, "wait") == ()
    with pytest.raises(Refused, match="needs no new part"):
        demand(CSIR, "set control", {})


def test_a_capacitor_is_asked_for_by_its_stamp() -> None:
    """The stamp gives microfarads and volts; what it does not say is listed as still to be read."""
    found = demand(CSIR, "replace start capacitor", {"start_capacitor": ["88-108 MFD 110/125 VAC"]})
    said = texts(found)
    assert said["capacitance"].startswith("88 to 108 µF")
    assert said["voltage"] == "At least 125 V"
    assert [m.name for m in found.missing] == ["bleed_resistor"]
    assert found.missing[0].text.startswith("read this mark on the old part: bleed resistor – look for")
    assert "discharge" in found.before.casefold()


def test_nothing_read_asks_for_every_needed_mark() -> None:
    """Without a stamp each needed mark is asked for with where to find it, and none is made up."""
    found = demand(CSIR, "replace start capacitor", {})
    assert {m.name for m in found.missing} == {"capacitance", "voltage", "bleed_resistor"}
    assert texts(found)["voltage"] == "Not read yet: no less than on the old part"


@published(source="IEC 60730-2-4", where="scope: tested together with its motor", printed_to="in words")
def test_a_protector_is_matched_to_its_compressor() -> None:
    """A protector is asked for by number or the compressor maker's list, never by amps or a higher trip."""
    found = demand(CSIR, "replace overload protector", {"overload_protector": ["OP-7 (invented)"]})
    never = " ".join(rule.text for rule in found.never)
    assert "listed" not in texts(found)
    assert "OP-7 (invented), or the one the compressor's maker lists" in texts(found)["number"]
    assert "Never chosen by amps alone" in never
    assert "higher trip current" in never
    assert "Never bridged" in never


def test_a_built_in_protector_goes_with_the_starter() -> None:
    """Where the protector is built into the starter, the starter's demand carries the protector's rules."""
    machine = Machine.of("rsir-ptc", "integrated")
    found = demand(machine, "replace starter", {})
    assert replaced_parts(machine, "replace starter") == ("ptc", "overload_protector")
    assert found.title == "PTC starter with overload protector"
    assert "position" in texts(found)
    assert any("amps alone" in rule.text for rule in found.never)


def test_a_relay_is_asked_for_by_the_compressors_current() -> None:
    """A current relay's pick-up and drop-out are held against the plate; missing amps are asked for."""
    said = texts(demand(CSIR, "replace relay", {}))
    assert "below the compressor's locked-rotor amps (12 A)" in said["pick_up"]
    assert "above the compressor's running amps (1.6 A)" in said["drop_out"]
    bare = demand(Machine.of("csir-current-relay", "external"), "replace relay", {})
    assert {"pick_up", "drop_out"} <= {m.name for m in bare.missing}


def test_a_compressor_is_asked_for_by_what_the_system_needs() -> None:
    """A compressor's demand holds refrigerant, supply, amps, range, oil, stubs and start arrangement."""
    found = demand(CSIR, "replace compressor", {COMPRESSOR: ["oil: POE 22; evaporating range: LBP"]})
    said = texts(found)
    assert said["refrigerant"] == "R134a"
    assert said["voltage"] == "Made for 115 V"
    assert said["oil"].startswith("POE 22")
    assert said["pressure_range"] == "LBP"
    assert {"displacement", "connections", "cooling"} <= {m.name for m in found.missing}
    assert any("old start gear" in rule.text for rule in found.never)


def test_labelled_marks_and_bare_numbers_are_read() -> None:
    """Marks written with their name are read by it, a bare text is the part's number, the rest is kept."""
    found = demand(
        CSIR,
        "replace relay",
        {
            "current_relay": [
                "R-12 (invented); pick-up current: 7.5-8.5 A",
                "way up = arrow up",
                "burnt smell",
            ]
        },
    )
    said = texts(found)
    assert said["number"].startswith("R-12 (invented)")
    assert "7.5 to 8.5 A" in said["pick_up"]
    assert said["position"] == "Arrow up"
    assert found.noted == ("burnt smell",)


@pytest.mark.parametrize(
    ("text", "unit", "low", "high"),
    [
        ("180-195 V", "V", 180.0, 195.0),
        ("220…240 VAC", "V", 220.0, 240.0),
        ("50/60 Hz", "Hz", 50.0, 60.0),
        ("1/4 hp", "hp", 0.25, 0.25),
        ("4R7", "Ω", 4.7, 4.7),
        ("7,5 cc", "cm³", 7.5, 7.5),
        ("−20 to 5 °C", "°C", -20.0, 5.0),
        ("50 °F", "°C", 10.0, 10.0),
        ("up to 85 °C", "°C", 85.0, 85.0),
    ],
)
def test_marks_are_read_as_they_are_printed(text: str, unit: str, low: float, high: float) -> None:
    """Figures, ranges, fractions and units of marks are understood as parts carry them."""
    value = value_of(text, rule("m", "Mark", unit))
    assert value.low == pytest.approx(low)
    assert value.high == pytest.approx(high)


@pytest.mark.parametrize("text", ["", "high", "12 kg", "1/0 hp", "9" * 400])
def test_a_mark_that_cannot_be_read_is_refused(text: str) -> None:
    """A mark that is no figure in its unit is refused in words, never with a traceback."""
    unit = "hp" if "hp" in text else "V"
    with pytest.raises(Refused):
        value_of(text, rule("m", "Mark", unit))


def test_hostile_notes_are_kept_word_for_word() -> None:
    """Text that no mark understands is kept as it was written."""
    rules = [rule("voltage", "Rated voltage", "V")]
    found, left = read_marks(rules, ["voltage: <b>", "::;;\n", "rated voltage: 250 V"])
    assert left == ("voltage: <b>", "::")
    assert found["voltage"].high == 250.0
