"""
The bench: everything about a machine that does not change during a call, worked out once and remembered.

Hypotheses and their prior, which mode each gives to each part, what a start attempt does under each, what
each part should measure. Predicted values in ohms, farads or volts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import TYPE_CHECKING

from humclick.arrangements.arrangement import PINS
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.network import Setup, predict
from humclick.circuit.standstill import Standstill
from humclick.diagnosis.attempts import Attempt, attempts_of
from humclick.diagnosis.hypotheses import Hypotheses
from humclick.diagnosis.probes import Kind, Probe, probe_of
from humclick.diagnosis.shop import Shop
from humclick.errors import Refused
from humclick.parts.family import HEALTHY, Condition, Element
from humclick.sourced import Spread

if TYPE_CHECKING:
    from humclick.parts.family import Look, Mode

__all__ = ["Bench", "Tips", "bench_for", "without"]

#: A capacitor bridged by less than this shows OL or nothing on a capacitance range. From memory. [Ω]
_SHORTS_METER = 200.0
#: A leak makes a capacitance reading uncertain by about this factor more. From memory. [-]
_LEAK_FACTOR = 1.5


@dataclass(frozen=True, slots=True)
class Tips:
    """
    What may be between the tips of a meter.

    Attributes
    ----------
    states : tuple of (weight, median, ln standard deviation)
        Weights sum to 1; a median is infinite where nothing conducts. In the probe's SI unit.
    renewed : bool
        Whether every reading finds another state and value (a contact that scatters); else repeats
        share them.
    """

    states: tuple[tuple[float, float, float], ...]
    renewed: bool


class Bench:
    """
    One machine under one shop's figures.

    Parameters
    ----------
    machine : Machine
        Arrangement, nameplate, stamps.
    shop : Shop
        Odds, costs, slips.

    Raises
    ------
    Refused
        If the arrangement is one that is only recognised.
    """

    def __init__(self, machine: Machine, shop: Shop) -> None:
        if machine.arrangement.recognised_only:
            raise Refused(f"{machine.arrangement.title}: {machine.arrangement.caution}")
        self.machine = machine
        self.shop = shop
        self.space = Hypotheses(machine, shop)
        self.standstill = Standstill(machine)
        self.starts = attempts_of(machine)
        self.parts = self.space.parts
        self.place = {part: i for i, part in enumerate(self.parts)}
        self._index: dict[tuple[int, ...], tuple[list[tuple[int, ...]], list[int]]] = {}
        self._predicted: dict[object, tuple[float, float]] = {}
        self._tips: dict[object, Tips] = {}
        self._attempted: dict[object, Callable[[int], Attempt]] = {}
        self._sealed = {p.id for p in machine.parts if p.family.sealed}
        self.memory: dict[object, object] = {}
        self.recent: dict[object, object] = {}

    @cached_property
    def named(self) -> list[dict[str, str]]:
        """Each hypothesis as part → mode."""
        return [dict(self.space.named(chosen)) for chosen in self.space.sets]

    @cached_property
    def members(self) -> dict[tuple[str, str], list[int]]:
        """Hypotheses in which a part is in a mode, by (part, mode)."""
        found: dict[tuple[str, str], list[int]] = {}
        for h, chosen in enumerate(self.space.sets):
            for fault in chosen:
                found.setdefault(self.space.named((fault,))[0], []).append(h)
        return found

    @cached_property
    def classes(self) -> tuple[list[frozenset[str]], list[int]]:
        """Decision classes, and the class of each hypothesis."""
        found: dict[frozenset[str], int] = {}
        return_index = [found.setdefault(r, len(found)) for r in self.space.remedies]
        return list(found), return_index

    def index(self, scope: tuple[int, ...]) -> tuple[list[tuple[int, ...]], list[int]]:
        """Distinct mode configurations of some parts, and which one each hypothesis has."""
        if scope not in self._index:
            columns = [self._modes[part] for part in scope]
            configs = list(zip(*columns, strict=True)) if scope else [()] * len(self.space.sets)
            number = {config: k for k, config in enumerate(dict.fromkeys(configs))}  # the sound one first
            self._index[scope] = (list(number), [number[config] for config in configs])
        return self._index[scope]

    @cached_property
    def _modes(self) -> list[bytearray]:
        """Mode of each part under each hypothesis."""
        found = [bytearray(len(self.space.sets)) for _ in self.parts]
        for h, chosen in enumerate(self.space.sets):
            for part, mode in chosen:
                found[part][h] = mode
        return found

    def mode(self, part: int, mode: int) -> Mode:
        """A mode by its indices."""
        return self.space.modes[part][mode]

    # -- start attempts ---------------------------------------------------------------------------------

    def attempts(
        self, *, hot: bool, renewed: frozenset[str] = frozenset(), known_good: bool = False
    ) -> Callable[[int], Attempt]:
        """
        The start attempt under each hypothesis, by its number.

        Parameters
        ----------
        hot : bool
            Still hot from the last try.
        renewed : frozenset of str
            Parts that are new, and single modes put right (``part.mode``).
        known_good : bool
            On known-good gear and supply: only what is sealed counts.
        """
        asked = (hot, renewed, known_good)
        kept = self._attempted.get(asked)
        if kept is None:
            alone = []
            for part, modes in zip(self.parts, self.space.modes, strict=True):
                counts = part in self._sealed or not known_good
                left = [without({part: mode.name}, renewed) if counts else {} for mode in modes]
                alone.append([self.starts.key(each, hot=hot) for each in left])
            sets, together = self.space.sets, self.starts.together
            kept = cache(lambda h: together([alone[part][mode] for part, mode in sets[h]]))
            self._attempted[asked] = kept
        return kept

    # -- what a part should measure ---------------------------------------------------------------------

    def predicted(self, probe: Probe, modes: Mapping[str, str], hot: bool) -> tuple[float, float]:
        """
        Median and ln standard deviation of what is really between the tips.

        Infinite where nothing conducts, zero where nothing is there to charge or to feed.
        """
        key = (probe.id, hot, *sorted(modes.items()))
        if key not in self._predicted:
            self._predicted[key] = self._predict(probe, modes, hot)
        return self._predicted[key]

    def tips(self, probe: Probe, modes: Mapping[str, str], hot: bool) -> Tips:
        """Everything that may be between the tips under a set of modes: states with weights."""
        key = (probe.id, hot, *sorted(modes.items()))
        if key not in self._tips:
            self._tips[key] = self._between_tips(probe, modes, hot)
        return self._tips[key]

    def _between_tips(self, probe: Probe, modes: Mapping[str, str], hot: bool) -> Tips:
        median, sigma = self.predicted(probe, modes, hot)
        states: tuple[tuple[float, float, float], ...] = ((1.0, median, sigma),)
        own = {part: self.machine.part(part).family.mode(mode) for part, mode in modes.items()}
        for part, mode in own.items():
            if not mode.makes or not math.isfinite(median):
                continue
            sound = self.predicted(probe, {p: m for p, m in modes.items() if p != part}, hot)
            if median != sound[0]:  # it lies between the tips
                rest = 1.0 - mode.makes - mode.loses
                states = ((mode.makes, *sound), (mode.loses, math.inf, 0.0), (rest, median, sigma))
        if hot and probe.part:
            opens = self.machine.part(probe.part).family.mode(modes.get(probe.part, HEALTHY)).hot_open
            if opens:
                states = ((opens, math.inf, 0.0), *((w * (1.0 - opens), m, s) for w, m, s in states))
        return Tips(states, any(mode.scattered for mode in own.values()))

    def _predict(self, probe: Probe, modes: Mapping[str, str], hot: bool) -> tuple[float, float]:
        if probe.kind in (Kind.VOLTS, Kind.FEED):
            return self._volts(probe, modes)
        if probe.quantity == "capacitance":
            return self._farads(probe.part, modes.get(probe.part, HEALTHY))
        if probe.kind is Kind.SHELL:
            setup = Setup(plugged=False)
            found = [predict(self.machine, modes, setup, (pin, "shell")) for pin in PINS]
            lowest = min(found, key=lambda p: p.ohms)
            sealed = ("run_winding", "start_winding")
            shorted = any(modes.get(part) == "grounded" for part in sealed)
            # paths over one insulation age together: no narrower than one of them
            own = 0.0 if shorted else max(self.machine.size(part, "insulation").sigma for part in sealed)
            return lowest.ohms, max(lowest.sigma, own)
        assert probe.points is not None
        turned = (
            any(
                t.turned
                for t in self.machine.part(probe.part).family.tests
                if probe.id == f"{probe.part}.{t.name}"
            )
            if probe.part
            else False
        )
        setup = Setup(condition=Condition(hot=hot, turned=turned), alone=probe.part)
        got = predict(self.machine, modes, setup, probe.points)
        return got.ohms, got.sigma

    def _farads(self, part: str, mode: str) -> tuple[float, float]:
        family_mode = self.machine.part(part).family.mode(mode)
        farads, sigma, leak = 0.0, 0.0, math.inf
        for branch in family_mode.branches:
            spread = self.machine.spread_of(part, family_mode, branch)
            if branch.element is Element.CAPACITIVE:
                farads, sigma = spread.median, spread.sigma
            else:
                leak = min(leak, spread.median)
        if leak < _SHORTS_METER:
            return math.inf, 0.0
        if any(branch.size == "leak" for branch in family_mode.branches):
            sigma = math.hypot(sigma, math.log(_LEAK_FACTOR))
        return farads, sigma

    def _volts(self, probe: Probe, modes: Mapping[str, str]) -> tuple[float, float]:
        supply = self.machine.part("supply").family
        mode = supply.mode(modes.get("supply", HEALTHY))
        spread = self.machine.size("supply", "outlet")
        volts = self.machine.nameplate.volts * mode.volts * spread.median
        sigma = spread.sigma if mode.name == HEALTHY else max(spread.sigma, 0.06 if mode.volts < 1 else 0.0)
        if probe.kind is Kind.FEED:
            whole = len(mode.branches) >= 2
            calls = bool(self.machine.branches("control", modes.get("control", HEALTHY), Condition()))
            if not (whole and calls):
                return 0.0, 0.0
        return (volts, sigma) if mode.volts > 0.01 else (0.0, 0.0)

    def look(self, probe: Probe) -> Look:
        """The look a probe stands for."""
        return next(
            look
            for look in self.machine.part(probe.part).family.looks
            if probe.id == f"{probe.part}.{look.name}"
        )

    def probe(self, name: str) -> Probe:
        """A probe of this machine by name."""
        return probe_of(self.machine, name, self.shop)

    def modes_of(self, scope: Sequence[int], config: Sequence[int]) -> dict[str, str]:
        """A configuration as part → mode, healthy ones left out."""
        return {self.parts[p]: self.mode(p, m).name for p, m in zip(scope, config, strict=True) if m}


def without(modes: Mapping[str, str], renewed: frozenset[str]) -> dict[str, str]:
    """Modes that remain when some parts are new and some modes put right (``part.mode``)."""
    return {p: m for p, m in modes.items() if p not in renewed and f"{p}.{m}" not in renewed}


@lru_cache(maxsize=16)
def _kept(
    name: str, protector: str, nameplate: Nameplate, known: tuple[tuple[str, Spread], ...], shop: Shop
) -> Bench:
    return Bench(Machine.of(name, protector, nameplate, dict(known)), shop)


def bench_for(machine: Machine, shop: Shop) -> Bench:
    """The bench of a machine, made once for each combination of arrangement, nameplate, stamps and shop."""
    known = tuple(sorted(machine.known.items(), key=lambda row: row[0]))
    return _kept(machine.arrangement.id, machine.protector, machine.nameplate, known, shop)
