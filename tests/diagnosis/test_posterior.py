"""Exact probabilities: order, truncation and its bound, joint causes, shared unknowns."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.beyond import four_or_more
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.forecast import forecast
from humclick.diagnosis.hypotheses import Hypotheses
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.diagnosis.suspects import TOLERANCE, Posterior, posterior
from humclick.meters import Meter, Quantity, meter_from_table
from humclick.readings import parse_reading, parse_temperature
from humclick.sourced import Spread
from tests.published import published

SHOP = default_shop()


def seen(probe: str, text: str, heat: str = "cold") -> Observation:
    """An observation as typed."""
    quantity = Quantity.CAPACITANCE if probe.endswith("farads") else Quantity.RESISTANCE
    if probe.endswith(("amps", "_current")):
        quantity = Quantity.CURRENT
    if "volts" in probe:
        quantity = Quantity.VOLTAGE
    measured = any(
        probe.endswith(x)
        for x in (
            *("ohms", "farads", "coil", "at_rest", "turned_over", "volts", "amps", "pins.shell"),
            *("continuity", "insulation", "_current", "to_common", "to_run", "to_start", "cord"),
        )
    )
    if measured or probe.startswith(("pins", "between", "leads")) or "volts" in probe:
        reading = parse_reading(text, quantity)
        tester = probe == "shell.insulation"
        return Observation(probe, reading, temperature=parse_temperature(heat), tester=tester)
    return Observation(probe, answer=text, temperature=parse_temperature(heat))


def weigh(bench: Bench, heard: Heard | None, *observations: Observation) -> Posterior:
    """Posterior of a bench after a complaint and observations."""
    situation = Situation(bench.machine, heard, tuple(observations))
    return posterior(bench, compile_evidence(bench, situation))


@pytest.fixture(scope="module")
def psc() -> Bench:
    """The smallest arrangement."""
    return Bench(Machine.of("psc"), SHOP)


READINGS = [
    seen("run_capacitor.farads", "14.1 uF"),
    seen("overload_protector.ohms", "OL"),
    seen("pins.C-R", "3.1"),
    seen("pins.C-S", "OL"),
    seen("wiring.look", "not as drawn"),
]


def test_the_order_of_readings_does_not_matter(psc: Bench) -> None:
    """Any order of the same readings gives the same posterior to rounding."""
    first = weigh(psc, Heard.HUM, *READINGS)
    for order in random.Random(3).sample(list(itertools.permutations(READINGS)), 6):
        other = weigh(psc, Heard.HUM, *order)
        assert dict(other.cases) == pytest.approx(dict(first.cases), rel=1e-9, abs=1e-15)
        assert other.none == pytest.approx(first.none, rel=1e-9)


def test_probabilities_sum_to_one(psc: Bench) -> None:
    """All sets and "none of these" together are certain, after nothing and after everything."""
    for observations in ([], READINGS):
        got = weigh(psc, None, *observations)
        assert math.fsum(p for _, p in got.cases) + got.none == pytest.approx(1.0, abs=1e-12)
        assert sum(got.by_class.values()) == pytest.approx(1.0, abs=1e-9)


def test_what_is_left_out_is_bounded(psc: Bench) -> None:
    """The mass a fourth fault takes, when it is allowed, never exceeds the bound given without it."""
    four = Bench(psc.machine, SHOP)
    four.space = Hypotheses(psc.machine, SHOP, most=4)
    for readings in ([], READINGS[:2], READINGS):
        short = weigh(psc, Heard.HUM_CLICK, *readings)
        situation = Situation(psc.machine, Heard.HUM_CLICK, tuple(readings))
        long = posterior(four, compile_evidence(four, situation), tolerance=1e-6)
        missed = math.fsum(p for chosen, p in long.cases if len(chosen) == 4)
        assert missed <= short.beyond * (1 + 1e-9)
        for fault, p in list(long.by_mode.items())[:10]:
            assert abs(p - short.by_mode[fault]) <= short.left_out + short.beyond + 1e-6


def test_exclusive_modes_never_stand_together(psc: Bench) -> None:
    """No hypothesis holds two modes of one part."""
    assert all(len({p for p, _ in chosen}) == len(chosen) for chosen in psc.space.sets)
    assert max(len(chosen) for chosen in psc.space.sets) == 3


def test_a_common_cause_raises_the_pair_above_the_product() -> None:
    """A welded relay makes a burnt start winding likelier than the two odds by themselves say."""
    bench = Bench(Machine.of("rsir-current-relay"), SHOP)
    names = [bench.space.named(chosen) for chosen in bench.space.sets]
    prior = dict(zip(names, bench.space.prior, strict=True))

    pair = prior[(("current_relay", "welded"), ("start_winding", "shorted_turns"))]

    product = prior[(("current_relay", "welded"),)] * prior[(("start_winding", "shorted_turns"),)]
    assert pair > 5 * product


@published(
    source="common practice",
    where="hot protector: OL after a trip is not a verdict; cool it and measure again",
)
def test_an_open_hot_protector_is_hardly_news() -> None:
    """OL while hot moves the odds of a failed protector little; OL when cold settles it."""
    bench = Bench(Machine.of("rsir-ptc"), SHOP)
    before, hot, cold = (
        weigh(bench, Heard.SILENT, *observations).of_mode("overload_protector", "open")
        for observations in (
            (),
            (seen("overload_protector.ohms", "OL", "hot"),),
            (seen("overload_protector.ohms", "OL"),),
        )
    )

    assert hot < 2.5 * before
    assert cold > 0.8
    assert cold > 3 * hot


@published(
    source="common practice", where="small start capacitor marked 15 µF reading 14.84 µF and 15.41 µF is good"
)
def test_a_stamp_makes_a_capacitor_reading_decide() -> None:
    """Near the stamp it is good; at half the stamp it is bad, though a typical one could read that."""
    known = {"start_capacitor.capacitance": Spread(15e-6, 1.06)}
    bench = Bench(Machine.of("csir-ptc", "external", known=known), SHOP)
    for text, bad in (("14.84 uF", False), ("15.41 uF", False), ("7.0 uF", True)):
        got = weigh(bench, Heard.HUM_CLICK, seen("start_capacitor.farads", text))
        assert (got.of_part("start_capacitor") > 0.5) is bad


@published(
    source="common practice", where="current relay turned over: 3.8–4 Ω, then 0.2 Ω after re-seating is good"
)
def test_a_repeat_after_reseating_takes_back_some_of_the_suspicion() -> None:
    """Ohms on the contacts raise the suspicion; one good repeat lowers it without clearing it."""
    bench = Bench(Machine.of("csir-current-relay"), SHOP)

    first = weigh(bench, Heard.HUM_CLICK, seen("current_relay.turned_over", "3.9"))
    again = weigh(
        bench,
        Heard.HUM_CLICK,
        seen("current_relay.turned_over", "3.9"),
        seen("current_relay.turned_over", "0.3"),
    )

    before = weigh(bench, Heard.HUM_CLICK)
    assert first.of_part("current_relay") > 1.5 * before.of_part("current_relay")
    assert again.of_part("current_relay") < 0.9 * first.of_part("current_relay")


def test_five_equal_readings_count_hardly_more_than_one() -> None:
    """Repeats share the true value: five equal readings do not multiply the evidence by itself."""
    bench = Bench(Machine.of("rsir-ptc"), SHOP)
    reading = seen("ptc.ohms", "30")

    def odds(n: int) -> float:
        got = weigh(bench, Heard.HUM_CLICK, *([reading] * n))
        return math.log(got.of_mode("ptc", "drifted") / (1 - got.of_part("ptc")))

    assert abs(odds(5) - odds(1)) < 2.0
    assert abs(odds(1) - odds(0)) > 2.0


def test_one_slip_does_not_bury_the_truth_for_good() -> None:
    """A reading no healthy part gives, contradicted by two good repeats, leaves the part unlikely."""
    bench = Bench(Machine.of("rsir-ptc"), SHOP)
    good = seen("overload_protector.ohms", "0.2")

    got = weigh(bench, Heard.HUM_CLICK, seen("overload_protector.ohms", "OL"), good, good)

    assert got.of_mode("overload_protector", "open") < 0.01


def test_leads_not_nulled_are_a_common_unknown() -> None:
    """Shorting the leads narrows what they add, and with it what a small reading means."""
    bench = Bench(Machine.of("rsir-current-relay"), SHOP)

    before = weigh(bench, Heard.HUM_CLICK)
    after = weigh(bench, Heard.HUM_CLICK, seen("leads.short", "0.5"))

    heavy = max(c for c, _ in before.leads)
    assert dict(after.leads)[heavy] > 3 * dict(before.leads)[heavy]


def test_touches_of_a_dirty_contact_share_nothing() -> None:
    """Every touch of a dirty contact finds another value, so that each counts for itself."""
    bench = Bench(Machine.of("rsir-current-relay"), SHOP)
    place = bench.place["current_relay"]
    names = list(bench.machine.part("current_relay").family.modes)

    def table(*texts: str) -> dict[str, tuple[float, ...]]:
        shown = tuple(seen("current_relay.turned_over", text) for text in texts)
        (factor,) = compile_evidence(bench, Situation(bench.machine, None, shown)).factors[1:]
        assert factor.scope == (place,)
        return {names[config[0]]: row for config, row in factor.table.items()}

    texts = ("3.0", "8.0", "OL")
    each, together = [table(text) for text in texts], table(*texts)
    apart = [math.prod(of_a_lead) for of_a_lead in zip(*(t["contacts_dirty"] for t in each), strict=True)]
    assert together["contacts_dirty"] == pytest.approx(apart, rel=1e-12)


def test_what_is_foreseen_with_one_meter_is_not_kept_for_another() -> None:
    """Two meters of one name, the second far coarser: what each will show is foreseen of itself."""
    names = ("attempt.amps", "supply.volts_start", "ptc.ohms", "pins.C-S")
    fine, coarse = (
        meter_from_table(
            {
                "name": "my own",
                "ranges": [
                    {"quantity": q, "full_scale": top, "resolution": digit, "percent": percent, "counts": 3}
                    for q, top in (("resistance", 2000), ("voltage", 600), ("current", 60))
                ],
            }
        )
        for digit, percent in ((0.1, 0.5), (10.0, 20.0))
    )

    def foreseen(bench: Bench, meter: Meter) -> list[list[tuple[float, ...]]]:
        situation = Situation(bench.machine, Heard.HUM_CLICK, meter=meter)
        post = posterior(bench, compile_evidence(bench, situation))
        chosen = [chosen for chosen, _ in post.top(40)]
        asked = [(probe_of(bench.machine, name, SHOP), 0.0) for name in names]
        return [f.rows for f in forecast(bench, situation, post, chosen, asked)]

    shared, own = (Bench(Machine.of("rsir-ptc"), SHOP) for _ in range(2))
    first, second = foreseen(shared, fine), foreseen(shared, coarse)
    assert len(second) == len(names)
    assert second == foreseen(own, coarse)
    assert all(a != b for a, b in zip(first, second, strict=True))


def test_sets_left_out_hold_no_more_than_is_said_whatever_the_order() -> None:
    """What start attempts are not asked of is within `left_out`; the order of readings changes nothing."""
    bench = Bench(Machine.of("rsir-ptc"), SHOP)
    found = [seen("attempt.as_found", "hum_click", "hot"), seen("supply.volts_start", "104")]
    found += [
        seen("attempt.amps", "11.2", "hot"),
        seen("attempt.known_good", "hum_click"),
        seen("ptc.ohms", "5.1"),
    ]
    for turn in range(len(found)):
        taken = tuple(found[turn:] + found[:turn])
        evidence = compile_evidence(bench, Situation(bench.machine, Heard.HUM_CLICK, taken))
        told, whole = posterior(bench, evidence), posterior(bench, evidence, tolerance=0.0)
        weighed, every = dict(told.cases), dict(whole.cases)
        left_out = [p for chosen, p in every.items() if chosen not in weighed]
        assert left_out
        assert whole.left_out == 0.0
        assert math.fsum(left_out) <= told.left_out <= TOLERANCE
        assert weighed == pytest.approx({c: every[c] for c in weighed}, abs=told.left_out)


@pytest.mark.parametrize(
    ("beyond", "said"),
    [
        (0.004, "Four or more faults at once: <1 % at most"),
        (0.2, "Four or more faults at once: 20 % at most"),
        (0.97, "Four or more faults at once are not ruled out"),
        (1.0, "Four or more faults at once are not ruled out"),
    ],
)
def test_a_bound_that_bounds_nothing_is_said_plainly(beyond: float, said: str) -> None:
    """Nobody is told of at most 100 %."""
    assert four_or_more(beyond) == said
