"""
The attempts behind an answer: one case for each motor that agrees with what is at hand.

What is not the motor's strays too (load, protector, pill, relay, supply, moment of switching, crank at rest),
each by its own spread, so that an answer's range holds all that is not known.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from humclick.arrangements.machine import Machine
from humclick.parts.family import Role
from humclick.sourced import Spread
from humclick.start.case import Load, StartCase
from humclick.start.conditions import StartConditions
from humclick.start.estimate import Possible
from humclick.start.fit import start_case
from humclick.start.gear.mechanism import RATED_SLIP
from humclick.start.gear.placed import Draw, median
from humclick.start.machine import Motor, steady

__all__ = ["attempts", "machine_with", "possible_of", "sizes_of", "typical_attempt", "weakened"]

#: Slip at which a motor given without its load is taken to run. [-]
_USUAL_SLIP = 0.045
#: Whose size an estimate of the motor holds: what limits the current at the start, and the capacitors.
_SIZED = (Role.STARTER, Role.START_CAPACITOR, Role.RUN_CAPACITOR)
_NORMAL = NormalDist()
#: Amps that a plate may have. [A]
_AMPS = (0.05, 300.0)


def _drawing(seed: int, place: int) -> Draw:
    """
    Draw every value of one machine from its spread, log-normal.

    A quantity is the same for a machine whatever else is asked of it, so that conditions and faults are
    compared on the same machines.
    """

    def draw(name: str, of: Spread) -> float:
        if of.factor <= 1:
            return of.median
        key = hashlib.blake2b(f"{seed} {place} {name}".encode(), digest_size=6).digest()
        even = (int.from_bytes(key) + 0.5) / 2**48
        return of.median * math.exp(of.sigma * _NORMAL.inv_cdf(even))

    return draw


def sizes_of(machine: Machine) -> dict[Role, str]:
    """Names, as ``part.size``, of those sizes of a machine that an estimate of its motor holds."""
    names = {}
    for role in _SIZED:
        part = machine.has(role)
        size = part.family.gear_ohms if part and role is Role.STARTER else "capacitance"
        if part and size:
            names[role] = f"{part.id}.{size}"
    return names


def machine_with(machine: Machine, motor: Possible) -> Machine:
    """The machine of one motor: its windings, gear and capacitors known, and what follows from its amps."""
    names = sizes_of(machine)
    sizes = {
        f"{machine.having(Role.RUN_WINDING).id}.winding": motor.motor.run_ohms,
        f"{machine.having(Role.START_WINDING).id}.winding": motor.motor.start_ohms,
        names.get(Role.STARTER): motor.gear_ohms,
        names.get(Role.START_CAPACITOR): motor.start_farads,
        names.get(Role.RUN_CAPACITOR): motor.run_farads,
    }
    known = {
        key: Spread(size, 1.0, source="drawn") for key, size in sizes.items() if key and size is not None
    }
    plate, (least, most) = machine.nameplate, _AMPS
    if plate.locked_rotor_amps is None:
        amps = abs(motor.locked(plate.volts).line)
        plate = replace(plate, locked_rotor_amps=min(max(amps, least), most))
    if plate.rated_load_amps is None:
        amps = abs(motor.running(plate.volts).line)
        plate = replace(plate, rated_load_amps=min(max(amps, least), most))
    return replace(machine, nameplate=plate, known={**machine.known, **known})


def possible_of(motor: Motor, machine: Machine) -> Possible:
    """
    A motor that is known exactly, with the start gear of its machine.

    Start gear and capacitors are taken at their median.
    """
    names = sizes_of(machine)
    gear, start, run = (
        machine.size(*name.split(".")).median if (name := names.get(role)) else None for role in _SIZED
    )
    possible = Possible(motor, _USUAL_SLIP, 0.0, gear, start, run)
    return replace(possible, shaft_watts=possible.running(machine.nameplate.volts).power_out)


def attempts(
    machine: Machine,
    motors: Sequence[Possible],
    conditions: StartConditions,
    modes: Mapping[str, str],
    seed: int = 0,
) -> list[StartCase]:
    """
    One attempt for each motor, under the conditions asked for.

    Parts not named in `modes` are healthy. The same seed and place give the same machine under any conditions
    and modes: `seed` decides what strays besides the motor.
    """
    turns = np.random.default_rng(seed + 1).uniform(0, 2 * math.pi, (len(motors), 2))
    return [
        _attempt(machine, motor, conditions, modes, _drawing(seed + 1, place), turns[place])
        for place, motor in enumerate(motors)
    ]


def typical_attempt(
    machine: Machine, motor: Possible, conditions: StartConditions, modes: Mapping[str, str] | None = None
) -> StartCase:
    """
    The attempt of one motor with everything else as is usual, switched on as the voltage passes zero.

    Parts not named in `modes` are healthy.
    """
    return _attempt(machine, motor, conditions, modes or {}, median, np.array([0.0, math.pi]))


def _attempt(
    machine: Machine,
    motor: Possible,
    conditions: StartConditions,
    modes: Mapping[str, str],
    draw: Draw,
    turn: NDArray[np.float64],
) -> StartCase:
    machine, names = machine_with(machine, motor), sizes_of(machine)
    known: dict[str | None, float | None] = {
        f"{machine.having(Role.SUPPLY).id}.outlet": 1.0,
        names.get(Role.STARTER): motor.gear_ohms,
        names.get(Role.START_CAPACITOR): conditions.start_farads or motor.start_farads,
        names.get(Role.RUN_CAPACITOR): conditions.run_farads or motor.run_farads,
    }

    def chosen(name: str, of: Spread) -> float:
        size = known.get(name)
        return draw(name, of) if size is None else size

    wrong = dict(modes)
    starter = machine.has(Role.STARTER)
    if conditions.hot and starter is not None and starter.family.passing:
        wrong.setdefault(starter.id, starter.family.passing)
    case = start_case(
        machine,
        motor.motor,
        wrong,
        hot=conditions.hot,
        volts=conditions.volts,
        angle=float(turn[0]),
        crank=float(turn[1]),
        air=conditions.ambient,
        draw=chosen,
    )
    if conditions.supply_ohms is not None:
        case = case.with_(supply__ohms=conditions.supply_ohms)
    return replace(case, load=_load(case.load, machine, motor, conditions.difference))


def _load(load: Load, machine: Machine, motor: Possible, difference: float) -> Load:
    """The load of the power the motor is rated for, not only of its torque at a usual slip."""
    rated = motor.shaft_watts / (motor.motor.synchronous * (1 - motor.slip))
    usual = steady(motor.motor, machine.nameplate.volts, RATED_SLIP).torque
    by = max(rated, 0.2 * usual) / usual if usual > 0 else 1.0
    return replace(
        load,
        gas_torque=load.gas_torque * by,
        friction=load.friction * by,
        breakaway=load.breakaway * by,
        difference=max(load.difference, difference),
    )


def weakened(case: StartCase, by: float) -> StartCase:
    """
    The same attempt with its start capacitor, or else its run capacitor, at a share of its capacitance.

    `by` is 0.8 for 20 % low [-]; without a capacitor the case comes back as it is.
    """
    weak = case
    if weak.start_capacitor is not None and weak.start_capacitor.farads not in (0.0, math.inf):
        weak = weak.with_(start_capacitor__farads=weak.start_capacitor.farads * by)
    elif weak.run_capacitor is not None and weak.run_capacitor.farads not in (0.0, math.inf):
        weak = weak.with_(run_capacitor__farads=weak.run_capacitor.farads * by)
    return weak
