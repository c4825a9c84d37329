"""
Which start arrangement a machine has, where nobody is sure: each with its odds, by Bayes' rule.

Before anything is seen, an arrangement is as probable as it is common. What is seen on the call is then more
or less probable on each: the likelihood of all of it together, whatever is wrong with the machine, is what
judgement sums up anyway. A reading of a part that a machine does not have speaks against it as strongly as a
look at the wrong thing is rare.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from humclick.arrangements.machine import Machine
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.under_cover import answer_odds
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.recognise import UNDER_COVER, Question, common, questions
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.errors import Unknown

__all__ = ["Candidate", "Weighed", "as_if", "questions_left", "weigh_arrangements"]

#: So many arrangements are weighed in full at most: the likeliest by how common they are and by what was seen
#: under the cover. A choice. [-]
_MOST = 5
#: One that is less probable no longer matters. A choice. [-]
_MATTERS = 0.02


@dataclass(frozen=True, slots=True)
class Candidate:
    """An arrangement that still matters: the call as if it were that one, and how probable it is. [-]"""

    situation: Situation
    probability: float

    @property
    def name(self) -> str:
        """Name of the arrangement."""
        return self.situation.machine.arrangement.id


@dataclass(frozen=True, slots=True)
class Weighed:
    """
    Arrangements weighed.

    Attributes
    ----------
    candidates : tuple of Candidate
        Those that still matter, the likeliest first; their probabilities add up to one.
    unweighed : float
        Share of calls on those that fit too and were not weighed, by how common they are and by what was seen
        under the cover. [-]
    rough : mapping of name to float
        The same share of each, weighed or not. [-]
    """

    candidates: tuple[Candidate, ...]
    unweighed: float
    rough: dict[str, float]


def weigh_arrangements(situation: Situation, shop: Shop) -> Weighed:
    """
    The arrangements that a machine may have, each with its probability.

    Raises
    ------
    Unknown
        If an observation names a probe that the machine, as it is taken for now, does not have.
    """
    machines = situation.machine.may_be
    seen = {o.probe: o.answer for o in situation.observations if o.probe.startswith(UNDER_COVER)}
    rough = {m.arrangement.id: _rough(m, seen, shop) for m in machines}
    total = math.fsum(rough.values())
    rough = {name: weight / total for name, weight in rough.items()}
    ordered = sorted(machines, key=lambda m: (-rough[m.arrangement.id], m.arrangement.id))
    weighed = [as_if(situation, machine, shop) for machine in ordered[:_MOST]]
    logs = _logarithms(situation, weighed, shop)
    best = max(logs)
    shares = [math.exp(log - best) for log in logs]
    whole = math.fsum(shares)
    rows = [(one, share / whole) for (one, _), share in zip(weighed, shares, strict=True)]
    rows = sorted(((one, p) for one, p in rows if p >= _MATTERS), key=lambda row: -row[1])
    kept = math.fsum(p for _, p in rows)
    return Weighed(
        tuple(Candidate(one, p / kept) for one, p in rows),
        math.fsum(rough[m.arrangement.id] for m in ordered[_MOST:]),
        rough,
    )


def _rough(machine: Machine, seen: dict[str, str], shop: Shop) -> float:
    """How common it is times what was seen under the cover, not normalised. [-]"""
    name = machine.arrangement.id
    weight = common(name, machine.nameplate.refrigerant)
    for asked in questions():
        answer = seen.get(f"{UNDER_COVER}{asked.name}", "")
        weight *= answer_odds(asked, name, shop.slips["look_wrong"]).get(answer, 1.0)
    return weight


def as_if(situation: Situation, machine: Machine, shop: Shop) -> tuple[Situation, tuple[int, ...]]:
    """The call as if it were on this machine, and which observations it has."""
    own = tuple(i for i, o in enumerate(situation.observations) if _has(machine, o, shop))
    observations = tuple(situation.observations[i] for i in own)
    return replace(situation, machine=machine, observations=observations), own


def _has(machine: Machine, observation: Observation, shop: Shop) -> bool:
    """Whether a machine has what was looked at or measured, and with such an answer."""
    try:
        probe = probe_of(machine, observation.probe, shop)
    except Unknown:
        return False
    return not observation.answer or observation.answer in probe.outcomes


#: What a call weighs before anything was said or seen.
_BEFORE: Memory[None, float] = Memory()


def _likelihood(judged: Judged) -> float:
    """
    Logarithm of the probability of all that was seen on a call, whatever is wrong with the machine.

    How common an arrangement is counts calls: that somebody called is no news.
    """
    before = _BEFORE.of(judged.bench)
    if None not in before:
        before[None] = judge(Situation(judged.situation.machine), judged.bench.shop).post.mass
    return math.log(max(judged.post.mass, 1e-300) / before[None])


def _logarithms(
    situation: Situation, weighed: Sequence[tuple[Situation, tuple[int, ...]]], shop: Shop
) -> list[float]:
    """
    Of how common each is times the likelihood of everything seen.

    What a machine does not have is taken as seen of something that the model does not know, on the machine
    that has most of it, once the wrong thing was looked at.
    """
    judgements = [judge(one, shop) for one, _ in weighed]
    wrong = math.log(shop.slips["look_wrong"])
    fullest = max(range(len(weighed)), key=lambda k: (len(weighed[k][1]), -k))
    logs = []
    for (one, own), judged in zip(weighed, judgements, strict=True):
        missing = set(range(len(situation.observations))) - set(own)
        parts = {situation.observations[i].probe.partition(".")[0] for i in missing}
        parts |= situation.renewed - {part.id for part in one.machine.parts}
        log = math.log(common(one.machine.arrangement.id, one.machine.nameplate.refrigerant))
        log += _likelihood(judged) + wrong * len(parts)
        logs.append(log + _elsewhere(judgements[fullest], weighed[fullest][1], missing))
    return logs


def _elsewhere(judged: Judged, own: Sequence[int], missing: set[int]) -> float:
    """Logarithm of the probability of some observations where the cause is none of those modelled."""
    log = 0.0
    for factor in judged.evidence.factors:
        of = {own[i] for i in factor.observations}
        if of and of <= missing:
            log += math.log(max(factor.none, 1e-300))
    return log


def questions_left(situation: Situation, weighed: Weighed, shop: Shop) -> list[Question]:
    """Questions about what is under the cover that would still tell arrangements apart, the best first."""
    asked = {o.probe for o in situation.observations} | situation.skipped
    rows = []
    for k, question in enumerate(questions()):
        worth = _told(question, weighed.rough, shop.slips["look_wrong"])
        if f"{UNDER_COVER}{question.name}" not in asked and worth > _TELLS:
            rows.append((-worth, k, question))
    return [question for *_, question in sorted(rows)]


#: A question that tells less about the arrangement is not asked. A choice. [bit]
_TELLS = 0.05


def _told(question: Question, shares: dict[str, float], wrong: float) -> float:
    """How much a question is expected to tell about which arrangement it is. [bit]"""
    by_name = {name: answer_odds(question, name, wrong) for name in shares}
    told = 0.0
    for option in question.options:
        answer = str(option.text)
        joint = {name: share * by_name[name][answer] for name, share in shares.items()}
        total = math.fsum(joint.values())
        told += math.fsum(
            p * math.log2(p / (total * shares[name])) for name, p in joint.items() if p > 0.0 < total
        )
    return told
