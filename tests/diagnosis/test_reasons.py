"""What each reading did, and what another would do: held against judgement asked again."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from humclick.diagnosis.advice import advise
from humclick.diagnosis.damage import remedies_done
from humclick.diagnosis.decisions import actions_for, losses
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import owed
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.reasons import explain, leader_of, what_if
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.suspects import NONE
from tests.diagnosis.written_answers import calls, prefixes, situation_of
from tests.sample import sampled

SHOP = default_shop()
#: From here a reading speaks clearly, and strongly. [decibans]
CLEAR, STRONG = 4.0, 12.0


def named(given: Any) -> str:
    """A short name of a case."""
    return given["name"] if isinstance(given, dict) else str(given)


_CALLS = prefixes(every=37)
some = pytest.mark.parametrize(("call", "count"), sampled(_CALLS, _CALLS[::3]), ids=named)


def plain(situation: Situation) -> bool:
    """Whether nothing was done and nothing is due: what is left is the class itself."""
    return not situation.renewed and not owed(situation, SHOP) and not remedies_done(situation)


def odds(situation: Situation, a: frozenset[str], b: frozenset[str]) -> float:
    """[decibans]"""
    classes = judge(situation).post.by_class
    return 10.0 * math.log10(max(classes.get(a, 0.0), 1e-30) / max(classes.get(b, 0.0), 1e-30))


@some
def test_each_reason_is_the_step_of_the_odds_when_its_reading_came(call: dict[str, Any], count: int) -> None:
    """Together they lead from the odds before anything was heard to those now."""
    situation = situation_of(call, count)
    if not plain(situation):
        return
    told = explain(situation)
    leader, rival = frozenset(told.leader), frozenset(told.rival)
    classes = judge(situation).post.by_class
    assert leader == next(iter(classes))
    assert told.probability == pytest.approx(classes[leader])
    assert not leader <= rival
    assert not rival < leader
    steps = [replace(situation, observations=(), complaint=None), replace(situation, observations=())]
    steps = steps if situation.complaint is not None else steps[1:]
    steps += [replace(situation, observations=situation.observations[: k + 1]) for k in range(count)]
    at = [odds(step, leader, rival) for step in steps]
    assert [r.decibans for r in told.reasons] == pytest.approx([b - a for a, b in pairwise(at)])
    begins = 0 if situation.complaint is None else 1
    assert [r.probe for r in told.reasons[begins:]] == [o.probe for o in situation.observations]
    for k, reason in enumerate(told.reasons[begins:]):
        seen = situation.observations
        rest = judge(replace(situation, observations=seen[:k] + seen[k + 1 :])).post.by_class
        assert reason.without == pytest.approx(rest.get(leader, 0.0))


@some
def test_a_reason_names_the_remedies_it_moved_most_and_how_strongly_it_speaks(
    call: dict[str, Any], count: int
) -> None:
    """Two at most, the most moved first, none by less than four per cent; and by its weight in words."""
    situation = situation_of(call, count)
    told = explain(situation)
    for reason in told.reasons:
        moves = [abs(after - before) for _, before, after in reason.moved]
        assert len(moves) <= 2
        assert moves == sorted(moves, reverse=True)
        assert all(move > 0.04 for move in moves)
        size, text = abs(reason.decibans), str(reason.words)
        assert ("weakly" in text) == (1.0 <= size < CLEAR)
        assert ("clearly" in text) == (CLEAR <= size < STRONG)
        assert ("strongly" in text) == (size >= STRONG)
        if size >= 1.0:
            assert ("against" in text) == (reason.decibans < 0)
        for remedy, _, _ in reason.moved:
            assert remedy in text
        assert ("hardly anything" in text) == (size < 1.0 and not moves)
    seen = [r for r in told.reasons if r.probe != "complaint"]
    for k, reason in enumerate(seen):
        begin, end = (
            judge(replace(situation, observations=situation.observations[: k + j])).post.by_remedy
            for j in (0, 1)
        )
        most = max(abs(end.get(r, 0.0) - p) for r, p in begin.items())
        assert bool(reason.moved) == (most > 0.04)
        for remedy, before, after in reason.moved:
            assert (before, after) == pytest.approx((begin[remedy], end.get(remedy, 0.0)))
        if reason.moved:
            assert abs(reason.moved[0][1] - reason.moved[0][2]) == pytest.approx(most)


@some
def test_the_decision_explained_is_the_verdicts(call: dict[str, Any], count: int) -> None:
    """Its probability is that of all that is put right by just that; one with no case has no reasons."""
    situation = situation_of(call, count)
    advice = advise(situation)
    told = explain(situation, leader=leader_of(advice))
    if advice.verdict is None:
        assert told == explain(situation)
    elif plain(situation) and frozenset(advice.verdict.due) in judge(situation).post.by_class:
        assert told.leader == advice.verdict.due
        assert told.probability == pytest.approx(
            judge(situation).post.by_class[frozenset(advice.verdict.due)]
        )
    if not plain(situation):
        return
    asked = leader_of(advice, ["replace door"])
    assert asked == frozenset({"replace door"})
    none = explain(situation, leader=asked)
    assert (none.reasons, none.probability, none.leader) == ((), 0.0, ("replace door",))


def test_elimination_is_said_where_no_reading_speaks_of_the_leader_itself() -> None:
    """Only after three readings, and never where one weighs three decibans for it against a sound machine."""
    said = set()
    for call, count in prefixes(every=53):
        situation = situation_of(call, count)
        told = explain(situation)
        said.add(told.by_elimination)
        if told.by_elimination:
            assert count >= 3
            assert "by elimination" in told.sentence
            assert told.leader != ("wait",)
            assert bool(told.untested) == ("Not tested yet" in told.sentence)
            shell = [o.probe for o in situation.observations if "shell" in o.probe]
            assert shell or "windings to the shell" in told.untested
    assert said == {True, False}


# -- what another would do ----------------------------------------------------------------------------------


@pytest.mark.parametrize("call", calls()[::9], ids=lambda call: call["name"])
def test_an_outcome_moves_the_suspects_as_it_would_if_it_were_seen(call: dict[str, Any]) -> None:
    """For looks, whose forecast is their likelihood: remedies and decision of judgement asked again."""
    situation = replace(situation_of(call, 2), renewed=frozenset(), repairs=0, fitted={})
    looks = [
        p
        for p in probes_of(situation.machine, SHOP).values()
        if p.kind == "look" and not p.due and not p.stops
    ]
    taken = {o.probe for o in situation.observations}
    for probe in [p for p in looks if p.id not in taken][:3]:
        outcomes = what_if(situation, probe.id)
        assert math.fsum(o.probability for o in outcomes) == pytest.approx(1.0, abs=2e-3)
        assert [str(o.outcome) for o in outcomes] == [
            a for a in probe.outcomes if a in {str(o.outcome) for o in outcomes}
        ]
        for outcome in outcomes:
            seen = Observation(probe.id, answer=str(outcome.outcome))
            after = replace(situation, observations=(*situation.observations, seen))
            post = judge(after).post
            assert [p for _, p in outcome.remedies] == sorted((p for _, p in outcome.remedies), reverse=True)
            assert len(outcome.remedies) <= 4
            for remedy, p in outcome.remedies:
                if remedy not in NONE:
                    assert p == pytest.approx(post.by_remedy.get(remedy, 0.0), abs=0.01)
            due = owed(after, SHOP)
            actions = actions_for(post.by_class, due)
            table = losses(actions, list(post.by_class), SHOP, frozenset(), due)
            expected = [
                math.fsum(p * x for p, x in zip(post.by_class.values(), row, strict=True)) for row in table
            ]
            chosen = next(
                (a for a in range(len(actions)) if tuple(sorted(actions[a])) == outcome.decision), None
            )
            assert chosen is not None
            assert expected[chosen] <= min(expected) + 0.02 * max(1.0, min(expected))


def test_a_probe_that_tells_nothing_has_no_outcomes() -> None:
    """A check and a reading between two nodes are never foreseen; outcomes too faint are passed over."""
    situation = situation_of(calls()[0], 0)
    assert what_if(situation, "between.l-n") == ()
    assert all(o.probability >= 1e-6 for o in what_if(situation, "pins.C-R"))
