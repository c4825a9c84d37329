"""
Pin readings made ready to be weighed: temperatures, leads, an internal protector open or not.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.displays import Display
from humclick.diagnosis.factors import copper, p_hot
from humclick.diagnosis.law import gain
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Taken
from humclick.diagnosis.windings import PinDisplay, Sealed, WindingEvidence
from humclick.meters import Meter, Quantity
from humclick.parts.family import HEALTHY
from humclick.readings import PartTemperature, Reading

__all__ = ["State", "WindingSetup", "winding_setup"]

#: A mode of what is sealed in, and the epochs in which an internal protector was open from heat.
State = tuple[Sealed, frozenset[str]]

#: The two windings of a machine by what meter and temperature add to their spread. [-]
_WINDINGS: Memory[float, WindingEvidence] = Memory()
_INDEX = {"C": 0, "R": 1, "S": 2, "1": 0, "2": 1, "3": 2}


@dataclass(frozen=True)
class WindingSetup:
    """
    Pin readings made ready for `WindingEvidence`.

    Attributes
    ----------
    windings : WindingEvidence
        With the spread that meter gain and temperature add.
    ahead : float
        Copper factor of the next reading. [-]
    readings : tuple of (first pin, second pin, reading, temperature, copper factor, meter)
        The readings that have a value.
    hot : mapping of epoch to float
        Readings taken at one temperature are an epoch, in which an internal protector stays as it is:
        probability that it was hot then. [-]
    """

    windings: WindingEvidence
    ahead: float
    readings: tuple[tuple[int, int, Reading, PartTemperature, float, Meter], ...]
    hot: Mapping[str, float]
    slips: Mapping[str, float]

    def displays(self, offset: float, opened: frozenset[str] = frozenset()) -> list[PinDisplay]:
        """Displays with a given lead offset, an internal protector open in some epochs. [Ω]"""
        return [
            PinDisplay(
                i,
                j,
                Display(reading, meter, self.slips, offset),
                copper,
                _epoch(temperature) in opened,
            )
            for i, j, reading, temperature, copper, meter in self.readings
        ]

    def subsets(self) -> list[frozenset[str]]:
        """Sets of epochs in which an internal protector may have been open, improbable ones left out."""
        names = sorted(self.hot)
        every = (frozenset(c) for k in range(1, len(names) + 1) for c in itertools.combinations(names, k))
        return [c for c in every if self.weight(c, 1.0) > 1e-4]

    def states(self, sealed: Sealed) -> list[tuple[State, float]]:
        """What an internal protector may have been when the readings were taken, with weights. [-]"""
        run, start, guard = sealed
        if not self.windings.internal or guard == "open":
            return [((sealed, frozenset()), 1.0)]
        once = self.once(guard)
        states: list[tuple[State, float]] = [
            (((run, start, "tripped"), epochs), self.weight(epochs, once)) for epochs in self.subsets()
        ]
        closed = max(1.0 - math.fsum(weight for _, weight in states), 0.0)
        shut = HEALTHY if guard == "tripped" else guard
        return [*states, (((run, start, shut), frozenset()), closed)]

    def once(self, guard: str) -> float:
        """Probability that an internal protector that has not failed is open where it is hot. [-]"""
        sound = self.windings.machine.part("internal_protector").family.mode(HEALTHY)
        return 1.0 if guard == "tripped" else sound.hot_open

    def weight(self, opened: frozenset[str], once: float) -> float:
        """Probability that it was open in just these epochs, open with `once` where it is hot. [-]"""
        return math.prod(once * p if e in opened else 1.0 - once * p for e, p in self.hot.items())


def _epoch(temperature: PartTemperature) -> str:
    if temperature.kind == "measured":
        return "hot" if p_hot(temperature, 0.0) > 0.5 else "cold"
    return temperature.kind


def winding_setup(
    bench: Bench, meter: Meter, taken: Sequence[Taken], ahead: PartTemperature | None = None
) -> WindingSetup:
    """
    Pin readings made ready, their temperatures and the meter's gain put into factors and spreads.

    Parameters
    ----------
    bench, meter, taken
        The machine, and what was read with what.
    ahead : PartTemperature, optional
        Of a reading still to come.
    """
    slips = bench.shop.slips
    felt = [observation.temperature for _, observation in taken]
    factors = _copper([*felt, ahead] if ahead is not None else felt)
    typical = bench.machine.size("run_winding", "winding").median
    widen = math.hypot(gain(meter, Quantity.RESISTANCE, typical), max(sigma for _, sigma in factors))
    hot = {_epoch(temperature): p_hot(temperature, slips["cold_but_warm"]) for temperature in felt}
    rows = [
        (*_at(probe.pins), observation.reading, observation.temperature, factor, observation.meter or meter)
        for (probe, observation), (factor, _) in zip(taken, factors, strict=False)
        if probe.pins is not None and observation.reading is not None
    ]
    known = _WINDINGS.of(bench)
    if widen not in known:
        first = next(iter(known.values()), None)
        known[widen] = first.widened(widen) if first else WindingEvidence(bench.machine, widen)
    windings = known[widen]
    return WindingSetup(windings, factors[-1][0], tuple(rows), hot, slips)


def _at(pins: tuple[str, str]) -> tuple[int, int]:
    """Two pins by number."""
    return _INDEX[pins[0]], _INDEX[pins[1]]


def _copper(temperatures: Sequence[PartTemperature]) -> list[tuple[float, float]]:
    """Factors on the windings and their ln spreads; what nobody felt is as warm as what was. [-], [-]"""
    factors = [copper(temperature) for temperature in temperatures] or [(1.0, 0.0)]
    felt = [(t.kind, f[0]) for t, f in zip(temperatures, factors, strict=False) if t.kind != "unknown"]
    if len({kind for kind, _ in felt}) != 1:  # all windings sit in one shell
        return factors
    shared = math.fsum(factor for _, factor in felt) / len(felt)
    return [(shared, f[1]) if t.kind == "unknown" else f for t, f in zip(temperatures, factors, strict=True)]
