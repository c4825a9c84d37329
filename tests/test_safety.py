"""Gates, cautions and the discharge of capacitors."""

from __future__ import annotations

import math

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import OutOfRange, Unknown
from humclick.parts.family import families, family
from humclick.safety.discharge import discharges
from humclick.safety.facts import caution, cautions_for, hazard, hazards
from humclick.safety.gating import defer, energises, gate, gates, gates_for, invalidated_by
from humclick.safety.refrigerant import flammable, safety_class
from humclick.sourced import Spread
from tests.published import published

INSIDE = ("power-off-proved-dead", "capacitors-discharged")
LIVE = ("cover-on", "stand-clear")


def names(found: tuple[object, ...]) -> list[str]:
    return [str(each.name) for each in found]  # type: ignore[attr-defined]


def machine(name: str = "csir-current-relay", refrigerant: str = "R134a", **plate: object) -> Machine:
    return Machine.of(name, nameplate=Nameplate(refrigerant=refrigerant, **plate))  # type: ignore[arg-type]


def test_every_text_has_a_source_and_steps() -> None:
    """Every gate has steps, a reason, a source and says how long it holds; every fact has a source."""
    for each in gates().values():
        assert len(each.steps) >= 3
        assert each.why
        assert each.source
        assert each.lasts
    for fact in (*hazards(), caution("never-bypass"), hazard("tester-vacuum")):
        assert fact.plain
        assert fact.source
    assert defer().startswith("Codes")


def test_every_gate_a_part_names_exists() -> None:
    """Every gate named by a part's test or look is a gate of the safety file."""
    every = [family(kind) for kind in families()]
    named = {name for each in every for test in each.tests for name in test.gates}
    named |= {name for each in every for look in each.looks for name in look.gates}
    assert named
    assert named <= set(gates())


def test_unknown_names_are_refused_with_the_nearest() -> None:
    """A misspelt gate or caution is refused with the right spelling."""
    with pytest.raises(Unknown, match="power-off-proved-dead"):
        gate("power-of-proved-dead")
    with pytest.raises(Unknown, match="never-bypass"):
        caution("never-bypas")
    with pytest.raises(Unknown):
        gates_for(["nothing"], machine())


@published(source="ISO 817 safety classes, from memory", where="list of refrigerants")
@pytest.mark.parametrize(
    ("printed", "wanted"),
    [
        ("R600a", "A3"),
        ("R-290", "A3"),
        ("r 1270", "A3"),
        ("R441A", "A3"),
        ("isobutane (57 g)", "A3"),
        ("HC-600a", "A3"),
        ("R32", "A2L"),
        ("R-1234yf", "A2L"),
        ("R717", "B2L"),
        ("R134a", "A1"),
        ("134a", "A1"),
        ("R404A / R290", "A3"),
        ("R12", "A1"),
        ("R999", None),
        ("cold stuff", None),
        ("", None),
    ],
)
def test_refrigerants_as_printed_are_classed(printed: str, wanted: str | None) -> None:
    """Refrigerants are recognised as nameplates print them, and a flammable one among several wins."""
    assert safety_class(printed) == wanted


@pytest.mark.parametrize("printed", ["R600a", "R290", "R1270", "R441A", "R32", "R999", "propane", "?"])
def test_a_flammable_or_unknown_refrigerant_comes_first(printed: str) -> None:
    """With a flammable refrigerant, or one not in the list, its caution is the first gate of any probe."""
    assert flammable(printed)
    for probe in ((), INSIDE, LIVE):
        assert gates_for(probe, machine(refrigerant=printed))[0].name == "flammable-caution"


def test_no_flammable_caution_without_cause() -> None:
    """A refrigerant that does not burn asks for no caution; one not read is taken to burn until it is."""
    assert "flammable-caution" not in names(gates_for(INSIDE, machine(refrigerant="R134a")))
    assert "flammable-caution" in names(gates_for(INSIDE, machine(refrigerant="")))
    assert "refrigerant-not-read" in names(cautions_for(machine(refrigerant="")))
    assert names(cautions_for(machine(), breaker=True))[0] == "breaker-tripped"
    assert "refrigerant-not-listed" in names(cautions_for(machine(refrigerant="R999")))
    assert names(cautions_for(machine(refrigerant="R134a"))) == ["never-bypass"]


