"""
Answers a technician asks of a start, each with the range in which nine in ten possible machines lie.

Machines are drawn that agree with what is at hand; those of them that start and let their start winding go
when sound, as they did when they were sold, play the same attempt, and what they show is counted. The least
volts that start it are found by halving over all of them at once; the torque margin is the square of the
volts over the least volts, since every torque of the motor goes with the voltage squared.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humclick.arrangements.machine import Machine
from humclick.errors import OutOfRange
from humclick.messages import Message
from humclick.sourced import read_data, sourced
from humclick.start import rows as r
from humclick.start.attempts import attempts, possible_of, typical_attempt, weakened
from humclick.start.batch import Features, halved, or_never, simulate_packed
from humclick.start.case import StartCase
from humclick.start.conditions import StartConditions
from humclick.start.estimate import Estimate, Possible
from humclick.start.machine import Motor
from humclick.start.packed import pack_many
from humclick.start.ranges import Range, range_of
from humclick.start.run import Run, simulate

__all__ = ["Answers", "Weakened", "answers", "best_run"]

#: Steps of the answers: half cycles within 1 %, times within a few ms. [s]
_STEP = 2e-4
#: Said where hardly any machine drawn would ever have worked.
_ODD = Message(
    "Hardly any machine that agrees with plate and readings would start and let its start winding go even"
    " when sound: check volts, amps and ohms for slips. All of them are counted here."
)
#: What each outcome is called.
_HAPPENS = {
    "silent": Message("silent"),
    "hum": Message("hums"),
    "hum_click": Message("hums, then trips"),
    "starts_then_trips": Message("starts, then trips"),
    "breaker": Message("the breaker opens"),
    "runs": Message("runs"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Weakened:
    """The same start with a weak capacitor."""

    part: str
    share: float  #: Of its capacitance that is left. [-]
    starts: float  #: Share of the possible machines that start. [-]
    speed_time: Range  #: To three quarters of synchronous speed; infinite where it is not reached. [s]
    torque_margin: Range  #: As in `Answers`. [-]
    least_volts: Range  #: As in `Answers`. [V]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a start under these conditions would show."""

    conditions: StartConditions
    #: How many possible machines were tried: those of the drawn ones that start and let go when sound, or all
    #: where hardly any does.
    machines: int
    starts: float  #: Share of them that come up to speed and stay there. [-]
    #: Share of them in which each thing happens within the first seconds. [-]
    happenings: Mapping[Message, float]
    peak_amps: Range  #: Largest momentary line current. [A]
    #: Largest half-cycle rms line current of the first second, the first two half cycles left out. [A]
    locked_amps: Range
    running_amps: Range | None  #: Line current at speed, of those that start; None if none does. [A]
    speed_time: Range  #: To three quarters of synchronous speed; infinite where it is not reached. [s]
    #: Until the start gear lets go of the start winding; infinite where it does not; None without gear. [s]
    release_time: Range | None
    #: Until the protector opens if the rotor does not turn; None without a working protector. [s]
    trip_time: Range | None
    open_time: Range | None  #: From then until it closes again. [s]
    torque_margin: Range  #: Torque over that which just starts it: (volts / least volts)². [-]
    #: At the outlet, that still start it; infinite where none does, `searched_from` where that or less. [V]
    least_volts: Range
    searched_from: float  #: Where the search for the least volts begins. [V]
    weak: Weakened | None  #: With a weak capacitor; None if there is none.
    unknowable: tuple[Message, ...]  #: What cannot be known, in sentences.


def _setting(name: str) -> float:
    table = read_data("humclick.start", "answers.toml")["asked"]
    return sourced(table[name], f"answers.toml asked.{name}").value


def answers(
    machine: Machine,
    known: Estimate | Motor,
    conditions: StartConditions,
    *,
    modes: Mapping[str, str] | None = None,
    n: int | None = None,
    seed: int = 0,
) -> Answers:
    """
    Answer what is asked of a start.

    Parameters
    ----------
    known : Estimate or Motor
        What is known of its motor; a `Motor` is taken as exactly known.
    n : int, optional
        How many possible machines to try at most; 40 if left out.

    Raises
    ------
    OutOfRange
        If `n` is below 2.
    """
    count = int(_setting("machines")) if n is None else n
    if count < 2:
        raise OutOfRange(Message("a range needs 2 machines or more, got {count}", count=count))
    drawn = int(_setting("oversampling")) * count
    motors = (
        known.possible(drawn, seed) if isinstance(known, Estimate) else [possible_of(known, machine)] * drawn
    )
    worked = _working(machine, motors, seed)
    odd = len(worked) < count / 2
    chosen = np.arange(count) if odd else worked[:count]
    all_cases = attempts(machine, motors, conditions, modes or {}, seed)
    cases = [all_cases[k] for k in chosen]
    table = pack_many(cases)
    features = simulate_packed(table, _setting("seconds"), step=_STEP)
    least = _least_volts(table, conditions.volts, machine.nameplate.volts)
    trip, closed = _rotor_held(table)
    up = features.started
    return Answers(
        conditions=conditions,
        machines=len(cases),
        starts=float(np.mean(up)),
        happenings=_happenings(features),
        peak_amps=range_of(features.peak, "A"),
        locked_amps=range_of(features.locked, "A"),
        running_amps=range_of(features.running[up], "A") if up.any() else None,
        speed_time=range_of(or_never(features.speed_time), "s"),
        release_time=_released(cases, features),
        trip_time=None if trip is None else range_of(trip, "s"),
        open_time=None if closed is None else range_of(closed, "s"),
        torque_margin=_margin(conditions.volts, least),
        least_volts=range_of(least, "V"),
        searched_from=_setting("lowest") * machine.nameplate.volts,
        weak=_weak(cases, conditions, machine),
        unknowable=(*((_ODD,) if odd else ()), *(known.unknowable if isinstance(known, Estimate) else ())),
    )


