"""
Amps on the common lead while the machine tries to start.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import ClassVar

from humclick.arrangements.machine import Machine
from humclick.circuit import layout
from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Display, Scale, gain
from humclick.diagnosis.factors import Factor, flat, p_hot
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.likelihood import evidence
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.attempt import either_way
from humclick.diagnosis.observations.measured import labels_between, mixture
from humclick.diagnosis.observations.model import COVER_ON, Model, Probe, Taken, rest_of, touching
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row
from humclick.diagnosis.observations.steps import highest, in_steps
from humclick.diagnosis.observations.weighing import Weighing
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


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A current of a start, in steps, and with what clamp it is read. [A], [-]"""

    amps: float
    sigma: float
    clamp: Meter


@dataclass(frozen=True, slots=True)
class _Shown:
    """A start attempt whose amps are read with a clamp."""

    attempt: Attempt
    clamp: Meter


_BINS: Memory[_Drawn, Row] = Memory()
_ROWS: Memory[_Shown, Row] = Memory()


class Amps(Model):
    """The current five seconds after power came, or just before the click."""

    name: ClassVar[str] = "amps"
    order: ClassVar[int] = 80

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
        seen, bench = taken[0].seen, weighing.bench
        if seen.reading is None:
            return Factor(())
        clamp = clamp_of(weighing.meter)
        display = Display(seen.reading, clamp, weighing.slips)
        locked, sigma = _locked_amps(bench)
        nothing = display.probability(0.0)

        @cache
        def within(amps: float, wide: float) -> float:
            return max(evidence([display], amps, wide).value, 1e-300)

        def at(ratio: float, spread: float) -> float:
            return within(*_drawn(bench, clamp, ratio, spread)) if ratio > 0.0 else nothing

        loose = max(gain(clamp, Quantity.CURRENT, locked * ratio) for ratio in (0.01, 0.1, 1.0, 3.0))
        start = math.log(locked)

        @cache
        def bound(spread: float) -> Callable[[float], float]:
            narrow = math.hypot(sigma, spread)
            return display.at_most(0.95 * narrow, 1.1 * math.hypot(narrow, loose))

        def at_most(ratio: float, spread: float) -> float:
            return bound(spread)(start + math.log(ratio)) if ratio > 0.0 else nothing

        def mean(of: Callable[[float, float], float]) -> Callable[[tuple[Fault, ...]], float]:
            return either_way(
                bench,
                lambda attempt: math.fsum(
                    p * of(*drawn) for p, drawn in zip(attempt.outcomes, attempt.amps, strict=True)
                ),
                p_hot(seen.temperature, weighing.slips["cold_but_warm"]),
                mended,
            )

        value = mean(at)
        none = weighing.none(value(()), [display], _AS_HEALTHY)
        return Factor((), (), {}, value, none, max(highest(display, sigma), nothing), rough=mean(at_most))

    def offered(self, offer: Offer, probe: Probe) -> bool:
        """Not where a recording has shown them."""
        return not any(seen.causes for _, seen in offer.taken) and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        bench, clamp = outlook.bench, clamp_of(outlook.situation.meter)
        locked, _ = _locked_amps(bench)
        edges = tuple(round(share * locked, 2) for share in _EDGES)
        scale = Scale(clamp, Quantity.CURRENT, outlook.weighing.slips)
        stretches = scale.stretches(edges, open_apart=False)
        known, rows_known = _BINS.of(bench), _ROWS.of(bench)

        def bins(ratio: float, spread: float) -> Row:
            amps, sigma = _drawn(bench, clamp, ratio, spread) if ratio > 0.0 else (0.0, 0.0)
            key = _Drawn(amps, sigma, clamp)
            if key not in known:
                known[key] = scale.bins(stretches, amps, sigma)
            return known[key]

        def row(attempt: Attempt) -> Row:
            key = _Shown(attempt, clamp)
            if key not in rows_known:
                drawn = [bins(*amps) for amps in attempt.amps]
                rows_known[key] = mixture(attempt.outcomes, drawn)
            return rows_known[key]

        rows, which, healthy = outlook.by_attempt(row, outlook.hot(probe, waits), outlook.mended)
        labels = labels_between(edges, Quantity.CURRENT)
        none = outlook.none(healthy, [flat(s) for s in stretches], _AS_HEALTHY)
        return Forecast(probe, waits, labels, rows, which, none, edges)


def _drawn(bench: Bench, clamp: Meter, ratio: float, spread: float) -> tuple[float, float]:
    """Median and ln standard deviation of amps as a clamp reads them, in steps. [A], [-]"""
    locked, sigma = _locked_amps(bench)
    ratio, wide = in_steps(ratio, math.hypot(sigma, spread))
    amps = locked * ratio
    return amps, math.hypot(wide, gain(clamp, Quantity.CURRENT, amps))


def clamp_of(own: Meter) -> Meter:
    """What amps of a start are read with: the technician's own meter if it reads that far, else a clamp."""
    reaches = own.measures(Quantity.CURRENT) and own.highest(Quantity.CURRENT) >= _REACH
    return own if reaches else meter("clamp")


def _locked_amps(bench: Bench) -> tuple[float, float]:
    """Locked-rotor current of the sound machine, and its ln standard deviation. [A], [-]"""
    plate = bench.machine.nameplate.locked_rotor_amps
    if plate is not None:
        return plate, _PLATE_SIGMA
    return bench.standstill.locked_amps(), bench.machine.size("run_winding", "winding").sigma


KINDS = (Amps(),)