@pytest.mark.parametrize("name", arrangements())
def test_discharging_is_asked_for_exactly_where_there_is_a_capacitor(name: str) -> None:
    """The discharge gate stands before a probe only on a machine with a capacitor, one line for each."""
    bench = machine(name)
    capacitors = [p.id for p in bench.parts if p.family.name.endswith("capacitor")]
    found = gates_for(INSIDE, bench)
    assert ("capacitors-discharged" in names(found)) == bool(capacitors)
    assert [d.part for each in found for d in each.discharges] == capacitors


def test_gates_come_in_their_order() -> None:
    """Gates come in the order in which they are passed, whatever order the probe names them in."""
    found = gates_for(("stand-clear", "cover-on", *reversed(INSIDE)), machine(refrigerant="R290"))
    assert names(found) == ["flammable-caution", *INSIDE, *LIVE]


def test_an_inverter_machine_carries_its_warning() -> None:
    """On a machine fed by a board every probe begins with the warning never to put mains on its pins."""
    found = gates_for(INSIDE, machine("inverter-driven"))
    assert names(found)[0] == "inverter-caution"
    assert "inverter-caution" not in names(gates_for(INSIDE, machine()))
    assert arrangement("inverter-driven").caution


@published(source="NEC 460.6", where="50 V or less within 1 minute", printed_to="50 V, 60 s")
@pytest.mark.parametrize("volts", [115.0, 127.0, 230.0, 240.0])
@pytest.mark.parametrize("name", [name for name in arrangements() if arrangement(name).started])
def test_the_usual_resistor_makes_every_machine_safe_within_a_minute(name: str, volts: float) -> None:
    """The usual discharge resistor brings every capacitor of every arrangement below 50 V within a minute."""
    for each in discharges(machine(name, volts=volts, hertz=60.0)):
        assert each.discharge.safe_volts == 50.0
        assert 0 < each.discharge.seconds <= each.hold <= 60.0
        assert math.isclose(each.discharge.ohms, 10_000)


@published(
    source="recomputed: t = R C ln(crest / 50 V), E = C V² / 2",
    where="45 µF, 440 V marked, 10 kΩ",
    printed_to="3 digits",
)
def test_a_marked_capacitor_is_worked_out_exactly() -> None:
    """A capacitor whose size and voltage are read is worked out with them, not with typical values."""
    bench = Machine.of(
        "psc",
        nameplate=Nameplate(refrigerant="R134a"),
        known={"run_capacitor.capacitance": Spread(45e-6, 1.0, "F", "stamp")},
    )
    (only,) = discharges(bench, marked_volts={"run_capacitor": 440.0})
    assert only.stamped
    assert only.marked
    assert only.discharge.joules == pytest.approx(8.71, abs=0.005)
    assert only.discharge.seconds == pytest.approx(0.45 * math.log(440 * math.sqrt(2) / 50), rel=1e-12)
    assert "as stamped" in only.sentence
    (step,) = [
        s for s in gates_for(INSIDE, bench, marked_volts={"run_capacitor": 440.0})[1].steps if "45 µF" in s
    ]
    assert "8.7 J" in step


def test_a_useless_resistor_is_refused() -> None:
    """A resistor too small to be held is refused with one that would do."""
    with pytest.raises(OutOfRange, match="at least"):
        gates_for(INSIDE, machine("csir-current-relay", volts=230.0), ohms=1.0)


def test_power_ends_what_was_proved() -> None:
    """Closing the cover for power ends the dead gates, and proving dead ends the live ones."""
    assert invalidated_by(LIVE) == {*INSIDE, "dc-link-discharged"}
    assert invalidated_by(["power-off-proved-dead"]) == set(LIVE)
    assert invalidated_by(["flammable-caution"]) == frozenset()
    assert energises(LIVE)
    assert not energises(INSIDE)


@published(
    source="29 CFR 1910.333(b)(2); NFPA 70E 120 (from memory)", where="verification of deenergised parts"
)
def test_dead_is_proved_with_a_meter_proved_before_and_after() -> None:
    """Proving dead checks the meter on a live source before and after, and only then goes to ohms."""
    steps = gate("power-off-proved-dead").steps
    live = [i for i, step in enumerate(steps) if "live source" in step]
    measured = next(i for i, step in enumerate(steps) if "must be dead" in step)
    assert live[0] < measured < live[1]
    assert "ohms" in steps[-1]


def test_no_gate_advises_defeating_a_safety_device() -> None:
    """No text tells anyone to bridge a protector or to discharge with a screwdriver."""
    for each in gates().values():
        for step in each.steps:
            if "screwdriver" in step:
                assert "Never" in step
            assert "bypass" not in step
