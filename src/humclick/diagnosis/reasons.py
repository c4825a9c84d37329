"""
Why: what each reading means, how strongly it speaks, and what another would change.

Weights of evidence in decibans: ten times the decimal logarithm of the factor by which a reading moves the
odds of the leading decision against its rival, given what was known before it. Since readings hang together
these depend on their order; the probability without the reading is the second view that does not.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.advice import Advice
from humclick.diagnosis.damage import remedies_done, remedies_due, remedy_of
from humclick.diagnosis.decisions import WAIT, actions_for, covered, losses
from humclick.diagnosis.findings import HEARD, shown_text
from humclick.diagnosis.forecast import forecast
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.power import owed
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.suspects import NONE
from humclick.messages import N_, Message, listed
from humclick.parts.family import Role
from humclick.readings.shown import percent

__all__ = ["Explanation", "Reason", "WhatIf", "explain", "leader_of", "what_if"]

#: A remedy's probability has to move this much to be named. [-]
_MOVED = 0.04
#: Below this a leading suspect's own readings say nothing of it: it leads by elimination. [decibans]
_ELIMINATION = 3.0
#: From here a reading speaks clearly, and strongly. [decibans]
_CLEAR, _STRONG = 4.0, 12.0


@dataclass(frozen=True, slots=True)
class Reason:
    """
    How one observation speaks for the leading decision against its rival.

    Attributes
    ----------
    id, probe, shown : str
        Event, probe, and what was seen.
    decibans : float
        Positive speaks for the leader. [decibans]
    without : float
        Probability of the leading decision without this observation. [-]
    moved : tuple of (remedy, before, after)
        Remedies whose probability it moved most, by how much. [-]
    words : str
        The same in words.
    """

    id: str
    probe: str
    shown: Message
    decibans: float
    without: float
    moved: tuple[tuple[str, float, float], ...]
    words: Message


@dataclass(frozen=True, slots=True)
class Explanation:
    """
    Why the leading decision leads.

    Attributes
    ----------
    leader, rival : tuple of str
        The two decisions set against each other.
    probability : float
        Of the leader. [-]
    reasons : tuple of Reason
        The complaint first, then every observation in order.
    by_elimination : bool
        True where no reading speaks of the leading suspect itself: it leads because the others fell.
    untested : tuple of str
        What around it no reading speaks of either: until then not all around it is proved good.
    sentence : str
        In one or two sentences.
    """

    leader: tuple[str, ...]
    rival: tuple[str, ...]
    probability: float
    reasons: tuple[Reason, ...]
    by_elimination: bool
    untested: tuple[Message, ...]
    sentence: Message


@dataclass(frozen=True, slots=True)
class WhatIf:
    """
    One outcome of a probe not yet taken.

    Attributes
    ----------
    outcome : str
        In words.
    probability : float
        [-]
    remedies : tuple of (remedy, probability)
        How probably each would then be needed.
    decision : tuple of str
        The best action if one had to act then.
    """

    outcome: Message
    probability: float
    remedies: tuple[tuple[str, float], ...]
    decision: tuple[str, ...]


def leader_of(advice: Advice, about: Iterable[str] | None = None) -> frozenset[str] | None:
    """The decision to explain: the one asked about, else the verdict's; None for the likeliest."""
    if about:
        return frozenset(about)
    if advice.verdict is None:
        return None
    return frozenset(advice.verdict.due) or WAIT


