"""Sets that matter, best first: against every set written out, on small machines and invented ones."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable
from functools import partial

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.scales import Chosen, PerSet, Scales, Table, Whole
from humclick.diagnosis.sets import Search, weigh
from humclick.diagnosis.sets_arrays import search_for
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Situation
from humclick.diagnosis.suspects import posterior
from tests.diagnosis.test_posterior import seen


def every_set(scales: Scales, most: int | None = None) -> dict[Chosen, list[float]]:
    """Weight of every set by lead, written out: odds, pairs, tables, whole-machine readings."""
    faults = [(p, m) for p, odds in enumerate(scales.odds) for m in range(1, len(odds))]
    found: dict[Chosen, list[float]] = {}
    for size in range((scales.most if most is None else most) + 1):
        for chosen in itertools.combinations(faults, size):
            if len({p for p, _ in chosen}) < size:
                continue
            modes = dict(chosen)
            weight = math.prod(scales.odds[p][m] for p, m in chosen) if chosen else scales.sound
            for pair in itertools.combinations(chosen, 2):
                weight *= scales.joint.get(pair, 1.0)
            for whole in scales.wholes:
                weight *= whole.says(chosen)
            row = [w * weight for w in scales.leads]
            for table in scales.tables:
                config = tuple(modes.get(p, 0) for p in table.scope)
                row = [x * table.rows.get(config, (1.0,) * len(row))[g] for g, x in enumerate(row)]
            found[chosen] = row
    return found


#: Chances from what hardly ever is to what always is.
chances = st.floats(-9.0, 0.0).map(lambda x: 10.0**x)


@st.composite
def invented(draw: st.DrawFn) -> Scales:
    """A small invented machine: modes, common causes, tables of up to three parts, whole-machine readings."""
    odds = [(1.0, *draw(st.lists(chances, min_size=1, max_size=3))) for _ in range(draw(st.integers(2, 5)))]
    faults = [(p, m) for p, modes in enumerate(odds) for m in range(1, len(modes))]
    pairs = [pair for pair in itertools.combinations(faults, 2) if pair[0][0] != pair[1][0]]
    joint = draw(st.dictionaries(st.sampled_from(pairs), st.floats(0.1, 40.0), max_size=2))
    leads = draw(st.sampled_from([(1.0,), (0.9, 0.1), (1 / 6, 2 / 3, 1 / 6)]))
    most = draw(st.integers(1, 3))
    tables = []
    for _ in range(draw(st.integers(0, 4))):
        parts = st.sets(st.integers(0, len(odds) - 1), min_size=0, max_size=min(3, len(odds)))
        scope = tuple(sorted(draw(parts)))
        configs = itertools.product(*(range(len(odds[p])) for p in scope))
        rows = {c: tuple(draw(chances) for _ in leads) for c in configs if sum(map(bool, c)) <= most}
        tables.append(Table(scope, rows))
    wholes = [_whole(draw, faults) for _ in range(draw(st.integers(0, 3)))]
    sound = draw(chances)
    kinds = {fault: 2 * fault[0] + draw(st.integers(0, 1)) for fault in faults}
    return Scales(odds, joint, sound, most, leads, tables, wholes, kinds.__getitem__)


def _whole(draw: st.DrawFn, faults: list[Fault]) -> Whole:
    """A reading of the whole machine that sees a few bits of each mode; a chance for each sum of them."""
    marks = {fault: draw(st.integers(0, 7)) for fault in faults}
    table = [draw(chances) for _ in range(8)]
    return Whole(PerSet(marks, partial(map, table.__getitem__)), max(table))


_CAREFUL = settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])


#: In plain Python, and with numpy.
searches = st.sampled_from([Search, search_for])


@_CAREFUL
@given(invented(), st.sampled_from([0.0, 1e-3, 0.1]))
def test_both_searches_find_the_same(scales: Scales, tolerance: float) -> None:
    """With numpy the same sets are weighed, as much is left out, and leads share it alike."""
    plain, arrays = (weigh(scales, tolerance, 0.0, search) for search in (Search, search_for))

    rows = [
        {chosen: w for n in range(len(told.sets)) for chosen, w in told.split(n)} for told in (plain, arrays)
    ]
    assert rows[1] == pytest.approx(rows[0], rel=1e-9)
    assert arrays.rest == pytest.approx(plain.rest, rel=1e-6, abs=1e-12 * math.fsum(plain.weights))
    assert arrays.beyond == plain.beyond


@_CAREFUL
@given(invented(), searches)
def test_every_set_is_weighed_where_nothing_may_be_left_out(
    scales: Scales, search: Callable[[Scales], Search]
) -> None:
    """With no tolerance the sets, split again, are all sets, each with the weight written out by hand."""
    told = weigh(scales, 0.0, 0.0, search)

    split = {chosen: w for n in range(len(told.sets)) for chosen, w in told.split(n)}
    whole = {chosen: math.fsum(row) for chosen, row in every_set(scales).items()}
    assert told.rest == 0.0
    assert set(split) == {chosen for chosen, w in whole.items() if w > 0.0}
    for chosen, w in split.items():
        assert w == pytest.approx(whole[chosen], rel=1e-9)


@_CAREFUL
@given(invented(), st.sampled_from([0.3, 1e-2, 1e-3, 1e-6]), chances, searches)
def test_what_is_left_out_is_bounded(
    scales: Scales, tolerance: float, floor: float, search: Callable[[Scales], Search]
) -> None:
    """Sets told have their exact weight; all others weigh no more than the rest, which is allowed."""
    told = weigh(scales, tolerance, floor, search)

    split = {chosen: w for n in range(len(told.sets)) for chosen, w in told.split(n)}
    whole = {chosen: math.fsum(row) for chosen, row in every_set(scales).items()}
    for chosen, w in split.items():
        assert w == pytest.approx(whole[chosen], rel=1e-9)
    others = math.fsum(w for chosen, w in whole.items() if chosen not in split)
    assert others <= told.rest * (1 + 1e-9) + 1e-12 * math.fsum(whole.values())
    assert told.rest <= tolerance * (math.fsum(told.weights) + floor) * (1 + 1e-9)


@_CAREFUL
@given(invented())
def test_sets_of_more_modes_are_bounded(scales: Scales) -> None:
    """Sets with more modes than are weighed hold no more than the bound."""
    within = every_set(scales)
    more = {
        chosen: math.fsum(row)
        for chosen, row in every_set(scales, len(scales.odds)).items()
        if chosen not in within and _told_by_tables(scales, chosen)
    }
    assert math.fsum(more.values()) <= weigh(scales, 1e-3).beyond * (1 + 1e-9)


def _told_by_tables(scales: Scales, chosen: Chosen) -> bool:
    """Whether every table holds the modes of its parts."""
    modes = dict(chosen)
    return all(tuple(modes.get(p, 0) for p in table.scope) in table.rows for table in scales.tables)


@_CAREFUL
@given(invented(), st.data())
def test_copies_of_a_mode_change_nothing(scales: Scales, data: st.DataObject) -> None:
    """A mode cut into two that share its odds is held as one, and every set weighs what it did."""
    part = data.draw(st.integers(0, len(scales.odds) - 1))
    mode = data.draw(st.integers(1, len(scales.odds[part]) - 1))
    twin = (part, len(scales.odds[part]))

    def first(fault: Fault) -> Fault:
        return (part, mode) if fault == twin else fault

    odds = [list(row) for row in scales.odds]
    odds[part].append(0.5 * odds[part][mode])
    odds[part][mode] *= 0.5
    tables = [_with_twin(table, part, mode, twin[1]) for table in scales.tables]
    every = [(p, m) for p, row in enumerate(odds) for m in range(1, len(row))]
    wholes = [_blind(whole, first, every) for whole in scales.wholes]
    joint = dict(scales.joint)
    for pair, factor in scales.joint.items():
        if (part, mode) in pair:
            joint[tuple(twin if f == (part, mode) else f for f in pair)] = factor  # type: ignore[index]
    doubled = Scales(
        odds, joint, scales.sound, scales.most, scales.leads, tables, wholes, lambda f: scales.kind(first(f))
    )

    before, after = weigh(scales, 1e-3), weigh(doubled, 1e-3)

    assert len(after.alike) == len(before.alike)
    assert len(after.sets) == len(before.sets)
    assert after.weights == pytest.approx(before.weights, rel=1e-9)
    assert after.rest == pytest.approx(before.rest, rel=1e-6, abs=1e-12 * math.fsum(before.weights))


def _blind(whole: Whole, first: Callable[[Fault], Fault], faults: Iterable[Fault]) -> Whole:
    """The same reading, taking a twin for the mode it was cut from."""
    marks = {fault: whole.says.marks[first(fault)] for fault in faults}
    return Whole(PerSet(marks, whole.says.of_marks), whole.most)


def _with_twin(table: Table, part: int, mode: int, twin: int) -> Table:
    if part not in table.scope:
        return table
    at = table.scope.index(part)
    copies = {(*c[:at], twin, *c[at + 1 :]): row for c, row in table.rows.items() if c[at] == mode}
    return Table(table.scope, {**table.rows, **copies})


_READINGS = [
    seen("run_capacitor.farads", "14.1 uF"),
    seen("overload_protector.ohms", "OL"),
    seen("pins.C-R", "3.1"),
    seen("pins.C-S", "OL"),
    seen("attempt.as_found", "hum_click", "hot"),
    seen("wiring.look", "not as drawn"),
]


@pytest.mark.parametrize("taken", range(len(_READINGS) + 1))
def test_on_a_real_machine_as_every_set_by_itself(taken: int) -> None:
    """On the smallest arrangement every set has the probability that going through all of them gives."""
    bench = Bench(Machine.of("psc"), default_shop())
    evidence = compile_evidence(bench, Situation(bench.machine, Heard.HUM, tuple(_READINGS[:taken])))
    by_set: dict[Chosen, float] = {}
    for chosen, prior in zip(bench.space.sets, bench.space.prior, strict=True):
        modes = dict(chosen)
        whole = math.prod(f.per_set(chosen) for f in evidence.factors if f.per_set is not None)
        tables = [f for f in evidence.factors if f.table]
        rows = [f.table[tuple(modes.get(p, 0) for p in f.scope)] for f in tables]
        nodes = (w * math.prod(row[g] for row in rows) for g, (_, w) in enumerate(evidence.leads))
        by_set[chosen] = prior * whole * math.fsum(nodes)
    none = bench.space.none_prior * math.prod(f.none for f in evidence.factors)
    mass = math.fsum(by_set.values()) + none
    for tolerance, close in ((0.0, 1e-9), (1e-3, 1e-3)):
        post = posterior(bench, evidence, tolerance=tolerance)
        near = max(post.left_out, 1e-12)
        assert post.left_out <= tolerance
        assert post.none == pytest.approx(none / mass, abs=near)
        shown = dict(post.above(0.0))
        for chosen, w in by_set.items():
            assert shown.get(chosen, 0.0) == pytest.approx(w / mass, rel=close, abs=near)
    assert len(post.cases) < len(by_set)
