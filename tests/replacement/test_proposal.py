"""What is said of a new part: read, held against the old one, and never a bridge."""

from __future__ import annotations

import pytest

from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import HumclickError, Refused, Unknown
from humclick.parts.family import families, family
from humclick.replacement.fitting import ASSIST
from humclick.replacement.match import MatchGrade
from humclick.replacement.proposal import (
    Proposal,
    essential_marks,
    example,
    is_starter,
    marked,
    marks_text,
    proposal_of,
    rating,
    require_replaceable,
    rules_of,
    simulated_marks,
    still_to_read,
)
from tests.visit import MACHINES

PLATE = Nameplate(115.0, 60.0, 12.0, 1.8)
CSIR = Machine.of("csir-current-relay", "external", PLATE)
CAPACITOR = "start_capacitor"
OLD = ("97-117 MFD 250 VAC", "bleed resistor: yes")
TRIED = [
    (name, guard, part.id)
    for name, guard in MACHINES
    for part in Machine.of(name, guard).parts
    if part.family.substitute is not None and not part.family.sealed
]


def read(new: str, part: str = CAPACITOR, old: tuple[str, ...] = OLD, machine: Machine = CSIR) -> Proposal:
    return proposal_of(machine, part, [new], old)


@pytest.mark.parametrize(("name", "guard"), MACHINES)
def test_what_is_sealed_in_or_not_there_is_not_replaced(name: str, guard: str) -> None:
    """A part of the machine that is tried passes; the windings do not, nor a part it has not got."""
    machine = Machine.of(name, guard, PLATE)
    for part in machine.parts:
        if part.family.sealed:
            with pytest.raises(Refused, match="sealed in the shell"):
                require_replaceable(machine, part.id)
        elif part.family.substitute is not None:
            require_replaceable(machine, part.id)
        else:
            with pytest.raises(Unknown):
                require_replaceable(machine, part.id)
    with pytest.raises(Unknown, match=ASSIST):
        require_replaceable(machine, "door")


@pytest.mark.parametrize(("name", "guard", "part"), TRIED)
def test_the_example_of_a_part_is_understood_and_has_its_essential_marks(
    name: str, guard: str, part: str
) -> None:
    """What is offered as the way to write marks is read to the last word; what decides is among the rules."""
    machine = Machine.of(name, guard, PLATE)
    kind = machine.part(part).family
    made = proposal_of(machine, part, [example(kind)], [])
    assert made.defeated == ""
    assert set(made.new) <= set(made.rules) == set(rules_of(machine, part))
    assert set(essential_marks(kind)) | set(simulated_marks(kind)) <= set(made.rules)
    missing = set(essential_marks(kind)) - set(made.new)
    assert missing <= {"number"}, missing  # the example says "number as printed"


def test_a_start_assist_is_a_starter_with_no_old_part() -> None:
    """Nothing of an old one is asked for; only one its maker lists takes a starter's place."""
    made = proposal_of(CSIR, ASSIST, [example(None)], [])
    assert made.kind is None
    assert is_starter(None)
    assert set(essential_marks(None)) <= set(made.new)
    assert simulated_marks(None) == ()
    assert all("(new part)" in mark.title for mark in still_to_read(made))
    (line,) = (row for row in marked(CSIR, made) if row.name == "listed")
    assert line.fit is MatchGrade.NO
    listed = proposal_of(CSIR, ASSIST, [f"{example(None)}; listed: yes"], [])
    (line,) = (row for row in marked(CSIR, listed) if row.name == "listed")
    assert (line.fit, line.new) == (MatchGrade.ACCEPTABLE, "yes")


@pytest.mark.parametrize("kind", sorted(families()))
def test_a_starter_is_what_switches_the_start_winding(kind: str) -> None:
    """By its role and by nothing else."""
    assert is_starter(family(kind)) == (family(kind).role == "starter")


@pytest.mark.parametrize(
    "words",
    [
        *(
            "a wire",
            "none",
            "bridged",
            "bridged out",
            "jumpered",
            "bypassed",
            "by-pass",  # codespell:ignore
            "paper clip",
            "coin",
        ),
        *("left off", "hot-wired", "strapped out", "taken out", "not fitted", "shorted out"),
        *("position: none", "kind: wire link"),
    ],
)
def test_words_for_a_bridge_are_never_read_as_a_part(words: str) -> None:
    """Alone, beside marks, and in whatever case."""
    for text in (words, words.upper(), f"{words}; 100 MFD", f"100 MFD 250 VAC\n{words}"):
        assert read(text).defeated.casefold() == words, text


