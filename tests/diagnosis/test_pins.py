"""Three readings between unmarked pins name them and tell what the windings are like."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.delta import triangle_from
from humclick.diagnosis.judged import judge
from humclick.diagnosis.pins import PinFinding, find_pins
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.sum_test import sum_test
from humclick.errors import DataError, HumclickError, Refused, Unknown
from humclick.messages import Message
from humclick.meters import Meter, MeterRange, Quantity, meter
from humclick.parts.family import family
from humclick.readings import Leads, PartTemperature, Reading, parse_reading
from humclick.sourced import read_data
from tests.published import published

OHMS = Quantity.RESISTANCE
PAIRS = (("1", "2"), ("1", "3"), ("2", "3"))
NULLED = Leads(nulled=True)
COLD, HOT = PartTemperature("cold"), PartTemperature("hot")

WINDINGS_OPEN = {("run_winding", "open"), ("start_winding", "open")}

BOOK = {
    "source": "Heating & Cooling Essentials",
    "where": "p. 531, finding the terminals",
    "printed_to": "rule",
}


def shown(*texts: str) -> dict[tuple[str, str], list[Reading]]:
    """Readings 1–2, 1–3, 2–3 as typed; an empty text was not measured, words apart are repeats."""
    return {
        pair: [parse_reading(each, OHMS) for each in text.split()]
        for pair, text in zip(PAIRS, texts, strict=True)
        if text
    }


def found(*texts: str, meter_name: str = "standard", **kwargs: Any) -> PinFinding:
    """A finding with nulled leads on cold windings unless told otherwise."""
    given: dict[str, Any] = {"leads": NULLED, "temperature": COLD, **kwargs}
    return find_pins(shown(*texts), meter=meter(meter_name), **given)


def sums_to_one(finding: PinFinding) -> bool:
    """Whether cases and permutations each sum to one, none below zero."""
    cases, ways = [c.probability for c in finding.cases], [p for _, p in finding.permutations]
    return (
        math.isclose(math.fsum(cases), 1.0, abs_tol=1e-9)
        and math.isclose(math.fsum(ways), 1.0, abs_tol=1e-9)
        and min(cases + ways) > -1e-9
    )


# -- which pin is which ------------------------------------------------------------------------------------


@published(**BOOK)
@pytest.mark.parametrize("order", list(itertools.permutations("CRS")))
def test_a_good_triple_names_the_pins_as_the_textbook_does(order: tuple[str, str, str]) -> None:
    """The highest reading is S–R, the pin left over is C, and the larger of its two readings is C–S."""
    ohms = {frozenset("CR"): "4.0", frozenset("CS"): "11.0", frozenset("RS"): "15.0"}
    texts = [ohms[frozenset((order[i], order[j]))] for i, j in ((0, 1), (0, 2), (1, 2))]
    finding = found(*texts)
    assert finding.names == order
    assert finding.permutations[0][0] == order
    assert finding.permutations[0][1] > 0.95
    assert finding.conclusion == "sound"


@published(
    source="Krause, Wasynczuk, Sudhoff, Analysis of Electric Machinery",
    where="1/4-hp capacitor-start motor: windings 2.02 Ω and 7.14 Ω",
    printed_to="0.01 Ω",
)
def test_the_textbook_motor_is_recognised() -> None:
    """Readings of 2.02, 7.14 and 9.16 Ω at 25 °C are a sound motor with these windings."""
    at = PartTemperature("measured", 25.0)
    finding = found("2.02", "7.14", "9.16", meter_name="bench", temperature=at)
    values = {w.part: w for w in finding.windings}
    assert (finding.conclusion, finding.names) == ("sound", ("C", "R", "S"))
    assert values["run_winding"].ohms == pytest.approx(2.02, abs=0.02)
    assert values["start_winding"].ohms == pytest.approx(7.14, abs=0.02)
    assert 0.0 < values["run_winding"].uncertainty < 0.1


@settings(max_examples=4)
@given(
    st.sampled_from(
        [("4.0", "11.0", "15.0"), ("6.0", "7.0", "8.0"), ("OL", "OL", "15.0"), ("OL", "4.0", "11.0")]
    ),
    st.permutations(range(3)),
)
def test_renumbered_pins_give_the_renumbered_answer(texts: tuple[str, ...], order: list[int]) -> None:
    """The numbers are only names: another numbering changes nothing but the numbers."""
    plain = found(*texts)
    table = dict(zip((frozenset(p) for p in ((0, 1), (0, 2), (1, 2))), texts, strict=True))
    turned = found(*(table[frozenset((order[i], order[j]))] for i, j in ((0, 1), (0, 2), (1, 2))))
    before, after = dict(plain.permutations), dict(turned.permutations)
    for names, probability in before.items():
        moved = (names[order[0]], names[order[1]], names[order[2]])
        assert after[moved] == pytest.approx(probability, abs=1e-5)
    for case in plain.cases:
        assert turned.probability(case.name) == pytest.approx(case.probability, abs=1e-5)
    assert turned.conclusion == plain.conclusion


def test_probes_the_other_way_round_read_the_same() -> None:
    """A reading from 2 to 1 is the reading from 1 to 2."""
    forth, back = shown("4.0", "11.0", "15.0"), {}
    for (a, b), readings in forth.items():
        back[b, a] = readings
    assert find_pins(back, leads=NULLED).permutations == find_pins(forth, leads=NULLED).permutations


def test_a_start_winding_below_the_run_winding_is_possible() -> None:
    """Close readings leave it open which winding is which, and name C all the same."""
    finding = found("6.0", "7.0", "13.0")
    assert finding.names[0] == "C"
    assert finding.names[1] is None
    assert dict(finding.permutations)["C", "S", "R"] > 0.1


# -- sound, or not -----------------------------------------------------------------------------------------


@published(
    source="Heating & Cooling Essentials",
    where="p. 531, sum rule, on a triple once printed as an example in a public how-to",
    printed_to="rule",
)
@pytest.mark.parametrize("texts", [("6.0", "7.0", "8.0"), ("6", "7", "8"), ("8.0", "6.0", "7.0")])
def test_readings_that_do_not_add_up_are_flagged(texts: tuple[str, str, str]) -> None:
    """6 and 7 Ω do not make 8 Ω: no pin is named, and the readings are to be taken again."""
    finding = found(*texts)
    assert finding.sum_test is not None
    assert not finding.sum_test.adds_up
    assert finding.sum_test.residual == pytest.approx(-5.0)
    assert finding.conclusion in ("remeasure", "gear_on")  # a pill left on can make them, and is named
    assert any("once more" in step for step in finding.next)
    assert finding.names == (None, None, None)
    assert "sum" in finding.sentence


@published(source="JCGM 100:2008", where="4.3.7 and 5.1.2 on three readings", printed_to="0.01 Ω")
def test_sum_test_allows_for_the_meter() -> None:
    """On ±(0.5 % + 3 × 0.1 Ω) readings of 4.0, 11.0 and 15.3 Ω add up: 0.3 Ω is within 2 × 0.35 Ω."""
    three_counts = Meter("own", Message("own"), (MeterRange(OHMS, 200.0, 0.1, 0.5, 3),))
    test = sum_test(shown("4.0", "11.0", "15.3"), three_counts, NULLED)
    assert test is not None
    assert test.longest == ("2", "3")
    assert test.residual == pytest.approx(0.3, abs=1e-9)
    assert 2.0 * test.uncertainty == pytest.approx(0.70, abs=0.005)
    assert test.adds_up


@pytest.mark.parametrize("texts", [("4.0", "11.0", "OL"), ("4.0", "", "15.0"), ("4.0", "11.0", "0.0")])
def test_sum_test_needs_three_numbers(texts: tuple[str, str, str]) -> None:
    """Without a number at each pair there is no sum to hold anything against."""
    assert sum_test(shown(*texts)) is None


@pytest.mark.parametrize(("meter_name", "leads"), [("standard", Leads()), ("bench", Leads(False, 0.5))])
def test_leads_not_nulled_do_not_make_a_good_triple_faulty(meter_name: str, leads: Leads) -> None:
    """Half an ohm of test leads in each reading is understood, whether it was looked at or not."""
    finding = found("4.5", "11.5", "15.5", meter_name=meter_name, leads=leads)
    assert finding.conclusion == "sound"
    assert finding.names == ("C", "R", "S")
    assert finding.sum_test is not None
    assert finding.sum_test.adds_up


def test_known_leads_are_taken_off() -> None:
    """Readings through leads of 0.5 Ω give the same windings as without them."""
    with_leads = found("4.5", "11.5", "15.5", leads=Leads(False, 0.5)).windings
    without = found("4.0", "11.0", "15.0").windings
    for one, other in zip(with_leads, without, strict=True):
        assert one.ohms == pytest.approx(other.ohms, abs=0.05)


@published(
    source="IEC 60034-1", where="winding resistance and temperature, k = 235 for copper", printed_to="formula"
)
def test_hot_windings_are_brought_to_25_degrees() -> None:
    """Windings of 4 and 11 Ω at 25 °C read 310/260 times as much at 75 °C, and are found again."""
    hot = [f"{ohms * 310 / 260:.2f}" for ohms in (4.0, 11.0, 15.0)]
    finding = found(*hot, meter_name="bench", temperature=PartTemperature("measured", 75.0))
    values = {w.part: w.ohms for w in finding.windings}
    assert finding.conclusion == "sound"
    assert values["run_winding"] == pytest.approx(4.0, abs=0.03)
    assert values["start_winding"] == pytest.approx(11.0, abs=0.05)


def test_a_coarse_meter_still_names_the_pins() -> None:
    """Tenths of an ohm on small windings name the pins and widen the values."""
    coarse, fine = (
        found("1.6", "5.6", "7.2", meter_name="basic"),
        found("1.60", "5.60", "7.20", meter_name="bench"),
    )
    assert coarse.names == fine.names == ("C", "R", "S")
    assert coarse.windings[0].uncertainty > fine.windings[0].uncertainty


def test_windings_near_each_other_are_named_with_a_doubt_by_a_coarse_meter() -> None:
    """Tenths of an ohm on 1.1 and 1.6 Ω, where shorted turns are one in five, leave a doubt which is R."""
    coarse, fine = (
        found("1.1", "1.6", "2.7", meter_name="basic", nameplate=Nameplate(115.0, 60.0, 19.0)),
        found("1.10", "1.60", "2.70", meter_name="bench", nameplate=Nameplate(115.0, 60.0, 19.0)),
    )
    assert coarse.permutations[0][0] == ("C", "R", "S")
    assert 0.6 < coarse.permutations[0][1] < 0.95
    assert 0.15 < coarse.probability("shorted_turns") < 0.3
    assert fine.permutations[0][1] > coarse.permutations[0][1]


def test_far_below_the_nameplate_means_shorted_turns() -> None:
    """A run winding at a third of what volts and locked-rotor amperes make likely is suspected."""
    plate = Nameplate(115.0, 60.0, 14.0)
    at = PartTemperature("measured", 25.0)
    low = found("0.70", "8.00", "8.70", meter_name="bench", nameplate=plate, temperature=at)
    usual = found("2.10", "8.00", "10.10", meter_name="bench", nameplate=plate, temperature=at)
    assert low.cases[0].name == "shorted_turns"
    assert low.conclusion == "shorted"
    assert "once more" in low.sentence
    assert usual.probability("shorted_turns") < 0.1
    assert usual.conclusion == "sound"


def test_repeats_are_weighed_together() -> None:
    """Repeats that agree narrow a winding; one that does not agree is an error of reading."""
    steady = found("4.0 4.0 4.1", "11.0", "15.0")
    assert steady.conclusion == "sound"
    assert steady.windings[0].uncertainty < found("4.0", "11.0", "15.0").windings[0].uncertainty
    assert found("4.0 6.0", "11.0", "15.0").conclusion == "remeasure"


# -- open --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "case", "pin"),
    [
        (("OL", "OL", "4.0"), "start_open", ("S", None, None)),
        (("OL", "OL", "22.0"), "run_open", ("R", None, None)),
    ],
)
def test_two_open_pairs_tell_which_winding(
    texts: tuple[str, str, str], case: str, pin: tuple[str | None, ...]
) -> None:
    """The pair that still conducts is the other winding, and its size tells which one that is."""
    finding = found(*texts, protector="external", nameplate=Nameplate(115.0, 60.0, 10.0))
    assert finding.cases[0].name == case
    assert finding.conclusion == "open"
    best = {names[0] for names, p in finding.permutations[:2] if p > 0.4}
    assert best == {pin[0]}
    assert "condemn" in finding.sentence


def test_an_internal_protector_open_while_hot_asks_for_a_wait() -> None:
    """Both windings in series and nothing to C, on a hot shell: it may only be hot."""
    finding = found("OL", "OL", "15.0", protector="internal", temperature=HOT)
    assert finding.cases[0].name == "protector_hot"
    assert finding.conclusion == "wait"
    assert any("cool" in words for words in finding.next)
    assert {names[0] for names, p in finding.permutations[:2]} == {"C"}


def test_an_internal_protector_open_while_cold_has_failed() -> None:
    """The same on a cold shell is a failed protector before it is a hot one."""
    cold = found("OL", "OL", "15.0", protector="internal", temperature=COLD)
    hot = found("OL", "OL", "15.0", protector="internal", temperature=HOT)
    assert cold.probability("protector_failed") > cold.probability("protector_hot")
    assert cold.probability("protector_failed") > 5.0 * hot.probability("protector_failed")
    assert cold.conclusion == "open"


def test_an_external_protector_is_never_blamed_for_open_pins() -> None:
    """With the protector outside, what is open at the pins is a winding."""
    finding = found("OL", "OL", "15.0", protector="external")
    assert finding.probability("protector_hot") == finding.probability("protector_failed") == 0.0


def test_nothing_but_open_suspects_the_leads_first() -> None:
    """OL at all pairs is more often a broken lead than a compressor broken twice."""
    finding = found("OL", "OL", "OL", protector="external")
    assert finding.conclusion == "remeasure"
    assert any("tips together" in words for words in finding.next)
    before = judge(Situation(Machine.of("rsir-ptc", "external"))).post
    twice = math.fsum(p for modes, p in before.shares() if modes.items() >= WINDINGS_OPEN)
    error = read_data("humclick.diagnosis", "pins.toml")["reading_error"]
    each_by_itself = (1.0 - error["all_open"] - error["all_zero"]) * error["open"] ** 3
    broken_lead = default_shop().slips["meter_fault"] * (error["all_open"] + each_by_itself)
    ratio = finding.probability("several_open") / finding.probability("reading_error")
    assert ratio == pytest.approx(twice / broken_lead, rel=0.05)
    assert ratio < 0.01


def test_one_open_pair_cannot_be() -> None:
    """Where two pairs conduct the third does too: one OL alone is a probe that did not touch."""
    finding = found("OL", "4.0", "11.0")
    assert finding.conclusion == "remeasure"
    assert finding.cases[0].name == "reading_error"


def test_nothing_but_zeros_suspects_the_leads() -> None:
    """Zeros at all pairs are tips or clips that touch."""
    assert found("0.0", "0.0", "0.0").cases[0].name == "reading_error"


# -- bridged, equal, grounded ------------------------------------------------------------------------------


@pytest.mark.parametrize(("run", "start", "bridge"), [(3.2, 11.0, 0.5), (3.2, 11.0, 2.0), (4.0, 14.0, 1.0)])
def test_a_triangle_is_solved_backwards(run: float, start: float, bridge: float) -> None:
    """Run winding, start winding and bridge are found from what a meter reads between the pins."""
    total = run + start + bridge
    readings = run * (start + bridge) / total, start * (run + bridge) / total, bridge * (run + start) / total
    assert triangle_from(*readings) == pytest.approx((run, start, bridge), rel=1e-9)


def test_no_triangle_measures_like_a_straight_line() -> None:
    """Readings that add up exactly have no bridge."""
    assert triangle_from(4.0, 11.0, 15.0) is None


def test_windings_that_touch_are_suspected() -> None:
    """Readings of a triangle with a bridge of 0.5 Ω are bridged windings before anything but an error."""
    finding = found("2.50", "2.77", "0.48", meter_name="bench")
    ranked = [c.name for c in finding.cases if c.name != "reading_error"]
    assert ranked[0] == "bridged"
    assert finding.probability("bridged") > 0.2
    assert finding.conclusion in ("bridged", "unclear", "remeasure")
    assert finding.sum_test is not None
    assert not finding.sum_test.adds_up


@pytest.mark.parametrize("texts", [("2.0", "2.0", "2.0"), ("0.7", "0.8", "0.7"), ("5.1", "5.1", "5.2")])
def test_three_equal_readings_are_never_put_across_the_mains(texts: tuple[str, str, str]) -> None:
    """Three equal windings belong to an inverter or to three phases, and the warning says so."""
    finding = found(*texts)
    assert finding.conclusion == "inverter"
    assert any("never put it across the mains" in words for words in finding.warnings)
    assert finding.names == (None, None, None)


@pytest.mark.parametrize(("text", "least"), [("800", 0.9), ("0.0", 0.7), ("1.2M", 0.02)])
def test_any_reading_to_the_shell_forbids_power(text: str, least: float) -> None:
    """
    A number between a pin and the shell on a multimeter ends the matter, however good the windings are.

    By hand for 1.2 MΩ: a ground (0.0008 + 0.0006) against all that stops a start, 0.054 in all, is 0.026.
    Sound insulation, 150 MΩ for both windings within 30, gives it z = 2.78, a ground, 40 Ω within 3000,
    z = 2.52: the likelihoods are as 1 to 0.84, so the ground has 0.022.
    """
    finding = found("4.0", "11.0", "15.0", shell=parse_reading(text, OHMS))
    assert finding.conclusion == "grounded"
    assert any("must not be powered" in words for words in finding.warnings)
    assert finding.grounded is not None
    assert finding.grounded > least


def test_open_to_the_shell_is_sound() -> None:
    """OL to the shell leaves hardly anything of the suspicion."""
    finding = found("4.0", "11.0", "15.0", shell=parse_reading("OL", OHMS))
    assert finding.conclusion == "sound"
    assert finding.grounded is not None
    assert finding.grounded < 0.02
    assert finding.warnings == finding.next == ()


def test_an_unmeasured_shell_is_asked_for() -> None:
    """Without a reading to the shell nothing is said of it, and it is the next thing to measure."""
    finding = found("4.0", "11.0", "15.0")
    assert finding.grounded is None
    assert any("shell" in words for words in finding.next)


# -- parts of the whole ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "texts", [("4.0", "", ""), ("", "", "15.0"), ("4.0", "11.0", ""), ("OL", "", ""), ("OL", "OL", "")]
)
def test_part_of_the_readings_is_enough_to_begin(texts: tuple[str, str, str]) -> None:
    """One or two pairs give probabilities, no more certain than they can be, and ask for the rest."""
    finding = found(*texts)
    assert sums_to_one(finding)
    assert finding.names[:2] == (None, None)
    assert finding.sum_test is None
    assert sum("too" in words for words in finding.next) == texts.count("")


@settings(max_examples=8)
@given(
    st.lists(
        st.sampled_from(["OL", "0.0", "0.1", "2.3", "4.0", "11.0", "15.0", "199.9", "1.234k", "19.99M"]),
        min_size=3,
        max_size=3,
    ),
    st.sampled_from(["external", "internal"]),
    st.sampled_from([COLD, HOT, PartTemperature()]),
)
def test_any_readings_give_probabilities(texts: list[str], protector: str, warm: PartTemperature) -> None:
    """Whatever was shown, the probabilities sum to one and there is a plain sentence."""
    finding = found(*texts, protector=protector, temperature=warm)
    assert sums_to_one(finding)
    assert finding.sentence.endswith(".")
    assert finding.conclusion
    assert all(math.isfinite(w.ohms) and w.uncertainty > 0.0 for w in finding.windings)


@pytest.mark.parametrize(
    ("readings", "error"),
    [
        ({}, Refused),
        ({("1", "2"): []}, Refused),
        ({("1", "4"): parse_reading("4.0", OHMS)}, Unknown),
        ({("1", "1"): parse_reading("4.0", OHMS)}, Refused),
        ({"12": parse_reading("4.0", OHMS)}, Refused),
        ({("1", "2"): parse_reading("115 V")}, Refused),
        ({("1", "2"): ["4.0"]}, Refused),
    ],
)
def test_readings_that_are_none_are_refused(readings: Any, error: type[HumclickError]) -> None:
    """What is not a reading in ohms between two different pins is refused with what would be right."""
    with pytest.raises(error, match=r"pin|reading"):
        find_pins(readings)


def test_other_wrong_words_are_refused() -> None:
    """The protector's place and the meter are held against what can be."""
    with pytest.raises(Unknown, match="place of the protector"):
        found("4.0", "", "", protector="both")
    volts = Meter("v", Message("volts only"), (MeterRange(Quantity.VOLTAGE, 600.0, 0.1, 1.0, 3),))
    with pytest.raises(Refused, match="does not measure resistance"):
        find_pins(shown("4.0", "", ""), meter=volts)
    with pytest.raises(Refused, match="ohms is needed"):
        found("4.0", "", "", shell=parse_reading("5 V"))
    with pytest.raises(Unknown, match="case"):
        found("4.0", "", "").probability("haunted")


def test_every_case_has_words_and_modes() -> None:
    """Every case has a word, a sentence and what tells it apart, and modes that parts have."""
    data = read_data("humclick.diagnosis", "pins.toml")
    for name, row in data["case"].items():
        if not (row["word"] and row["title"] and row["plain"] and row["next"]):
            raise DataError(f"pins.toml: case {name} is not complete")
        for mode in row.get("modes", ()):
            part, _, mode = mode.partition(".")
            assert family(part).mode(mode).odds > 0.0
    assert set(data["case"]) == {c.name for c in found("4.0", "", "").cases}
