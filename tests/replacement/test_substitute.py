"""Substitutes: what starts as before, what does not, and that protection is never given up."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import Refused, Unknown
from humclick.parts.family import Role
from humclick.replacement.fitting import fit_part
from humclick.replacement.marks import family_rules, read_marks
from humclick.replacement.match import MatchGrade, MatchLine
from humclick.replacement.substitute import Substitution, described, runs_of, try_substitute
from humclick.replacement.trials import trial_conditions
from humclick.start.at_hand import at_hand
from humclick.start.case import CurrentRelay, Ptc
from humclick.start.estimate import Estimate, estimate
from humclick.start.fit import start_case

PLATE = Nameplate(115.0, 60.0, 12.0, 1.8)
FEW = 4
CAPACITOR = ("88-108 MFD 165 VAC", "bleed resistor: yes")
PROTECTOR = ("X 4711", "trip_amps: 5.5; trip_temperature: 120 C; reset: manual")


def known(arrangement: str, part: str, old: tuple[str, ...], protector: str) -> tuple[Machine, Estimate]:
    """An invented machine with its windings measured, and what is known of its motor."""
    machine = described(Machine.of(arrangement, protector, PLATE), part, old)
    return machine, estimate(at_hand(machine, run_ohms=3.4, start_ohms=11.2))


@cache
def tried(
    arrangement: str, part: str, new: str, old: tuple[str, ...] = (), protector: str = "external"
) -> Substitution:
    """A substitute tried on a few machines."""
    return try_substitute(*known(arrangement, part, old, protector), part, new, old, n=FEW)


def finding(told: Substitution, name: str) -> MatchLine:
    """One finding by name."""
    return next(each for each in told.findings if each.name == name)


def test_the_same_part_is_the_same() -> None:
    """A part with the old one's marks is answered "same", with every number equal."""
    told = tried("csir-current-relay", "start_capacitor", "; ".join(CAPACITOR), CAPACITOR)
    assert told.fit is MatchGrade.SAME
    assert all(each.old == each.new for each in told.findings)
    assert all(each.old == each.new for each in told.starts)
    assert len(told.starts) == len(trial_conditions()) == 12


def test_a_run_capacitor_does_not_start_it() -> None:
    """A capacitor of run size in the start capacitor's place is refused: fewer machines start."""
    told = tried("csir-current-relay", "start_capacitor", "15 uF 370 VAC", CAPACITOR)
    assert told.fit is MatchGrade.NO
    assert finding(told, "starts").fit is MatchGrade.NO
    assert sum(each.new for each in told.starts) < sum(each.old for each in told.starts)


def test_a_lower_rating_bursts() -> None:
    """The same microfarads at too few rated volts is refused by its mark and by the volts across it."""
    told = tried("csir-current-relay", "start_capacitor", "88-108 MFD 110 VAC", CAPACITOR)
    assert told.fit is MatchGrade.NO
    assert finding(told, "start_volts").fit is MatchGrade.NO
    assert "rated 110 V" in finding(told, "start_volts").reason
    assert next(line for line in told.marks if line.name == "voltage").fit is MatchGrade.NO
    assert "Bleed resistor (new part)" in [mark.title for mark in told.read]


def test_a_part_as_stressed_as_the_old_one_is_the_same() -> None:
    """Marks like the old one's are "the same" even where the old rating was hardly enough."""
    low = ("88-108 MFD 110 VAC", "bleed resistor: yes")
    told = tried("csir-current-relay", "start_capacitor", "; ".join(low), low)
    assert finding(told, "start_volts").fit is MatchGrade.SAME
    assert "no more than on the old" in finding(told, "start_volts").reason


def test_a_pill_of_more_ohms_is_told_with_its_differences() -> None:
    """A pill of twice the ohms lets go sooner, warms the winding less, and is never called the same."""
    told = tried("rsir-ptc", "ptc", "ohms: 10; voltage: 180", ("ohms: 5; voltage: 180",))
    assert told.fit is not MatchGrade.SAME
    release = finding(told, "release")
    assert "sooner" in release.reason
    assert float(release.new.split()[0]) < float(release.old.split()[0])
    heat = finding(told, "start_heat")
    assert float(heat.new.split()[0]) < float(heat.old.split()[0])


