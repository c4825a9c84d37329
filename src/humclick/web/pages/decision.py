"""
The verdict, the decision, the new part, and how the repair is proved.
"""

from __future__ import annotations

from typing import Any

from humclick.jobs.entry import one_of
from humclick.jobs.events import DecisionTaken, PartFitted
from humclick.jobs.fold import COMPRESSOR
from humclick.replacement.demand import PartDemand, demands, replaced_parts
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply

__all__ = ["PROOF", "given", "take_decision", "take_fitted"]

#: Probes that prove a repair, in order.
PROOF = ("attempt.as_found", "supply.volts_start")


def _remedies(desk: Desk) -> tuple[str, ...]:
    last = desk.decided
    if isinstance(last, DecisionTaken):
        return last.remedies
    advice = desk.weighed.advice if desk.weighed is not None else None
    if advice is not None and advice.verdict is not None:
        return advice.verdict.remedies
    return desk.call.decisions[-1].remedies if desk.call.decisions else ()


def _demands(desk: Desk, remedies: tuple[str, ...]) -> tuple[PartDemand, ...]:
    if desk.call.machine is None:
        return ()
    stamps: dict[str, list[str]] = {}
    for stamp in desk.call.stamps:
        stamps.setdefault(stamp.part, []).append(stamp.text)
    return demands(desk.call.machine, remedies, stamps)


def given(desk: Desk) -> dict[str, Any]:
    """What the screen shows from the verdict on."""
    machine = desk.call.machine
    remedies = _remedies(desk)
    known, taken = desk.probes(), {r.probe for r in desk.call.readings}
    parts = []
    if machine is not None:
        first = [part for remedy in remedies for part in replaced_parts(machine, remedy)[:1]]
        every = [part.id for part in machine.parts if not part.family.sealed]
        titles = {part.id: part.family.title for part in machine.parts} | {COMPRESSOR: COMPRESSOR}
        parts = [
            (name, titles[name], name in first)
            for name in dict.fromkeys((*first, *every, COMPRESSOR))
            if name in titles
        ]
    last = desk.decided
    proof = [known[name] for name in PROOF if name in known]
    return {
        "remedies": remedies,
        "every_remedy": desk.shop.remedies,
        "demands": _demands(desk, remedies),
        "parts": parts,
        "meets": desk.briefing_on(remedies),
        "new_part": any(first for _name, _title, first in parts),
        "fitted": last if isinstance(last, PartFitted) else None,
        "proof": proof,
        "still": [each for each in proof[1:] if each.id not in taken],
    }


def take_decision(desk: Desk) -> Reply:
    """
    Keep what is to be done.

    Raises
    ------
    FormRefused
        If no remedy is named, or one that does not exist.
    """
    names = desk.request.given_all("remedy")
    if not names:
        raise FormRefused("remedy", "decide what? Choose at least one remedy")
    with beside("remedy"):
        remedies = [one_of("remedy", name, list(desk.shop.remedies)) for name in names]
        desk.keep("decision", remedies=list(dict.fromkeys(remedies)), words=desk.request.given("words"))
    return desk.go(desk.path())


def take_fitted(desk: Desk) -> Reply:
    """
    Keep that a new part was fitted.

    Raises
    ------
    FormRefused
        If the machine has no such part.
    """
    with beside("part"):
        desk.keep("fitted", part=desk.request.given("part"), note=desk.request.given("note"))
    return desk.go(desk.path())
