"""Where nobody is sure of the arrangement, all that fit are weighed, and none becomes a fact by itself."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import UNREAD, Machine, Nameplate
from humclick.diagnosis import mixture
from humclick.diagnosis.advice import advise
from humclick.diagnosis.advised import MayBe
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.guards import forbidden
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.under_cover import answer_odds
from humclick.diagnosis.power import bars
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.recognise import UNDER_COVER, common, questions
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.diagnosis.unsure import weigh_arrangements
from humclick.meters import Quantity
from humclick.readings import PartTemperature, parse_reading
from tests.kinds_of_machine import Faulty
from tests.sample import sampled

ALL = tuple(name for name in arrangements() if arrangement(name).judged)
SINGLE = tuple(name for name in ALL if arrangement(name).started)
SHOP = default_shop()


def unsure(*names: str, volts: float = UNREAD) -> Machine:
    """A machine that may be any of these, the first for now."""
    return replace(Machine.of(names[0], None, Nameplate(volts)), also=names[1:])


def of_any(plate: float) -> Machine:
    names = sorted(
        (name for name in ALL if arrangement(name).frame.serves(plate)), key=lambda n: (-common(n), n)
    )
    return unsure(*names, volts=plate)


def ohms(probe: str, text: str) -> Observation:
    return Observation(
        probe, parse_reading(text, Quantity.RESISTANCE), temperature=PartTemperature("cold"), id=probe
    )


def look(name: str, question: str) -> Observation:
    """What somebody who is sure sees on a machine of an arrangement."""
    asked = next(q for q in questions() if q.name == question)
    seen = next((option for option in asked.options if name in option.fits), None)
    return Observation(f"{UNDER_COVER}{question}", None, str(seen.text) if seen else "", id=question)


def shares(situation: Situation) -> dict[str, float]:
    return {c.name: c.probability for c in weigh_arrangements(situation, SHOP).candidates}


PAIRS = {"C-R": "3.5", "C-S": "10.5", "S-R": "14"}
READ = tuple(ohms(f"pins.{pair}", text) for pair, text in PAIRS.items())


def test_before_anything_is_seen_each_is_as_probable_as_it_is_common() -> None:
    """By what is usual for the refrigerant, where that was read."""
    names = ("rsir-ptc", "rscr-ptc", "psc")
    for gas in ("", "R600a", "R410A"):
        machine = replace(unsure(*names), nameplate=Nameplate(115.0, refrigerant=gas))
        total = math.fsum(common(name, gas) for name in names)
        for name, share in shares(Situation(machine)).items():
            assert share == pytest.approx(common(name, gas) / total, rel=0.03)
    assert common("psc", "R410A") > common("psc") > common("psc", "R600a")


def summed(situation: Situation) -> float:
    """Prior times likelihood over every set of modes and over what the leads add, none left out."""
    judged = judge(situation, SHOP)
    space, factors = judged.bench.space, judged.evidence.factors
    total = space.none_prior * math.prod(factor.none for factor in factors)
    for chosen, weight in zip(space.sets, space.prior, strict=True):
        modes = dict(chosen)
        for lead, (_, share) in enumerate(judged.evidence.leads):
            seen = [f.table[tuple(modes.get(part, 0) for part in f.scope)][lead] for f in factors if f.table]
            total += weight * share * math.prod(seen) * _wholly(factors, chosen)
    return total


def _wholly(factors: tuple[Factor, ...], chosen: tuple[tuple[int, int], ...]) -> float:
    """What readings of the whole machine give under a set of modes. [-]"""
    p = 1.0
    for f in factors:
        if f.per_set is not None:
            bits = 0
            for fault in chosen:
                bits |= f.per_set.marks[fault]
            p *= next(iter(f.per_set.of_all([bits])))
    return p


def test_what_is_seen_weighs_by_the_rule_of_bayes() -> None:
    """Common times the sum over every set of modes of prior times likelihood, none left out."""
    names = ("rsir-ptc", "rsir-current-relay", "rscr-ptc")
    situation = Situation(unsure(*names), Heard.HUM_CLICK, READ)
    expected = {}
    for name in names:
        one = replace(situation, machine=Machine.of(name))
        expected[name] = common(name) * summed(one) / summed(Situation(one.machine))
    total = math.fsum(expected.values())
    for name, share in shares(situation).items():
        assert share == pytest.approx(expected[name] / total, rel=0.02)


@pytest.mark.parametrize("plate", [115.0, 230.0, 12.0])
@pytest.mark.parametrize("name", sampled(ALL, ALL[::6]))
def test_true_looks_end_in_the_arrangement_that_is_there(name: str, plate: float) -> None:
    """From all there are: the looks asked for, each answered truly, leave it far ahead of the rest."""
    if not arrangement(name).frame.serves(plate):
        return
    situation = Situation(of_any(plate), Heard.HUM_CLICK)
    for _ in range(len(questions())):
        advice = advise(situation)
        looks = [
            v.probe
            for v in (advice.next, *advice.alternatives)
            if v is not None and v.probe.startswith(UNDER_COVER)
        ]
        if not looks:
            break
        seen = look(name, looks[0].removeprefix(UNDER_COVER))
        situation = (
            replace(situation, observations=(*situation.observations, seen))
            if seen.answer
            else replace(situation, skipped=situation.skipped | {seen.probe})
        )
    left = shares(situation)
    assert max(left, key=left.__getitem__) == name
    assert left[name] > 0.85, left


@pytest.mark.parametrize(
    ("read", "has"),
    [
        (ohms("ptc.ohms", "5.2"), "rsir-ptc"),
        (ohms("current_relay.turned_over", "0.1"), "rsir-current-relay"),
        (ohms("potential_relay.coil", "6.5k"), "csr-potential-relay"),
    ],
)
def test_a_reading_of_a_part_speaks_for_machines_that_have_it(read: Observation, has: str) -> None:
    """What the others do not have can only have been read on the wrong thing."""
    names = ("rsir-ptc", "rsir-current-relay", "csr-potential-relay")
    machine = unsure(has, *(name for name in names if name != has))
    before, after = shares(Situation(machine)), shares(Situation(machine, observations=(read,)))
    assert after[has] > 0.9 > before[has]


@pytest.mark.parametrize("name", sampled(["csir-ptc", "psc", "timed-starter", "rscr-current-relay"], ["psc"]))
@pytest.mark.parametrize("fault", ["start_winding.open", "control.open", ""])
def test_whoever_is_sure_of_nothing_is_led_to_the_same_end(name: str, fault: str) -> None:
    """Following the advice on a machine with a fault ends where it ends for who knows the arrangement."""
    part, _, mode = fault.partition(".")
    if not fault:
        starter = next((p for p in Machine.of(name).parts if p.family.gear), None)
        assert starter is not None
        part, mode = starter.id, starter.family.listed[1].name

    def followed(machine: Machine) -> frozenset[str]:
        faulty = Faulty(Machine.of(name), {part: mode})
        situation = Situation(machine, Heard.HUM_CLICK if part != "control" else Heard.SILENT, hot=False)
        for _ in range(45):
            advice = advise(situation)
            if advice.next is None:
                assert advice.verdict is not None
                return frozenset(advice.verdict.due)
            wanted = advice.next.probe
            if wanted.startswith(UNDER_COVER):
                seen = look(name, wanted.removeprefix(UNDER_COVER))
            else:
                seen = faulty.shows(probe_of(faulty.machine, wanted), situation.observations)
            situation = replace(situation, observations=(*situation.observations, seen), waited=120.0)
        raise AssertionError("no end")

    known = followed(Machine.of(name))
    assert followed(replace(of_any(115.0))) == known


@st.composite
def situations(draw: st.DrawFn) -> Situation:
    """A few arrangements in question and a few things seen, whatever they may be."""
    names = draw(st.lists(st.sampled_from(SINGLE), min_size=2, max_size=4, unique=True))
    observations: list[Observation] = list(READ[: draw(st.integers(0, 3))])
    pool = (
        ohms("shell.insulation", "OL"),
        ohms("pins.shell", "OL"),
        ohms("earth.continuity", "0.1"),
        ohms("overload_protector.ohms", "0.2"),
        ohms("start_winding.none", "1"),
        look(names[0], "pins"),
        look(names[0], "capacitors"),
    )
    for k in sorted(draw(st.sets(st.sampled_from([0, 1, 2, 3, 5, 6]), max_size=5))):
        observations.append(pool[k])
    if draw(st.booleans()):
        observations[:1] = [ohms("pins.C-R", "OL")]
    heard = draw(st.sampled_from([None, *Heard]))
    machine = unsure(*names)
    have = tuple(
        o for o in observations if all(_has(Machine.of(n), o) for n in names) and (o.reading or o.answer)
    )
    return Situation(machine, heard, have, hot=draw(st.sampled_from([None, False, True])))


def _has(machine: Machine, o: Observation) -> bool:
    try:
        return bool(probe_of(machine, o.probe))
    except LookupError:
        return False


@settings(max_examples=12, deadline=None)
@given(situations())
def test_advice_is_the_most_cautious_and_no_verdict_hides_a_rival(situation: Situation) -> None:
    """A bar on any of them bars; what is to be done is said only where all that matter ask for the same."""
    advice = advise(situation)
    held = weigh_arrangements(situation, SHOP).candidates
    each = [(c, advise(c.situation)) for c in held]
    assert math.fsum(one.probability for one in advice.arrangements) == pytest.approx(1.0)
    assert len(advice.arrangements) == len(held) <= 5
    for _, one in each:
        assert {bar.name for bar in one.bars} <= {bar.name for bar in advice.bars}
    if advice.verdict is not None and advice.verdict.due != ("hand over",) and advice.kind == "verdict":
        for c, one in each:
            if c.probability > 0.05:
                assert one.verdict is not None
                assert one.verdict.due == advice.verdict.due
    if advice.next is not None and not advice.next.probe.startswith(UNDER_COVER):
        for c, _ in each:
            assert _has(c.situation.machine, Observation(advice.next.probe))
    total = advice.none_of_these + math.fsum(s.probability for s in advice.suspects)
    assert total <= 1.0 + 1e-6


def test_only_the_few_that_matter_are_advised_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many fit, and what share of calls the rest are is told."""
    asked: Counter[str] = Counter()
    real = mixture.mixed

    def counted(situation: Situation, shop: object, one: object) -> object:
        def ask(narrow: Situation) -> object:
            asked[narrow.machine.arrangement.id] += 1
            return one(narrow)  # type: ignore[operator]

        return real(situation, shop, ask)  # type: ignore[arg-type]

    monkeypatch.setattr("humclick.diagnosis.advice.mixed", counted)
    machine = of_any(115.0)
    advice = advise(Situation(machine, Heard.HUM_CLICK, READ))
    assert len(machine.may_be) > 10
    assert 1 < len(asked) <= 5
    assert max(asked.values()) == 1
    left = math.fsum(common(m.arrangement.id) for m in machine.may_be if m.arrangement.id not in asked)
    assert advice.unweighed == pytest.approx(
        left / math.fsum(common(m.arrangement.id) for m in machine.may_be), rel=0.01
    )


