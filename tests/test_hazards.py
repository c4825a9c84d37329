"""Every hazard is spoken where it bites: by a gate, with the probe, with the remedy, or of the machine."""

from __future__ import annotations

import importlib
import itertools
from collections.abc import Iterator
from dataclasses import replace

import pytest
from click.testing import CliRunner

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.probes import Probe, probes_of
from humclick.diagnosis.shop import default_shop
from humclick.errors import Unknown
from humclick.jobs.briefing import briefed, briefed_on, on_machine
from humclick.jobs.call import Call, ReadingKept
from humclick.jobs.events import UNTIMED, Opened
from humclick.meters import Quantity
from humclick.parts.family import family
from humclick.readings import PartTemperature, parse_reading
from humclick.replacement.demand import demands, replaced_parts
from humclick.safety.facts import hazard, hazards, met_at, met_by
from humclick.safety.gating import gate, gates, gates_for
from humclick.safety.place import PLACES, place_of
from humclick.safety.refrigerant import meaning, safety_class
from humclick.sourced import read_data
from tests.controls import CONTROLLED, controls
from tests.published import published

#: One refrigerant of every class, and one nobody read.
GASES = {
    "A1": "R134a",
    "A2L": "R32",
    "A2": "R152a",
    "A3": "R600a",
    "B1": "R123",
    "B2L": "R717",
    "B2": "R40",
    "B3": "R1140",
    "unknown": "",
}
MACHINES = [(name, guard) for name in arrangements() for guard in arrangement(name).protectors]
SHOP = default_shop()


def call(name: str, guard: str | None = None, gas: str = "R134a", place: str = "") -> Call:
    """A call on a machine on which nothing was done yet."""
    header = Opened(id="o", at=UNTIMED, place=place)
    return Call(header=header, machine=Machine.of(name, guard, Nameplate(refrigerant=gas)))


def bench(found: Call) -> Machine:
    assert found.machine is not None
    return found.machine


def may_be_powered(found: Call) -> Call:
    """The same call with all that is shown before power: looked over, ground and insulation read."""
    shown = (("proof.sight", "all as it should be"), ("earth.continuity", "0.1"), ("pins.shell", "OL"))
    readings = tuple(
        ReadingKept(
            event=name,
            at=UNTIMED,
            probe=name,
            text=value,
            reading=None if " " in value else parse_reading(value, Quantity.RESISTANCE),
            answer=value if " " in value else "",
            temperature=PartTemperature(),
            unproved=(),
            renewed=frozenset(),
        )
        for name, value in shown
        if name in probes_of(bench(found))
    )
    return replace(found, readings=readings)


def spoken_at(found: Call, probe: Probe) -> set[str]:
    """Hazards that a person hears of before a probe: from its gates, or with the probe itself."""
    names = {each.hazard.name for each in briefed((), may_be_powered(found), probe, SHOP).hazards}
    return names.union(*(each.hazards for each in found.gates_of(probe.gates)))


def every() -> Iterator[tuple[Call, Probe]]:
    """Every probe of every machine, with a gas that does not burn and one that does."""
    for (name, guard), gas in itertools.product(MACHINES, ("R134a", "R600a")):
        found = call(name, guard, gas)
        for probe in probes_of(bench(found)).values():
            yield found, probe


