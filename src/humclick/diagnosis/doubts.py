"""
Doubts: a last reading that no known condition gives is read again before anything rests on it.
"""

from __future__ import annotations

from collections.abc import Sequence

from humclick.diagnosis.findings import finding_of
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.observations.model import Says
from humclick.diagnosis.pins_named import PAIRS_NAMED, named_pins
from humclick.diagnosis.situation import Situation
from humclick.messages import NOTHING, Message

__all__ = ["doubted"]


def doubted(judged: Judged) -> GuardState | None:
    """
    The last reading, where nothing the model knows gives it and it was not read again; None where it stands.

    Read twice it stands as it is: the posterior has room for what is not on the list.
    """
    situation = judged.situation
    if not situation.observations:
        return None
    last = situation.observations[-1]
    times = sum(seen.probe == last.probe and seen.repairs == last.repairs for seen in situation.observations)
    if last.reading is None or times > 1:
        return None
    pins = named_pins(situation, judged.bench.shop) if last.probe in PAIRS_NAMED else None
    if pins is not None and pins.doubted:
        return _again(_first(situation, pins.suspects), pins.sentence)
    finding = finding_of(judged.bench, situation, last)
    if finding.says is not Says.UNKNOWN:
        return None
    return _again(last.probe, finding.text)


def _first(situation: Situation, suspects: Sequence[str]) -> str:
    """The reading to take again first: the one in doubt that was read least often."""
    return min(suspects, key=lambda name: sum(seen.probe == name for seen in situation.observations))


def _again(probe: str, reason: Message) -> GuardState:
    return GuardState(
        name="doubted",
        title=Message("the last reading read again"),
        done=False,
        waived=NOTHING,
        probes=(probe,),
        before=Message("anything rests on it"),
        waits=0.0,
        reason=reason,
    )
