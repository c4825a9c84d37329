"""
Evidence that depends on the whole machine at once: what a start attempt does, shows and draws.

Each is worked out for one hypothesis when it is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

from humclick.diagnosis.attempts import Attempt
from humclick.diagnosis.bench import Bench, without
from humclick.diagnosis.factors import Factor, dead, flat, p_hot
from humclick.diagnosis.likelihood import Display, evidence, gain
from humclick.diagnosis.probes import Kind, Probe
from humclick.diagnosis.situation import Observation, Situation
from humclick.meters import Meter, Quantity, meter
from humclick.sourced import read_data
from humclick.start.rows import OUTCOMES

__all__ = ["WholeMachine", "clamp_of", "in_steps", "locked_amps"]

#: A plate's locked-rotor current is met within about this. From memory. [-]
_PLATE_SIGMA = 0.08
#: Of a spread, and twice that of a median over its spread. [-]
_STEP = 0.1


def clamp_of(own: Meter) -> Meter:
    """What amps of a start are read with: the technician's own meter if it reads that far, else a clamp."""
    reaches = own.measures(Quantity.CURRENT) and own.highest(Quantity.CURRENT) >= 40.0
    return own if reaches else meter("clamp")


def locked_amps(bench: Bench) -> tuple[float, float]:
    """Locked-rotor current of the sound machine, and its ln standard deviation. [A], [-]"""
    plate = bench.machine.nameplate.locked_rotor_amps
    if plate is not None:
        return plate, _PLATE_SIGMA
    return bench.standstill.locked_amps(), bench.machine.size("run_winding", "winding").sigma


def in_steps(median: float, sigma: float) -> tuple[float, float]:
    """
    A log-normal unknown in steps, so that those nobody could tell apart are worked out once.

    A tenth of the spread either way, and the spread to five per cent: finer than medians and spreads of the
    simulated attempts are known, of which each has some thirty at most.

    Parameters
    ----------
    median, sigma : float
        Of the unknown; the standard deviation is that of ln. [any], [-]

    Returns
    -------
    tuple of (median, sigma)
        In the same units.
    """
    sigma = math.exp(_STEP * round(math.log(sigma) / _STEP))
    step = 2.0 * _STEP * sigma
    return math.exp(step * round(math.log(median) / step)), sigma


def _highest(display: Display, sigma: float) -> float:
    """The most that any median gives a display, the unknown spread by at least `sigma`. [-]"""
    if display.y is None or display.y <= 0.0:
        return display.most
    return min(display.most, 1.1 * evidence([display], display.y, sigma).value)