def bites(found: Call, probe: Probe) -> set[str]:
    """What a probe meets, told from what is done and not from the data of the hazards."""
    families = {part.id: part.family.name for part in bench(found).parts}
    on_pins = {
        "ptc",
        "current_relay",
        "overload_protector",
        "timed_starter",
        "low_loss_starter",
        "three_wires",
    }
    touched = families.get(probe.part, probe.part)
    wanted = set()
    if probe.live or "power-off-proved-dead" in probe.gates:
        wanted.add("line-voltage")
    if probe.quantity == "voltage":
        wanted.add("meter-arc")
    if probe.energises and probe.part != "control" and (probe.kind != "look" or probe.inside):
        wanted.add("pressurised-terminals")
    if probe.inside and any("capacitance" in part.family.sizes for part in bench(found).parts):
        wanted.add("charged-capacitor")
    named = probe.kind == "alike" and probe.pins is not None
    if named or probe.kind in ("pins", "shell", "known_good") or (probe.inside and touched in on_pins):
        wanted.add("gas-behind-pins")
    if probe.pins is not None or touched == "overload_protector" or probe.id == "mechanism.shell":
        wanted.add("hot-shell")
    if touched == "ptc" or (probe.pins is not None and "ptc" in families.values()):
        wanted.add("hot-pill")
    if probe.model.to_shell:
        wanted |= {"tester-voltage", "tester-vacuum"}
        electronic = any(part.family.electronic for part in bench(found).parts)
        wanted |= {"tester-electronics"} if electronic else set()
    if probe.id in ("mechanism.condenser", "fit.mechanism"):
        wanted.add("moving-fan")
    if safety_class(bench(found).nameplate.refrigerant) != "A1":
        wanted.add("flammable-refrigerant")
    return wanted


@controls(
    *("line-voltage", "meter-arc", "charged-capacitor", "pressurised-terminals", "gas-behind-pins"),
    *("hot-shell", "hot-pill", "flammable-refrigerant", "moving-fan"),
    *("tester-voltage", "tester-vacuum", "tester-electronics"),
)
def test_a_probe_speaks_every_hazard_its_steps_meet() -> None:
    """Over all machines and probes, whatever bites there is said by a gate of the probe or with it."""
    silent = {
        (bench(found).arrangement.id, probe.id, name)
        for found, probe in every()
        for name in (bites(found, probe) | {h.name for h in met_at(probe, bench(found))})
        - spoken_at(found, probe)
    }
    assert silent == set()


@controls(*(each.name for each in hazards()))
def test_no_hazard_is_mute() -> None:
    """Every hazard of the data is spoken by a probe, a remedy or of a machine somewhere."""
    heard = set().union(*(spoken_at(found, probe) for found, probe in every()))
    for (name, guard), gas in itertools.product(MACHINES, GASES.values()):
        found = call(name, guard, gas)
        heard |= {each.name for each in on_machine(found)}
        heard |= {each.hazard.name for each in briefed_on((), found, tuple(SHOP.remedies), SHOP).hazards}
        heard = heard.union(*(each.hazards for each in found.gates_of(())))
    assert {each.name for each in hazards()} - heard == set()


@controls("board-dc-bus")
def test_a_machine_fed_by_a_board_says_so() -> None:
    """An inverter-driven machine speaks its charge, whatever is done to it."""
    assert "board-dc-bus" in {each.name for each in met_by("", bench(call("inverter-driven")))}
    assert "inverter-caution" in {each.name for each in gates_for((), bench(call("inverter-driven")))}


@controls("brazing", "opened-circuit")
@pytest.mark.parametrize("place", ["", *PLACES])
@pytest.mark.parametrize(("kind", "gas"), GASES.items())
def test_opening_the_circuit_says_what_comes_out_and_who_may(kind: str, gas: str, place: str) -> None:
    """With the compressor's change stand its hazards, the class of the refrigerant and the certificate."""
    said = briefed_on((), call("rsir-ptc", gas=gas, place=place), ["replace compressor"], SHOP)
    assert {"opened-circuit", "brazing", "gas-behind-pins"} <= {each.hazard.name for each in said.hazards}
    assert said.refrigerant is not None
    assert said.refrigerant.name == kind
    assert said.certificate is not None
    assert said.certificate == place_of(place).rule("opened-circuit")
    assert said.certificate.certificate
    assert briefed_on((), call("rsir-ptc", gas=gas), ["replace starter"], SHOP).certificate is None


@controls("flammable-refrigerant", "toxic-refrigerant")
@pytest.mark.parametrize(("kind", "gas"), GASES.items())
def test_each_class_of_refrigerant_has_its_own_caution(kind: str, gas: str) -> None:
    """Flammable and unknown ones ask for no spark, toxic ones for a way out, and each says what it is."""
    found = gates_for((), bench(call("rsir-ptc", gas=gas)))
    names = [each.name for each in found]
    assert ("flammable-caution" in names) == (kind not in ("A1", "B1"))
    assert ("toxic-caution" in names) == kind.startswith("B")
    assert meaning(gas).name == kind
    assert all(each.said == meaning(gas).said for each in found)
    if kind != "A3":
        assert "2.1 %" not in " ".join(meaning(gas).said)
    if kind.startswith("B"):
        assert "poison" in meaning(gas).plain


