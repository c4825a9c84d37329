"""
Readings that do not fit together: named, with the cheapest re-check, never averaged.
"""

from __future__ import annotations

import math
from dataclasses import replace
from operator import mul

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.cases import Cases
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.findings import shown_text
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.pins_named import named_pins
from humclick.diagnosis.power import three_equal
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.suspects import posterior
from humclick.messages import Message
from humclick.readings import spread_of

__all__ = ["contradictions"]

#: Where sets of two give a reading this many times more than that, it is not looked at closer. [-]
_CLEARLY = 20.0
#: A reading this improbable given all others, set against what it could be at best, is a contradiction. [-]
_CONTRADICTS = 2e-3
#: The same for readings of one unknown, set against each by itself; where they agree this is above 1. [-]
_AT_ODDS = 0.5


_FEW: Memory[int, tuple[Cases, tuple[float, ...]]] = Memory()


def contradictions(situation: Situation, shop: Shop | None = None) -> tuple[Message, ...]:
    """
    Readings that do not fit together, each with the cheapest re-check.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    if three_equal(situation):
        return ()  # they fit each other, and the machine is another one
    judged = judge(situation, shop)
    bench = judged.bench
    pins = named_pins(situation, judged.bench.shop)
    messages = [
        *_scattered(bench, situation),
        *([pins.sentence] if pins is not None and pins.doubted else []),
    ]
    for factor, roughly in zip(judged.evidence.factors, _surprises(judged), strict=True):
        if not factor.observations or (not factor.table and factor.per_set is None):
            continue
        least = _CONTRADICTS * _most(bench, factor)
        if (roughly < _CLEARLY * least and _surprise(judged, factor) < least) or _at_odds(judged, factor):
            members = [situation.observations[i] for i in factor.observations]
            readings = [Message("{probe} {value}", probe=m.probe, value=shown_text(m)) for m in members]
            cheapest = min(members, key=lambda m: probe_of(bench.machine, m.probe, bench.shop).minutes)
            messages.append(
                Message(
                    "{readings} does not fit the rest; lift the tips, press them on bright metal"
                    " and repeat {probe}.",
                    readings=tuple(dict.fromkeys(readings)),
                    probe=cheapest.probe,
                )
            )
    return tuple(dict.fromkeys(messages))


def _surprise(judged: Judged, factor: Factor) -> float:
    """Probability of a factor given all the others. [-]"""
    rest = replace(judged.evidence, factors=tuple(f for f in judged.evidence.factors if f is not factor))
    without = posterior(judged.bench, rest)
    return min(1.0, judged.post.mass / without.mass)


def _surprises(judged: Judged) -> list[float]:
    """
    Probability of each factor given all the others, from sets of at most two parts not healthy. [-]

    Products from both ends, so that all are had for the price of two posteriors.
    """
    bench, leads = judged.bench, judged.evidence.leads
    cases, prior = _few(bench)
    columns: list[list[list[float]]] = []
    for factor in judged.evidence.factors:
        if factor.per_set is not None:
            row = factor.per_set.of_all(cases.seen(factor.per_set.marks))
            columns.append([row] * len(leads))
        elif factor.table:
            configs, which = cases.index(factor.scope)
            tables = [[factor.table[c][g] for c in configs] for g in range(len(leads))]
            columns.append([list(map(table.__getitem__, which)) for table in tables])
        else:
            columns.append([[1.0] * len(prior)] * len(leads))
    total, without = 0.0, [0.0] * len(columns)
    for g, (_, weight) in enumerate(leads):
        before = [list(map(weight.__mul__, prior))]
        for column in columns:
            before.append(list(map(mul, before[-1], column[g])))
        total += math.fsum(before[-1])
        after = [1.0] * len(prior)
        for f in reversed(range(len(columns))):
            without[f] += sum(map(mul, before[f], after))
            after = list(map(mul, after, columns[f][g]))
    return [total / rest if rest > 0.0 else 1.0 for rest in without]


def _few(bench: Bench) -> tuple[Cases, tuple[float, ...]]:
    """Sets of at most two parts not healthy and their prior weights, made once."""
    made = _FEW.of(bench)
    if 2 not in made:
        space = replace(bench.space, most=2)
        made[2] = Cases(space.sets, len(bench.parts)), space.prior
    return made[2]


def _at_odds(judged: Judged, factor: Factor) -> bool:
    """Whether readings of one unknown fit each other much worse than each fits by itself."""
    if len(factor.observations) < 2 or not factor.table:
        return False
    situation = judged.situation
    name = situation.observations[factor.observations[0]].probe
    if probe_of(judged.bench.machine, name, judged.bench.shop).model.beside:
        return False
    alone = 1.0
    for i in factor.observations:
        single = replace(situation, observations=(situation.observations[i],))
        alone *= _most(judged.bench, compile_evidence(judged.bench, single).factors[1])
    return _most(judged.bench, factor) < _AT_ODDS * alone


def _most(bench: Bench, factor: Factor) -> float:
    """The most that nothing, or one part, not healthy can give the readings. [-]"""
    if factor.per_set is not None:
        return max(map(factor.per_set, [(), *((fault,) for fault in bench.space.singles)]))
    return max(math.fsum(row) / len(row) for row in factor.table.values())


def _scattered(bench: Bench, situation: Situation) -> list[Message]:
    by_probe: dict[tuple[str, str], list[Observation]] = {}
    for observation in situation.observations:
        if observation.reading is not None:
            by_probe.setdefault((observation.probe, observation.temperature.kind), []).append(observation)
    messages = []
    for (probe, _), members in by_probe.items():
        if len(members) > 1:
            spread = spread_of([m.reading for m in members if m.reading is not None], situation.meter)
            if not spread.settled:
                messages.append(Message("{probe}: {verdict}", probe=probe, verdict=spread.sentence))
    return messages
