"""The result of a call as data: each field what judgement, history and safety say of it, at every point."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest

from humclick.diagnosis.advice import advise
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import findings
from humclick.diagnosis.reasons import explain, leader_of
from humclick.diagnosis.shop import default_shop
from humclick.errors import Refused
from humclick.jobs.call import Call
from humclick.jobs.call_file import read_call
from humclick.jobs.fold import fold
from humclick.jobs.history import state_of, turns
from humclick.jobs.judgements import Judgements
from humclick.jobs.result import defended, finite, result_of
from humclick.jobs.standing import onward
from tests.sample import sampled

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*/call.toml"))
SHOP = default_shop()


_NAMES = [file.parent.name for file in EXAMPLES]


@cache
def points() -> tuple[tuple[str, int], ...]:
    """Every example at its end, and every third half way."""
    lengths = {file.parent.name: len(read_call(file)) for file in EXAMPLES}
    half = [(name, 2 * count // 3) for name, count in lengths.items()]
    return (*lengths.items(), *half[::3])


@cache
def call(name: str, count: int) -> Call:
    """An example with so many of its events."""
    return fold(read_call(next(f for f in EXAMPLES if f.parent.name == name))[:count])


@pytest.mark.parametrize(("name", "count"), sampled(points(), points()[::3]))
def test_every_field_is_what_it_is_called(name: str, count: int) -> None:
    """Worked out by itself and held against the result; without a machine to judge it is refused in words."""
    job = call(name, count)
    situation = job.situation()
    if situation is None or situation.machine.arrangement.recognised_only:
        with pytest.raises(Refused):
            result_of(job, SHOP)
        return
    advice = advise(situation, shop=SHOP)
    made, told = result_of(job, SHOP), result_of(job, SHOP, why=True)
    state = state_of(job, advice)
    step = onward(job, advice, state, SHOP)
    assert (made.kind, made.done, made.due) == (step.kind, state.done, state.due)
    assert made.complaint == (None if job.complaint is None else str(job.complaint))
    assert (made.machine.arrangement, made.machine.protector) == (
        *(situation.machine.arrangement.id, situation.machine.protector),
    )
    assert (made.machine.volts, made.machine.hertz) == (
        situation.machine.nameplate.volts,
        situation.machine.nameplate.hertz if situation.machine.alternates else None,
    )
    assert made.suspects == advice.suspects
    assert made.remedies == advice.remedies
    assert (made.none_of_these, made.left_out) == (advice.none_of_these, advice.left_out)
    assert made.findings == findings(situation, SHOP)
    assert made.contradictions == contradictions(situation, SHOP)
    assert (made.bars, made.guards, made.problems) == (advice.bars, advice.guards, job.problems)
    assert made.alternatives == (() if step.kind == "repaired" else advice.alternatives)
    assert set(made.unproved) == {r.event for r in job.readings if r.unproved or r.against}
    assert (made.next.probe if made.next else "") == step.probe
    if made.next is not None:
        assert made.before == tuple(g.name for g in job.gates_before(made.next.gates))
    why = explain(situation, SHOP, leader=leader_of(advice))
    assert made.explanation is None
    assert told.explanation == why
    assert made.verdict == defended(advice.verdict, why)
    if made.verdict is not None:
        assert (made.verdict.because, made.verdict.by_elimination) == (why.sentence, why.by_elimination)


@pytest.mark.parametrize("name", sampled(_NAMES, _NAMES[::3]))
def test_each_go_is_judged_as_the_call_stood_when_it_began(name: str) -> None:
    """What came after it does not change what was suspected then."""
    job = call(name, len(read_call(next(f for f in EXAMPLES if f.parent.name == name))))
    if job.situation() is None or job.machine is None or job.machine.arrangement.recognised_only:
        return
    rows = result_of(job, SHOP).turns
    assert len(rows) == len(turns(job))
    for row, turn in zip(rows, turns(job), strict=True):
        then = turn.before.situation()
        assert (row.event, row.decided, row.done, row.outcome) == (
            *(turn.event, turn.decided, turn.done, turn.outcome),
        )
        assert then is not None
        advice = advise(then, shop=SHOP)
        assert (row.suspects, row.remedies) == (advice.suspects, advice.remedies)
        assert row.explanation == explain(then, SHOP, leader=leader_of(advice, turn.about))


def test_a_go_before_any_machine_is_told_without_suspects(recognised: str) -> None:
    """A decision in a call with no machine has nothing behind it."""
    from tests.jobs.sheet.test_sheet import CSIR, HEAD
    from tests.jobs.sheet.test_sheet import call as written

    decision = {"kind": "decision", "remedies": ["hand over"]}
    three_pins = {"kind": "machine", "arrangement": recognised}
    for before in ((), (three_pins,)):
        job = written(HEAD, *before, decision, {**CSIR})
        (row,) = result_of(job, SHOP).turns
        assert (row.suspects, row.remedies, row.explanation) == ((), (), None)


def test_numbers_without_end_become_nothing() -> None:
    """JSON has none."""
    assert finite(math.inf) is None
    assert finite(-math.inf) is None
    assert finite(2.5) == 2.5


def test_a_situation_is_weighed_once_and_forgotten_after_a_while() -> None:
    """The same under the same shop is the same object; another shop is weighed anew, the last ones kept."""
    kept = Judgements()
    cases = [call(name, count).situation() for name, count in points()]
    known = [s for s in cases if s is not None and not s.machine.arrangement.recognised_only]
    first = kept.of(known[0], SHOP)
    assert kept.of(known[0], SHOP) is first
    assert first.advice == advise(known[0], shop=SHOP)
    assert first.findings == {f.id: f for f in findings(known[0], SHOP)}
    distinct = [s for k, s in enumerate(known) if s not in known[:k]]
    assert len(distinct) > 25
    for situation in distinct[1:]:
        kept.of(situation, SHOP)
    assert kept.of(known[0], SHOP) is not first