@published(
    source="ASHRAE 34 and ISO 817, published safety classes, from memory",
    where="single substances and common blends",
)
@pytest.mark.parametrize(
    ("printed", "kind"),
    [
        *[(name, "A1") for name in ("R22", "R134a", "R404A", "R410A", "R744", "R1233zd(E)", "R513A")],
        *[(name, "A2L") for name in ("R32", "R143a", "R454B", "R454C", "R455A", "R1234yf", "R1234ze(E)")],
        *[(name, "A2") for name in ("R152a", "R142b", "R406A", "R415B")],
        *[(name, "A3") for name in ("R290", "R600a", "R600", "R1270", "R170", "R436A", "R441A", "RE170")],
        *[(name, "B1") for name in ("R123", "R245fa", "R514A", "R764", "sulfur dioxide")],
        *[("R717", "B2L"), ("ammonia", "B2L"), ("R40", "B2"), ("methyl chloride", "B2")],
    ],
)
def test_classes_are_those_of_the_standards(printed: str, kind: str) -> None:
    """Refrigerants have the safety class that the standards print."""
    assert safety_class(printed) == kind


def test_every_refrigerant_of_the_list_is_read_as_printed() -> None:
    """Each number of the list, printed as it stands there, gives the class under which it stands."""
    listed = read_data("humclick.safety", "refrigerants.toml")["class"]
    wrong = [
        (n, safety_class(n), kind) for kind, names in listed.items() for n in names if safety_class(n) != kind
    ]
    assert wrong == []


@published(
    source="ISO 817 annex B: lower flammability limits, from memory",
    where="R290 2.1, R600a 1.8, R32 14.4, R1234yf 6.2, R152a 4.8, R717 16.7 % in air",
    printed_to="2 digits",
)
@pytest.mark.parametrize(
    ("gas", "percent"),
    [("R290", 2.1), ("R600a", 1.8), ("R32", 14.4), ("R1234yf", 6.2), ("R152a", 4.8), ("R717", 16.7)],
)
def test_limits_by_mass_and_by_volume_agree(gas: str, percent: float) -> None:
    """The limit per cubic metre of the list is, by the gas law, the printed share of the air."""
    said = float(meaning(gas).limit.split("from ")[1].split(" %")[0])
    assert said == pytest.approx(percent, rel=0.04)


@published(source="IEC 61010-1 and 61010-031 (from memory)", where="measurement categories II and III")
@controls("meter-arc", "line-voltage")
def test_volts_are_measured_with_a_meter_fit_for_the_place() -> None:
    """Before any volts stand category, leads, jack, fingers and one hand; at an outlet nothing else."""
    for found, probe in every():
        wanted = probe.quantity == "voltage"
        meters = {"meter-for-line", "meter-for-dc"} & set(probe.gates)
        assert bool(meters) == wanted or probe.kind == "look", probe.id  # some look at volts too
        if probe.id == "supply.volts":
            assert [each.name for each in gates_for(probe.gates, bench(call("psc")))] == ["meter-for-line"]
            assert not found.gates_of(probe.gates)[-1].energises
    text = " ".join(gate("meter-for-line").steps)
    for word in ("CAT II 300 V", "CAT III 300 V", "amps jack", "guards", "One hand"):
        assert word in text
    assert "cover" not in text.casefold()


@controls("line-voltage")
@pytest.mark.parametrize("place", ["", *PLACES])
def test_dead_is_proved_with_hands_and_eyes_protected_everywhere(place: str) -> None:
    """Proving dead is live work until proved: gloves and eyes first, the tester before and after."""
    (found,) = gates_for(["power-off-proved-dead"], bench(call("rsir-ptc")), place=place)
    worn = next(i for i, step in enumerate(found.steps) if "gloves" in step and "Eye protection" in step)
    measured = next(i for i, step in enumerate(found.steps) if "must be dead" in step)
    proved = [i for i, step in enumerate(found.steps) if step.startswith("Prove")]
    assert worn < measured
    assert proved[0] < measured < proved[1]
    assert len(found.steps) == len(found.ticks)


