"""One model of sound machines: what is known of one narrows every size of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import Unknown
from humclick.physics.nameplate import full_load_amps, locked_rotor_amps
from humclick.sizes.sound import (
    HORSEPOWER,
    SoundMachine,
    appliances,
    kind_of_refrigerant,
    sizes,
    sound_machine,
)
from humclick.sourced import Z95, Spread
from tests.published import published

WORDS = ("run capacitor", "no run capacitor", "start capacitor", "electronic", "no pill")
#: Sizes with a place in the joint distribution: all but those of the branch circuit.
JOINT = sound_machine(115.0).names
#: Horsepower of NEC Table 430.248. [hp]
POWERS = (1 / 6, 1 / 4, 1 / 3, 1 / 2, 3 / 4, 1.0, 1.5, 2.0, 3.0, 5.0)

plates = st.tuples(st.sampled_from((115.0, 230.0)), st.sampled_from((50.0, 60.0)))
words = st.sets(st.sampled_from(WORDS))
powers = st.floats(0.05, 5.0)


def exactly(value: float) -> Spread:
    """A size read without doubt."""
    return Spread(value, 1.0)


def within(machine: SoundMachine, name: str, value: float, times: float = 1.0) -> bool:
    """Whether a value lies within what 95 of 100 sound machines have, or some times that."""
    size = machine.size(name)
    return abs(math.log(value / size.median)) <= times * math.log(size.factor)


@published(source="NEC Table 430.248", where="1/6 to 5 hp, 115 and 230 V", printed_to="order of size")
@pytest.mark.parametrize("volts", [115.0, 230.0])
@pytest.mark.parametrize("horsepower", POWERS)
def test_running_amps_are_of_the_codes_order(horsepower: float, volts: float) -> None:
    """The table's full-load amps, which yield to a hermetic plate, lie within the model's range."""
    machine = sound_machine(volts, 60.0, (), {HORSEPOWER: exactly(horsepower)})
    assert within(machine, "rated_load_amps", full_load_amps(horsepower, volts))


@published(source="NEC Table 430.7(B)", where="letters C, E, N and R", printed_to="order of size")
@pytest.mark.parametrize("volts", [115.0, 230.0])
@pytest.mark.parametrize("horsepower", POWERS)
def test_locked_amps_lie_among_the_code_letters(horsepower: float, volts: float) -> None:
    """95 of 100 machines lie between letters C and R, and the middle between E and N."""
    size = sound_machine(volts, 60.0, (), {HORSEPOWER: exactly(horsepower)}).size("locked_rotor_amps")
    lowest, _ = locked_rotor_amps("C", horsepower, volts)
    _, highest = locked_rotor_amps("R", horsepower, volts)
    assert lowest < size.median / size.factor < size.median * size.factor < highest * 1.25
    assert locked_rotor_amps("E", horsepower, volts)[0] < size.median
    assert size.median < locked_rotor_amps("N", horsepower, volts)[1]


@published(source="NEC 430.251(A)", where="six times full-load amps, 1/2 to 5 hp", printed_to="order of size")
@pytest.mark.parametrize("horsepower", POWERS[3:])
def test_locked_amps_lie_about_four_to_eight_times_running_amps(horsepower: float) -> None:
    """What machines have is below what the code sizes switches for, and within a factor of two of it."""
    machine = sound_machine(230.0, 60.0, (), {HORSEPOWER: exactly(horsepower)})
    table = 6.0 * full_load_amps(horsepower, 230.0)
    assert 0.5 * table < machine.size("locked_rotor_amps").median < table
    assert 4.0 < machine.size("locked_rotor_amps").median / machine.size("rated_load_amps").median < 8.0


@published(
    source="Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery",
    where="1/4-hp capacitor-start motor, 110 V: 2.02 Ω and 7.14 Ω, 14.2 to 21.9 A locked",
    printed_to="within the range",
)
@pytest.mark.parametrize("amps", [14.17, 17.49, 21.85])
def test_a_textbook_motor_is_one_of_the_sound_machines(amps: float) -> None:
    """Whatever current its plate were to show, its windings lie within what 95 of 100 have."""
    machine = sound_machine(110.0, 60.0, ("start capacitor",), {"locked_rotor_amps": exactly(amps)})
    assert within(machine, "run_ohms", 2.02)
    assert within(machine, "start_ohms", 7.14)


@published(
    source="Fitzgerald, Kingsley, Umans, Electric Machinery",
    where="Ex. 9.1: 177 µF start; 120 V capacitor motor: 41.3 µF run, 500 W out",
    printed_to="within the range",
)
def test_textbook_capacitors_are_of_the_models_order() -> None:
    """A 1/4 hp motor's start capacitor, and a 2/3 hp capacitor motor's run capacitor."""
    start = sound_machine(115.0, 60.0, ("start capacitor",), {HORSEPOWER: exactly(0.25)})
    run = sound_machine(120.0, 60.0, ("run capacitor",), {HORSEPOWER: exactly(500.0 / 746.0)})
    assert within(start, "start_farads", 177e-6)
    assert within(run, "run_farads", 41.3e-6)


@published(
    source="common practice", where="cold sizes of small 115 V machines", printed_to="within the range"
)
def test_what_the_trade_takes_as_good_is_a_sound_machines() -> None:
    """Pills of 4.7, 4.9 and 7.5 Ω, protectors of 0.1 to 0.3 Ω, a start capacitor marked 15 µF."""
    machine = sound_machine(115.0, 60.0, ("start capacitor", "no run capacitor"))
    small = sound_machine(115.0, 60.0, ("start capacitor",), {"locked_rotor_amps": exactly(12.0)})
    assert all(within(small, "pill_ohms", ohms) for ohms in (4.7, 4.9, 7.5))
    assert all(within(small, "protector_ohms", ohms) for ohms in (0.1, 0.3))
    assert within(machine, "start_farads", 14.84e-6, 1.32)
    assert within(small, "start_farads", 15.41e-6, 1.32)


@given(plates, words, powers)
def test_a_stronger_machine_has_more_amps_and_farads_and_fewer_ohms(
    plate: tuple[float, float], true: set[str], horsepower: float
) -> None:
    """Twice the power: more amps, more microfarads, more breaker; fewer ohms of windings, coil and wire."""
    weak, strong = (
        sound_machine(*plate, true, {HORSEPOWER: exactly(power)}) for power in (horsepower, 2.0 * horsepower)
    )
    for name in ("locked_rotor_amps", "rated_load_amps", "cooling", "run_farads", "start_farads"):
        assert strong.size(name).median > 1.3 * weak.size(name).median
    for name in ("run_ohms", "start_ohms", "coil_ohms", "protector_ohms"):
        assert strong.size(name).median < weak.size(name).median
    assert strong.size("breaker_trip").median >= weak.size("breaker_trip").median
    assert strong.size("conductor_ohms").median <= weak.size("conductor_ohms").median


@given(plates, words, powers, st.sampled_from(JOINT), st.floats(1.0, 2.0))
def test_what_is_known_narrows_every_size_and_widens_none(
    plate: tuple[float, float], true: set[str], share: float, name: str, factor: float
) -> None:
    """However well a size is known, no other is known worse for it."""
    machine = sound_machine(*plate, true)
    told = machine.given(name, Spread(machine.size(name).median * share, factor))
    for other in JOINT:
        assert told.size(other).factor <= machine.size(other).factor * (1.0 + 1e-9)


@given(plates, words, st.permutations(["locked_rotor_amps", "run_farads", "cooling"]))
def test_the_order_of_what_is_known_does_not_matter(
    plate: tuple[float, float], true: set[str], order: list[str]
) -> None:
    """Plate, stamp and list in any order give the same machine."""
    known = {"locked_rotor_amps": 20.0, "run_farads": 1.5e-5, "cooling": 800.0}
    one = sound_machine(*plate, true)
    for name in order:
        one = one.given(name, Spread(known[name], 1.1))
    other = sound_machine(*plate, true, {name: Spread(x, 1.1) for name, x in known.items()})
    for name in sizes():
        assert one.size(name).median == pytest.approx(other.size(name).median, rel=1e-6)
        assert one.size(name).factor == pytest.approx(other.size(name).factor, rel=1e-6)


def test_known_sizes_follow_the_conditional_normal_distribution() -> None:
    """Mean and covariance are those of numpy's matrices."""
    machine = sound_machine(230.0, 60.0, ("run capacitor",))
    sigma = np.array([machine.size(n).sigma for n in JOINT])
    rho = np.array([[machine.correlation(a, b) for b in JOINT] for a in JOINT])
    mean, cov = np.array([machine.size(n).mu for n in JOINT]), rho * np.outer(sigma, sigma)
    seen = [JOINT.index("locked_rotor_amps"), JOINT.index("run_farads")]
    values = np.log([61.0, 45e-6])
    gain = cov[:, seen] @ np.linalg.inv(cov[np.ix_(seen, seen)])
    wanted, left = mean + gain @ (values - mean[seen]), cov - gain @ cov[seen]
    known = {"locked_rotor_amps": exactly(61.0), "run_farads": exactly(45e-6)}
    told = sound_machine(230.0, 60.0, ("run capacitor",), known)
    for at, name in enumerate(JOINT):
        if at not in seen:
            assert told.size(name).mu == pytest.approx(wanted[at], abs=1e-3)
            assert told.size(name).sigma == pytest.approx(math.sqrt(left[at, at]), abs=1e-3)