def test_a_relay_that_never_lifts_starts_nothing() -> None:
    """A pick-up above the locked-rotor amps is refused by the plate and starts no machine."""
    told = tried("rsir-current-relay", "current_relay", "pick_up: 14 A; drop_out: 12 A", ())
    assert told.fit is MatchGrade.NO
    assert all(each.new == 0 for each in told.starts)
    assert "below the plate's 12 A" in told.sentence


def test_a_relay_that_never_falls_burns_the_winding() -> None:
    """A drop-out below the running amps is refused: the start winding is never let go."""
    told = tried("rsir-current-relay", "current_relay", "pick_up: 2 A; drop_out: 1.2 A", ())
    assert told.fit is MatchGrade.NO
    assert finding(told, "unreleased").fit is MatchGrade.NO


def test_unread_marks_are_asked_for() -> None:
    """Where the old relay's voltages were not read nothing is approved, and the marks are named first."""
    told = tried(
        "csr-potential-relay", "potential_relay", "pick_up: 160-170 V; drop_out: 40-90 V; coil_volts: 256"
    )
    assert told.fit in (MatchGrade.UNKNOWN, MatchGrade.NO)
    assert [mark.name for mark in told.read[:2]] == ["pick_up", "drop_out"]
    assert "old" in told.read[0].title
    assert any("one usual for this compressor" in each for each in told.assumed)


@pytest.mark.parametrize("part", ["ptc", "overload_protector"])
@pytest.mark.parametrize(
    "new", ["bridged", "none", "a jumper wire", "left off for a trial", "bypassed", "paperclip"]
)
def test_no_bridge_is_ever_approved(part: str, new: str) -> None:
    """A bridged or absent starter or protector is answered "no" without being tried."""
    told = tried("rsir-ptc", part, new, ())
    assert told.fit is MatchGrade.NO
    assert told.machines == 0
    assert "Not even for a trial" in told.flags[0]
    with pytest.raises(Refused, match="not drawn"):
        runs_of(*known("rsir-ptc", part, (), "external"), part, new)


def test_a_bridge_named_as_number_is_a_bridge() -> None:
    """Writing the bridge where the number goes changes nothing."""
    assert (
        tried("rsir-ptc", "overload_protector", "number: bridged; listed: yes", PROTECTOR).fit
        is MatchGrade.NO
    )


def test_a_protector_that_opens_later_is_refused() -> None:
    """A higher trip current is "no", though number and starts are the same and the maker lists it."""
    told = tried(
        "rsir-ptc",
        "overload_protector",
        "X 4711; trip_amps: 6.2; trip_temperature: 120 C; reset: manual; listed: yes",
        PROTECTOR,
    )
    assert told.fit is MatchGrade.NO
    assert finding(told, "locked_trip").fit is MatchGrade.NO
    assert finding(told, "starts").fit is MatchGrade.SAME
    assert any("rotor locked" in flag for flag in told.flags)


def test_an_automatic_reset_is_flagged() -> None:
    """A protector that closes by itself in place of one with a button is flagged and refused."""
    told = tried(
        "rsir-ptc",
        "overload_protector",
        "X 4711; trip_amps: 5.5; trip_temperature: 120 C; reset: automatic",
        PROTECTOR,
    )
    assert told.fit is MatchGrade.NO
    assert any(flag.startswith("How it closes again") for flag in told.flags)


def test_simulation_alone_approves_no_protector() -> None:
    """A protector with the same figures but another number is refused until the maker lists it."""
    figures = "trip_amps: 5.5; trip_temperature: 120 C; reset: manual"
    assert tried("rsir-ptc", "overload_protector", f"Y 12; {figures}", PROTECTOR).fit is MatchGrade.NO
    listed = tried("rsir-ptc", "overload_protector", f"Y 12; {figures}; listed: yes", PROTECTOR)
    assert listed.fit is MatchGrade.ACCEPTABLE


def test_a_starter_keeps_its_built_in_protector() -> None:
    """Where the old starter holds the protector, one without is "no", and silence about it is asked about."""
    old = ("ohms: 5; voltage: 180",)
    without = tried("rsir-ptc", "ptc", "ohms: 5; voltage: 180; protector: no", old, "integrated")
    assert without.fit is MatchGrade.NO
    assert any("stalled motor" in flag for flag in without.flags)
    assert tried("rsir-ptc", "ptc", "ohms: 5; voltage: 180", old, "integrated").fit is MatchGrade.UNKNOWN


