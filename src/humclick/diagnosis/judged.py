"""
A situation weighed: the bench it stands on, its evidence, its posterior.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.diagnosis.bench import Bench, bench_for
from humclick.diagnosis.evidence import Compiled, compile_evidence
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.suspects import Posterior, posterior

__all__ = ["Judged", "judge"]


#: So many situations of a machine are kept weighed: advice, reasons and findings ask for the same ones.
_KEPT = 40


@dataclass(frozen=True)
class Judged:
    """A situation weighed: the bench it stands on, its evidence and its posterior."""

    bench: Bench
    situation: Situation
    evidence: Compiled
    post: Posterior


def judge(situation: Situation, shop: Shop | None = None) -> Judged:
    """
    Weigh a situation without planning.

    Raises
    ------
    Refused
        If the machine is one that is only recognised.
    Unknown
        If an observation names a probe the machine does not have.
    """
    bench = bench_for(situation.machine, shop or default_shop())
    key = (
        situation.complaint,
        situation.observations,
        situation.meter,
        situation.leads,
        *(situation.waited, situation.hot, situation.skipped, situation.renewed),
        *(situation.repairs, situation.stoppages, situation.place),
        tuple(sorted(situation.fitted.items())),
    )
    kept = bench.recent.pop(key, None)
    if not isinstance(kept, Judged):
        evidence = compile_evidence(bench, situation)
        kept = Judged(bench, situation, evidence, posterior(bench, evidence))
    bench.recent[key] = kept
    while len(bench.recent) > _KEPT:
        bench.recent.pop(next(iter(bench.recent)))
    return kept
