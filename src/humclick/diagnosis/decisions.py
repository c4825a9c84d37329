"""
Actions and what each costs too much: the loss table behind every piece of advice.

An action is a set of remedies. Its loss under a decision class is what it costs beyond the work that was
needed anyway: parts and labour for nothing, a return visit when something was left in, parts burnt by it.
Money throughout.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from humclick.diagnosis.shop import Shop
from humclick.diagnosis.suspects import NONE

__all__ = ["HAND_OVER", "NO_REPAIR", "REPLACE_COMPRESSOR", "WAIT", "actions_for", "covered", "loss", "losses"]

WAIT = frozenset({"wait"})
#: Remedies that mend nothing: the machine is left as it is.
NO_REPAIR = frozenset({"wait", "set control"})
HAND_OVER = NONE
REPLACE_COMPRESSOR = "replace compressor"

#: New start gear comes with a new compressor (common practice), so these are put right by it too.
_WITH_COMPRESSOR = frozenset(
    {
        "replace overload protector",
        "replace starter",
        "replace relay",
        "replace start capacitor",
        "replace run capacitor",
    }
)

#: How many decision classes become candidate actions of their own, and how many are combined in pairs.
_OWN, _PAIRED = 10, 4


@lru_cache(maxsize=8192)
def loss(action: frozenset[str], needed: frozenset[str], shop: Shop) -> float:
    """
    What an action costs too much when something else, or more, was needed.

    Parameters
    ----------
    action, needed : frozenset of str
        Remedies done, and remedies that fix it.
    shop : Shop
        Prices.

    Returns
    -------
    float
        Zero where exactly what was needed is done. [money]
    """
    if action == HAND_OVER:
        return shop.remedy("hand over").cost
    wasted = sum(shop.remedy(r).cost + shop.rates["unneeded"] for r in action - needed - WAIT)
    if REPLACE_COMPRESSOR in action and REPLACE_COMPRESSOR not in needed:
        wasted += shop.rates["condemned_good"]
    if needed <= covered(action):
        return wasted
    burnt = sum(shop.remedy(r).price for r in action & needed) * shop.rates["burnt_new_part"]
    passed_on = shop.remedy("hand over").cost if needed == NONE else 0.0
    return wasted + shop.rates["return_visit"] + burnt + passed_on


def covered(action: frozenset[str]) -> frozenset[str]:
    """
    Everything an action puts right.

    Time passes in any case; a new compressor brings new start gear; a new control is set to call.
    """
    remedies = action | WAIT
    if REPLACE_COMPRESSOR in action:
        remedies |= _WITH_COMPRESSOR
    if "replace control" in action:
        remedies |= {"set control"}
    return remedies


def actions_for(
    by_class: Mapping[frozenset[str], float], due: frozenset[str] = frozenset()
) -> list[frozenset[str]]:
    """
    Candidate actions: the likeliest classes, the likeliest pairs together, a wait, handing over.

    Parameters
    ----------
    by_class : mapping of class to probability, likeliest first
        From the posterior.
    due : frozenset of str
        Remedies that belong to every action but handing over.
    """
    ranked = [c for c in by_class if c != NONE and "hand over" not in c]
    candidates = dict.fromkeys(ranked[:_OWN])
    for i, first in enumerate(ranked[:_PAIRED]):
        for second in ranked[i + 1 : _PAIRED]:
            both = (first | second) - WAIT or WAIT
            if not (both <= covered(first) or both <= covered(second)):
                candidates[both] = None
    candidates[WAIT] = None
    whole = dict.fromkeys((action | due) - WAIT or WAIT for action in candidates)
    whole[HAND_OVER] = None
    return list(whole)


def losses(
    actions: Sequence[frozenset[str]],
    classes: Sequence[frozenset[str]],
    shop: Shop,
    done: frozenset[str],
    due: frozenset[str] = frozenset(),
) -> list[list[float]]:
    """
    Loss of each action under each class, remedies already done counted as done, those due as needed.

    Returns
    -------
    list of list of float
        ``[action][class]``. [money]
    """
    left = [_same(c if c == NONE else (c - done) | due or WAIT) for c in classes]
    works = [_same(a if a == HAND_OVER else a - done or WAIT) for a in actions]
    return [[loss(work, needed, shop) for needed in left] for work in works]


@lru_cache(maxsize=4096)
def _same(remedies: frozenset[str]) -> frozenset[str]:
    """Equal remedies as one set, so that what is remembered by them takes less room."""
    return remedies
