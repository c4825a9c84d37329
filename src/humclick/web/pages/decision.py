"""
The verdict, the decision, the new part, and how the repair is proved.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from humclick.diagnosis.guards import met_next
from humclick.diagnosis.probes import Probe
from humclick.jobs.entry import one_of
from humclick.jobs.fold import COMPRESSOR
from humclick.jobs.standing import PROOF, Onward
from humclick.messages import Message
from humclick.replacement.demand import PartDemand, demands, replaced_parts
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply

__all__ = ["given", "take_decision", "take_fitted"]


def _remedies(desk: Desk) -> tuple[str, ...]:
    """What is still to be done."""
    return desk.state.due


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
        titles = {part.id: part.family.title for part in machine.parts} | {COMPRESSOR: Message("compressor")}
        parts = [
            (name, titles[name], name in first)
            for name in dict.fromkeys((*first, *every, COMPRESSOR))
            if name in titles
        ]
    step = desk.onward
    names = dict.fromkeys((*([step.probe] if step is not None and step.kind == "prove" else ()), *PROOF))
    proof = _open(desk, [known[name] for name in names if name in known])
    return {
        "remedies": remedies,
        "every_remedy": desk.shop.remedies,
        "demands": _demands(desk, remedies),
        "parts": parts,
        "meets": desk.briefing_on(remedies),
        "new_part": any(first for _name, _title, first in parts),
        "fitted": step is not None and step.kind == "prove",
        "proof": proof,
        "still": _open(desk, _still(step, known, taken)),
    }


def _open(desk: Desk, wanted: list[Probe]) -> list[Probe]:
    """Probes that may be taken, and in place of another one what comes before it; none that is barred."""
    situation = desk.call.situation()
    if situation is None:
        return []
    found = (met_next(situation, probe, desk.shop) for probe in wanted)
    return list({probe.id: probe for probe in found if probe is not None}.values())


def _still(step: Onward | None, known: Mapping[str, Probe], taken: Collection[str]) -> list[Probe]:
    """What is still worth measuring on a machine that runs again: what safety asks for first."""
    first = [step.probe] if step is not None and step.kind == "repaired" and step.probe else []
    return [known[n] for n in dict.fromkeys((*first, *PROOF[1:])) if n in known and n not in taken]


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
        raise FormRefused("remedy", Message("decide what? Choose at least one remedy"))
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
