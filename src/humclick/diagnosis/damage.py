"""
What was seen broken, and what was put right: from the record alone, whatever the probabilities say.

A look that shows damage makes its remedy due, and may forbid power until it is carried out. Sums of money
and odds play no part here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.remedies import remedies_by, remedy_of, work_on
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation

__all__ = ["Damage", "damage", "remedies_done", "remedies_due", "remedy_of"]


#: Seen broken by eye on a machine that runs, a part counts as sound once so many looks running show nothing.
_LIFTED = 2


@dataclass(frozen=True, slots=True)
class Damage:
    """
    Something seen that must be put right.

    Attributes
    ----------
    observation : Observation
        When and how it was seen.
    probe : Probe
        The look that showed it.
    remedy : str
        What fixes it; empty where only a better look does.
    bars : bool
        Whether nothing is powered until then.
    """

    observation: Observation
    probe: Probe
    remedy: str
    bars: bool


def remedies_done(situation: Situation, since: Observation | None = None) -> frozenset[str]:
    """
    Remedies carried out during the call.

    Parameters
    ----------
    situation : Situation
        The call so far.
    since : Observation, optional
        Only those carried out after it was seen.
    """
    start = 0 if since is None else situation.observations.index(since) + 1
    parts = situation.renewed if since is None else situation.renewed_since(since)
    probes = [probe_of(situation.machine, o.probe) for o in situation.observations[start:]]
    tried = {probe.part for probe in probes if probe.repairs}
    done: set[str] = set()
    for part in parts:
        done |= remedies_by(situation.machine, part)
    return frozenset(done | {work_on(situation.machine, part) for part in tried}) - {""}


def damage(
    situation: Situation, shop: Shop | None = None, also: Mapping[str, str] | None = None
) -> tuple[Damage, ...]:
    """
    What was seen broken and is not put right, in the order of the looks.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Figures of the shop.
    also : mapping of probe to answer, optional
        What may be seen next.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    standing: dict[str, Damage] = {}
    sound: dict[str, int] = {}
    ran = False
    next_ = tuple(
        Observation(name, answer=answer, renewed=situation.renewed, repairs=situation.repairs)
        for name, answer in (also or {}).items()
    )
    for o in (*situation.observations, *next_):
        probe = probe_of(situation.machine, o.probe, shop)
        if not o.answer:
            continue
        ran = o.answer == Heard.RUNS if probe.tries_as_it_is else ran
        before = standing.get(o.probe)
        if o.answer in probe.due or o.answer in probe.bars:
            sound[o.probe] = 0
            standing[o.probe] = Damage(o, probe, probe.due.get(o.answer, ""), o.answer in probe.bars)
        elif before is not None:
            sound[o.probe] = sound.get(o.probe, 0) + 1
            lifted = ran and sound[o.probe] >= _LIFTED
            if probe.again or lifted or o.repairs > before.observation.repairs:
                del standing[o.probe]
    return tuple(entry for entry in standing.values() if not _put_right(situation, entry))


def _put_right(situation: Situation, entry: Damage) -> bool:
    if entry.observation not in situation.observations:  # only imagined
        return False
    if entry.remedy and entry.remedy in remedies_done(situation, entry.observation):
        return True
    part = entry.probe.part
    return part in situation.renewed_since(entry.observation) and not _only_tried(situation, part)


def _only_tried(situation: Situation, part: str) -> bool:
    """Whether what was last done to a part is a try without a new part, which mends one thing alone."""
    if not work_on(situation.machine, part):
        return False
    tried = [(probe_of(situation.machine, o.probe), o.repairs) for o in situation.observations]
    tries = [repairs for probe, repairs in tried if probe.repairs and probe.part == part]
    return bool(tries) and max(tries) >= situation.fitted.get(part, 0)


def remedies_due(
    situation: Situation, shop: Shop | None = None, *, also: Mapping[str, str] | None = None
) -> frozenset[str]:
    """Remedies that what was seen asks for, cause or not; parameters as of `damage`."""
    return frozenset(entry.remedy for entry in damage(situation, shop, also)) - {""}
