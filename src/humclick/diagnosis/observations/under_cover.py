"""
Looks under the cover: which start arrangement it is, where nobody is sure (`humclick.diagnosis.recognise`).

They tell no modes apart: how probable an answer is follows from the arrangement alone. Each is made when it
is asked for, on whatever machine.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.observations.model import Model, Probe, Said, Sayings, Says, Taken
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.recognise import UNDER_COVER, Question, questions
from humclick.diagnosis.shop import Shop
from humclick.messages import Message

__all__ = ["KINDS", "UnderCover", "answer_odds"]

#: A look takes so long. A choice. [min]
_MINUTES = 0.5


class UnderCover(Model):
    """A question about what is seen under the cover."""

    name: ClassVar[str] = "under_cover"
    order: ClassVar[int] = 5

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        yield from ()

    def on_demand(self, machine: Machine, name: str, shop: Shop) -> Probe | None:
        asked = next((q for q in questions() if f"{UNDER_COVER}{q.name}" == name), None)
        if asked is None:
            return None
        return Probe(
            name,
            asked.text,
            Message("Power off, cover open: look, touch nothing, and take a photo before anything is moved."),
            self,
            outcomes=tuple(option.text for option in asked.options),
            minutes=_MINUTES,
            gates=("power-off-proved-dead",),
            again=True,
        )

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe, observation = taken[0]
        asked = next(q for q in questions() if f"{UNDER_COVER}{q.name}" == probe.id)
        name, wrong = weighing.bench.machine.arrangement.id, weighing.slips["look_wrong"]
        odds = answer_odds(asked, name, wrong).get(observation.answer)
        if odds is None:  # "not sure" says nothing
            return Factor(())
        table = {config: (odds,) * len(weighing.leads) for config in weighing.bench.configs((0,))}
        return Factor((), (0,), table, None, odds)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        return False

    def finding(self, say: Sayings) -> Said:
        kind = say.bench.machine.arrangement
        asked = next(q for q in questions() if f"{UNDER_COVER}{q.name}" == say.taken.probe.id)
        seen = next((o for o in asked.options if str(o.text) == say.taken.observation.answer), None)
        if seen is None:
            return say.of_nothing()
        if kind.id in seen.fits:
            return Message("That goes with: {arrangement}.", arrangement=kind.title), Says.GOOD
        return Message("That does not go with: {arrangement}.", arrangement=kind.title), Says.UNCLEAR


def answer_odds(asked: Question, name: str, wrong: float) -> dict[str, float]:
    """
    How probable each answer to a question is on machines of an arrangement, by the words of the answer. [-]

    One that gives no answer to it may be called any; `wrong` is the share of looks at the wrong thing.
    """
    fits = [name in option.fits for option in asked.options]
    if not any(fits):
        fits = [True] * len(fits)
    evenly = wrong / len(fits)
    return {
        str(option.text): (1.0 - wrong) * fit / sum(fits) + evenly
        for option, fit in zip(asked.options, fits, strict=True)
    }


KINDS = (UnderCover(),)