class WholeMachine:
    """
    Factors that no table over a few parts can hold.

    Parameters
    ----------
    bench : Bench
        The machine.
    situation : Situation
        The call so far.
    leads : tuple of (offset, weight)
        What the test leads add. [Ω], [-]
    """

    def __init__(self, bench: Bench, situation: Situation, leads: tuple[tuple[float, float], ...]) -> None:
        self.bench = bench
        self.situation = situation
        self.leads = leads
        self.slips = bench.shop.slips
        self.meter = situation.meter
        self.as_healthy = bench.shop.none["as_healthy"]

    def complaint(self) -> Factor:
        """What was heard before anybody came."""
        heard = self.situation.complaint
        attempts = self.bench.attempts(hot=True)
        if heard is None:
            k = OUTCOMES.index("runs")
            return Factor((), (), {}, lambda h: 1.0 - attempts(h).reported[k], 0.98, 1.0)
        k = OUTCOMES.index(heard.value)
        none = 0.02 if heard.value == "runs" else 0.98 / 5
        return Factor((), (), {}, lambda h: attempts(h).reported[k], none, 0.99)

    def attempt(
        self, members: tuple[int, ...], probe: Probe, seen: Observation, mended: frozenset[str]
    ) -> Factor:
        """What was heard at a start attempt."""
        if seen.answer not in OUTCOMES:
            return Factor(members)
        k = OUTCOMES.index(seen.answer)
        renewed, known_good = mended | probe.mends, probe.kind is Kind.KNOWN_GOOD
        value = self._either_way(
            lambda attempt: attempt.listened[k],
            p_hot(seen.temperature, self.slips["cold_but_warm"]),
            renewed,
            known_good=known_good,
        )
        none = 0.05 if seen.answer == "runs" else 0.95 / 5
        return Factor(members, (), {}, value, none, 0.99)

    def _either_way(
        self,
        value: Callable[[Attempt], float],
        hot: float,
        renewed: frozenset[str],
        *,
        known_good: bool = False,
    ) -> Callable[[int], float]:
        """A value of an attempt under each hypothesis, not knowing whether it was hot; kept by attempt."""
        cold = self.bench.attempts(hot=False, renewed=renewed, known_good=known_good)
        warm = self.bench.attempts(hot=True, renewed=renewed, known_good=known_good)
        of = cache(value)

        def either(h: int) -> float:
            c, w = cold(h), warm(h)
            return of(c) if c is w else (1.0 - hot) * of(c) + hot * of(w)

        return either

    def volts_start(self, members: tuple[int, ...], seen: Observation, mended: frozenset[str]) -> Factor:
        """Volts at the machine while it tries to start."""
        if seen.reading is None:
            return Factor(members)
        display = Display(seen.reading, self.meter, self.slips)
        nominal = self.bench.machine.nameplate.volts
        wide = max(self.bench.machine.size("supply", "outlet").sigma, 0.02)
        nothing = dead(display, 0.2 * nominal)

        @cache
        def within(volts: float, spread: float) -> float:
            return evidence([display], volts, spread).value

        @cache
        def at(thousandths: int) -> float:
            return within(*in_steps(nominal * thousandths / 1000, wide)) if thousandths else nothing

        @cache
        def value(h: int) -> float:
            fractions = self.bench.standstill.terminal_volts(without(self.bench.named[h], mended))
            return math.fsum(w * at(round(1000 * f)) for w, f in fractions)

        none = self.as_healthy * value(0) + (1.0 - self.as_healthy) * flat(display)
        most = max(_highest(display, wide), nothing)
        return Factor(members, (), {}, value, none, most)

    def between(self, members: tuple[int, ...], probe: Probe, seen: Observation) -> Factor:
        """Ohms between two points, everything plugged on."""
        if seen.reading is None:
            return Factor(members)
        offset = sum(c * w for c, w in self.leads)
        display = Display(seen.reading, self.meter, self.slips, offset)
        hot = p_hot(seen.temperature, self.slips["cold_but_warm"])
        done: dict[tuple[float, float], float] = {}

        @cache
        def value(h: int) -> float:
            modes = without(self.bench.named[h], seen.renewed)
            modes = {p: m for p, m in modes.items() if p != "mechanism"}
            total = 0.0
            for weight, warm in ((hot, True), (1.0 - hot, False)):
                expected = self.bench.predicted(probe, modes, warm)
                if expected not in done:
                    done[expected] = max(evidence([display], *expected).value, 1e-300)
                total += weight * done[expected]
            return total

        none = self.as_healthy * value(0) + (1.0 - self.as_healthy) * flat(display)
        return Factor(members, (), {}, value, none)

    def recorded(self, members: tuple[int, ...], seen: Observation, mended: frozenset[str]) -> Factor:
        """
        What a recording of the line current says of the causes it can tell apart.

        A set of modes is taken for the first cause, in the order of ``recorded.toml``, that one of its modes
        belongs to; a share is kept for a recording that was read wrongly.
        """
        data = read_data("humclick.diagnosis", "recorded.toml")
        told = {cause: math.exp(x) for cause, x in seen.causes if cause in data["order"]}
        if not told:
            return Factor(members)
        misread = float(data["misread"])
        anything = math.fsum(told.values()) / len(told)
        order = list(data["order"])
        kinds = {part.id: part.family for part in self.bench.machine.parts}

        @cache
        def value(h: int) -> float:
            modes = without(self.bench.named[h], mended)
            shown = [kinds[p].mode(m).recorded for p, m in modes.items()]
            cause = min(filter(None, shown), key=order.index, default="healthy")
            return (1.0 - misread) * told.get(cause, anything) + misread * anything

        return Factor(members, (), {}, value, anything, 1.0)

    def amps(self, members: tuple[int, ...], seen: Observation, mended: frozenset[str]) -> Factor:
        """Amps on the common lead five seconds after power came, or just before the click."""
        if seen.reading is None:
            return Factor(members)
        clamp = clamp_of(self.meter)
        display = Display(seen.reading, clamp, self.slips)
        locked, sigma = locked_amps(self.bench)
        nothing = display.probability(0.0)

        @cache
        def within(ratio: float, wide: float) -> float:
            amps = locked * ratio
            wide = math.hypot(wide, gain(clamp, Quantity.CURRENT, amps))
            return max(evidence([display], amps, wide).value, 1e-300)

        def at(ratio: float, spread: float) -> float:
            return within(*in_steps(ratio, math.hypot(sigma, spread))) if ratio > 0.0 else nothing

        value = self._either_way(
            lambda attempt: math.fsum(
                p * at(*drawn) for p, drawn in zip(attempt.outcomes, attempt.amps, strict=True)
            ),
            p_hot(seen.temperature, self.slips["cold_but_warm"]),
            mended,
        )
        none = 0.3 * value(0) + 0.7 * flat(display)
        return Factor(members, (), {}, value, none, max(_highest(display, sigma), nothing))