def test_a_start_assist_is_tried() -> None:
    """An assist in a starter's place needs the maker's list; beside a run capacitor it helps the start."""
    assist = "kind: ptc; ohms: 5; capacitance: 88-108 MFD; voltage: 100-130"
    assert tried("rsir-ptc", "start_assist", assist).fit is MatchGrade.NO
    helped = tried("psc", "start_assist", "kind: ptc; ohms: 25; voltage: 100-130")
    assert sum(each.new for each in helped.starts) > sum(each.old for each in helped.starts)
    assert helped.fit is not MatchGrade.SAME


def test_a_run_capacitor_of_another_value_is_held_to_its_heat() -> None:
    """A third more microfarads on a permanent-split motor heats its start winding all the time."""
    told = tried("psc", "run_capacitor", "20 uF 440 VAC", ("15 uF 370 VAC",))
    assert finding(told, "run_heat").fit is MatchGrade.NO
    assert "all the time" in finding(told, "run_heat").reason


@pytest.mark.parametrize(
    ("part", "new", "error", "said"),
    [
        ("start_capacitor", "88 MFD", Unknown, "part of rsir-ptc"),
        ("internal_protector", "X", Unknown, "part of rsir-ptc"),
        ("run_winding", "X", Refused, "sealed"),
        ("ptc", "", Refused, "nothing is said"),
        ("ptc", "ohms: green", Refused, "not understood"),
        ("start_assist", "kind: magic; voltage: 100-130", Refused, "no kind of start-assist"),
        ("start_assist", "voltage: 100-130", Refused, "switches the start-assist off"),
    ],
)
def test_what_cannot_be_tried_is_refused(part: str, new: str, error: type[Exception], said: str) -> None:
    """A part the machine lacks, a sealed one, and texts nobody can read are refused with the right form."""
    machine = Machine.of("rsir-ptc", "internal" if part == "internal_protector" else "external", PLATE)
    if part == "internal_protector":
        error, said = Refused, "sealed"
    with pytest.raises(error, match=said):
        try_substitute(machine, estimate(at_hand(machine)), part, new, n=2)


def test_marks_reach_the_case() -> None:
    """Where a part lies in its printed range is where it lies in the case."""
    machine = Machine.of("rsir-ptc", nameplate=PLATE)
    rules = {rule.name: rule for rule in family_rules(machine.part("ptc").family).marks}
    marks, _ = read_marks(rules.values(), ["ohms: 8-12"])
    case = start_case(machine, estimate(at_hand(machine)).motor)
    ohms = []
    for share in (0.0, 0.5, 1.0):
        gear = fit_part(case, Role.STARTER, marks, rules, share).gear
        assert isinstance(gear, Ptc)
        ohms.append(gear.cold_ohms)
    np.testing.assert_allclose(ohms, [8.0, 10.0, 12.0])


def test_swapped_figures_of_a_relay_are_refused() -> None:
    """A drop-out far above the pick-up is taken for the two having been swapped."""
    machine = Machine.of("rsir-current-relay", nameplate=PLATE)
    rules = {rule.name: rule for rule in family_rules(machine.part("current_relay").family).marks}
    marks, _ = read_marks(rules.values(), ["pick_up: 3 A; drop_out: 8 A"])
    case = start_case(machine, estimate(at_hand(machine)).motor)
    assert isinstance(case.gear, CurrentRelay)
    with pytest.raises(Refused, match="swapped"):
        fit_part(case, Role.STARTER, marks, rules, 0.5)


def test_either_start_can_be_drawn() -> None:
    """The two runs of the most probable machine differ where the parts do."""
    old = ("ohms: 5; voltage: 180",)
    machine, found = known("rsir-ptc", "ptc", old, "external")
    (first, a), (second, b) = runs_of(machine, found, "ptc", "ohms: 15; voltage: 180", old, seconds=0.5)
    assert (first, second) == ("old part", "new part")
    assert b.start[:20].max() < a.start[:20].max()


def test_every_part_that_can_be_tried_is_a_family() -> None:
    """Every family of start gear says how a new one is tried against the old, if its starts are simulated."""
    from humclick.parts.family import Role, families, family

    tried = {name for name in families() if family(name).substitute is not None}
    never_started = {Role.DRIVE, Role.SWITCH}
    gear = {name for name in families() if family(name).gear and family(name).role not in never_started}
    assert gear - {"thermal_overload"} == tried
