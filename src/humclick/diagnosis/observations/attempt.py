"""
Start attempts that are listened to: as found, on known-good gear, with something put right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from operator import attrgetter
from typing import ClassVar

from humclick.arrangements.arrangement import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.factors import Factor, p_hot
from humclick.diagnosis.hearing import chance_of
from humclick.diagnosis.observations.model import (
    COVER_ON,
    Group,
    Model,
    Probe,
    Said,
    Sayings,
    Taken,
    rest_of,
    touching,
)
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.remedies import remedy_of, work_on
from humclick.diagnosis.scales import PerSet
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard
from humclick.messages import Message
from humclick.start.rows import OUTCOMES

__all__ = ["KINDS", "AsFound", "Fit", "KnownGood", "Listened", "complaint", "either_way"]

#: A fault the model does not know lets it start so rarely; other outcomes share the rest. A guess. [-]
_RUNS_ANYHOW = 0.05
#: What anybody may mishear keeps every outcome below this. [-]
_MOST = 0.99


def none_of(outcome: str, runs: float = _RUNS_ANYHOW) -> float:
    """Probability of an outcome when the cause is none of those modelled. [-]"""
    return runs if outcome == Heard.RUNS else (1.0 - runs) / (len(OUTCOMES) - 1)


def complaint(bench: Bench, heard: Heard | None) -> Factor:
    """What was heard before anybody came, of a machine whose starts are simulated."""
    starts = bench.starts
    marks = dict(zip(bench.marks(), starts.either_way(bench.marks().values())[1], strict=True))
    if heard is None:
        runs = OUTCOMES.index(Heard.RUNS)

        def value(bits: Sequence[int]) -> list[float]:
            return [1.0 - chance_of(attempt.outcomes, runs, by="reported") for attempt in starts.by_all(bits)]

        return Factor((), (), {}, PerSet(marks, value), 0.98, 1.0)
    k = OUTCOMES.index(heard.value)

    def values(bits: Sequence[int]) -> list[float]:
        return [chance_of(attempt.outcomes, k, by="reported") for attempt in starts.by_all(bits)]

    return Factor((), (), {}, PerSet(marks, values), none_of(heard, 0.02), _MOST)


def either_way(
    bench: Bench,
    values: Callable[[Sequence[Attempt]], Iterable[float]],
    hot: float,
    renewed: frozenset[str],
    *,
    known_good: bool = False,
) -> PerSet:
    """A value of an attempt under each set, not knowing whether it was hot; worked out once an attempt."""
    starts, cool = bench.starts, 1.0 - hot
    rested: dict[int, float] = {}
    restless: dict[int, float] = {}

    def either(bits: Sequence[int]) -> list[float]:
        cold, warm = starts.either_way(bits)
        new = list(set(cold).difference(rested))
        rested.update(zip(new, values(starts.by_all(new)), strict=True))
        new = list(set(warm).difference(restless))
        restless.update(zip(new, values([a.again for a in starts.by_all(new)]), strict=True))
        return [cool * rested[c] + hot * restless[w] for c, w in zip(cold, warm, strict=True)]

    return PerSet(bench.marks(renewed, known_good=known_good), either)


class Listened(Model):
    """An attempt whose outcome is heard."""

    heard: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return machine.started

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe, observation = taken[0]
        if observation.answer not in OUTCOMES:
            return Factor(())
        k = OUTCOMES.index(observation.answer)
        value = either_way(
            weighing.bench,
            lambda attempts: [chance_of(attempt.outcomes, k, by="listened") for attempt in attempts],
            p_hot(observation.temperature, weighing.slips["cold_but_warm"]),
            mended | probe.mends,
            known_good=self.on_known_good,
        )
        return Factor((), (), {}, value, none_of(observation.answer), _MOST)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        hot = outlook.hot(probe, waits)
        renewed, known_good = outlook.mended | probe.mends, self.on_known_good
        rows, which, _ = outlook.by_attempt(attrgetter("listened"), hot, renewed, known_good=known_good)
        return Forecast(probe, waits, OUTCOMES, rows, which, tuple(map(none_of, OUTCOMES)))

    def finding(self, say: Sayings) -> Said:
        return say.of_start() if say.factor.per_set is not None else say.of_nothing()


class PoweredUp(Listened):
    """Powered up, nothing put right: hearing the same again is not news."""

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        probe, observation = taken
        return Group(probe.id, observation.temperature.kind, observation.answer, mended)


class AsFound(PoweredUp):
    """Powered up as it is."""

    name: ClassVar[str] = "attempt"
    order: ClassVar[int] = 70
    deeper: ClassVar[bool] = True
    tries: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["attempt_as_found"]
        title, how = self.words(machine)
        yield Probe(
            "attempt.as_found",
            title,
            how,
            self,
            outcomes=OUTCOMES,
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=COVER_ON,
            heat=rest_of(machine),
        )

    def words(self, machine: Machine) -> tuple[Message, Message]:
        """What is done, in one line, and how."""
        return (
            Message("Power it up as it is and listen: ten seconds of humming at most"),
            Message(
                "Cover on, stand to the side, power up: silent, hum, click, or does it run? Off again once "
                "it has clicked or hummed for ten seconds; if it starts, let it run a few minutes and see "
                "that it stays."
            ),
        )

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """Not while it runs as it now is."""
        tries = [observation for tried, observation in offer.taken if tried.model.tries]
        runs = bool(tries) and tries[-1].answer == Heard.RUNS
        as_now = bool(tries) and tries[-1].renewed == offer.situation.renewed
        return not (runs and as_now) and super().offered(offer, probe)


class KnownGood(PoweredUp):
    """Powered up on known-good start gear and supply."""

    name: ClassVar[str] = "known_good"
    order: ClassVar[int] = 100
    deeper: ClassVar[bool] = True
    on_known_good: ClassVar[bool] = True
    probe_name: ClassVar[str] = "attempt.known_good"

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["attempt_known_good"]
        yield Probe(
            self.probe_name,
            Message("Start it on known-good start gear and a supply known to be good"),
            Message(
                "Power off: fit start gear, protector and capacitors known to be good and right for it, "
                "cover "
                "on, then power up until it runs or clicks off, ten seconds of humming at most. Its "
                "protector "
                "stays in circuit."
            ),
            self,
            outcomes=OUTCOMES,
            minutes=minutes,
            risk=risk,
            live=True,
            gates=(*touching(machine), *COVER_ON),
            heat=rest_of(machine),
        )


def _fit_words(placed: PlacedPart) -> tuple[Message, Message]:
    fit = placed.family.fit
    if fit is not None and fit.title:
        return fit.title, fit.how
    return (
        Message("Fit a new {part} and try", part=placed.family.title),
        Message("Power off: fit the new part as the photo shows, cover on, then power up and listen."),
    )


class Fit(Listened):
    """A part fitted, or something put right by work, and the machine tried."""

    name: ClassVar[str] = "fit"
    order: ClassVar[int] = 110
    tries: ClassVar[bool] = True

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["fit"]
        make = partial(Probe, model=self, outcomes=OUTCOMES, minutes=minutes, risk=risk, live=True)
        for placed in machine.parts:
            fit = placed.family.fit
            if placed.family.gear or fit is not None:
                title, how = _fit_words(placed)
                yield make(
                    id=f"fit.{placed.id}",
                    title=title,
                    how=how,
                    part=placed.id,
                    gates=(*touching(machine), *COVER_ON),
                    mends=machine.put_right[f"fit.{placed.id}"],
                )

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """A part is bought and tried only for a likely remedy and where no known-good gear is at hand."""
        if remedy_of(offer.bench.machine, probe.part) not in offer.likely:
            return False
        no_gear = KnownGood.probe_name in offer.situation.skipped
        work = work_on(offer.bench.machine, probe.part)
        return bool(work or no_gear) and super().offered(offer, probe)


KINDS = (AsFound(), KnownGood(), Fit())
