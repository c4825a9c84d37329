"""What stands behind a verdict and beside a probe: lists in order, losses, margin, what would flip it."""

from __future__ import annotations

import math
from typing import Any

import pytest

from humclick.diagnosis.advice import advise
from humclick.diagnosis.choices import choices
from humclick.diagnosis.decisions import HAND_OVER, NO_REPAIR, covered
from humclick.diagnosis.judged import judge
from humclick.diagnosis.planner import plan
from humclick.diagnosis.power import bars, owed
from humclick.diagnosis.remaining import left_suspects, left_to_do
from humclick.diagnosis.shop import default_shop
from tests.diagnosis.written_answers import prefixes, situation_of
from tests.sample import sampled

SHOP = default_shop()


def named(given: Any) -> str:
    """A short name of a case."""
    return given["name"] if isinstance(given, dict) else str(given)


_CALLS = prefixes(every=23)
some = pytest.mark.parametrize(("call", "count"), sampled(_CALLS, _CALLS[::3]), ids=named)


@some
def test_lists_are_in_order_and_no_longer_than_they_are_read(call: dict[str, Any], count: int) -> None:
    """By probability, or by worth; what is advised is not among the other probes."""
    situation = situation_of(call, count)
    advice, judged = advise(situation), judge(situation)
    assert list(advice.remedies) == list(left_to_do(judged).items())[:8]
    suspects = [(named, p) for named, p in left_suspects(judged) if p >= 1e-4]
    assert [(s.parts, s.probability) for s in advice.suspects] == suspects
    assert len(suspects) <= 8
    assert len(advice.alternatives) <= 6
    names = [(v.probe, v.waits) for v in (advice.next, *advice.alternatives) if v is not None]
    assert len(set(names)) == len(names)
    gains = [v.worth for v in advice.alternatives]
    assert gains == pytest.approx(sorted(gains, reverse=True))
    assert (advice.next is None) == (advice.kind in ("verdict", "stop"))
    assert (advice.verdict is None) == (advice.next is not None)
    if advice.next is not None:
        assert (advice.kind == "wait") == (advice.next.waits > 0)
    for value in (*advice.alternatives, *([advice.next] if advice.next else [])):
        if "tells best" in value.reason:
            assert ("1 minute " in value.reason) == (value.minutes == 1)
            assert value.reason.count("“") == 2


def decided() -> list[tuple[dict[str, Any], int]]:
    """Calls in all their lengths that end in a verdict, a sample."""
    return [(call, n) for call, n in prefixes() if n == len(call["seen"])][::4]


@pytest.mark.parametrize(("call", "count"), sampled(decided(), decided()[::3]), ids=named)
def test_the_decision_flips_just_at_its_factor(call: dict[str, Any], count: int) -> None:
    """
    By the losses themselves: the weight of one class times that factor, and another action loses less.

    With a little less, no class and no action do; the rival is the action that wins then.
    """
    situation = situation_of(call, count)
    advice = advise(situation)
    verdict = advice.verdict
    if verdict is None or verdict.guards or advice.bars or not math.isfinite(verdict.flip_factor):
        return
    judged = judge(situation)
    problem, actions, _ = choices(judged, bars(situation, SHOP))
    made = plan(problem)
    mass = [0.0] * len(problem.loss[0])
    for weight, c in zip(problem.weights, problem.classes, strict=True):
        mass[c] += weight
    assert verdict.expected_loss == pytest.approx(
        math.fsum(m * x for m, x in zip(mass, problem.loss[made.action], strict=True))
    )

    def wins(factor: float) -> set[frozenset[str]]:
        """Actions that some one class, weighed so much more, makes better than the decision."""
        better = set()
        for c in range(len(mass)):
            more = [m * factor if k == c else m for k, m in enumerate(mass)]
            rows = [math.fsum(m * x for m, x in zip(more, row, strict=True)) for row in problem.loss]
            better |= {actions[a] for a, x in enumerate(rows) if x < rows[made.action] - 1e-9}
        return better

    done = frozenset(situation.renewed)
    assert not wins(verdict.flip_factor * (1 - 1e-6))
    winners = wins(verdict.flip_factor * (1 + 1e-3))
    assert winners
    if not done and not situation.repairs:
        assert frozenset(verdict.rival) in winners | {frozenset()}
        assert verdict.margin == pytest.approx(
            min((w.two_step for w in made.worths), default=math.inf) - made.act_now
        )
        action = actions[made.action]
        if action != HAND_OVER:
            repairs = action - owed(situation, judged.bench.shop) - NO_REPAIR
            mended = {c: p for c, p in judged.post.by_class.items() if c <= covered(action)}
            right = math.fsum(p for c, p in mended.items() if c & repairs or not repairs)
            assert verdict.probability == pytest.approx(right)


def test_some_verdicts_are_among_those_asked() -> None:
    """The sample above holds verdicts that can flip."""
    finite = [advise(situation_of(call, n)).verdict for call, n in decided()[:12]]
    assert sum(v is not None and math.isfinite(v.flip_factor) for v in finite) >= 2
