"""Judgement at the edges: where a figure turns a word, what flips a decision, what nothing shows."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis import advice as advising
from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.choices import opening_cost
from humclick.diagnosis.decisions import HAND_OVER, WAIT, actions_for, covered, loss
from humclick.diagnosis.displays import Display
from humclick.diagnosis.factors import dead, flat, p_hot
from humclick.diagnosis.planner import Choice, plan
from humclick.diagnosis.power import Earth, earth, insulation, three_equal
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.reasons import _strength
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.diagnosis.verdicts import flip
from humclick.jobs.sheet.technician import _decibans, _figure, _percent
from humclick.meters import Quantity, meter
from humclick.physics.insulation import InsulationStanding
from humclick.readings import Leads, PartTemperature, parse_reading
from humclick.readings.shown import percent
from humclick.start.rows import OUTCOMES

SHOP = default_shop()
OHMS = Quantity.RESISTANCE
MACHINE = Machine.of("csir-current-relay", "external", Nameplate(115.0, 60.0))


def seen(probe: str, text: str = "", **more: Any) -> Observation:
    """A reading where it begins with a figure or is OL, else an answer."""
    if text[:1].isdigit() or text == "OL":
        quantity = Quantity(probe_of(MACHINE, probe).quantity)
        return Observation(probe, parse_reading(text, quantity), **more)
    return Observation(probe, answer=text, **more)


def situation(*rows: Observation, **more: Any) -> Situation:
    return Situation(MACHINE, Heard.HUM_CLICK, rows, leads=Leads(nulled=True), **more)


# -- words of figures ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("decibans", "speaks_for", "said"),
    [
        (1.0, True, "speaks weakly for it"),
        (3.99, True, "speaks weakly for it"),
        (4.0, True, "speaks clearly for it"),
        (11.99, True, "speaks clearly for it"),
        (12.0, True, "speaks strongly for it"),
        (3.99, False, "speaks weakly against it"),
        (4.0, False, "speaks clearly against it"),
        (11.99, False, "speaks clearly against it"),
        (12.0, False, "speaks strongly against it"),
    ],
)
def test_how_strongly_a_reading_speaks(decibans: float, speaks_for: bool, said: str) -> None:
    """Weak below 4 decibans (odds of 2.5), strong from 12 (odds of 16)."""
    assert _strength(decibans, speaks_for) == said


@pytest.mark.parametrize(
    ("share", "sheet", "screen"),
    [
        (0.0, "0.00 %", "0 %"),
        (0.00005, "< 0.01 %", "<1 %"),
        (0.0001, "0.01 %", "<1 %"),
        (0.0049, "0.49 %", "<1 %"),
        (0.005, "0.50 %", "0 %"),
        (0.0099, "0.99 %", "1 %"),
        (0.01, "1 %", "1 %"),
        (0.42, "42 %", "42 %"),
        (0.99, "99 %", "99 %"),
        (0.992, "99.2 %", "99 %"),
        (0.995, "99.5 %", ">99 %"),
        (0.9995, "100.0 %", ">99 %"),
        (0.9996, "> 99.9 %", ">99 %"),
        (1.0, "100.0 %", "100 %"),
    ],
)
def test_a_probability_in_words(share: float, sheet: str, screen: str) -> None:
    """Never 0 or 100 per cent unless it is, with more digits near the ends."""
    assert _percent(share) == sheet
    assert percent(share) == screen


def test_figures_of_the_sheet() -> None:
    """A true minus; nothing below half a tenth; words where there is no number."""
    assert [_decibans(x) for x in (0.0, 0.049, -0.049, 0.05, -0.06, 12.34)] == [
        *("0.0", "0.0", "0.0", "+0.1", "−0.1", "+12.3"),
    ]
    assert [_figure(x) for x in (1.25, -3.0, math.inf)] == ["1.2", "−3.0", "no test left"]


# -- displays of nothing ------------------------------------------------------------------------------------


def display(text: str, quantity: Quantity) -> Display:
    return Display(parse_reading(text, quantity), meter("standard"), SHOP.slips)


def test_a_dead_conductor_shows_nothing_or_a_stray_voltage() -> None:
    """Most likely nothing; a stray voltage up to the highest there is; nothing above it but slips."""
    shown = {
        text: dead([display(text, Quantity.VOLTAGE)], 24.0) for text in ("0.0 V", "0.4 V", "20 V", "30 V")
    }
    twenty, thirty = display("20 V", Quantity.VOLTAGE), display("30 V", Quantity.VOLTAGE)
    assert dead([twenty], 24.0) - 0.75 * twenty.probability(0.0) == pytest.approx(
        0.1 * (twenty.high - twenty.low) / 24.0
    )
    assert shown["0.0 V"] > shown["0.4 V"] > shown["30 V"] > 0.0
    assert shown["20 V"] > shown["30 V"]
    assert dead([thirty], 24.0) == pytest.approx(0.75 * thirty.probability(0.0))
    assert dead([twenty], 20.0) > dead([twenty], 19.9)  # what is just as high is still a stray one
    one, less = display("2.0 V", Quantity.VOLTAGE), display("0.9 V", Quantity.VOLTAGE)
    alone = math.prod(dead([one_of], 40.0) for one_of in (twenty, thirty, less))
    assert dead([twenty, thirty, less], 40.0) > 5.0 * alone  # a wire in the air never shows the same
    assert dead([less], 24.0) > 3.0 * dead([one], 24.0)  # a fraction of a volt is common, a whole one is not


def test_a_display_of_which_nothing_is_known() -> None:
    """OL is the commonest, then zeros; numbers share the rest evenly by decades."""
    ol, zero, low, high, shown = (display(text, OHMS) for text in ("OL", "0.0", "4.7", "47", "47.0"))
    assert flat(ol) == pytest.approx(0.3)
    assert flat(zero) == pytest.approx(0.1)
    assert 0.0 < flat(low) < 0.01
    assert flat(high) == pytest.approx(0.1 * flat(low), rel=0.05)  # a tenth of the digits in its decade
    assert flat(shown) == pytest.approx(flat(high))


@pytest.mark.parametrize(
    ("kind", "celsius", "hot"),
    [
        *(("cold", None, 0.05), ("hot", None, 0.95), ("unknown", None, 0.35)),
        *(
            ("measured", 34.9, 0.02),
            ("measured", 35.0, 0.3),
            ("measured", 49.9, 0.3),
            ("measured", 50.0, 0.9),
        ),
    ],
)
def test_how_probably_a_part_was_hot(kind: str, celsius: float | None, hot: float) -> None:
    """By what was felt or measured: warm from 35 °C, hot from 50 °C."""
    assert p_hot(PartTemperature(kind, celsius), 0.05) == pytest.approx(hot)  # type: ignore[arg-type]


# -- attempts -----------------------------------------------------------------------------------------------


@given(st.lists(st.floats(0.01, 1.0), min_size=len(OUTCOMES), max_size=len(OUTCOMES)), st.floats(0.0, 0.99))
def test_an_attempt_under_a_bad_fault_fails_often_enough(weights: list[float], fails: float) -> None:
    """At least so probably; what it does when it fails keeps its proportions; all sum to one."""
    shares = tuple(w / sum(weights) for w in weights)
    made = Attempt(SimpleNamespace(outcomes_of=lambda key: shares), (), fails).outcomes  # type: ignore[arg-type]
    runs = OUTCOMES.index("runs")
    assert math.fsum(made) == pytest.approx(1.0)
    assert 1.0 - made[runs] == pytest.approx(max(fails, 1.0 - shares[runs]))
    rest = [k for k in range(len(made)) if k != runs]
    ratios = [made[k] / shares[k] for k in rest]
    assert ratios == pytest.approx([ratios[0]] * len(ratios))


# -- decisions ----------------------------------------------------------------------------------------------


@given(
    st.lists(st.lists(st.floats(0.0, 100.0), min_size=3, max_size=3), min_size=2, max_size=4),
    st.lists(st.floats(0.02, 1.0), min_size=3, max_size=3),
)
def test_the_flip_factor_is_where_the_decision_flips(table: list[list[float]], odds: list[float]) -> None:
    """Just below it the decision stands, just above another one is better; none where none is smaller."""
    weights = [x / sum(odds) for x in odds]

    def expected(scale: list[float]) -> list[float]:
        return [math.fsum(w * s * x for w, s, x in zip(weights, scale, row, strict=True)) for row in table]

    now = expected([1.0] * 3)
    chosen = now.index(min(now))
    actions = [frozenset({f"a{k}"}) for k in range(len(table))]
    problem = Choice(weights, [0, 1, 2], table, [], [], [], [], [], [])
    rival, factor = flip(problem, actions, chosen)
    if math.isinf(factor):
        assert rival == frozenset()
        return
    assert factor >= 1.0
    scales = [[factor * by if k == c else 1.0 for k in range(3)] for c in range(3) for by in (0.999, 1.001)]
    below, above = scales[::2], scales[1::2]
    if factor > 1.002:
        for scale in below:
            rows = expected(scale)
            assert rows[chosen] <= min(rows) + 1e-6 * max(1.0, max(rows))
    number = actions.index(rival)
    assert any(expected(scale)[number] <= expected(scale)[chosen] + 1e-6 for scale in above)


def test_pairs_that_one_of_them_covers_are_no_action_of_their_own() -> None:
    """A new compressor brings its start gear, whichever of the two is likelier."""
    relay, compressor, cord = (
        frozenset({name}) for name in ("replace relay", "replace compressor", "restore supply")
    )
    for ranked in ([relay, compressor], [compressor, relay]):
        assert set(actions_for(dict.fromkeys(ranked, 0.4))) == {relay, compressor, WAIT, HAND_OVER}
    assert set(actions_for(dict.fromkeys([relay, cord], 0.4))) == {relay, cord, relay | cord, WAIT, HAND_OVER}
    many = [frozenset({f"r{k}"}) for k in range(12)]
    made = actions_for(dict.fromkeys(many, 0.05))
    assert set(many[:10]) <= set(made)
    assert not set(many[10:]) & set(made)
    pairs = {action for action in made if len(action) == 2}
    assert pairs == {many[i] | many[j] for i in range(4) for j in range(i)}
    assert "set control" in covered(frozenset({"replace control"}))
    assert loss(relay, relay | WAIT, SHOP) == 0.0


# -- before power -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "standing", "weak"),
    [
        (["12 M"], InsulationStanding.PASSES, False),
        (["2 M"], InsulationStanding.RETEST, False),
        (["2 M", "2 M"], InsulationStanding.PASSES, True),
        (["2 M", "12 M", "2 M"], InsulationStanding.RETEST, False),
        (["12 M", "2 M", "2 M", "12 M"], InsulationStanding.PASSES, False),
        (["100 k"], InsulationStanding.NEVER, False),
        (["100 k", "2 M"], InsulationStanding.RETEST, False),
        (["100 k", "2 M", "2 M"], InsulationStanding.PASSES, True),
        (["100 k", "12 M"], InsulationStanding.PASSES, False),
    ],
)
def test_two_weak_readings_of_a_tester_running_let_it_be_powered(
    rows: list[str], standing: InsulationStanding, weak: bool
) -> None:
    """Between floor and 5 MΩ twice, one after the other; below the floor only a good one lifts it."""
    made = insulation(situation(*(seen("shell.insulation", text, tester=True) for text in rows)))
    assert (made.standing, made.weak) == (standing, weak)
    assert made.read == parse_reading(rows[-1], OHMS).text


def test_an_ohmmeter_lifts_nothing_a_tester_said() -> None:
    """Nor does it prove the windings after a breaker tripped; it may well condemn."""
    never, weak = (seen("shell.insulation", text, tester=True) for text in ("100 k", "2 M"))
    ol, short = seen("pins.shell", "OL"), seen("pins.shell", "0.4")
    assert insulation(situation(never, ol)).standing is InsulationStanding.NEVER
    assert insulation(situation(weak, ol)).standing is InsulationStanding.RETEST
    assert insulation(situation(weak, short)).standing is InsulationStanding.NEVER
    good = seen("shell.insulation", "300 M", tester=True)
    tripped = replace(situation(ol), complaint=Heard.BREAKER)
    assert insulation(tripped).tripped
    assert not insulation(replace(situation(good), complaint=Heard.BREAKER)).tripped
    again = seen("attempt.as_found", "breaker")
    assert insulation(situation(good, again)).tripped
    assert not insulation(situation(again, good)).tripped
    assert insulation(situation(again, weak)).tripped
    assert insulation(situation()).standing is None


def test_what_is_known_of_the_ground_wire() -> None:
    """By its reading, with what the meter may add; by a look where there is none by make."""
    good, bad = seen("earth.continuity", "0.1"), seen("earth.continuity", "OL")
    none = next(o for o in probe_of(MACHINE, "earth.look").outcomes if "no ground" in o or "two" in o)
    look = seen("earth.look", str(none))
    assert earth(situation()) is Earth.UNPROVED
    assert earth(situation(good)) is Earth.PROVED
    assert earth(situation(bad)) is Earth.OPEN
    assert earth(situation(good, bad)) is Earth.OPEN
    assert earth(situation(bad, good)) is Earth.PROVED
    assert earth(situation(look)) is Earth.NONE
    assert earth(situation(good, look)) is Earth.NONE
    assert earth(situation(seen("earth.continuity", "50"))) is Earth.OPEN


@pytest.mark.parametrize(
    ("ohms", "equal"),
    [
        (("4.7", "4.7", "4.7"), True),
        (("4.7", "4.8", "4.7"), True),
        (("4.7", "6.0", "4.7"), False),
        (("4.7", "11.2", "15.8"), False),
        (("0.0", "0.0", "0.0"), False),
        (("4.7", "4.7", "OL"), False),
    ],
)
@pytest.mark.parametrize("names", [("C-R", "C-S", "S-R"), ("1-2", "1-3", "2-3")])
def test_three_equal_readings_belong_to_another_machine(
    names: tuple[str, ...], ohms: tuple[str, ...], equal: bool
) -> None:
    """Of two windings in series the largest is the sum of the others, so it is never like them."""
    rows = [seen(f"pins.{name}", text) for name, text in zip(names, ohms, strict=True)]
    assert three_equal(situation(*rows)) is equal
    assert not three_equal(situation(*rows[:2]))
    assert not three_equal(situation(*rows[:2], seen("pins.shell", ohms[2])))


def test_getting_to_a_probe_costs_the_cover() -> None:
    """Off once for what lies inside, on once for what is powered; nothing where it is so already."""
    inside, covered_up = probe_of(MACHINE, "current_relay.coil"), probe_of(MACHINE, "attempt.as_found")
    outside = probe_of(MACHINE, "supply.volts")
    off, on = SHOP.money(SHOP.opening["cover"]), SHOP.money(SHOP.opening["closed"])
    assert (off > 0.0, on > 0.0) == (True, True)
    assert [opening_cost(inside, state, SHOP) for state in (False, True)] == [off, 0.0]
    assert [opening_cost(covered_up, state, SHOP) for state in (False, True)] == [0.0, on]
    assert [opening_cost(outside, state, SHOP) for state in (False, True)] == [0.0, 0.0]


def test_advice_is_shown_in_a_line() -> None:
    """The probe with the likeliest suspect; the verdict once there is one."""
    made = advising.advise(situation())
    assert made.next is not None
    assert repr(made).startswith(f"<next {made.next.probe}: {made.next.title}; ")
    assert made.suspects[0].label in repr(made)
    empty = replace(made, next=None, suspects=(), kind="stop")
    assert repr(empty) == "<stop: ; >"


def test_where_nothing_is_worth_its_price_the_best_action_is_taken() -> None:
    """Without probes: the least expected loss, the first of equals."""
    made = plan(Choice([0.7, 0.3], [0, 1], [[1.0, 9.0], [4.0, 2.0], [4.0, 2.0]], [], [], [], [], [], []))
    assert made.best is None
    assert made.worths == ()
    assert made.act_now == pytest.approx(3.4)
    assert made.action in (0, 1)
    assert made.act_now == pytest.approx(min(0.7 * 1 + 0.3 * 9, 0.7 * 4 + 0.3 * 2))
