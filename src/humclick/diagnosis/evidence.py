"""
What the observations of a call say about each hypothesis.

Observations that share an unknown are weighed together, each by the model of its kind. What lies outside the
model's parts, the resistance of the test leads, is a common unknown on a few nodes. The result is a list of
factors: each is a table over the modes of a few parts, or a function of the whole set.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import Compiled, Factor, p_hot
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.attempt import complaint
from humclick.diagnosis.observations.model import Group, Taken
from humclick.diagnosis.observations.own_try import failed_before
from humclick.diagnosis.observations.volts import at_rest
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.probes import taken_of
from humclick.diagnosis.situation import Heard, Situation, called
from humclick.errors import Refused, Unknown
from humclick.messages import Message, Verbatim
from humclick.meters import Meter
from humclick.readings import Leads, PartTemperature, Reading

__all__ = ["Compiled", "Factor", "compile_evidence", "lead_nodes", "p_hot", "weighing_of"]


def lead_nodes(leads: Leads, null_forgotten: float) -> tuple[tuple[float, float], ...]:
    """Nodes of what the test leads add, with prior weights. [Ω], [-]"""
    if leads.spread is None:
        offset = leads.offset or 0.0
        if leads.nulled and null_forgotten > 0.0:
            return ((offset, 1.0 - null_forgotten), (0.25, null_forgotten))
        return ((offset, 1.0),)
    sigma, median = leads.spread.sigma, leads.spread.median
    reach = math.sqrt(3.0) * sigma  # three-point Gauss–Hermite rule
    return (
        (median * math.exp(-reach), 1 / 6),
        (median, 2 / 3),
        (median * math.exp(reach), 1 / 6),
    )


def weighing_of(bench: Bench, situation: Situation) -> Weighing:
    """A bench with what a situation was measured with."""
    nodes = lead_nodes(situation.leads, bench.shop.slips["null_forgotten"])
    return Weighing(bench, situation.meter, nodes, at_rest(bench, situation))


@dataclass(frozen=True, slots=True)
class _Shown:
    """What of an observation its factor depends on."""

    probe: str
    reading: Reading | None
    answer: str
    temperature: PartTemperature
    causes: tuple[tuple[str, float], ...]
    meter: Meter | None


@dataclass(frozen=True, slots=True)
class _Weighed:
    """All that a factor depends on."""

    group: Group
    observed: tuple[_Shown, ...]
    mended: frozenset[str]
    leads: tuple[tuple[float, float], ...]
    meter: Meter
    at_rest: float | None


_FACTORS: Memory[_Weighed, Factor] = Memory()
_COMPLAINTS: Memory[Heard | None, Factor] = Memory()


def compile_evidence(bench: Bench, situation: Situation) -> Compiled:
    """
    Turn a situation's complaint and observations into factors.

    Raises
    ------
    Refused
        If an observation is of another quantity than its probe.
    Unknown
        If an observation names a probe the machine does not have, or an answer the probe does not have.
    """
    weighing = weighing_of(bench, situation)
    taken = taken_of(situation.machine, situation.observations, bench.shop)
    groups: dict[Group, list[int]] = {}
    for i, entry in enumerate(taken):
        _refuse_unmeant(entry)
        group = entry.probe.model.group(entry, _mended(situation, i))
        if group is None:
            group = Group(entry.probe.id, alone=situation.observations.index(entry.observation))
        groups.setdefault(group, []).append(i)
    heard = _COMPLAINTS.of(bench)
    if situation.complaint not in heard:
        simulated = bench.machine.started
        heard[situation.complaint] = (
            complaint(bench, situation.complaint) if simulated else failed_before(bench, situation.complaint)
        )
    factors = [heard[situation.complaint]]
    for group, members in sorted(groups.items(), key=_by_name):  # in whatever order they were taken
        together = [taken[i] for i in members]
        factor = _factor(weighing, group, together, _mended(situation, members[0]))
        factors.append(replace(factor, observations=tuple(members)))
    return Compiled(tuple(factors), weighing.leads)


def _by_name(row: tuple[Group, list[int]]) -> tuple[str, str, str]:
    return row[0].unknown, row[0].heat, row[0].answer


def _mended(situation: Situation, i: int) -> frozenset[str]:
    """Parts new, and modes put right, before an observation."""
    return situation.observations[i].renewed | called(situation.machine, situation.observations[:i])


def _factor(weighing: Weighing, group: Group, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
    observed = tuple(_Shown(o.probe, o.reading, o.answer, o.temperature, o.causes, o.meter) for _, o in taken)
    table = _FACTORS.of(weighing.bench)
    meter = taken[-1].observation.meter
    if meter is not None:  # what all of them share is that of the last
        weighing = replace(weighing, meter=meter)
    rest = weighing.at_rest if taken[0].probe.model.by_rest else None
    key = _Weighed(group, observed, mended, weighing.leads, weighing.meter, rest)
    factor = table.get(key)
    if factor is None:
        factor = table[key] = taken[0].probe.model.factor(weighing, taken, mended)
    return factor


def _refuse_unmeant(taken: Taken) -> None:
    """Refuse an observation that is not of its probe: another quantity, or an answer it does not have."""
    probe, observation = taken
    if observation.reading is not None and str(observation.reading.quantity) != probe.quantity:
        right = Message("answer {answers}", answers=tuple(probe.outcomes))
        if probe.quantity:
            right = Message("it reads {quantity}", quantity=Message.of(probe.quantity))
        raise Refused(
            Message(
                "{probe} is no {quantity} ({text}): {right}",
                probe=probe.id,
                quantity=Message.of(observation.reading.quantity),
                text=Verbatim(observation.reading.text) or Message("a reading"),
                right=right,
            )
        )
    if observation.answer and observation.answer not in (*probe.outcomes, "not sure"):
        raise Unknown(
            Message("answer to {probe}", probe=probe.id),
            observation.answer,
            probe.outcomes or (Message("a reading"),),
        )
