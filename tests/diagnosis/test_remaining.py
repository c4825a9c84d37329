"""What is left to suspect once something is new or put right."""

from __future__ import annotations

import math

import pytest

from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.remaining import left_of_part, left_suspects, left_to_do
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.readings import PartTemperature
from tests.sample import sampled
from tests.visit import MACHINES, machine_of

COLD = PartTemperature("cold")
WHOLE = 100_000


def judged(name: str, guard: str = "", renewed: tuple[str, ...] = (), *seen: Observation) -> Judged:
    return judge(Situation(machine_of(name, guard), Heard.HUM_CLICK, seen, renewed=frozenset(renewed)))


@pytest.mark.parametrize(("name", "guard"), MACHINES[::3])
def test_nothing_mended_leaves_the_posterior_as_it_is(name: str, guard: str) -> None:
    """Sets, remedies and parts alike."""
    case = judged(name, guard)
    assert [p for _, p in left_suspects(case)] == [p for _, p in case.post.top(8)]
    assert left_to_do(case) == dict(case.post.by_remedy)
    for part in case.bench.parts:
        assert left_of_part(case, part) == case.post.of_part(part)


@pytest.mark.parametrize(("name", "guard"), sampled(MACHINES[::3], MACHINES[::9]))
def test_a_new_part_is_not_suspected_and_nothing_is_lost(name: str, guard: str) -> None:
    """Its share of each set goes to the rest of the set; what stays in the machine keeps its probability."""
    machine = machine_of(name, guard)
    for placed in machine.parts:
        if placed.family.sealed:
            continue
        case = judged(name, guard, (placed.id,))
        rows = left_suspects(case, WHOLE)
        assert all(part != placed.id for named, _ in rows for part, _ in named)
        assert len({named for named, _ in rows}) == len(rows)
        total = math.fsum(p for _, p in rows) + case.post.none
        assert total == pytest.approx(1.0, abs=1e-4)
        assert [p for _, p in rows] == sorted((p for _, p in rows), reverse=True)
        assert left_of_part(case, placed.id) == 0.0
        for other in case.bench.parts:
            if other != placed.id:
                assert left_of_part(case, other) == pytest.approx(case.post.of_part(other), abs=1e-4)
        assert len(left_suspects(case, 3)) <= 3


def test_work_done_is_left_out_of_what_is_still_to_do() -> None:
    """With a new starter the starter's remedy comes from nothing; handing over keeps its weight."""
    rattles = Observation("ptc.shake", answer="rattles")
    before, after = (
        judged("rsir-ptc", "external", (), rattles),
        judged("rsir-ptc", "external", ("ptc",), rattles),
    )
    assert next(iter(left_to_do(before))) == "replace starter"
    rest = left_to_do(after)
    assert rest.get("replace starter", 0.0) < 1e-6
    assert rest["hand over"] >= after.post.none
    assert list(rest.values()) == sorted(rest.values(), reverse=True)


def test_a_mode_put_right_by_work_is_history_and_its_part_is_not() -> None:
    """With the condenser cleaned the head is not high any more; the mechanism may still be seized."""
    tried = Observation("fit.mechanism", answer="hum_click", temperature=COLD)
    before, after = judged("rsir-ptc", "external"), judged("rsir-ptc", "external", (), tried)

    def modes(case: Judged) -> set[str]:
        rows = left_suspects(case, WHOLE)
        return {mode for named, _ in rows for part, mode in named if part == "mechanism"}

    assert modes(before) == {m for m in before.bench.machine.part("mechanism").family.modes if m != "healthy"}
    assert modes(after) == modes(before) - {"high_head"}
    rest = after.post.of_part("mechanism") - after.post.of_mode("mechanism", "high_head")
    assert left_of_part(after, "mechanism") == pytest.approx(rest, abs=1e-6)
