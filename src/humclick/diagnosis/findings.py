"""
Findings: what each reading means for that part, in that position and temperature, in one sentence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.model import Says, Taken
from humclick.diagnosis.pins_named import named_pins
from humclick.diagnosis.power import three_equal
from humclick.diagnosis.probes import Probe, probe_of, taken_of
from humclick.diagnosis.sayings import HEARD, Alone, shown_text
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.messages import NOTHING, Message

__all__ = ["HEARD", "Finding", "finding_of", "findings", "shown_text"]

#: What stands before a finding that is not good.
_SIGNS = {
    Says.BAD: Message("not healthy"),
    Says.UNCLEAR: Message("cannot tell"),
    Says.UNKNOWN: Message("read it again"),
}


@dataclass(frozen=True, slots=True)
class Finding:
    """What one observation means, in a sentence."""

    id: str  #: Event it comes from.
    probe: str
    text: Message
    says: Says
    warns: bool  #: Whether it is not what a healthy part gives.
    slip: str = ""  #: Of hand or eye that is named in it: a name of `humclick.diagnosis.sayings.SLIPS`.

    @property
    def sign(self) -> Message:
        """What stands before the sentence; empty where nothing is amiss."""
        return _SIGNS.get(self.says, NOTHING)


def findings(situation: Situation, shop: Shop | None = None) -> tuple[Finding, ...]:
    """
    One sentence per observation: what it means for that part, in that position and temperature.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(replace(situation, observations=()), shop)
    meanings = [finding_of(judged.bench, situation, observation) for observation in situation.observations]
    taken = taken_of(judged.bench.machine, situation.observations, judged.bench.shop)
    for model in dict.fromkeys(probe.model for probe, _ in taken):
        beside = model.together(judged.bench, taken, situation.meter)
        for i, (text, says) in beside.items():
            text = _beside(taken[i].observation, text)
            meanings[i] = replace(meanings[i], text=text, says=says, warns=says is not Says.GOOD)
    pins = None if three_equal(situation) else named_pins(situation, judged.bench.shop)
    if pins is not None:  # the last of the three tells what all of them come to
        i = max(i for i, o in enumerate(situation.observations) if o.probe in pins.readings)
        said = _beside(situation.observations[i], pins.sentence)
        meanings[i] = replace(meanings[i], text=said, says=pins.says, warns=pins.says is not Says.GOOD)
    if three_equal(situation):
        meanings = [
            replace(f, text=_one_of_three(observation), says=Says.BAD, warns=True)
            if _between_pins(probe, observation)
            else f
            for f, (probe, observation) in zip(meanings, taken, strict=True)
        ]
    return tuple(meanings)


def _beside(observation: Observation, text: Message) -> Message:
    return Message("{value}. {sentence}", value=shown_text(observation), sentence=text)


def _one_of_three(observation: Observation) -> Message:
    return Message(
        "{value}: one of three equal readings: not the two windings of a single-phase machine.",
        value=shown_text(observation),
    )


def _between_pins(probe: Probe, observation: Observation) -> bool:
    return probe.pins is not None and observation.reading is not None


def finding_of(bench: Bench, situation: Situation, observation: Observation) -> Finding:
    """One sentence for one observation, as `findings`; nothing of three equal readings."""
    probe = probe_of(bench.machine, observation.probe, bench.shop)
    alone = replace(situation, observations=(observation,))
    factor = compile_evidence(bench, alone).factors[1]
    alone_said = Alone(bench, Taken(probe, observation), factor, alone)
    text, says = probe.model.finding(alone_said)
    slip = alone_said.named[-1] if alone_said.named and says is not Says.GOOD else ""
    return Finding(observation.id, observation.probe, text, says, says is not Says.GOOD, slip)