@given(plates, words, powers)
def test_a_breaker_carries_its_machine(plate: tuple[float, float], true: set[str], horsepower: float) -> None:
    """No smaller than the code's 175 % of running amps, and its magnetic trip lies above locked amps."""
    machine = sound_machine(*plate, true, {HORSEPOWER: exactly(horsepower)})
    assert machine.branch_amps >= 1.75 * machine.size("rated_load_amps").median - 1e-9
    trip = machine.size("breaker_trip")
    assert trip.median > 1.5 * machine.size("locked_rotor_amps").median
    drop = 2.0 * machine.size("conductor_ohms").median * machine.size("locked_rotor_amps").median
    assert drop < 0.15 * plate[0]


@pytest.mark.parametrize(
    ("volts", "words", "ohms"),
    [
        (230.0, ("run capacitor", "no pill"), (0.9, 2.6)),
        (230.0, ("run capacitor", "no pill"), (1.6, 4.9)),
        (230.0, ("run capacitor", "no pill"), (0.9, 2.2)),
        (230.0, ("no run capacitor",), (16.0, 22.0)),
        (115.0, ("no run capacitor",), (4.5, 6.0)),
    ],
)
def test_ordinary_windings_are_those_of_some_sound_machine(
    volts: float, words: tuple[str, ...], ohms: tuple[float, float]
) -> None:
    """Run and start winding together, with nothing of the plate but its volts."""
    machine = sound_machine(volts, 60.0, words)
    assert within(machine, "run_ohms", ohms[0])
    assert within(machine.given("run_ohms", exactly(ohms[0])), "start_ohms", ohms[1])


