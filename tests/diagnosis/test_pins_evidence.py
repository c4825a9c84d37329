"""Readings between unnamed pins: shares of the posterior over cases and over ways the pins may lie."""

from __future__ import annotations

import itertools
import math

import pytest

from humclick.diagnosis.pins_evidence import PAIRS, PINS, PinsWeighed, figures, lead_mean, unnamed
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.windings import PERMUTATIONS
from humclick.readings import Leads, PartTemperature, parse_reading
from tests.visit import machine_of

COLD = PartTemperature("cold")
PTC = machine_of("rsir-ptc", "external")


def read(*ohms: str, warm: PartTemperature = COLD) -> tuple[Observation, ...]:
    """Ohms between pins 1-2, 1-3 and 2-3."""
    pairs = (f"pins.{PINS[i]}-{PINS[j]}" for i, j in PAIRS)
    shown = (parse_reading(text if text == "OL" else f"{text} ohm") for text in ohms)
    return tuple(Observation(p, r, temperature=warm) for p, r in zip(pairs, shown, strict=False))


def weighed(*seen: Observation, name: str = "rsir-ptc", guard: str = "external") -> PinsWeighed:
    return PinsWeighed(Situation(machine_of(name, guard), None, seen, leads=Leads(True)), default_shop())


@pytest.mark.parametrize("named", list(itertools.permutations("CRS")))
def test_three_good_readings_name_the_pins_however_they_lie(named: tuple[str, ...]) -> None:
    """R + S is the largest, C-R the smallest; the case is sound and its shares sum to the level."""
    ohms = {frozenset("CR"): 4.7, frozenset("CS"): 11.2, frozenset("RS"): 15.9}
    made = weighed(*read(*(f"{ohms[frozenset((named[i], named[j]))]:.1f}" for i, j in PAIRS)))
    assert max(made.cases, key=made.cases.__getitem__) == "sound"
    assert max(made.names, key=made.names.__getitem__) == named
    best, second = sorted(made.names.values())[-1:-3:-1]
    assert best > 10 * second


@pytest.mark.parametrize(
    ("ohms", "likeliest"),
    [
        (("OL", "11.2", "OL"), {"run_open"}),
        (("OL", "4.7", "OL"), {"run_open"}),
        (("OL", "OL", "OL"), {"several_open", "reading_error"}),
    ],
)
def test_open_pairs_speak_for_an_open_winding(ohms: tuple[str, ...], likeliest: set[str]) -> None:
    """One pair that conducts is a whole winding; with none, several are open or the tips touch nothing."""
    made = weighed(*read(*ohms))
    assert set(made.cases) == set(figures()["case"])
    ranked = sorted(made.cases, key=made.cases.__getitem__, reverse=True)
    assert set(ranked[: len(likeliest)]) == likeliest
    assert made.cases["sound"] < 1e-3 * math.fsum(made.cases.values())


def test_shares_add_up_whatever_was_read() -> None:
    """Cases and namings are two ways to part the same probability; masses and namings are probabilities."""
    for ohms in (("4.7", "11.2", "15.9"), ("OL", "11.2", "OL"), ("4.7",), ("4.7", "11.2")):
        made = weighed(*read(*ohms))
        assert math.fsum(made.masses.values()) + made.after.post.none == pytest.approx(1.0, abs=1e-3)
        assert math.fsum(made.names.values()) == pytest.approx(math.fsum(made.cases.values()), rel=1e-6)
        assert 0.0 <= made.grounded <= 1.0
        assert len(made.names) == len(PERMUTATIONS)


def test_only_readings_between_numbered_pins_are_unnamed() -> None:
    """Not those between named pins, nor an answer without a reading."""
    (one,) = read("4.7")
    named = Observation("pins.C-R", parse_reading("4.7 ohm"))
    skipped = Observation("pins.1-3")
    assert unnamed((named, one, skipped)) == (one,)


def test_what_unknown_leads_add_on_average() -> None:
    """Mean and deviation of a log-normal; known ones add what they add, nulled ones nothing."""
    spread = Leads().spread
    assert spread is not None
    mean, deviation = lead_mean(Leads())
    assert mean == pytest.approx(spread.median * math.exp(spread.sigma**2 / 2))
    assert deviation == pytest.approx(mean * math.sqrt(math.exp(spread.sigma**2) - 1))
    assert lead_mean(Leads(resistance=0.3)) == (0.3, 0.0)
    assert lead_mean(Leads(nulled=True, resistance=0.3)) == (0.0, 0.0)