def _working(machine: Machine, motors: Sequence[Possible], seed: int) -> NDArray[np.intp]:
    """Places of those that start and let go when sound, rested, on the plate's volts with equal pressures."""
    sound = attempts(machine, motors, StartConditions(volts=machine.nameplate.volts), {}, seed)
    features = simulate_packed(pack_many(sound), _setting("seconds"), step=_STEP)
    return np.flatnonzero(features.started & ~features.unreleased)


def best_run(
    machine: Machine,
    known: Estimate | Motor,
    conditions: StartConditions,
    seconds: float,
    modes: Mapping[str, str] | None = None,
) -> Run:
    """
    The attempt of the most probable motor, with everything else typical, half cycle by half cycle.

    Parts not named in `modes` are healthy; power stays on for `seconds`. [s]
    """
    motor = known.best if isinstance(known, Estimate) else possible_of(known, machine)
    return simulate(typical_attempt(machine, motor, conditions, modes), seconds)


def _happenings(features: Features) -> dict[Message, float]:
    names = [
        Message("{what}, start winding not let go", what=_HAPPENS[word]) if left_in else _HAPPENS[word]
        for word, left_in in zip(features.words(), features.unreleased, strict=True)
    ]
    return {name: names.count(name) / len(names) for name in sorted(set(names))}


def _released(cases: Sequence[StartCase], features: Features) -> Range | None:
    if all(case.gear is None for case in cases):
        return None
    return range_of(or_never(features.release_time), "s")


def _least_volts(table: NDArray[np.float64], volts: float, plate: float) -> NDArray[np.float64]:
    """
    Least volts at the outlet that start each case, by halving over all at once. [V]

    Searched below the highest volts; where a machine does not bear these (a relay that holds on, a protector
    that opens), below the volts asked for, or else the plate's.
    """
    lowest = _setting("lowest") * plate
    tried = table.copy()
    seconds = _setting("seconds")

    def starts(at: NDArray[np.float64] | float) -> NDArray[np.bool_]:
        tried[:, r.P_VOLTS] = at
        return simulate_packed(tried, seconds, step=_STEP).started

    low, high = np.full(len(table), lowest), np.full(len(table), lowest)
    never = np.ones(len(table), dtype=bool)
    for top in (_setting("highest") * plate, volts, plate):
        if not never.any():
            break
        up = never & starts(top)
        high[up] = top
        never &= ~up
    low, high = halved(starts, low, high, int(_setting("halvings")))
    least = np.where(low <= lowest, lowest, (low + high) / 2)
    return np.where(never, math.inf, least)


def _margin(volts: float, least: NDArray[np.float64]) -> Range:
    return range_of((volts / least) ** 2)


def _rotor_held(table: NDArray[np.float64]) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
    """Trip time and time open with the rotor held; None where no protector works. [s], [s]"""
    if np.all(table[:, r.P_GUARD] <= 0):
        return None, None
    held = table.copy()
    held[:, r.P_SEIZED] = 1.0
    features = simulate_packed(held, _setting("locked_seconds"), step=_STEP)
    trip, closed = features.trip_time, features.reclose_time
    return or_never(trip), or_never(closed - trip)


def _weak(cases: Sequence[StartCase], conditions: StartConditions, machine: Machine) -> Weakened | None:
    share = _setting("weak_capacitor")
    weak = [weakened(case, share) for case in cases]
    if weak == list(cases):
        return None
    table = pack_many(weak)
    features, least = (
        simulate_packed(table, _setting("seconds"), step=_STEP),
        _least_volts(table, conditions.volts, machine.nameplate.volts),
    )
    part = "start capacitor" if cases[0].start_capacitor is not None else "run capacitor"
    return Weakened(
        part=part,
        share=share,
        starts=float(np.mean(features.started)),
        speed_time=range_of(or_never(features.speed_time), "s"),
        torque_margin=_margin(conditions.volts, least),
        least_volts=range_of(least, "V"),
    )
