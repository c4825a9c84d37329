"""
Amps on the common lead while the machine tries to start.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from operator import mul
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.circuit import layout
from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Display, cut_at, shares_of
from humclick.diagnosis.factors import Factor, flat, p_hot
from humclick.diagnosis.law import Scale, gain
from humclick.diagnosis.likelihood import Together
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.attempt import either_way
from humclick.diagnosis.observations.measured import labels_between, mixture
from humclick.diagnosis.observations.model import COVER_ON, Model, Probe, Taken, rest_of, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row
from humclick.diagnosis.observations.steps import highest
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.scales import PerSet
from humclick.diagnosis.shop import Shop
from humclick.messages import Message
from humclick.meters import Meter, Quantity, meter

__all__ = ["KINDS", "Amps", "clamp_of"]

#: The wire to the common pin, behind the protector.
_COMMON = ("c", "C")
#: A plate's locked-rotor current is met within about this. From memory. [-]
_PLATE_SIGMA = 0.08
#: Edges between amps of a start attempt, over the locked-rotor current. [-]
_EDGES = (0.03, 0.35, 0.72, 0.88, 1.15)
#: A clamp reads the current of a start if it reads that far. [A]
_REACH = 40.0
#: How probably a fault the model does not know draws what the sound machine draws. A guess. [-]
_AS_HEALTHY = 0.3


_BINS: Memory[Meter, dict[int, Row]] = Memory()
_ROWS: Memory[Meter, dict[Attempt, Row]] = Memory()


class Amps(Model):
    """The current five seconds after power came, or just before the click."""

    name: ClassVar[str] = "amps"
    order: ClassVar[int] = 80
    deeper: ClassVar[bool] = True

    def serves(self, machine: Machine) -> bool:
        return machine.started

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        minutes, risk = shop.probe["attempt_amps"]
        yield Probe(
            "attempt.amps",
            Message("Amps on the common lead while it tries to start"),
            Message(
                "Power off: hook the clamp round the one wire to C, not round the whole cord, cover on, "
                "stand "
                "to the side; power up and read the amps after five seconds, or the last before it clicks; "
                "then "
                "off again."
            ),
            self,
            "current",
            clamp=_COMMON if set(_COMMON) <= layout.machine_nodes(machine) else None,
            minutes=minutes,
            risk=risk,
            live=True,
            inside=False,
            gates=(*touching(machine), *COVER_ON),
            heat=rest_of(machine),
        )

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        observation, bench = taken[0].observation, weighing.bench
        if observation.reading is None:
            return Factor(())
        clamp = clamp_of(weighing.meter)
        display = Display(observation.reading, clamp, weighing.slips)
        locked, sigma = _locked_amps(bench)
        nothing, together = display.probability(0.0), Together([display])

        def at(ratio: float, wide: float) -> float:
            if ratio <= 0.0:
                return nothing
            return together.value(*_read(bench, clamp, ratio, wide))

        loose = max(gain(clamp, Quantity.CURRENT, locked * ratio) for ratio in (0.01, 0.1, 1.0, 3.0))
        start = math.log(locked)

        @cache
        def bound(wide: float) -> Callable[[float], float]:
            return display.at_most(wide, math.hypot(wide, loose))

        def at_most(ratio: float, wide: float) -> float:
            return bound(wide)(start + math.log(ratio)) if ratio > 0.0 else nothing

        def mean(of: Callable[[float, float], float]) -> PerSet:
            drawn = bench.starts.amps_in_steps(sigma)
            table: dict[int, float] = {}

            def values(attempts: Sequence[Attempt]) -> list[float]:
                rows = drawn.of(attempts)
                for k in set().union(*rows).difference(table):
                    table[k] = of(*drawn.places[k])
                at = table.__getitem__
                return [
                    sum(map(mul, a.outcomes, map(at, row))) for a, row in zip(attempts, rows, strict=True)
                ]

            hot = p_hot(observation.temperature, weighing.slips["cold_but_warm"])
            return either_way(bench, values, hot, mended)

        says = mean(at)
        none = weighing.none(says(()), [display], _AS_HEALTHY)
        return Factor((), (), {}, says, none, max(highest(display, sigma), nothing), rough=mean(at_most))

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """Not where a recording has shown them."""
        return not any(observation.causes for _, observation in offer.taken) and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, clamp = outlook.bench, clamp_of(outlook.situation.meter)
        locked, sigma = _locked_amps(bench)
        edges = tuple(round(share * locked, 2) for share in _EDGES)
        scale = Scale(clamp, Quantity.CURRENT, outlook.weighing.slips)
        stretches = cut_at(scale, edges, open_apart=False)
        drawn = bench.starts.amps_in_steps(sigma)
        made = _BINS.of(bench).setdefault(clamp, {})
        by_attempt = _ROWS.of(bench).setdefault(clamp, {})

        def bins(number: int) -> Row:
            if number not in made:
                ratio, wide = drawn.places[number]
                amps = _read(bench, clamp, ratio, wide) if ratio > 0.0 else (0.0, 0.0)
                made[number] = shares_of(stretches, *amps)
            return made[number]

        def row(attempt: Attempt) -> Row:
            if attempt not in by_attempt:
                by_attempt[attempt] = mixture(attempt.outcomes, list(map(bins, drawn.of([attempt])[0])))
            return by_attempt[attempt]

        rows, which, healthy = outlook.by_attempt(row, outlook.hot(probe, waits), outlook.mended)
        labels = labels_between(edges, Quantity.CURRENT)
        none = outlook.none(healthy, [flat(s) for s in stretches], _AS_HEALTHY)
        return Forecast(probe, waits, labels, rows, which, none, edges)


def _read(bench: Bench, clamp: Meter, ratio: float, wide: float) -> tuple[float, float]:
    """Median and ln standard deviation of amps as a clamp reads them. [A], [-]"""
    amps = _locked_amps(bench)[0] * ratio
    return amps, math.hypot(wide, gain(clamp, Quantity.CURRENT, amps))


def clamp_of(in_hand: Meter) -> Meter:
    """What amps of a start are read with: the technician's own meter if it reads that far, else a clamp."""
    reaches = in_hand.measures(Quantity.CURRENT) and in_hand.highest(Quantity.CURRENT) >= _REACH
    return in_hand if reaches else meter("clamp")


def _locked_amps(bench: Bench) -> tuple[float, float]:
    """Locked-rotor current of the sound machine, and its ln standard deviation. [A], [-]"""
    plate = bench.machine.nameplate.locked_rotor_amps
    if plate is not None:
        return plate, _PLATE_SIGMA
    return bench.standstill.locked_amps(), bench.machine.size("run_winding", "winding").sigma


KINDS = (Amps(),)
