"""
A second opinion on start attempts, by another theory: phasors at standstill and at speed, nothing in time.

Starting torque over what an equalised compressor needs decides whether it starts, line current whether it is
heard and trips, current left in the start winding whether it stays. The stored table is held against it.
"""

from __future__ import annotations

import cmath
import math
import tomllib
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path

from humclick.arrangements.machine import Machine
from humclick.circuit.standstill import Standstill, Start
from humclick.parts.family import Condition, Regime
from humclick.start.rows import OUTCOMES

__all__ = ["SteadyNetwork", "torque_of"]


def _phi(x: float) -> float:
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def _above(value: float, threshold: float, spread: float) -> float:
    """Probability that a log-normal threshold lies below `value`."""
    if value <= 0.0:
        return 0.0
    return _phi(math.log(value / threshold) / spread)


def torque_of(start: Start) -> float:
    if not start.run or not start.start:
        return 0.0
    angle = cmath.phase(start.start / start.run)
    return abs(start.run) * abs(start.start) * abs(math.sin(angle))


class SteadyNetwork(Standstill):
    """
    Start attempts of one machine from its steady network.

    Parameters
    ----------
    machine : Machine
    """

    def __init__(self, machine: Machine) -> None:
        super().__init__(machine)
        text = Path(__file__).with_name("steady_network.toml").read_text(encoding="utf-8")
        self.opinion = tomllib.loads(text)
        self._outcomes: dict[tuple[object, ...], tuple[float, ...]] = {}
        margins = self.opinion["start"]["margin"]
        self.margin = float(margins.get(machine.arrangement.abbreviation, margins["other"]))

    @cached_property
    def at_speed(self) -> Start:
        """The sound machine at speed, per volt."""
        return self.core({}, Condition(Regime.RUN))[0][1]

    def torque(self, start: Start) -> float:
        """
        Starting torque over that of the sound machine at nominal volts, before the feed's drop. [-]

        Notes
        -----
        T ∝ I_run I_start sin(angle between them): Fitzgerald, Kingsley and Umans, Electric Machinery,
        chapter on single- and two-phase motors.
        """
        return torque_of(start) / torque_of(self.healthy)

    def outcomes(self, modes: Mapping[str, str], *, hot: bool = False) -> tuple[float, ...]:
        """
        Probabilities of what an attempt really does.

        Parameters
        ----------
        modes : mapping of part id to mode
            Parts not named are healthy.
        hot : bool
            Whether protector and starter are still hot from the last try: passing conditions last only
            while they are.

        Returns
        -------
        tuple of float
            In the order of `OUTCOMES`; sums to 1.
        """
        key = (hot, *sorted(modes.items()))
        if key not in self._outcomes:
            self._outcomes[key] = self._outcome(modes, hot)
        return self._outcomes[key]

    def _outcome(self, modes: Mapping[str, str], hot: bool) -> tuple[float, ...]:
        chosen = {p: self.machine.part(p).family.mode(m) for p, m in modes.items()}
        if not hot:  # what only had to wait has passed
            modes = {p: m for p, m in modes.items() if not chosen[p].passing or p == "control"}
            chosen = {p: chosen[p] for p in modes}
        breakaway = math.prod(m.breakaway for m in chosen.values())
        load = math.prod(m.load for m in chosen.values())
        volts = math.prod(m.volts for m in chosen.values())
        early = any(m.trips for m in chosen.values())
        protects = modes.get("overload_protector") != "welded"
        passing_hot = hot and any(m.passing for m in chosen.values())
        feed = self._feed(modes, passing_hot, self._feeding)
        total = [0.0 if feed else float(k == 0) for k in range(len(OUTCOMES))]
        for w_feed, series in feed:
            for w_core, locked in self.core(modes, Condition(Regime.START, hot=passing_hot)):
                share = self._share(modes, locked, series, volts, breakaway, load, early, protects)
                for i, p in enumerate(share):
                    total[i] += w_feed * w_core * p
        return tuple(total)

    def _share(
        self,
        modes: Mapping[str, str],
        locked: Start,
        series: complex,
        volts: float,
        breakaway: float,
        load: float,
        early: bool,
        protects: bool,
    ) -> list[float]:
        hum, brk, begin = self.opinion["hum"], self.opinion["breaker"], self.opinion["start"]
        healthy_amps = abs(self.healthy.admittance)
        left = volts / (1.0 + self.scale * series * locked.admittance)
        line = abs(locked.admittance * left) / healthy_amps
        nominal = self.machine.nameplate.volts
        fault = 1.0 - (1.0 - _above(line * self.locked_amps(), brk["amps"], brk["amps_spread"])) * (
            1.0 - _above(locked.ground * abs(left) * nominal, brk["ground_amps"], brk["ground_spread"])
        )
        silent = (1.0 - fault) * (1.0 - _above(line, hum["audible"], hum["audible_spread"]))
        live = 1.0 - fault - silent
        starts = live * _above(self.torque(locked) * abs(left) ** 2 * self.margin, breakaway, begin["spread"])
        stalls = live - starts
        clicks = stalls * (_above(line, hum["trips"], hum["trips_spread"]) if protects else 0.02)
        trips = starts * self._trips(modes, series, volts, load, early, protects)
        return [silent, stalls - clicks, clicks, trips, fault, starts - trips]

    def _trips(
        self,
        modes: Mapping[str, str],
        series: complex,
        volts: float,
        load: float,
        early: bool,
        protects: bool,
    ) -> float:
        """Probability that a machine which has started is stopped again by its protector."""
        if not protects:
            return 0.02
        if early:
            return 0.95
        run = self.opinion["run"]
        lasts = 1.0
        sound = self.at_speed
        for weight, running in self.core(modes, Condition(Regime.RUN)):
            left = abs(volts / (1.0 + self.scale * series * running.admittance))
            line = abs(running.admittance) * left / abs(sound.admittance) * load ** run["load_power"]
            left_in = max(0.0, abs(running.start) * left - 1.1 * abs(sound.start)) / abs(self.healthy.start)
            stays = (1.0 - _above(line, run["line"], run["line_spread"])) * (
                1.0 - _above(left_in, run["start_winding"], run["start_winding_spread"])
            )
            lasts -= weight * (1.0 - stays)
        return 1.0 - lasts
