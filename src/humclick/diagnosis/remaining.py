"""
What is left to suspect once something was put right: every suspect without what is new or mended.

Judgement weighs what was wrong when the call began. With a new part in, its old fault is history: what may
still be wrong is the same set of faults without those of the new parts.
"""

from __future__ import annotations

import math

from humclick.diagnosis.judged import Judged
from humclick.diagnosis.probes import taken_of
from humclick.diagnosis.suspects import NONE

__all__ = ["left_of_part", "left_suspects", "left_to_do"]

#: Sets less probable than this are passed over. [-]
_FAINT = 1e-9

Named = tuple[tuple[str, str], ...]


def _mended(judged: Judged) -> frozenset[str]:
    """Parts, and single modes as ``part.mode``, that were put right during the call."""
    situation, shop = judged.situation, judged.bench.shop
    taken = taken_of(situation.machine, situation.observations, shop)
    return situation.renewed.union(*(probe.mends for probe, _ in taken))


def left_suspects(judged: Judged, most: int | None = 8) -> tuple[tuple[Named, float], ...]:
    """
    The most probable sets of what may be wrong now, the likeliest first; the empty set is a sound machine.

    Returns
    -------
    tuple of (set, probability)
        [-]
    """
    bench, post = judged.bench, judged.post
    mended = _mended(judged)
    if not mended:
        return tuple((bench.space.named(chosen), p) for chosen, p in post.top(most or len(post.cases)))
    masses: dict[Named, float] = {}
    for chosen, p in post.above(_FAINT):
        named = bench.space.named(chosen)
        left = tuple((part, m) for part, m in named if not {part, f"{part}.{m}"} & mended)
        masses[left] = masses.get(left, 0.0) + p
    return tuple(sorted(masses.items(), key=lambda row: -row[1])[:most])


def left_to_do(judged: Judged) -> dict[str, float]:
    """How probably each remedy is needed now, what was done left out, the likeliest first. [-]"""
    if not _mended(judged):
        return dict(judged.post.by_remedy)
    machine = judged.bench.machine
    masses: dict[str, float] = {}
    for named, p in left_suspects(judged, None):
        for remedy in {machine.part(part).remedy(mode) for part, mode in named}:
            masses[remedy] = masses.get(remedy, 0.0) + p
    for remedy in NONE:
        masses[remedy] = masses.get(remedy, 0.0) + judged.post.none
    return dict(sorted(masses.items(), key=lambda row: (-row[1], row[0])))


def left_of_part(judged: Judged, part: str) -> float:
    """Probability that a part is not healthy now. [-]"""
    if not _mended(judged):
        return judged.post.of_part(part)
    rows = left_suspects(judged, None)
    return math.fsum(p for named, p in rows if any(name == part for name, _ in named))
