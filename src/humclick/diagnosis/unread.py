"""Where a size decides and nobody read what tells it: the plate's amps, or a capacitor's stamp."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from humclick.arrangements.arrangement import PlacedPart
from humclick.diagnosis.guard_states import GuardState, guard_named
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.observations.unread import PLATE, STAMP
from humclick.diagnosis.probes import probe_of

__all__ = ["sizes_unread"]

#: From this probability of a fault that a size was read for, the size decides. [-]
_IN_PLAY = 0.05


def sizes_unread(judged: Judged) -> tuple[GuardState, ...]:
    """
    What is to be read on the machine before its sizes are held against it, the cheapest first.

    A capacitor's stamp where its microfarads were measured, and the plate's amps where the windings were:
    each only while such a fault is in play, and neither once it was answered or left out.
    """
    return tuple(_unread(judged))


def _unread(judged: Judged) -> Iterator[GuardState]:
    situation, bench = judged.situation, judged.bench
    machine = situation.machine
    answered = {o.probe for o in situation.observations} | situation.skipped
    probes = [probe_of(machine, o.probe, bench.shop) for o in situation.observations if o.reading is not None]
    measured = {p.part for p in probes if p.quantity == "capacitance"} - situation.renewed
    for placed in machine.parts:
        name = f"{placed.id}{STAMP}"
        unread = placed.id in measured and name not in answered and machine.unsized(placed.id, "capacitance")
        if unread and _short_of(judged, "capacitance", [placed]) > _IN_PLAY:
            yield guard_named("stamp", False, (name,))
    unread = PLATE not in answered and not machine.nameplate.sizes and any(p.pins is not None for p in probes)
    if unread and _short_of(judged, "winding", machine.parts) > _IN_PLAY:
        yield guard_named("plate", False, (PLATE,))


def _short_of(judged: Judged, size: str, parts: Iterable[PlacedPart]) -> float:
    """Probability that a part has less of a size than it should. [-]"""
    return math.fsum(
        judged.post.of_mode(part.id, mode.name)
        for part in parts
        for mode in part.family.listed
        if any(branch.size == size and branch.times < 1.0 for branch in mode.branches)
    )
