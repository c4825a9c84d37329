"""
What judgement says of a situation, worked out once however often a page asks.

The same situation gives the same advice, so what was worked out for one page serves the next: a safety step
or a photo changes nothing. Only the last few situations are kept.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING

from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.judged import judge
from humclick.diagnosis.reasons import Explanation, WhatIf, explain, leader_of, what_if
from humclick.diagnosis.remaining import left_of_part
from humclick.errors import HumclickError
from humclick.messages import NOTHING, Message

if TYPE_CHECKING:
    from humclick.diagnosis.shop import Shop
    from humclick.diagnosis.situation import Situation

__all__ = ["Judgements", "Weighed"]

#: Situations kept. A call screen needs two: before and after an entry.
_KEPT = 24


class Weighed:
    """One situation and what judgement says of it; each answer is worked out when it is first asked for."""

    def __init__(self, situation: Situation, shop: Shop) -> None:
        self.situation = situation
        self.shop = shop
        self._explained: dict[tuple[str, ...], Explanation] = {}
        self._what_if: dict[str, tuple[WhatIf, ...]] = {}

    @cached_property
    def _advised(self) -> tuple[Advice | None, Message]:
        try:
            return advise(self.situation, shop=self.shop), NOTHING
        except HumclickError as error:
            return None, error.message

    @property
    def advice(self) -> Advice | None:
        """What to do next; None where nothing can be said."""
        return self._advised[0]

    @property
    def refusal(self) -> Message:
        """Why nothing can be said; empty where it can."""
        return self._advised[1]

    @cached_property
    def findings(self) -> Mapping[str, Finding]:
        """One sentence per event that holds a reading."""
        if self.advice is None:
            return {}
        return {finding.id: finding for finding in findings(self.situation, self.shop)}

    @cached_property
    def contradictions(self) -> tuple[Message, ...]:
        """Readings that do not fit together."""
        if self.advice is None:
            return ()
        return contradictions(self.situation, self.shop)

    @cached_property
    def shares(self) -> Mapping[str, float]:
        """Probability that each part is not healthy. [-]"""
        if self.advice is None:
            return {}
        judged = judge(self.situation, self.shop)
        return {part.id: left_of_part(judged, part.id) for part in self.situation.machine.parts}

    @property
    def explanation(self) -> Explanation | None:
        """Why the leading decision leads."""
        return self.explained(())

    def explained(self, about: tuple[str, ...]) -> Explanation | None:
        """Why some remedies lead or fall behind; by default those of the verdict, else the likeliest."""
        if self.advice is None:
            return None
        if about not in self._explained:
            leader = leader_of(self.advice, about)
            self._explained[about] = explain(self.situation, self.shop, leader=leader)
        return self._explained[about]

    def what_if(self, probe: str) -> tuple[WhatIf, ...]:
        """What each outcome of a probe would change; raises `Unknown` if the machine has no such probe."""
        if probe not in self._what_if:
            self._what_if[probe] = what_if(self.situation, probe, self.shop)
        return self._what_if[probe]


class Judgements:
    """The last few situations weighed."""

    def __init__(self) -> None:
        self._kept: deque[Weighed] = deque(maxlen=_KEPT)

    def of(self, situation: Situation, shop: Shop) -> Weighed:
        """What judgement says of a situation under a shop's figures."""
        for weighed in reversed(self._kept):
            if weighed.shop is shop and weighed.situation == situation:
                return weighed
        weighed = Weighed(situation, shop)
        self._kept.append(weighed)
        return weighed
