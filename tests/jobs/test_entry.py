"""What a person types in a call is understood, or refused with the right form."""

from __future__ import annotations

import pytest

from humclick.arrangements.machine import Machine
from humclick.diagnosis.probes import Probe, probe_of, probes_of
from humclick.errors import ReadingRefused, Refused, Unknown
from humclick.jobs.entry import answer_to, figure, looks_like_probe, named, one_of, probe_named, with_warmth
from humclick.messages import Message

MACHINE = Machine.of("rsir-ptc")


def probe(name: str) -> Probe:
    return probe_of(MACHINE, name)


@pytest.mark.parametrize(
    ("word", "name"),
    [
        *(("pins.C-R", "pins.C-R"), ("PINS.c-r", "pins.C-R"), ("R-C", "pins.C-R"), ("cs", "pins.C-S")),
        *(("pins.r-s", "pins.S-R"), ("2-1", "pins.1-2"), ("pins.shell:", "pins.shell")),
        *(("ptc.ohms", "ptc.ohms"), ("4.7", None), ("O.L", None), ("OL", None), ("12", None), ("", None)),
    ],
)
def test_probes_are_found_by_name(word: str, name: str | None) -> None:
    """A probe is named in any case, two pins in either order; a reading is no name."""
    assert probe_named(word, probes_of(MACHINE)) == name


@pytest.mark.parametrize(
    ("text", "value", "warmth"),
    [
        *(
            ("4.7", "4.7", ""),
            ("4.7 hot", "4.7", "hot"),
            ("OL cold", "OL", "cold"),
            ("4.7, Warm", "4.7", "Warm"),
        ),
        *(("3.2 @35C", "3.2", "35C"), ("3.2 at 95 F", "3.2", "95 F"), ("3.2@cold", "3.2", "cold")),
        *(("O.L hot", "O.L", "hot"), ("hot", "hot", "")),
    ],
)
def test_warmth_stands_behind_a_reading(text: str, value: str, warmth: str) -> None:
    """A reading may be followed by how warm the part was."""
    assert with_warmth(text) == (value, warmth)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        *(("ptc.shake", "2", "rattles"), ("ptc.shake", "Quiet", "quiet"), ("ptc.shake", "ratt", "rattles")),
        *(("ptc.shake", "?", "not sure"), ("attempt.as_found", "hums, then clicks off", "hum_click")),
        *(("attempt.as_found", "hum", "hum"), ("attempt.as_found", "hum-click", "hum_click")),
        *(("attempt.as_found", "6", "runs"), ("supply.volts", "118 V", "118 V")),
    ],
)
def test_answers_are_taken_by_number_word_or_beginning(name: str, text: str, value: str) -> None:
    """A look or a start attempt is answered by number, name, words or first letters."""
    answer = answer_to(probe(name), text)
    assert (answer.value, answer.warmth) == (value, "")


@pytest.mark.parametrize(
    ("name", "text", "error", "right"),
    [
        ("ptc.shake", "3", Unknown, "quiet"),
        ("ptc.shake", "r q", Unknown, "rattles"),
        ("ptc.ohms", "short", ReadingRefused, "a short shows 0.0"),
        ("ptc.ohms", "118 V", ReadingRefused, "resistance"),
        ("supply.volts", "4k7 ohm", ReadingRefused, "voltage"),
        ("attempt.as_found", "h", Unknown, "hum"),
    ],
)
def test_wrong_answers_are_told_the_right_form(
    name: str, text: str, error: type[Exception], right: str
) -> None:
    """What does not belong to a probe is refused, and the message says what would be right."""
    with pytest.raises(error, match=right):
        answer_to(probe(name), text)


def test_a_beginning_shared_by_two_names_means_neither() -> None:
    """Only a beginning that fits one name is taken for it; a whole name always is."""
    names = ["replace relay", "replace run capacitor", "wait"]
    assert named("w", names) == "wait"
    assert named("replace re", names) == "replace relay"
    assert named("replace r", names) is None
    assert named("", names) is None
    assert named("hum", ["hum", "hum_click"]) == "hum"
    assert one_of(Message("remedy"), "3", names) == "wait"
    with pytest.raises(Unknown, match="replace relay"):
        one_of(Message("remedy"), "replace", names)


def test_figures_need_one_of_their_units() -> None:
    """A wait is understood with its unit, and refused with an example otherwise."""
    units = {"": 1.0, "min": 1.0, "h": 60.0}
    assert figure("10", "wait", units, "wait 10") == 10.0
    assert figure("1,5 h", "wait", units, "wait 10") == 90.0
    for wrong in ("", "ten", "10 days", "-3", "1e999", "١٠"):
        with pytest.raises(Refused, match="wait 10"):
            figure(wrong, "wait", units, "wait 10")


def test_what_is_built_like_a_probe_was_meant_as_one() -> None:
    """A wrong probe's name is told from a reading."""
    assert looks_like_probe("ptc.ohm")
    assert not looks_like_probe("O.L")
    assert not looks_like_probe("4.7")
