"""
Advice where nobody is sure of the start arrangement: over all that it may be, each by its odds.

Each arrangement that matters is advised on as if it were known. What is suspected adds up; what forbids power
on one forbids it; a verdict is given where it is the same on all that hold more than a small share. Else
comes what tells them apart: a look under the cover, before any part is touched that not all of them have.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from humclick.diagnosis.advised import Advice, MayBe, Suspect, Value
from humclick.diagnosis.choices import cover_open, opening_cost
from humclick.diagnosis.judged import judge
from humclick.diagnosis.power import Bar, bars
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.recognise import UNDER_COVER, Question
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.unsure import Candidate, Weighed, as_if, questions_left, weigh_arrangements
from humclick.diagnosis.verdicts import Verdict, unsettled
from humclick.errors import Unknown
from humclick.messages import Message

__all__ = ["mixed"]

#: What an arrangement that holds less asks for does not hold up a verdict. A choice. [-]
_SMALL = 0.05
#: A part that machines of this share lack is not asked for. A choice. [-]
_LACKING = 0.2
#: So many suspects, remedies and other probes are named, as for one machine. [-]
_SHOWN, _OTHERS = 8, 6


def mixed(situation: Situation, shop: Shop, advise: Callable[[Situation], Advice]) -> Advice:
    """What to do next where it may have one of several arrangements; `advise` is of one that is known."""
    weighed = weigh_arrangements(situation, shop)
    rows = [(candidate, advise(candidate.situation)) for candidate in weighed.candidates]
    own, _ = as_if(situation, situation.machine, shop)
    whole = _added_up(weighed, rows, bars(own, shop))
    stop = next((advice for _, advice in rows if advice.kind == "stop"), None)
    if stop is not None:
        return replace(whole, kind="stop", verdict=stop.verdict)
    verdict = _agreed(rows)
    if verdict is not None:
        return replace(whole, kind="verdict", verdict=verdict)
    looks = [
        _look(question, situation, weighed, shop) for question in questions_left(situation, weighed, shop)
    ]
    shared = _shared(rows, shop)
    best = shared[0] if shared else None
    if looks and (best is None or _look_first(rows[0][0], rows, best, shop)):
        return replace(
            whole, kind="probe", next=looks[0], alternatives=(*looks[1:], *shared)[:_OTHERS], guards=()
        )
    if best is not None:
        rest = (*looks[:1], *(v for v in shared if v is not best), *looks[1:])
        return replace(whole, kind="wait" if best.waits else "probe", next=best, alternatives=rest[:_OTHERS])
    judged = judge(rows[0][0].situation, shop)
    return replace(whole, verdict=unsettled(judged, [one.title for one in whole.arrangements]))


def _added_up(weighed: Weighed, rows: Sequence[tuple[Candidate, Advice]], own: Sequence[Bar]) -> Advice:
    """What all of them suspect, and all that forbids power on any; nothing is advised yet."""
    suspects: dict[tuple[tuple[str, str], ...], Suspect] = {}
    remedies: dict[str, float] = {}
    sums = dict.fromkeys(("none_of_these", "left_out", "beyond"), 0.0)
    for candidate, advice in rows:
        p = candidate.probability
        for each in advice.suspects:
            same = suspects.get(each.parts, replace(each, probability=0.0))
            suspects[each.parts] = replace(same, probability=same.probability + p * each.probability)
        for remedy, share in advice.remedies:
            remedies[remedy] = remedies.get(remedy, 0.0) + p * share
        sums = {name: total + p * getattr(advice, name) for name, total in sums.items()}
    every = (*(bar for _, advice in rows for bar in advice.bars), *own)
    by_name: dict[str, Bar] = {f"{bar.name}{bar.title}": bar for bar in every}
    return Advice(
        kind="verdict",
        suspects=tuple(sorted(suspects.values(), key=lambda s: -s.probability)[:_SHOWN]),
        remedies=tuple(sorted(remedies.items(), key=lambda row: (-row[1], row[0]))[:_SHOWN]),
        **sums,
        next=None,
        alternatives=(),
        verdict=None,
        guards=next((advice.guards for _, advice in rows if advice.guards), ()),
        bars=tuple(sorted(by_name.values(), key=lambda bar: not bar.whole)),
        arrangements=_may_be([candidate for candidate, _ in rows]),
        unweighed=weighed.unweighed,
    )


def _may_be(candidates: Iterable[Candidate]) -> tuple[MayBe, ...]:
    """Arrangements with their odds, to be told."""
    return tuple(MayBe(c.name, c.situation.machine.arrangement.title, c.probability) for c in candidates)


def _agreed(rows: Sequence[tuple[Candidate, Advice]]) -> Verdict | None:
    """
    The verdict on which all that hold more than a small share agree, of the one that is least sure of it.

    They agree where the same is to be done with the same kinds of parts: a new starter of another kind is
    another part.
    """
    held = [(c, advice) for c, advice in rows if c.probability > _SMALL]
    verdicts = [
        advice.verdict for _, advice in held if advice.kind == "verdict" and advice.verdict is not None
    ]
    wanted = {
        (verdict.due, verdict.remedies, _kinds(c, verdict.due))
        for (c, _), verdict in zip(held, verdicts, strict=False)
    }
    if len(verdicts) < len(held) or len(wanted) != 1:
        return None
    return min(verdicts, key=lambda verdict: verdict.probability)


def _kinds(candidate: Candidate, remedies: Iterable[str]) -> frozenset[str]:
    """Families of the parts outside the shell that some remedies are of, on one machine."""
    wanted = set(remedies)
    return frozenset(
        part.family.name
        for part in candidate.situation.machine.parts
        if not part.family.sealed and wanted & {part.remedy(mode) for mode in part.family.modes}
    )


def _shared(rows: Sequence[tuple[Candidate, Advice]], shop: Shop) -> list[Value]:
    """
    Probes that are the same on every machine it may be, the best first; what a guard asks for before all.

    One that powers it is among them only where all are of one kind of machine.
    """
    worth: dict[tuple[str, float], float] = {}
    values: dict[tuple[str, float], Value] = {}
    for candidate, advice in rows:
        for value in (advice.next, *advice.alternatives):
            if value is None or not _same(value.probe, rows, shop):
                continue
            key = value.probe, value.waits
            asked = bool(advice.guards) and value is advice.next
            worth[key] = worth.get(key, 0.0) + candidate.probability * (value.worth + _GUARD * asked)
            values.setdefault(key, value)
    leads = {(a.next.probe, a.next.waits) for _, a in rows if a.next is not None}
    return [values[key] for key in sorted(values, key=lambda key: (key not in leads, -worth[key], key))]


#: What a guard asks for is worth more than any other probe. [money]
_GUARD = 1e6


def _same(name: str, rows: Sequence[tuple[Candidate, Advice]], shop: Shop) -> bool:
    """
    Whether a probe is the same on all: between the same points, with the same answers, in the same way.

    Machines that lack the part count only where they hold more than a little together: whoever does not find
    it says so.
    """
    probes: list[Probe] = []
    lacking = 0.0
    for k, (candidate, _) in enumerate(rows):
        try:
            probes.append(probe_of(candidate.situation.machine, name, shop))
        except Unknown:
            lacking += candidate.probability if k else 1.0  # the likeliest one has it at least
    if lacking > _LACKING:
        return False
    first = probes[0]
    frames = {candidate.situation.machine.arrangement.set_in for candidate, _ in rows}
    if first.energises and len(frames) > 1:
        return False
    return all(
        (p.how, p.outcomes, p.points, p.quantity) == (first.how, first.outcomes, first.points, first.quantity)
        for p in probes
    )


def _look_first(leader: Candidate, rows: Sequence[tuple[Candidate, Advice]], best: Value, shop: Shop) -> bool:
    """Whether a look under the cover comes before a probe: the cover is off, or comes off for it."""
    frames = {candidate.situation.machine.arrangement.set_in for candidate, _ in rows}
    probe = probe_of(leader.situation.machine, best.probe, shop)
    return len(frames) > 1 or probe.inside or cover_open(judge(leader.situation, shop))


def _look(question: Question, situation: Situation, weighed: Weighed, shop: Shop) -> Value:
    """A look under the cover, as a next step."""
    leader = weighed.candidates[0].situation
    probe = probe_of(leader.machine, f"{UNDER_COVER}{question.name}", shop)
    cost = shop.money(probe.minutes) + opening_cost(probe, cover_open(judge(leader, shop)), shop)
    likeliest = tuple(one.told for one in _may_be(weighed.candidates)[:3])
    reason = Message(
        "it tells the start arrangement, which is not settled: {likeliest:semicolon}", likeliest=likeliest
    )
    return Value(probe.id, probe.title, probe.how, probe.gates, 0.0, cost, probe.minutes, 0.0, reason)
