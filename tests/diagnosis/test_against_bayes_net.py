"""The posterior against a general-purpose Bayesian-network engine on the same priors and tables."""

from __future__ import annotations

import random
from dataclasses import replace

import msgspec
import pytest
from benchmarks.bayes_net import Net
from benchmarks.visit import Visit
from benchmarks.world import WORLDS, case

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.probes import probes_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.suspects import posterior
from humclick.parts.family import HEALTHY, Family
from tests.published import published
from tests.sample import sampled

#: Faults a part is left with here. [-]
_MODES = 3
_SMALL = (
    ("rsir-ptc", "external"),
    ("rsir-ptc", "internal"),
    ("rsir-current-relay", "external"),
    ("psc", "internal"),
)


@pytest.fixture(scope="module", params=_SMALL, ids=lambda row: "-".join(row))
def bench(request: pytest.FixtureRequest) -> Bench:
    """A bench small enough for one table over the whole machine: no part has more than so many modes."""
    name, protector = request.param
    machine = Machine.of(name, protector, Nameplate(115.0, 60.0))
    few = tuple(replace(part, family=_with_few_modes(part.family, name)) for part in machine.parts)
    machine.__dict__["parts"] = few
    return Bench(machine, default_shop())


def _with_few_modes(kind: Family, seed: str) -> Family:
    faults = list(kind.listed[1:])
    random.Random(f"{seed}|{kind.name}").shuffle(faults)
    tied = {fault for pair in default_shop().joint for fault in pair}
    faults.sort(key=lambda mode: (kind.name, mode.name) not in tied)  # what has a common cause is kept
    listed = (kind.listed[0], *(mode for mode in kind.listed if mode in faults[:_MODES]))
    names = {mode.name for mode in listed}
    looks = tuple(
        msgspec.structs.replace(
            look,
            table={name: row for name, row in look.table.items() if name in {*names, "otherwise"}},
            puts_right=tuple(name for name in look.puts_right if name in names),
        )
        for look in kind.looks
    )
    return msgspec.structs.replace(kind, listed=listed, looks=looks)


def _visit(bench: Bench, seed: int, kinds: set[str], probes: int) -> Visit:
    """A technician who has taken some probes drawn at random."""
    rng = random.Random(seed)
    visit = Visit(case(f"net|{seed}", bench.machine, WORLDS["as-modelled"]))
    known = [p for p in probes_of(bench.machine).values() if p.kind in kinds and not p.id[-1].isdigit()]
    for probe in rng.sample(known, min(probes, len(known))):
        visit.take(probe.id)
    return visit


def _compare(bench: Bench, visit: Visit) -> None:
    evidence = compile_evidence(bench, visit.situation())
    ours = posterior(bench, evidence, tolerance=0.0)
    theirs, none = Net(bench, evidence).posterior()
    assert ours.none == pytest.approx(none, abs=1e-10)
    for (part, mode), p in theirs.items():
        if mode == HEALTHY:
            assert 1.0 - ours.none - ours.of_part(part) == pytest.approx(p, abs=1e-10)
        else:
            assert ours.of_mode(part, mode) == pytest.approx(p, abs=1e-10)


_ENGINE = "pyAgrum, lazy propagation (Madsen and Jensen), exact"


@published(source=_ENGINE, where="marginals of every part", printed_to="1e-10")
@pytest.mark.parametrize("seed", sampled(range(4), (0,)))
def test_marginals_after_looks_and_measurements(bench: Bench, seed: int) -> None:
    """After the complaint and five readings every mode has the probability the network engine finds."""
    _compare(bench, _visit(bench, seed, {"test", "look", "pins", "shell", "volts"}, 5))


@published(source=_ENGINE, where="marginals of every part", printed_to="1e-10")
def test_marginals_after_attempts(bench: Bench) -> None:
    """Start attempts, which depend on every part, are weighed as the network engine weighs them."""
    _compare(bench, _visit(bench, 11, {"attempt", "known_good", "volts_start", "look"}, 4))


@published(source=_ENGINE, where="marginals of every part", printed_to="1e-10")
def test_marginals_after_the_complaint_alone(bench: Bench) -> None:
    """The complaint alone gives the network engine's probabilities, common causes included."""
    _compare(bench, _visit(bench, 21, set(), 0))
