"""
Before anything is repaired: a machine that may only have had to wait is tried once more, rested; and where it
runs as it is, what was seen wrong by eye alone is looked at again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.damage import remedies_done
from humclick.diagnosis.decisions import NO_REPAIR
from humclick.diagnosis.guard_states import GuardState, guard_named
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.probes import Probe, Taken, probes_of, taken_of
from humclick.diagnosis.situation import Heard, Situation, wait_minutes

__all__ = ["rested_try", "runs_as_it_is", "seen_again"]

#: From here on a machine may well be sound: it is tried again before a part of it is blamed. A choice. [-]
_MAY_BE_SOUND = 0.05
#: What must have passed before a try says something of the machine.
_REST = "pressures"
#: So many looks must agree.
_AGREE = 2


def rested_try(judged: Judged) -> tuple[GuardState, ...]:
    """
    The try that stands before a repair; nothing where it is on record or nothing speaks for a sound machine.

    A try counts if it ran, if it failed after a rest, or if it failed twice; one from before something was
    set says nothing of the machine as it is now. After a repair its own try comes anyway.
    """
    situation, bench = judged.situation, judged.bench
    if situation.repairs or _sound(judged) < _MAY_BE_SOUND:
        return ()
    taken = taken_of(bench.machine, situation.observations, bench.shop)
    changes = [i for i, (p, o) in enumerate(taken) if p.repairs or o.probe in bench.machine.put_right]
    since = taken[changes[-1] + 1 if changes else 0 :]
    tries = [o for p, o in since if p.tries_as_it_is and o.answer and o.repairs == situation.repairs]
    settled = any(o.answer == Heard.RUNS or o.temperature.kind in ("cold", "measured") for o in tries)
    if settled or len(tries) > 1:
        return ()
    names = tuple(p.id for p in probes_of(bench.machine, bench.shop).values() if p.tries_as_it_is)
    return (guard_named("rested", False, names, waits=wait_minutes(situation, _REST)),)


def runs_as_it_is(situation: Situation, taken: Sequence[Taken]) -> bool:
    """Whether it ran when it was last tried, with nothing put right since it failed."""
    tries = [o for p, o in taken if p.tries_as_it_is and o.answer and o.renewed == situation.renewed]
    return bool(tries) and tries[-1].answer == Heard.RUNS and not situation.repairs


def _sound(judged: Judged) -> float:
    """Probability that nothing has to be repaired any more. [-]"""
    done = remedies_done(judged.situation)
    return math.fsum(p for c, p in judged.post.by_class.items() if c - done <= NO_REPAIR)


def seen_again(judged: Judged, action: frozenset[str]) -> tuple[GuardState, ...]:
    """
    The looks that stand before a repair of a machine that runs, or that may be sound and could not be tried.

    What speaks against a part there is looked at until two looks agree.
    """
    situation, bench = judged.situation, judged.bench
    taken = taken_of(bench.machine, situation.observations, bench.shop)
    tried = any(p.tries_as_it_is and o.answer and o.renewed == situation.renewed for p, o in taken)
    ran = runs_as_it_is(situation, taken)
    if not ran and (tried or _sound(judged) < _MAY_BE_SOUND):
        return ()
    known, done = probes_of(bench.machine, bench.shop), remedies_done(situation)
    again = []
    for factor in judged.evidence.factors:
        seen = [taken[i].observation.answer for i in factor.observations]
        probe = known.get(taken[factor.observations[0]].probe.id) if seen else None
        if probe is None or probe.look is None or not factor.table:
            continue
        if not ran and not probe.bars.isdisjoint(seen):  # stands until it is put right
            continue
        worst = max(factor.table, key=lambda config: factor.table[config][0])
        faults = [(p, m) for p, m in zip(factor.scope, worst, strict=True) if m]
        against = {bench.space.remedy[fault] for fault in faults}
        against |= {probe.due[answer] for answer in seen if answer in probe.due}
        if max(map(seen.count, seen)) < _AGREE and against & action - done:
            names = _looks_left(probe, {bench.space.name[fault][1] for fault in faults}, bench, taken)
            again += [guard_named("seen-again", False, names)] if names else []
    return tuple(again)


def _looks_left(probe: Probe, modes: set[str], bench: Bench, taken: Sequence[Taken]) -> tuple[str, ...]:
    """The look once more; where it has set what it looked at, another that tells the same modes apart."""
    if probe.id not in bench.machine.put_right:
        return (probe.id,)
    others = [
        other.id
        for other in probes_of(bench.machine, bench.shop).values()
        if other is not probe and other.part == probe.part and other.look and modes & set(other.look.table)
    ]
    return () if any(p.id in others for p, _ in taken) else tuple(others)
