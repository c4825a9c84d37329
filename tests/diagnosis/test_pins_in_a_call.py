"""Pins by themselves are weighed with the odds and the posterior of a call."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.judged import judge
from humclick.diagnosis.pins import pins_of
from humclick.diagnosis.shop import default_shop, shop_from_table
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.errors import Refused
from humclick.parts.family import family
from humclick.readings import parse_reading
from humclick.sourced import read_data
from tests.diagnosis.test_pins import COLD, NULLED, found, shown


def case_of(modes: Mapping[str, str]) -> str:
    """The case of a set of modes, written out here by hand; on a cold shell nothing is open from heat."""
    run, start = modes.get("run_winding", ""), modes.get("start_winding", "")
    opens = [name for name, mode in (("run_open", run), ("start_open", start)) if mode == "open"]
    opens += ["protector_failed"] if modes.get("internal_protector") == "open" else []
    if opens:
        return opens[0] if len(opens) == 1 else "several_open"
    if "shorted_turns" in (run, start):
        return "shorted_turns"
    return "bridged" if start == "bridged" else "sound"


#: No slips of the hand, and the machine is what it is taken for: nothing is left but the modes of the parts.
STEADY: dict[str, Any] = {
    "slips": {k: 0.0 for k in default_shop().slips if k != "dirty_contact_ohms"},
    "none": {"other_kind": 0.0},
}
STEADY_SHOP = shop_from_table(STEADY)
TYPED = st.one_of(
    st.sampled_from(["OL", "0.0"]),
    st.floats(0.4, 60.0).map(lambda ohms: f"{ohms:.1f}"),
)


@settings(max_examples=12, deadline=None)
@given(st.lists(TYPED, min_size=3, max_size=3), st.sampled_from(["external", "internal"]))
def test_pins_by_themselves_have_the_posterior_of_a_call(texts: list[str], protector: str) -> None:
    """Without slips of the hand every case has, to 1e-9, what a call gives its modes for these readings."""
    machine = Machine.of("rsir-ptc", protector)
    readings = shown(*texts)
    seen = tuple(
        Observation(f"pins.{a}-{b}", reading, temperature=COLD)
        for (a, b), own in readings.items()
        for reading in own
    )
    post = judge(Situation(machine, None, seen, leads=NULLED), STEADY_SHOP).post
    expected: dict[str, float] = dict.fromkeys(read_data("humclick.diagnosis", "pins.toml")["case"], 0.0)
    for modes, p in post.shares():
        expected[case_of(modes)] += p
    finding = found(*texts, protector=protector, shop=STEADY_SHOP)
    for name in ("run_open", "start_open", "several_open", "protector_failed", "shorted_turns", "bridged"):
        assert finding.probability(name) == pytest.approx(expected[name], abs=1e-9)
    rest = math.fsum(map(finding.probability, ("sound", "burnt_inside", "reading_error")))
    assert rest == pytest.approx(expected["sound"] + expected["burnt_inside"] + post.whole.none, abs=1e-9)


@pytest.mark.parametrize("texts", [("4.0", "11.0", "15.0"), ("OL", "OL", "4.0"), ("1.5", "11.0", "12.5")])
def test_in_a_call_the_pins_have_the_posterior_of_the_call(texts: tuple[str, str, str]) -> None:
    """With a complaint and another part seen, too; the machine and the shop are those of the call."""
    machine = Machine.of("csir-current-relay", "external")
    seen = [Observation(f"pins.{a}-{b}", own[0], temperature=COLD) for (a, b), own in shown(*texts).items()]
    seen.append(Observation("start_capacitor.farads", parse_reading("90 uF")))
    situation = Situation(machine, Heard.HUM_CLICK, tuple(seen), leads=NULLED)
    post = judge(situation, STEADY_SHOP).post
    finding = pins_of(situation, STEADY_SHOP)
    for part, name in (("start_winding", "start_open"), ("run_winding", "run_open")):
        assert finding.probability(name) == pytest.approx(post.of_mode(part, "open"), abs=2e-3)
    shorted = post.of_mode("run_winding", "shorted_turns") + post.of_mode("start_winding", "shorted_turns")
    assert finding.probability("shorted_turns") == pytest.approx(shorted, abs=2e-3)
    with pytest.raises(Refused, match="no readings"):
        pins_of(replace(situation, observations=()))


@pytest.mark.parametrize(
    ("mode", "case", "texts"),
    [
        ("run_winding.open", "run_open", ("OL", "OL", "8.0")),
        ("start_winding.open", "start_open", ("OL", "OL", "8.0")),
        ("start_winding.bridged", "bridged", ("3.0", "3.6", "0.9")),
        ("internal_protector.open", "protector_failed", ("OL", "OL", "15.0")),
    ],
)
def test_a_shop_that_doubles_the_odds_of_a_mode_doubles_those_of_its_case(
    mode: str, case: str, texts: tuple[str, str, str]
) -> None:
    """The one list of odds is that of the parts, and a shop's own figure takes its place here, too."""
    part, _, name = mode.partition(".")
    doubled = shop_from_table({**STEADY, "odds": {mode: 2.0 * family(part).mode(name).odds}})
    odds = []
    for shop in (STEADY_SHOP, doubled):
        p = found(*texts, protector="internal", shop=shop).probability(case)
        odds.append(p / (1.0 - p))
    assert odds[1] == pytest.approx(2.0 * odds[0], rel=0.01)


def test_any_machine_will_do_where_none_is_known() -> None:
    """Odds of what is sealed in against sound windings differ little from one arrangement to another."""
    cases = ("run_open", "start_open", "shorted_turns")
    for inside in ("external", "internal"):
        odds: dict[str, list[float]] = {case: [] for case in cases}
        for name in ("rsir-ptc", *arrangements()):
            kind = arrangement(name)
            if not kind.started or inside not in kind.protectors:
                continue
            post = judge(Situation(Machine.of(name, inside))).post
            masses: dict[str, float] = {}
            for modes, p in post.shares():
                masses[case_of(modes)] = masses.get(case_of(modes), 0.0) + p
            for case, row in odds.items():
                row.append(masses[case] / masses["sound"])
        for row in odds.values():
            assert len(row) > 5
            assert max(row) < 1.25 * row[0]
            assert min(row) > row[0] / 1.25


def test_a_machine_with_three_equal_windings_is_weighed_as_three_pins() -> None:
    """Three equal readings in a call of an inverter-driven machine are an inverter's."""
    seen = tuple(Observation(f"pins.{a}-{b}", own[0]) for (a, b), own in shown("2.0", "2.0", "2.0").items())
    finding = pins_of(Situation(Machine.of("inverter-driven"), None, seen))
    assert finding.conclusion == "inverter"