def test_nothing_is_powered_while_it_may_be_of_another_kind() -> None:
    """A machine that may be inverter-driven is looked at before anything is put under power."""
    machine = unsure("psc", "inverter-driven")
    for seen in ((), (ohms("earth.continuity", "0.1"), ohms("shell.insulation", "OL"))):
        advice = advise(Situation(machine, Heard.SILENT, seen))
        assert advice.next is not None
        assert not probe_of(machine, advice.next.probe).energises
    assert advise(Situation(machine, Heard.HUM)).next is not None
    trial = probe_of(machine, "attempt.as_found")
    assert forbidden(Situation(machine), trial, SHOP)
    told = Situation(machine, observations=(look("psc", "feed"),))
    assert [bar.name for bar in bars(told)] == []


def test_a_look_nobody_is_sure_of_is_not_asked_again() -> None:
    """Left out, the next best look comes, and in the end what can be done without."""
    situation = Situation(unsure("rsir-ptc", "rsir-current-relay", "csir-ptc"), Heard.HUM_CLICK, READ)
    asked = []
    for _ in range(len(questions()) + 1):
        advice = advise(situation)
        assert advice.next is not None
        if not advice.next.probe.startswith(UNDER_COVER):
            break
        asked.append(advice.next.probe)
        situation = replace(situation, skipped=situation.skipped | {advice.next.probe})
    assert len(asked) == len(set(asked)) > 0
    assert advice.next is not None
    assert not advice.next.probe.startswith(UNDER_COVER)


def test_a_bench_of_an_unsure_machine_is_that_of_the_one_taken_for_now() -> None:
    """What else it may be changes nothing of the machine itself."""
    machine = unsure("rsir-ptc", "rscr-ptc")
    assert bench_for(machine, SHOP) is bench_for(Machine.of("rsir-ptc"), SHOP)
    assert machine.may_be == (Machine.of("rsir-ptc"), Machine.of("rscr-ptc"))


@pytest.mark.parametrize("name", ALL)
def test_every_question_has_answers_that_add_up(name: str) -> None:
    """Whatever the arrangement; what fits is far ahead of what does not."""
    for asked in questions():
        odds = answer_odds(asked, name, 0.01)
        assert math.fsum(odds.values()) == pytest.approx(1.0)
        fits = [str(option.text) for option in asked.options if name in option.fits]
        if fits:
            others = [p for text, p in odds.items() if text not in fits]
            assert min(odds[text] for text in fits) > 20 * max(others, default=0.0)


def test_an_arrangement_is_told_with_its_odds() -> None:
    """As it stands in a list."""
    assert str(MayBe("psc", arrangement("psc").title, 0.25).told).startswith("25")