def test_a_large_air_conditioner_has_a_large_run_capacitor() -> None:
    """With 61 A on the plate 45 µF are as usual, and 118 A take some fifty."""
    for amps, microfarads in ((61.0, 45.0), (118.0, 55.0), (140.0, 70.0)):
        known = {"locked_rotor_amps": exactly(amps)}
        assert within(sound_machine(230.0, 60.0, ("run capacitor",), known), "run_farads", microfarads * 1e-6)


def test_the_refrigerant_says_what_machine_it_is() -> None:
    """Isobutane is met in small machines, R-410A in large ones, and R-134a in both."""
    medians = [
        sound_machine(230.0, 60.0, (kind_of_refrigerant([number]),)).size(HORSEPOWER).median
        for number in ("R600A", "R134A", "R410A")
    ]
    assert medians == sorted(medians)
    assert len(set(medians)) == 3


def test_sizes_nobody_knows_are_refused() -> None:
    """A name that is none is told, with those that are."""
    with pytest.raises(Unknown, match="locked_rotor_amps"):
        sound_machine(115.0, 60.0, (), {"locked_amps": exactly(12.0)})
    with pytest.raises(Unknown, match="run_ohms"):
        sound_machine(115.0).size("run_ohm")


def test_a_factor_holds_95_of_100() -> None:
    """Drawn from the joint distribution, 95 of 100 machines lie within the factor of a size."""
    machine = sound_machine(230.0)
    sigma = machine.size("run_ohms").sigma
    drawn = np.random.default_rng(1).standard_normal(20_000) * sigma
    inside = np.abs(drawn) <= math.log(machine.size("run_ohms").factor)
    assert float(inside.mean()) == pytest.approx(0.95, abs=0.01)
    assert sigma == pytest.approx(math.log(machine.size("run_ohms").factor) / Z95)


# -- kinds of appliance --------------------------------------------------------------------------------------


@pytest.mark.parametrize("volts", [115.0, 230.0])
@pytest.mark.parametrize("name", appliances())
def test_the_kind_of_appliance_narrows_every_size(name: str, volts: float) -> None:
    """What stands there leaves less open than volts alone do, and says nothing once the size is known."""
    known, unknown = sound_machine(volts, 60.0, [name]), sound_machine(volts, 60.0)
    for size in (HORSEPOWER, "locked_rotor_amps", "rated_load_amps", "cooling"):
        assert known.size(size).factor < unknown.size(size).factor
    given_power = {HORSEPOWER: exactly(0.5)}
    told, untold = (sound_machine(volts, 60.0, words, given_power) for words in ([name], []))
    assert told.size("locked_rotor_amps").median == pytest.approx(
        untold.size("locked_rotor_amps").median, rel=1e-3
    )


@published(source="common practice", where="plates of kinds of appliance", printed_to="order of size")
@pytest.mark.parametrize(
    ("name", "volts", "amps"),
    [
        ("refrigerator", 115.0, 1.2),
        ("cooler", 115.0, 1.1),
        ("dehumidifier", 115.0, 3.5),
        ("display", 115.0, 4.0),
        ("reach-in", 115.0, 5.5),
        ("ice", 115.0, 9.0),
        ("walk-in", 230.0, 9.0),
        ("room-unit", 115.0, 8.0),
        ("outdoor-unit", 230.0, 14.0),
    ],
)
def test_running_amps_of_each_kind_are_those_of_its_plates(name: str, volts: float, amps: float) -> None:
    """From memory: running amps that such a machine's plate often shows."""
    assert within(sound_machine(volts, 60.0, [name]), "rated_load_amps", amps)


def test_larger_appliances_are_larger() -> None:
    """A household machine is weaker than one behind a bar, and that weaker than an outdoor unit."""
    order = ("cooler", "refrigerator", "display", "reach-in", "walk-in", "outdoor-unit")
    medians = [sound_machine(230.0, 60.0, [name]).size(HORSEPOWER).median for name in order]
    assert medians == sorted(medians)
