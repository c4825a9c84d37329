"""The verdict, the decision, the new part, and how the repair is proved."""

from __future__ import annotations

from typing import Any

from humclick.jobs.flow import demands_of
from humclick.jobs.fold import COMPRESSOR
from humclick.jobs.standing import PROOF
from humclick.jobs.taking import decided
from humclick.messages import Message
from humclick.replacement.demand import replaced_parts
from humclick.web.desk import Desk, FormRefused, beside
from humclick.web.exchange import Reply


def given(desk: Desk) -> dict[str, Any]:
    """What the screen shows from the verdict on."""
    machine = desk.call.machine
    flow, remedies = desk.flow, desk.flow.state.due
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
    step = flow.onward
    names = dict.fromkeys((*([step.probe] if step is not None and step.kind == "prove" else ()), *PROOF))
    return {
        "remedies": remedies,
        "every_remedy": desk.flow.shop.remedies,
        "demands": demands_of(desk.call, remedies),
        "parts": parts,
        "meets": flow.briefing_on(remedies),
        "new_part": any(first for _name, _title, first in parts),
        "fitted": step is not None and step.kind == "prove",
        "proof": flow.open_now(flow.probes[name] for name in names if name in flow.probes),
        "still": flow.still_worth(),
    }


def take_decision(desk: Desk) -> Reply:
    """Keep what is to be done."""
    names = desk.request.given_all("remedy")
    if not names:
        raise FormRefused("remedy", Message("decide what? Choose at least one remedy"))
    with beside("remedy"):
        desk.flow = decided(desk.flow, desk.request.now, names, desk.request.given("words"))
    return desk.go(desk.path())


def take_fitted(desk: Desk) -> Reply:
    """Keep that a new part was fitted."""
    with beside("part"):
        desk.keep("fitted", part=desk.request.given("part"), note=desk.request.given("note"))
    return desk.go(desk.path())
