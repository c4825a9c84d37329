"""The posterior against a general-purpose Bayesian-network engine on the same priors and tables."""

from __future__ import annotations

import random

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
from humclick.parts.family import HEALTHY
from tests.published import published

_SMALL = (
    ("rsir-ptc", "external"),
    ("rsir-ptc", "internal"),
    ("rsir-current-relay", "external"),
    ("psc", "internal"),
)


@pytest.fixture(scope="module", params=_SMALL, ids=lambda row: "-".join(row))
def bench(request: pytest.FixtureRequest) -> Bench:
    """A bench small enough for one table over the whole machine."""
    name, protector = request.param
    return Bench(Machine.of(name, protector, Nameplate(115.0, 60.0)), default_shop())


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
@pytest.mark.parametrize("seed", range(4))
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
