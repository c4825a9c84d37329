"""
Verdicts: what to do, how probably that fixes it, what would change it; and why somebody else goes on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.damage import remedies_done
from humclick.diagnosis.decisions import HAND_OVER, NO_REPAIR, WAIT, covered
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.planner import Choice, Plan
from humclick.diagnosis.power import Bar, owed
from humclick.messages import N_, Message
from humclick.readings.shown import percent

__all__ = [
    "Verdict",
    "flip",
    "handed_over",
    "never_powered",
    "not_for_the_line",
    "stopped",
    "unsettled",
    "verdict_of",
]

#: The plain verdict.
_FIXES = N_("{remedies:and} ({chance} that this fixes it)")


@dataclass(frozen=True, slots=True)
class Verdict:
    """
    A defended decision.

    Attributes
    ----------
    remedies : tuple of str
        What to do; what was done, where nothing is left to do.
    titles : tuple of str
        The same in words.
    due : tuple of str
        What is still to be done; empty where what was done fixed it.
    probability : float
        That this fixes it, and not that it would run without; when handing over, that the cause is not on the
        list. [-]
    sentence : str
        In one sentence.
    expected_loss : float
        What the decision is expected to cost too much. [money]
    margin : float
        By how much the best further probe would fail to pay. [money]
    flip_factor : float
        Factor by which the prior odds of the rival must rise to change the decision; infinite if none. [-]
    rival : tuple of str
        The next best decision.
    guards : tuple of GuardState
        What stands behind condemning a compressor, or behind leaving a machine as it is.
    """

    remedies: tuple[str, ...]
    titles: tuple[Message, ...]
    due: tuple[str, ...]
    probability: float
    sentence: Message
    expected_loss: float
    margin: float
    flip_factor: float
    rival: tuple[str, ...]
    guards: tuple[GuardState, ...]

    @property
    def plainly(self) -> bool:
        """Whether its sentence says no more than what to do and how probably that fixes it."""
        return self.sentence.id == _FIXES


def verdict_of(judged: Judged, problem: Choice, actions: Sequence[frozenset[str]], made: Plan) -> Verdict:
    """What the plan decides, in words; what was done already is said where nothing is left to do."""
    post, shop = judged.post, judged.bench.shop
    done = remedies_done(judged.situation) - owed(judged.situation, shop)
    action = actions[made.action]
    action = action if action == HAND_OVER else action - done or WAIT
    right = _put_right(judged, action, done)
    rival, factor = flip(problem, actions, made.action)
    remedies, due = action, action
    titles = tuple(shop.remedy(r).title for r in sorted(action))
    sentence = Message.of(_FIXES, remedies=titles, chance=percent(right))
    if action == HAND_OVER:
        right = post.by_class.get(HAND_OVER, 0.0)
        sentence = Message("the readings do not settle it: {remedy}", remedy=titles[0])
        if right > 0.5:
            sentence = Message(
                "nothing on the list fits ({chance}): {remedy}", chance=percent(right), remedy=titles[0]
            )
    elif done and action <= WAIT:
        remedies, due = done, frozenset()
        titles = tuple(shop.remedy(r).title for r in sorted(done))
        sentence = Message(
            "{did:and}: that fixed it ({chance} that nothing else is needed)",
            did=tuple(shop.remedy(r).did for r in sorted(done)),
            chance=percent(right),
        )
    return Verdict(
        remedies=tuple(sorted(remedies)),
        titles=titles,
        due=tuple(sorted(due)),
        probability=right,
        sentence=sentence.capital(),
        expected_loss=made.act_now,
        margin=min((w.two_step for w in made.worths), default=math.inf) - made.act_now,
        flip_factor=factor,
        rival=tuple(sorted(rival if rival in (HAND_OVER, frozenset()) else rival - done or WAIT)),
        guards=(),
    )


def _put_right(judged: Judged, action: frozenset[str], done: frozenset[str]) -> float:
    """
    Probability that an action is what puts the machine right. [-]

    Where something is repaired, something of it must have been needed: a machine that had only to wait is not
    put right by a new part.
    """
    repairs = action - owed(judged.situation, judged.bench.shop) - NO_REPAIR
    classes = ((c - done, p) for c, p in judged.post.by_class.items())
    return math.fsum(p for c, p in classes if c <= covered(action) and (c & repairs or not repairs))


def flip(problem: Choice, actions: Sequence[frozenset[str]], chosen: int) -> tuple[frozenset[str], float]:
    """
    The rival, and the smallest factor on the prior odds of one class that changes the decision. [-]

    With m the mass of a class and d the loss saved there by the rival, the decision flips once
    (factor − 1)·m·d exceeds the rival's present disadvantage.
    """
    mass = [0.0] * len(problem.loss[0])
    for w, c in zip(problem.weights, problem.classes, strict=True):
        mass[c] += w
    losses = problem.loss[chosen]
    best: tuple[float, frozenset[str]] = (math.inf, frozenset())
    for a, row in enumerate(problem.loss):
        if a == chosen:
            continue
        behind = math.fsum([m * (x - y) for m, x, y in zip(mass, row, losses, strict=True)])
        for m, x, y in zip(mass, row, losses, strict=True):
            if m > 0.0 and y - x > 1e-9:
                factor = 1.0 + max(behind, 0.0) / (m * (y - x))
                if factor < best[0]:
                    best = (factor, actions[a])
    return best[1], best[0]


def stopped(judged: Judged, every: Sequence[Bar]) -> Verdict:
    """The call ends here: what stopped it, and that somebody else goes on."""
    what = tuple(bar.title.small() for bar in every if bar.whole)
    sentence = Message(
        "Stop: {hazards:and}. Make it safe, then {remedy}", hazards=what, remedy=_hand_over(judged)
    )
    return _only_hand_over(judged, sentence)


def _hand_over(judged: Judged) -> Message:
    return judged.bench.shop.remedy("hand over").title


def never_powered(judged: Judged, why: Sequence[Message]) -> Verdict:
    """What may not be powered now, and why; somebody else goes on."""
    sentence = Message(
        "Do not power it: {reasons}. {remedy}",
        reasons=tuple(title.small() for title in why),
        remedy=_hand_over(judged).capital(),
    )
    return _only_hand_over(judged, sentence)


def not_for_the_line(judged: Judged) -> Verdict:
    """Three equal readings: this compressor is never put across the line."""
    sentence = Message(
        "Do not power it: three equal readings belong to an inverter-driven or three-phase compressor, never "
        "to be put across the line. Read the nameplate and start again with what it says, or {remedy}; if "
        "the plate says single-phase, measure the three pairs once more on bright metal",
        remedy=_hand_over(judged),
    )
    return _only_hand_over(judged, sentence)


def unsettled(judged: Judged, arrangements: Sequence[Message]) -> Verdict:
    """Nothing here tells which arrangement it is, and what is to be done depends on that."""
    sentence = Message(
        "Settle the start arrangement first: it may be {arrangements:or}, and what it needs differs."
        " If nobody here can tell, {remedy}",
        arrangements=tuple(title.small() for title in arrangements),
        remedy=_hand_over(judged),
    )
    return _only_hand_over(judged, sentence)


def _only_hand_over(judged: Judged, sentence: Message) -> Verdict:
    return Verdict(
        remedies=("hand over",),
        titles=(_hand_over(judged),),
        due=("hand over",),
        probability=judged.post.by_class.get(HAND_OVER, 0.0),
        sentence=sentence,
        expected_loss=judged.bench.shop.remedy("hand over").cost,
        margin=0.0,
        flip_factor=math.inf,
        rival=(),
        guards=(),
    )


def handed_over(judged: Judged, verdict: Verdict, unmet: Sequence[GuardState]) -> Verdict:
    """A verdict that may not be given, for what could not be done or shown."""
    sentence = Message(
        "{remedy}: the likeliest would be “{likeliest:and}”, but this could not be done or shown here: "
        "{unmet}",
        remedy=_hand_over(judged).capital(),
        likeliest=verdict.titles,
        unmet=tuple(guard.title for guard in unmet),
    )
    return replace(
        verdict,
        remedies=("hand over",),
        titles=(_hand_over(judged),),
        due=("hand over",),
        probability=judged.post.by_class.get(HAND_OVER, 0.0),
        sentence=sentence,
    )