def explain(
    situation: Situation, shop: Shop | None = None, *, leader: frozenset[str] | None = None
) -> Explanation:
    """
    Why the leading decision leads, observation by observation.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Priors and costs.
    leader : frozenset of str, optional
        The decision to explain; by default the most probable class. One the readings give no case for is set
        against the likeliest, and its probability is zero.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(situation, shop)
    classes = judged.post.by_class
    due = owed(situation, judged.bench.shop)  # these belong to every decision
    done = remedies_done(situation) - due
    left = {c: _left(c, done, due) for c in classes} | {NONE: NONE}
    wanted = None if leader is None else _left(leader, done, due)
    matching = [c for c in classes if wanted is not None and left[c] == wanted]
    if wanted is not None and not matching:  # more was decided than the readings ask for
        matching = [c for c in classes if c != NONE and left[c] & wanted and left[c] <= covered(wanted)]
    lead = next(iter(matching or ([leader] if leader is not None else classes)))
    left.setdefault(lead, wanted or lead)
    rival = next((c for c in classes if not (c >= lead or c < lead)), NONE)
    reasons = _reasons(situation, shop, (lead, rival)) if classes.get(lead) else ()  # else it has no case
    elimination = _by_elimination(judged, lead)
    untested = _untested(judged, lead) if elimination else ()
    decision = left[lead] if leader is None else _left(leader, done)  # and nothing beside it
    exact = wanted is None or any(left[c] == wanted for c in matching)
    same = matching if wanted is not None else [c for c in classes if left[c] == left[lead]]
    whole = math.fsum(classes[c] for c in same)
    if done or due:  # what was done is no rival to nothing being left
        rival = next((c for c in classes if left[c] != left[lead]), NONE)
    return Explanation(
        tuple(sorted(lead)),
        tuple(sorted(rival)),
        whole,
        reasons,
        elimination,
        untested,
        _summary(
            judged, decision, left[rival], whole, exact=exact, untested=untested if elimination else None
        ),
    )


def _reasons(
    situation: Situation, shop: Shop | None, sides: tuple[frozenset[str], frozenset[str]]
) -> tuple[Reason, ...]:
    """How the complaint and each observation speak for the leader of two decisions against its rival."""
    reasons, observations = [], situation.observations
    before = judge(replace(situation, observations=(), complaint=None), shop)
    now = judge(replace(situation, observations=()), shop)

    def without(rest: Situation) -> float:
        return judge(rest, shop).post.by_class.get(sides[0], 0.0)

    if situation.complaint is not None:
        sign = Message("complaint: {heard}", heard=HEARD[situation.complaint.value])
        rest = replace(situation, complaint=None)
        reasons.append(_reason("complaint", "complaint", sign, (before, now), sides, without(rest)))
    for k, o in enumerate(observations):
        after = judge(replace(situation, observations=observations[: k + 1]), shop)
        rest = replace(situation, observations=(*observations[:k], *observations[k + 1 :]))
        title = probe_of(situation.machine, o.probe, now.bench.shop).title
        sign = Message("{title}: {value}", title=title, value=shown_text(o))
        reasons.append(_reason(o.id, o.probe, sign, (now, after), sides, without(rest)))
        now = after
    return tuple(reasons)


def _left(needed: frozenset[str], done: frozenset[str], due: frozenset[str] = frozenset()) -> frozenset[str]:
    """What of a decision is still to be done, with what is due in any case."""
    return needed if needed == NONE else ((needed - done) | due) - WAIT or WAIT


def _odds(judged: Judged, leader: frozenset[str], rival: frozenset[str]) -> float:
    """Odds of two decisions in decibans."""
    a = max(judged.post.by_class.get(leader, 0.0), 1e-30)
    b = max(judged.post.by_class.get(rival, 0.0), 1e-30)
    return 10.0 * math.log10(a / b)


def _reason(
    event: str,
    probe: str,
    sign: Message,
    step: tuple[Judged, Judged],
    sides: tuple[frozenset[str], frozenset[str]],
    without: float,
) -> Reason:
    decibans = _odds(step[1], *sides) - _odds(step[0], *sides)
    old, new = step[0].post.by_remedy, step[1].post.by_remedy
    moves = sorted(((r, p, new.get(r, 0.0)) for r, p in old.items()), key=lambda m: -abs(m[1] - m[2]))
    moved = tuple(m for m in moves[:2] if abs(m[1] - m[2]) > _MOVED)
    size = abs(decibans)
    clauses = [_strength(size, decibans >= 0)] if size >= 1 else []
    if moved:
        clauses.append(listed(_moved(*move) for move in moved))
    words = listed(clauses, "semicolon") if clauses else Message("says hardly anything either way")
    return Reason(event, probe, sign, decibans, without, moved, words)


def _moved(remedy: str, before: float, after: float) -> Message:
    return Message(
        "{remedy} {before} → {after}",
        remedy=Message.of(remedy),
        before=percent(before)[:-2],
        after=percent(after),
    )


def _strength(size: float, speaks_for: bool) -> Message:
    """How strongly a reading speaks, by its weight. [decibans]"""
    if speaks_for:
        if size < _CLEAR:
            return Message("speaks weakly for it")
        return Message("speaks clearly for it") if size < _STRONG else Message("speaks strongly for it")
    if size < _CLEAR:
        return Message("speaks weakly against it")
    return Message("speaks clearly against it") if size < _STRONG else Message("speaks strongly against it")


def _by_elimination(judged: Judged, leader: frozenset[str]) -> bool:
    """Whether no measurement or look speaks of the leading set itself against a healthy machine."""
    bench, post = judged.bench, judged.post
    if leader <= {"wait"}:
        return False
    best = next((chosen for chosen, p in post.cases if p and bench.space.remedies(chosen) == leader), None)
    if best is None:
        return False
    modes = dict(best)
    directly = False
    for factor in judged.evidence.factors:
        if not factor.table or not factor.scope:
            continue
        config = tuple(modes.get(p, 0) for p in factor.scope)
        mine = math.fsum(factor.table[config])
        sound = math.fsum(factor.table[(0,) * len(factor.scope)])
        if 10.0 * math.log10(max(mine, 1e-300) / max(sound, 1e-300)) > _ELIMINATION:
            directly = True
    enough = sum(1 for f in judged.evidence.factors if f.observations) >= 3
    return enough and not directly


#: What must be read before a part is blamed because all around it is good.
_AROUND = (Role.SUPPLY, Role.PROTECTOR, Role.START_CAPACITOR, Role.RUN_CAPACITOR)


def _untested(judged: Judged, leader: frozenset[str]) -> tuple[Message, ...]:
    """Parts around the leading suspect, windings and insulation, as far as nothing was seen of them."""
    machine, shop = judged.bench.machine, judged.bench.shop
    probes = [probe_of(machine, o.probe, shop) for o in judged.situation.observations]
    seen = {probe.part for probe in probes}
    untested = [
        part.family.title
        for part in machine.parts
        if part.family.role in _AROUND
        and not part.family.sealed
        and part.id not in seen
        and not leader & {part.remedy(mode) for mode in part.family.modes}
    ]
    if not any(probe.pins is not None for probe in probes):
        untested.append(Message("windings"))
    if not any(probe.model.to_shell for probe in probes):
        untested.append(Message("windings to the shell"))
    return tuple(untested)


def _summary(
    judged: Judged,
    leader: frozenset[str],
    rival: frozenset[str],
    whole: float,
    *,
    exact: bool,
    untested: Sequence[Message] | None,
) -> Message:
    shop = judged.bench.shop
    title, other = (
        listed(
            [shop.remedies[r].title if r in shop.remedies else Message.of(r) for r in sorted(remedies)], "and"
        )
        for remedies in (leader, rival)
    )
    chance = percent(whole)
    if whole <= 0.0:
        form = N_("the readings give no case for this: {remedy}; the likeliest: {rival}.")
    elif leader == NONE:
        form = N_("nothing on the list fits ({chance}): {remedy}; next best: {rival}.")
    elif leader <= WAIT and remedies_done(judged.situation):
        form = N_("{chance} that nothing else is needed now; next best: {rival}.")
    elif exact:
        form = N_("{chance} that exactly this is needed: {remedy}; next best: {rival}.")
    else:
        form = N_("{chance} that this fixes it: {remedy}; next best: {rival}.")
    text = Message(form, chance=chance, remedy=title, rival=other).capital()
    if untested is None:
        return text
    if untested:
        return Message(
            "{sentence} It leads by elimination: no reading speaks of it directly. Not tested yet: "
            "{parts:and}.",
            sentence=text,
            parts=tuple(untested),
        )
    return Message(
        "{sentence} It leads by elimination: no reading speaks of it directly, all around it is proved good. "
        "That is only as good as the list of what can fail ({none:.1f} % is kept for causes not on it).",
        sentence=text,
        none=100 * judged.post.none,
    )


def what_if(situation: Situation, probe: str, shop: Shop | None = None) -> tuple[WhatIf, ...]:
    """
    How each outcome of a probe not yet taken would move the suspects.

    Raises
    ------
    Refused, Unknown
        As `advise`, or if the machine has no such probe.
    """
    judged = judge(situation, shop)
    bench, post = judged.bench, judged.post
    cases = [(chosen, p) for chosen, p in post.likeliest(400) if p > 1e-6]
    whole = math.fsum(p for _, p in cases) + post.none
    cases = [(chosen, p / whole) for chosen, p in cases]
    made = forecast(
        bench,
        situation,
        post,
        [chosen for chosen, _ in cases],
        [(probe_of(bench.machine, probe, bench.shop), 0.0)],
    )
    if not made:
        return ()
    f = made[0]
    done = remedies_done(situation)
    if f.probe.repairs:
        done |= {remedy_of(bench.machine, f.probe.part)}
    outcomes = []
    for o, label in enumerate(f.labels):
        mass: dict[frozenset[str], float] = {}
        for (chosen, p), row in zip(cases, f.which, strict=True):
            c = bench.space.remedies(chosen)
            mass[c] = mass.get(c, 0.0) + p * f.rows[row][o]
        mass[NONE] = mass.get(NONE, 0.0) + post.none / whole * f.none[o]
        total = math.fsum(mass.values())
        if total < 1e-6:
            continue
        ranked = dict(sorted(((c, m / total) for c, m in mass.items()), key=lambda r: (-r[1], sorted(r[0]))))
        remedies: dict[str, float] = {}
        for c, p in ranked.items():
            for remedy in c:
                remedies[remedy] = remedies.get(remedy, 0.0) + p
        top = tuple(sorted(remedies.items(), key=lambda row: (-row[1], row[0]))[:4])
        damage_due = remedies_due(situation, bench.shop, also={f.probe.id: label})
        due = (damage_due | owed(situation, bench.shop)) - done
        actions = actions_for(ranked, due)
        table = losses(actions, list(ranked), bench.shop, done, due)
        expected = [sum(p * x for p, x in zip(ranked.values(), row, strict=True)) for row in table]
        decision = actions[min(range(len(actions)), key=lambda a: (expected[a], a))]
        outcomes.append(
            WhatIf(HEARD.get(label) or Message.of(label), total, top, tuple(sorted(_left(decision, done))))
        )
    return tuple(outcomes)