def test_every_place_decides_the_same_matters_with_sources() -> None:
    """Each place has every rule and figure of the strictest, which is nowhere laxer than any."""
    common = place_of("")
    for name in PLACES:
        place = place_of(name)
        assert set(place.rules) == set(common.rules)
        assert set(common.figures) <= set(place.figures)
        assert all(rule.source for rule in place.rules.values())
        assert set(place.gates) <= set(gates())
        assert common.figures["ground_ohms"].value <= place.figures["ground_ohms"].value
        assert common.figures["insulation_ohms"].value >= place.figures["insulation_ohms"].value
        assert common.figures["touch_amps"].value <= place.figures["touch_amps"].value
    assert place_of("atlantis") == common


@published(source="IEC 60335-2-24, -2-40 and -2-89 (from memory)", where="parts that may arc or glow")
@controls("flammable-refrigerant")
@pytest.mark.parametrize(("kind", "gas"), GASES.items())
def test_a_new_switching_part_is_fit_for_a_gas_that_burns(kind: str, gas: str) -> None:
    """What switches is to be listed or sealed where the gas burns or is not known, and only there."""
    switching = {
        "ptc", "current_relay", "potential_relay", "timed_starter", "overload_protector", "control",
        "three_poles", "thermal_overload",
    }  # fmt: skip
    for name, guard in MACHINES:
        machine = bench(call(name, guard, gas))
        for asked in demands(machine, SHOP.remedies, {}):
            bought = replaced_parts(machine, asked.remedy)
            parts = {p.id: p.family.name for p in machine.parts}
            switches = any(parts.get(part) in switching for part in bought)
            must = [each for each in asked.marks if each.rule.name == "flammable"]
            assert bool(must) == (switches and kind not in ("A1", "B1")), (name, asked.remedy)
            assert all("isted or sealed" in each.text for each in must)


def test_an_old_part_that_was_wrong_does_not_lower_what_is_asked() -> None:
    """What stands on the old part never takes the mark away."""
    machine = bench(call("rsir-ptc", gas="R600a"))
    (asked,) = demands(machine, ["replace starter"], {"ptc": ["flammable: no"]})
    (must,) = [each for each in asked.marks if each.rule.name == "flammable"]
    assert must.value is not None
    assert must.value.text == "yes"


def test_looks_do_not_send_anyone_to_a_hot_or_live_part() -> None:
    """The starter cools before it is shaken; condenser and control are judged with the plug out."""
    looks = {
        (name, look.name): look for name in ("ptc", "mechanism", "control") for look in family(name).looks
    }
    assert "cool" in looks["ptc", "shake"].question
    assert "ear" not in looks["ptc", "shake"].question.split()
    for place in (("mechanism", "condenser"), ("control", "range")):
        assert looks[place].question.startswith("Unplug the unit")


@controls("tester-vacuum")
def test_the_insulation_command_says_not_under_vacuum() -> None:
    """Judging an insulation reading at the command line repeats when none may be taken."""
    from humclick.cli.main import main

    said = CliRunner().invoke(main, ["work", "insulation", "--ohms", "30M", "--at", "20C"]).output
    assert " ".join(hazard("tester-vacuum").plain.split()) in " ".join(said.split())


def test_every_hazard_has_a_test_of_its_control() -> None:
    """The register names, for every hazard, tests that exist."""
    assert set(CONTROLLED) == {each.name for each in hazards()}
    for names in CONTROLLED.values():
        for name in names:
            module, _, test = name.rpartition(".")
            assert callable(getattr(importlib.import_module(module), test))


def test_a_hazard_that_does_not_exist_is_refused() -> None:
    """A misspelt hazard is answered with the nearest."""
    with pytest.raises(Unknown, match="hot-pill"):
        hazard("hot-pil")