@pytest.mark.parametrize("words", ["88-108 MFD 165 VAC", "bleed resistor: none", "bleed resistor: no"])
def test_a_part_without_a_bleed_resistor_is_no_bridge(words: str) -> None:
    """That one word may say none."""
    assert read(words).defeated == ""


def test_what_is_not_understood_is_refused_with_the_way_to_write_it() -> None:
    """Nothing at all, words that are no mark, a label there is not, a value that cannot be."""
    with pytest.raises(Refused, match="97-117 MFD"):
        read(" ; \n")
    with pytest.raises(Refused, match="blue"):
        read("100 MFD 250 VAC; blue")
    with pytest.raises(Unknown, match="capacitance"):
        read("colour: blue")
    with pytest.raises(HumclickError):
        read("voltage: about enough")


def test_marks_come_apart_at_semicolons_and_lines() -> None:
    """And are shown in one line again."""
    one, two, three = (
        read("97-117 MFD 250 VAC; bleed resistor: yes"),
        read("97-117 MFD 250 VAC\nbleed resistor: yes"),
        (proposal_of(CSIR, CAPACITOR, ["97-117 MFD 250 VAC", "bleed resistor: yes"], OLD)),
    )
    assert one.new == two.new == three.new
    assert {name: one.old[name] for name in one.new} == one.new
    assert marks_text(one.new).startswith("capacitance 97 to 117 µF")
    assert "bleed resistor yes" in marks_text(one.new)
    assert not still_to_read(one) or all(m.name not in essential_marks(one.kind) for m in still_to_read(one))


def test_the_higher_of_two_rated_volts_counts() -> None:
    """Of a capacitor alone."""
    assert rating(read("97-117 MFD 110/125 VAC").new, family("start_capacitor")) == 125.0
    assert rating(read("97-117 MFD 250 VAC").new, family("run_capacitor")) == 250.0
    assert rating(read("97-117 MFD 250 VAC").new, family("ptc")) is None
    assert rating({}, family("start_capacitor")) is None


def test_what_the_simulation_judges_is_not_refused_by_its_mark() -> None:
    """Microfarads outside the old range are told; volts below the old ones are refused."""
    lines = {row.name: row for row in marked(CSIR, read("30 MFD 110 VAC; bleed resistor: yes"))}
    assert lines["capacitance"].fit is MatchGrade.ACCEPTABLE
    assert lines["capacitance"].reason.endswith("the simulation decides")
    assert lines["voltage"].fit is MatchGrade.NO
    same = {row.name: row.fit for row in marked(CSIR, read("; ".join(OLD)))}
    assert set(same.values()) == {MatchGrade.SAME}


def test_essential_marks_are_asked_for_first_and_of_the_side_that_lacks_them() -> None:
    """Old, new or both are named; a mark read on both is not asked for."""
    asked = {mark.name: mark.title for mark in still_to_read(read("97-117 MFD", old=("voltage: 250 VAC",)))}
    assert "(new part)" in asked["voltage"]
    assert "(old part)" in asked["capacitance"]
    names = [mark.name for mark in still_to_read(read("kind: start", old=()))]
    essential = [name in essential_marks(family("start_capacitor")) for name in names]
    assert essential == sorted(essential, reverse=True)


def test_a_starter_with_the_protector_built_in_asks_for_one() -> None:
    """Only on such a machine; without it, the new part is refused, unread it is asked for."""
    built, apart = (Machine.of("rsir-ptc", guard, PLATE) for guard in ("integrated", "external"))
    assert "protector" in rules_of(built, "ptc")
    assert "protector" not in rules_of(apart, "ptc")
    new = example(family("ptc"))
    unread = {row.name: row.fit for row in marked(built, proposal_of(built, "ptc", [new], [new]))}
    assert unread["protector"] is MatchGrade.UNKNOWN
    for said, fit in (("yes", MatchGrade.SAME), ("no", MatchGrade.NO)):
        made = proposal_of(built, "ptc", [f"{new}; protector: {said}"], [new])
        assert {row.name: row.fit for row in marked(built, made)}["protector"] is fit
