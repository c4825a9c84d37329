"""
A situation weighed: the bench it stands on, its evidence, its posterior.
"""

from __future__ import annotations

from dataclasses import dataclass

from humclick.diagnosis.bench import Bench, bench_for
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.factors import Compiled
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation, Stoppage
from humclick.diagnosis.suspects import Posterior, posterior
from humclick.meters import Meter
from humclick.readings import Leads

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


@dataclass(frozen=True, slots=True)
class _Key:
    """A situation of one machine, as `Situation` has it."""

    complaint: Heard | None
    observations: tuple[Observation, ...]
    meter: Meter
    leads: Leads
    waited: float
    hot: bool | None
    skipped: frozenset[str]
    renewed: frozenset[str]
    repairs: int
    stoppages: tuple[Stoppage, ...]
    place: str
    fitted: tuple[tuple[str, int], ...]


_RECENT: Memory[_Key, Judged] = Memory()


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
    recent = _RECENT.of(bench)
    key = _Key(
        situation.complaint,
        situation.observations,
        situation.meter,
        situation.leads,
        situation.waited,
        situation.hot,
        situation.skipped,
        situation.renewed,
        situation.repairs,
        situation.stoppages,
        situation.place,
        tuple(sorted(situation.fitted.items())),
    )
    judged = recent.pop(key, None)
    if judged is None:
        evidence = compile_evidence(bench, situation)
        judged = Judged(bench, situation, evidence, posterior(bench, evidence))
    recent[key] = judged
    while len(recent) > _KEPT:
        recent.pop(next(iter(recent)))
    return judged
